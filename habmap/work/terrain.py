"""How the ground of a unit lies: sums over its cells turned into figures, each with what is said of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habmap.land.facerules import SUN_FACING_NORTH_DEG, SUN_FACING_SOUTH_DEG, FaceRules
from habmap.land.grid import LocalGrid
from habmap.land.shares import is_too_coarse
from habmap.land.zones import ZoneSums
from habmap.measures import VerticalUnit
from habmap.records import Unit
from habmap.records.facts import fact
from habmap.vocabulary import OCTANTS, octant_number

Floats: TypeAlias = NDArray[np.float64]
#: A column of figures.
Column: TypeAlias = NDArray[Any]


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

    A figure is a field with its fact, worked out in `figure_columns`: its column is that of the table of ``terrain``,
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
        "sun-facing share", column="sun-facing %", rough_step=10, tells="{:.0f}% of it faces the sun"
    )
    flat_pct: float | None = fact("flat share", column="flat %", rough_step=10)
    heat_load_mean: float | None = fact("heat load", column="heat load", places=2)
    hand_only_pct: float | None = fact(
        "hand-only share", column="hand-only %", rough_step=10,
        tells="{:.0f}% is steeper than the machine limit, so hand work only", tells_from=0.5,
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


def figure_columns(table: ZoneSums, *, unit_m2: Floats, rules: FaceRules) -> dict[str, Column]:
    """Turn sums into figures, a column for each figure of `UnitTerrain`.

    Parameters
    ----------
    unit_m2
        Ground of each whole unit, covered or not [m²].
    rules
        What counts as flat, sun-facing and hand-only: the bearings and, where it lies between slope classes, the
        limits for which the sums were made.

    Returns
    -------
    dict
        Numbers, NaN where not known; words, ``None`` where not known.
    """
    covered, steepness = table.sums("covered_m2"), table.sums("gradient_length_m2")
    east, north = table.sums("gradient_east_m2"), table.sums("gradient_north_m2")
    with np.errstate(divide="ignore", invalid="ignore"):
        p90, ground_m2, flat_m2, sun_m2, hand_m2 = table.by_slope(rules)
        length = np.sqrt(east * east + north * north)
        has_aspect = (ground_m2 - flat_m2 > 1e-9 * ground_m2) & (length > 0)
        aspect = np.degrees(np.arctan2(-east, -north)) % 360 % 360  # a hair west of north is 360 after one
        # Shares of one sum over classes, so that all is all to the last digit.
        flat_pct = 100 * np.minimum(1.0, flat_m2 / ground_m2)
        coverage = np.where(unit_m2 > 0, 100 * covered / unit_m2, 100.0)
        is_faced = has_aspect & (flat_pct <= 50)
        face = np.where(is_faced, octant_number(aspect), len(OCTANTS)).astype(np.int64)
        found: dict[str, Column] = {
            "slope_mean_deg": table.sums("slope_deg_m2") / covered,
            "slope_mean_pct": 100 * steepness / covered,
            "slope_p90_pct": p90,
            "aspect_mean_deg": np.where(has_aspect, aspect, np.nan),
            "aspect_concentration": np.minimum(1.0, length / steepness),
            "facing": np.array([*OCTANTS, "flat"], dtype=object)[face],
            "sun_facing_pct": 100 * np.minimum(1.0, sun_m2 / ground_m2),
            "flat_pct": flat_pct,
            "heat_load_mean": table.sums("heat_load_m2") / table.sums("heat_load_ground_m2"),
            "hand_only_pct": 100 * np.minimum(1.0, hand_m2 / ground_m2),
            # The unit's own area comes from another projection: a hair short of all is all.
            "coverage_pct": np.where(coverage > 99.999, 100.0, coverage),
        }
    is_off = ~(covered > 0)
    for name, column in found.items():
        column[is_off] = None if name == "facing" else 0.0 if name == "coverage_pct" else np.nan
    return found


def terrain_figures(table: ZoneSums, *, unit_m2: Floats, rules: FaceRules) -> list[UnitTerrain]:
    """Turn sums into figures, of units that have no names yet; see `figure_columns`."""
    columns = figure_columns(table, unit_m2=unit_m2, rules=rules)
    rows: Any = zip(*(column.tolist() for column in columns.values()), strict=True)
    found: list[dict[str, Any]] = [
        dict(zip(columns, (None if value != value else value for value in row), strict=True)) for row in rows
    ]
    return [UnitTerrain(**row) for row in found]


def of_unit(found: UnitTerrain, *, unit_id: str, name: str, outline: BaseGeometry, cell_m: float) -> UnitTerrain:
    """Return figures as those of a unit (planar outline [m]), from cells of this size [m]."""
    is_known = found.slope_mean_deg is not None
    rough = is_too_coarse(outline, cell_m=cell_m) if is_known else None
    return replace(found, unit_id=unit_id, name=name, cells=outline.area / cell_m**2, too_coarse=rough)


def as_stored(outlines: Iterable[BaseGeometry], versions: Iterable[Unit], grid: LocalGrid | None) -> list[BaseGeometry]:
    """Return outlines of the place's grid in lon/lat, a whole unit's to the last digit as it is stored.

    A turn to the grid and back would let those digits depend on where the place's grid has its center.
    """
    if grid is None:
        return []
    stored = {grid.to_grid(unit.geometry).wkb: unit.geometry for unit in versions}
    return [stored.get(outline.wkb) or grid.to_lonlat(outline) for outline in outlines]


def is_south(grid: LocalGrid | None) -> bool:
    """Tell whether a place lies south of the equator, where the noon sun stands in the north."""
    return grid is not None and grid.lat < 0


def rules_here(rules: FaceRules, grid: LocalGrid | None) -> FaceRules:
    """Return what counts as flat, sun-facing and hand-only at a place, from what its settings say.

    The faces that a new place's settings have, southeast to southwest, stand for the sun's side: south of the equator
    they are northwest to northeast. Any others are taken as they are written.
    """
    return rules_for(rules, is_south=is_south(grid))


def rules_for(rules: FaceRules, *, is_south: bool) -> FaceRules:
    """Return what counts as flat, sun-facing and hand-only north or south of the equator; see `rules_here`."""
    is_turned = is_south and rules.sun_facing_deg == SUN_FACING_NORTH_DEG
    return replace(rules, sun_facing_deg=SUN_FACING_SOUTH_DEG) if is_turned else rules
