"""What the elevation says of a burn block: its faces, the rise beyond its edges, the way cold air runs from it."""

from __future__ import annotations

import math
from collections import defaultdict
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from habmap.jobs.ports import Store
from habmap.jobs.terrain import dense_edges
from habmap.land.downhill import DownhillPath, Surface, downhill_path, outlets, sample_many
from habmap.land.facing import FaceClass, facing_class_m2
from habmap.land.grid import LocalGrid
from habmap.place.elevation import Elevation, open_elevation
from habmap.work.fuel_moisture import STEEP_ABOVE_PCT

#: How far from the block cold air is followed, and so how much ground around it is read [m].
COLD_AIR_M: Final = 2_000.0
#: Cells of the surface that it runs over, unless the elevation's own are wider [m].
SURFACE_CELL_M: Final = 10.0
#: Points of the outline from which cold air is let run.
COLD_AIR_STARTS: Final = 12


@dataclass(frozen=True, slots=True)
class BurnGround:
    """The elevation's figures of a block, planar geometry in the place's grid.

    Attributes
    ----------
    class_m2
        Ground by facing and slope class [m²].
    surface
        Heights around the block.
    """

    class_m2: dict[FaceClass, float]
    surface: Surface


def burn_ground(store: Store, grid: LocalGrid, block: BaseGeometry) -> BurnGround | None:
    """Read the elevation in and around a block; ``None`` where there is none, or none of this ground.

    Parameters
    ----------
    block
        Polygons in grid metres.

    Raises
    ------
    InputError
        The elevation that the place names cannot be read.
    """
    source = store.elevation()
    if source is None:
        return None
    terrain = store.settings.terrain
    opened: AbstractContextManager[Elevation] = open_elevation(
        Path(source.path), vertical_unit=source.vertical_unit, analysis_cell_m=terrain.analysis_cell_m
    )
    with opened as dem:
        outline = dense_edges(grid, [grid.to_lonlat(block)])
        if not bool(dem.touches(outline)[0]):
            return None
        class_m2: defaultdict[FaceClass, float] = defaultdict(float)
        for _, tile, outlines_wkb in dem.gradient_tiles(outline):
            (found,) = facing_class_m2(
                tile, outlines_wkb, flat_below_pct=terrain.flat_below_pct, steep_above_pct=STEEP_ABOVE_PCT
            )
            for name, area_m2 in found.items():
                class_m2[name] += area_m2
        return BurnGround(dict(class_m2), _surface(dem, grid, block))


def rise_frac(surface: Surface, edge: tuple[float, float], beyond: tuple[float, float]) -> float | None:
    """Return the rise from an edge to a point beyond it over the distance, negative downhill [m/m]."""
    rise_m = surface.height_m(*beyond) - surface.height_m(*edge)
    return None if math.isnan(rise_m) else rise_m / math.dist(edge, beyond)


def cold_air_paths(surface: Surface, block: BaseGeometry) -> list[DownhillPath]:
    """Let cold air run from the outline's lowest point and from points all round it; the lowest point's path first.

    Ways that run into one already found are left out.
    """
    outline = shapely.boundary(block)
    ring = max(shapely.get_parts(outline), key=lambda line: float(line.length), default=None)
    if ring is None:
        return []
    steps = [shapely.get_coordinates(ring.interpolate(i / 240, normalized=True))[0].tolist() for i in range(240)]
    known = [(surface.height_m(x, y), (x, y)) for x, y in steps if not math.isnan(surface.height_m(x, y))]
    if not known:
        return []
    starts = [min(known)[1], *(tuple(steps[i * 240 // COLD_AIR_STARTS]) for i in range(COLD_AIR_STARTS))]
    ways_out = outlets(surface)
    paths: list[DownhillPath] = []
    for start in starts:
        if math.isnan(surface.height_m(*start)):
            continue
        path = downhill_path(surface, start, longest_m=COLD_AIR_M, ways_out=ways_out)
        if path.length_m > 0 and not any(_joins(path, other, surface.cell_m) for other in paths):
            paths.append(path)
    return paths


def _joins(path: DownhillPath, other: DownhillPath, cell_m: float) -> bool:
    return bool(shapely.distance(shapely.Point(path.points[-1]), LineString(other.points)) < 3 * cell_m)


def _surface(dem: Elevation, grid: LocalGrid, block: BaseGeometry) -> Surface:
    cell_m = max(SURFACE_CELL_M, dem.cell_m)
    west, south, east, north = shapely.bounds(shapely.buffer(block, COLD_AIR_M + 5 * cell_m)).tolist()
    xs, ys = np.arange(west, east + cell_m, cell_m), np.arange(south, north + cell_m, cell_m)
    x, y = (values.ravel() for values in np.meshgrid(xs, ys))
    # One line through all the places: a hundred thousand points of their own take longer than all the rest.
    lonlat = shapely.get_coordinates(grid.to_lonlat(LineString(np.column_stack([x, y]))))
    bounds = (lonlat[:, 0].min(), lonlat[:, 1].min(), lonlat[:, 0].max(), lonlat[:, 1].max())
    coarse = dem.coarse_heights(tuple(float(v) for v in bounds), len(x))  # type: ignore[arg-type]
    crs = CRS.from_wkt(coarse.crs_wkt)
    map_x, map_y = Transformer.from_crs(CRS.from_epsg(4326), crs, always_xy=True).transform(lonlat[:, 0], lonlat[:, 1])
    transform = coarse.transform
    if crs.is_geographic:
        # Rasters may count longitude from 0 to 360, or lie across the date line.
        map_x = map_x + 360 * np.round((transform.c - map_x) / 360)
    determinant = transform.a * transform.e - transform.b * transform.d
    dx, dy = map_x - transform.c, map_y - transform.f
    col = (transform.e * dx - transform.b * dy) / determinant - 0.5
    row = (transform.a * dy - transform.d * dx) / determinant - 0.5
    heights = sample_many(coarse.heights_m.astype(np.float64), row, col)
    return Surface(heights.reshape(len(ys), len(xs)), float(xs[0]), float(ys[0]), cell_m)
