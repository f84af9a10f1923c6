"""Terrain sums on small tiles of gradients, by habmap's own way and by another one that it is held against."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from habmap.land.facerules import FaceRules
from habmap.land.pieces import Pieces, PieceSums, gradient_sums
from habmap.land.shares import cell_shares
from habmap.land.terrain import heat_load_mccune_keon_2002
from habmap.land.zones import GradientTile, ZonePieces, ZoneTable
from habmap.place.zonework import Cut, outlines_of
from habmap.vocabulary import octant
from habmap.work.terrain import UnitTerrain


def sums_on(tile: GradientTile, shapes: Sequence[shapely.Geometry], *, rules: FaceRules) -> ZoneTable:
    """Return habmap's sums of shapes (x = column, y = −row) on a tile of gradients."""
    outlines = np.array(shapes, dtype=object)
    inside = shapely.clip_by_rect(
        shapely.transform(outlines, lambda xy: xy - [tile.first_col, -tile.first_row]),
        0, -tile.east.shape[0], tile.east.shape[1], 0,
    )  # fmt: skip
    inside = np.where(shapely.get_dimensions(inside) == 2, inside, shapely.Polygon())
    cut = Cut.of(shapely.bounds(inside), side=10**6, shape=tile.east.shape)
    steps = np.array([np.broadcast_to(part, (tile.east.shape[0], 1))[:, 0] for part in (
        tile.steps.east_per_col, tile.steps.north_per_col, tile.steps.east_per_row, tile.steps.north_per_row,
    )])  # fmt: skip
    lat = tile.lat_deg + cut.windows[:, 0] * tile.lat_per_row_deg + cut.windows[:, 1] * tile.lat_per_col_deg
    rad = np.radians(lat)
    ends = np.stack([steps[:, cut.windows[:, 0]].T, steps[:, cut.windows[:, 2] - 1].T], axis=1)
    pieces = Pieces(
        cut.owners,
        cut.windows,
        ends[:, :, None].repeat(2, axis=2),
        np.column_stack([
            lat, np.full_like(lat, tile.lat_per_row_deg), np.full_like(lat, tile.lat_per_col_deg),
            np.sin(rad), np.cos(rad),
        ]),
    )  # fmt: skip
    column, row = steps[:2, :, None], steps[2:, :, None]
    dz_dcol = column[0] * tile.east + column[1] * tile.north
    dz_drow = row[0] * tile.east + row[1] * tile.north
    found = gradient_sums(dz_dcol, dz_drow, (0, 0), outlines_of(inside), pieces, rules=rules)
    return ZonePieces.of([(cut.owners, found)], count=len(shapes)).table()


def added(tables: Sequence[ZoneTable]) -> ZoneTable:
    """Add up tables row by row."""
    parts = [PieceSums(one.plain, np.diff(one.class_ends), one.classes, one.class_m2) for one in tables]
    owned = [(np.arange(len(one)), part) for one, part in zip(tables, parts, strict=True)]
    return ZonePieces.of(owned, count=len(tables[0])).table()


def other_way(tile: GradientTile, shape: shapely.Geometry, *, rules: FaceRules, unit_m2: float) -> UnitTerrain:
    """Return the figures of one shape by exactextract's shares, angles cell by cell, and masks in place of classes."""
    cells, shares, _ = cell_shares(
        tile.east + tile.north, [shapely.to_wkb(shape)], first_row=tile.first_row, first_col=tile.first_col
    )
    rows, cols = np.divmod(cells, tile.east.shape[1])
    east, north = tile.east.ravel()[cells], tile.north.ravel()[cells]
    cell_m2 = np.broadcast_to(np.asarray(tile.steps.cell_m2).reshape(-1, 1), (tile.east.shape[0], 1))[:, 0]
    area_m2 = shares * cell_m2[rows]
    covered = float(area_m2.sum())
    rise = np.hypot(east, north)
    pct, deg = 100 * rise, np.degrees(np.arctan(rise))
    bearing = np.degrees(np.arctan2(-east, -north)) % 360
    lat = tile.lat_deg + rows * tile.lat_per_row_deg + cols * tile.lat_per_col_deg
    heat = heat_load_mccune_keon_2002(lat, deg, bearing)
    fits = np.isfinite(heat)
    first, last = rules.sun_facing_deg
    is_sun = (bearing - first) % 360 <= (last - first if last >= first else last - first + 360)
    is_flat = pct < rules.flat_below_pct
    mean_east, mean_north = (float((area_m2 * part).sum()) for part in (east, north))
    aspect = math.degrees(math.atan2(-mean_east, -mean_north)) % 360
    flat_pct = 100 * float(area_m2[is_flat].sum()) / covered
    classes = np.floor(pct * 10).astype(np.int64)
    keys, place = np.unique(classes, return_inverse=True)
    running = np.cumsum(np.bincount(place, weights=area_m2))
    at = int(np.searchsorted(running, 0.9 * running[-1]))
    before = running[at - 1] if at else 0.0
    return UnitTerrain(
        slope_mean_deg=float((area_m2 * deg).sum()) / covered,
        slope_mean_pct=float((area_m2 * pct).sum()) / covered,
        slope_p90_pct=float(keys[at] + (0.9 * running[-1] - before) / (running[at] - before)) / 10,
        aspect_mean_deg=aspect if flat_pct < 100 - 1e-7 else None,
        aspect_concentration=math.hypot(mean_east, mean_north) / float((area_m2 * rise).sum()),
        facing=octant(aspect) if flat_pct <= 50 else "flat",
        sun_facing_pct=100 * float(area_m2[is_sun & ~is_flat & (rise > 0)].sum()) / covered,
        flat_pct=flat_pct,
        heat_load_mean=float((area_m2 * heat)[fits].sum() / area_m2[fits].sum()) if fits.any() else None,
        hand_only_pct=100 * float(area_m2[pct > rules.machine_limit_pct].sum()) / covered,
        coverage_pct=100.0 if covered > 0.99999 * unit_m2 else 100 * covered / unit_m2,
    )
