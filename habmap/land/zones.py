"""Terrain figures of polygons, as sums over exact cell shares that can be added piece by piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from habmap.land.shares import Ints, cell_shares
from habmap.land.terrain import Floats, GroundSteps, heat_load_mccune_keon_2002

#: Width of a slope class [%]; there is no steepest class but the largest number that leaves room for polygons' own.
SLOPE_CLASS_PCT: Final = 0.1
_LAST_CLASS: Final = 2**31 - 1
#: Sun-facing octants SE to SW, and NW to NE where the noon sun stands in the north [true bearings, °].
SUN_FACING_NORTH_DEG: Final = (112.5, 247.5)
SUN_FACING_SOUTH_DEG: Final = (292.5, 67.5)


def _no_classes() -> Ints:
    return np.empty(0, dtype=np.int64)


def _no_areas() -> Floats:
    return np.empty(0, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceRules:
    """What counts as flat, as sun-facing and as hand-only ground.

    Attributes
    ----------
    flat_below_pct
        Gentler ground faces nowhere [%].
    sun_facing_deg
        First and last true bearing, clockwise; may pass through north [°].
    machine_limit_pct
        Steeper ground is hand-only [%].
    """

    flat_below_pct: float = 5.0
    sun_facing_deg: tuple[float, float] = SUN_FACING_NORTH_DEG
    machine_limit_pct: float = 30.0

    def is_sun_facing(self, bearing_deg: Floats) -> NDArray[np.bool_]:
        """Tell which bearings lie in the sun-facing range, both ends included."""
        first, last = self.sun_facing_deg
        span = last - first if last >= first else last - first + 360
        return np.asarray((bearing_deg - first) % 360 <= span, dtype=np.bool_)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ZoneSums:
    """Sums over the ground of one polygon, or of a piece of it; adding two pieces gives the sums of both.

    Attributes
    ----------
    covered_m2
        Ground with a valid gradient [m²].
    slope_deg_m2, slope_pct_m2
        Σ area × slope [° m²], [% m²].
    gradient_east_m2, gradient_north_m2, gradient_length_m2
        Σ area × gradient toward east, toward north, and its length [m²].
    flat_m2, sun_facing_m2, hand_only_m2
        Ground of each kind [m²].
    heat_load_m2, heat_load_ground_m2
        Σ area × heat load, and the ground for which the equation holds [m²].
    slope_classes, slope_class_m2
        Slope classes of 0.1 % that occur (class ``k`` is ``k/10`` to ``(k+1)/10`` %), ascending, and their ground [m²].
    """

    covered_m2: float = 0.0
    slope_deg_m2: float = 0.0
    slope_pct_m2: float = 0.0
    gradient_east_m2: float = 0.0
    gradient_north_m2: float = 0.0
    gradient_length_m2: float = 0.0
    flat_m2: float = 0.0
    sun_facing_m2: float = 0.0
    hand_only_m2: float = 0.0
    heat_load_m2: float = 0.0
    heat_load_ground_m2: float = 0.0
    slope_classes: Ints = field(default_factory=_no_classes)
    slope_class_m2: Floats = field(default_factory=_no_areas)

    def __add__(self, other: ZoneSums) -> ZoneSums:
        classes, position = np.unique(np.concatenate([self.slope_classes, other.slope_classes]), return_inverse=True)
        areas = np.concatenate([self.slope_class_m2, other.slope_class_m2])
        plain = {name: getattr(self, name) + getattr(other, name) for name in PLAIN_SUMS}
        return ZoneSums(
            **plain,
            slope_classes=classes,
            slope_class_m2=_totals(position, areas, count=len(classes)),
        )

    def slope_quantile_pct(self, fraction: float) -> float | None:
        """Return the slope that this fraction of the covered ground does not exceed, to 0.1 % [%]."""
        if not len(self.slope_classes):
            return None
        running = np.cumsum(self.slope_class_m2)
        wanted = fraction * running[-1]
        at = min(int(np.searchsorted(running, wanted)), len(running) - 1)
        before = running[at - 1] if at else 0.0
        within = (wanted - before) / self.slope_class_m2[at]
        return float((self.slope_classes[at] + min(max(within, 0.0), 1.0)) * SLOPE_CLASS_PCT)


#: The sums that are plain numbers, in order.
PLAIN_SUMS: Final = tuple(one.name for one in fields(ZoneSums) if one.type == "float")


@dataclass(frozen=True, slots=True, kw_only=True)
class GradientTile:
    """A rectangle of analysis cells with its ground gradient.

    Attributes
    ----------
    first_row, first_col
        Place of the rectangle in the raster's grid of analysis cells.
    east, north
        Ground gradient [m/m], shape ``(rows, cols)``, NaN where not valid.
    steps
        Ground steps of an analysis cell.
    lat_deg, lat_per_row_deg, lat_per_col_deg
        Latitude of the middle of the rectangle's first cell, and its change per step [°].
    """

    first_row: int
    first_col: int
    east: Floats
    north: Floats
    steps: GroundSteps
    lat_deg: float
    lat_per_row_deg: float
    lat_per_col_deg: float


def tile_sums(tile: GradientTile, polygons_wkb: Sequence[bytes], *, rules: FaceRules) -> list[ZoneSums]:
    """Sum the ground of one tile over each polygon, each cell by the exact share of it that lies inside.

    Parameters
    ----------
    tile
        Gradients.
    polygons_wkb
        Polygons in cell coordinates: x = column, y = −row of the raster's analysis cells (0, 0 is the outer corner of
        the first cell). Parts outside the tile are left out.
    rules
        What counts as flat, sun-facing and hand-only.
    """
    # Cells without a valid gradient are NaN in the sum.
    cells, shares, owners = cell_shares(
        tile.east + tile.north, polygons_wkb, first_row=tile.first_row, first_col=tile.first_col
    )
    count = len(polygons_wkb)
    if not len(cells):
        return [ZoneSums() for _ in range(count)]
    rows, cols = np.divmod(cells, tile.east.shape[1])
    east, north = tile.east.ravel()[cells], tile.north.ravel()[cells]
    cell_m2 = np.broadcast_to(np.asarray(tile.steps.cell_m2).reshape(-1, 1), (tile.east.shape[0], 1))[:, 0]
    area_m2 = shares * cell_m2[rows]

    rise = np.hypot(east, north)
    pct = 100 * rise
    deg = np.degrees(np.arctan(rise))
    bearing = np.degrees(np.arctan2(-east, -north)) % 360
    lat = tile.lat_deg + rows * tile.lat_per_row_deg + cols * tile.lat_per_col_deg
    heat = heat_load_mccune_keon_2002(lat, deg, bearing)
    is_fitted = np.isfinite(heat)
    is_flat = pct < rules.flat_below_pct

    weights = {
        "covered_m2": area_m2,
        "slope_deg_m2": area_m2 * deg,
        "slope_pct_m2": area_m2 * pct,
        "gradient_east_m2": area_m2 * east,
        "gradient_north_m2": area_m2 * north,
        "gradient_length_m2": area_m2 * rise,
        "flat_m2": area_m2 * is_flat,
        "sun_facing_m2": area_m2 * (~is_flat & (rise > 0) & rules.is_sun_facing(bearing)),
        "hand_only_m2": area_m2 * (pct > rules.machine_limit_pct),
        "heat_load_m2": area_m2 * np.where(is_fitted, heat, 0.0),
        "heat_load_ground_m2": area_m2 * is_fitted,
    }
    table = np.column_stack([_totals(owners, values, count=count) for values in weights.values()]).tolist()

    classes = np.minimum(pct / SLOPE_CLASS_PCT, _LAST_CLASS).astype(np.int64)
    keys, position = np.unique(owners * (_LAST_CLASS + 1) + classes, return_inverse=True)
    key_m2 = _totals(position, area_m2, count=len(keys))
    key_owners, key_classes = np.divmod(keys, _LAST_CLASS + 1)
    ends = np.searchsorted(key_owners, np.arange(count + 1))
    return [
        ZoneSums(
            **dict(zip(weights, table[i], strict=True)),
            slope_classes=key_classes[ends[i] : ends[i + 1]],
            slope_class_m2=key_m2[ends[i] : ends[i + 1]],
        )
        for i in range(count)
    ]


def _totals(groups: Ints, weights: Floats, *, count: int) -> Floats:
    return np.bincount(groups, weights=weights, minlength=count).astype(np.float64, copy=False)
