"""How the ground of a unit lies: sums over its cells turned into figures, each with what is said of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date

from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.land.shares import is_too_coarse
from habmap.land.zones import SUN_FACING_NORTH_DEG, SUN_FACING_SOUTH_DEG, FaceRules, ZoneSums
from habmap.measures import VerticalUnit
from habmap.records.facts import fact
from habmap.vocabulary import octant


@dataclass(frozen=True, slots=True, kw_only=True)
class DemInfo:
    """The elevation raster that the figures come from.

    Attributes
    ----------
    path, crs
        The file, and its coordinate system by name and code.
    cell_m, analysis_cell_m
        Side of a cell on the ground as stored, and as used after averaging [m].
    vertical_unit
        Unit of its heights: ``m``, ``ft`` or ``us-ft``.
    """

    path: str
    crs: str
    cell_m: float
    analysis_cell_m: float
    vertical_unit: VerticalUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitTerrain:
    """Terrain figures of one unit, or of other ground; ``None`` where the elevation covers none of it.

    A figure is a field with its fact, worked out in `terrain_figures`: its column is that of the table of ``terrain``,
    and what it ``tells`` stands on the map and on the unit's sheet.

    Attributes
    ----------
    slope_mean_deg, slope_mean_pct
        Mean over the unit's ground of each cell's own slope [°], [%].
    slope_p90_pct
        Slope that nine tenths of the ground do not exceed [%].
    aspect_mean_deg
        True bearing that the mean gradient faces, downhill [°]; ``None`` on flat ground.
    aspect_concentration
        Length of the mean gradient over the mean of its lengths: 1 = one face, 0 = faces every way.
    facing
        Octant of ``aspect_mean_deg``, or ``flat`` where more than half the ground is.
    sun_facing_pct, flat_pct, hand_only_pct
        Shares of the covered ground: sloping and facing the sun, gentler than ``flat_below_pct``, steeper than
        ``machine_limit_pct`` [%].
    heat_load_mean
        Mean heat load, McCune & Keon (2002) equation 3; ``None`` outside 30–60° N, for which it was not fitted.
    coverage_pct
        Share of the unit on which the elevation gives a slope [%].
    cells
        How many analysis cells the unit is as large as.
    too_coarse
        Whether they are too few, or too wide for its breadth: every figure is then a rough one
        (`habmap.land.shares.is_too_coarse`). ``None`` where the elevation covers none of it.
    """

    unit_id: str = ""
    name: str = ""
    slope_mean_deg: float | None = fact("mean slope", column="slope °", places=1, rough_step=1)
    slope_mean_pct: float | None = fact("mean slope", column="slope %", places=1, rough_step=1)
    slope_p90_pct: float | None = fact("slope of the steepest tenth", column="90th pct slope", places=1, rough_step=1)
    aspect_mean_deg: float | None = fact("aspect", unit="°", column="aspect °", rough_step=10)
    aspect_concentration: float | None = fact("uniformity", column="uniformity", places=2)
    facing: str | None = fact("face", column="faces", beside="slope_p90_pct")
    sun_facing_pct: float | None = fact(
        "sun-facing share", column="sun-facing %", rough_step=10, tells="{:.0f} % of it faces the sun"
    )
    flat_pct: float | None = fact("flat share", column="flat %", rough_step=10)
    heat_load_mean: float | None = fact("heat load", column="heat load", places=2)
    hand_only_pct: float | None = fact(
        "hand-only share", column="hand-only %", rough_step=10,
        tells="{:.0f} % is steeper than the machine limit, so hand work only", tells_from=0.5,
    )  # fmt: skip
    coverage_pct: float = fact("covered share", default=0.0, column="elevation coverage %")
    cells: float = 0.0
    too_coarse: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TerrainResult:
    """Terrain of every unit that holds on a day (``on`` ``None``: the current ones).

    Attributes
    ----------
    sun_facing_deg
        First and last true bearing, clockwise, that counted as sun-facing [°].
    is_south
        Whether the place lies south of the equator.
    """

    on: date | None
    dem: DemInfo | None
    sun_facing_deg: tuple[float, float]
    is_south: bool
    units: tuple[UnitTerrain, ...]
    warnings: tuple[str, ...] = ()


def terrain_figures(sums: ZoneSums, *, unit_m2: float) -> UnitTerrain:
    """Turn sums into figures, of a unit that has no name yet.

    Parameters
    ----------
    unit_m2
        Ground of the whole unit, covered or not [m²].
    """
    covered = sums.covered_m2
    if covered <= 0:
        return UnitTerrain()
    length = math.hypot(sums.gradient_east_m2, sums.gradient_north_m2)
    is_sloping_somewhere = covered - sums.flat_m2 > 1e-9 * covered
    has_aspect = is_sloping_somewhere and length > 0
    aspect = math.degrees(math.atan2(-sums.gradient_east_m2, -sums.gradient_north_m2)) % 360
    flat_pct = 100 * min(1.0, sums.flat_m2 / covered)
    coverage_pct = 100 * covered / unit_m2 if unit_m2 > 0 else 100.0
    return UnitTerrain(
        slope_mean_deg=sums.slope_deg_m2 / covered,
        slope_mean_pct=sums.slope_pct_m2 / covered,
        slope_p90_pct=sums.slope_quantile_pct(0.9),
        aspect_mean_deg=aspect if has_aspect else None,
        aspect_concentration=min(1.0, length / sums.gradient_length_m2) if sums.gradient_length_m2 > 0 else None,
        facing=octant(aspect) if has_aspect and flat_pct <= 50 else "flat",
        sun_facing_pct=100 * min(1.0, sums.sun_facing_m2 / covered),
        flat_pct=flat_pct,
        heat_load_mean=sums.heat_load_m2 / sums.heat_load_ground_m2 if sums.heat_load_ground_m2 > 0 else None,
        hand_only_pct=100 * min(1.0, sums.hand_only_m2 / covered),
        # Shares come as float32 and the unit's own area from another projection: a hair short of all is all.
        coverage_pct=100.0 if coverage_pct > 99.999 else coverage_pct,
    )


def of_unit(found: UnitTerrain, *, unit_id: str, name: str, outline: BaseGeometry, cell_m: float) -> UnitTerrain:
    """Return figures as those of a unit (outline in grid metres), from cells of this size [m]."""
    is_known = found.slope_mean_deg is not None
    rough = is_too_coarse(outline, cell_m=cell_m) if is_known else None
    return replace(found, unit_id=unit_id, name=name, cells=outline.area / cell_m**2, too_coarse=rough)


def is_south(grid: LocalGrid | None) -> bool:
    """Tell whether a place lies south of the equator, where the noon sun stands in the north."""
    return grid is not None and grid.lat < 0


def rules_here(rules: FaceRules, grid: LocalGrid | None) -> FaceRules:
    """Return what counts as flat, sun-facing and hand-only at a place, from what its settings say.

    The faces that a new place's settings have, southeast to southwest, stand for the sun's side: south of the equator
    they are northwest to northeast. Any others are taken as they are written.
    """
    is_turned = is_south(grid) and rules.sun_facing_deg == SUN_FACING_NORTH_DEG
    return replace(rules, sun_facing_deg=SUN_FACING_SOUTH_DEG) if is_turned else rules
