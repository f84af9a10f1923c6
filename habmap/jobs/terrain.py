"""How steep each unit is, which way it faces, and how hot that makes it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.jobs.ground import remaining_ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once, worked_out
from habmap.land.grid import LocalGrid
from habmap.land.shares import is_too_coarse
from habmap.land.zones import SUN_FACING_NORTH_DEG, SUN_FACING_SOUTH_DEG, FaceRules, Summary
from habmap.measures import VerticalUnit
from habmap.place.elevation import Elevation, open_elevation
from habmap.place.settings import TerrainSection

#: Longest straight edge before it is turned to another projection [m]: it bows by less than 1 mm there.
EDGE_M = 100.0


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
    """Terrain figures of one unit; ``None`` where the elevation covers none of it.

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

    unit_id: str
    name: str
    slope_mean_deg: float | None
    slope_mean_pct: float | None
    slope_p90_pct: float | None
    aspect_mean_deg: float | None
    aspect_concentration: float | None
    facing: str | None
    sun_facing_pct: float | None
    flat_pct: float | None
    heat_load_mean: float | None
    hand_only_pct: float | None
    coverage_pct: float
    cells: float
    too_coarse: bool | None


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


@dataclass(frozen=True, slots=True)
class TerrainSums:
    """Terrain under outlines; the raster that it comes from, and what is odd about its heights."""

    dem: DemInfo
    under: tuple[Summary, ...]
    warnings: tuple[str, ...]


def dem_info(dem: Elevation) -> DemInfo:
    """Return what is said of an open raster."""
    return DemInfo(
        path=str(dem.path),
        crs=dem.crs_name,
        cell_m=dem.cell_m,
        analysis_cell_m=dem.analysis_cell_m,
        vertical_unit=dem.vertical_unit,
    )


@once
def terrain(
    store: Store, *, on: date | None = None, progress: Callable[[float, str], None] | None = None
) -> TerrainResult:
    """Measure slope, aspect and heat load of every unit.

    Raises
    ------
    InputError
        No elevation is loaded, or its file is gone or unreadable.
    """
    return _terrain_of(store, unit_outlines(store, on=on), on=on, progress=progress)


@once
def terrain_of_remaining(store: Store, *, on: date | None = None) -> TerrainResult:
    """Measure the ground that remains in each unit, and the whole of a unit where none does; else as `terrain`."""
    return _terrain_of(store, remaining_outlines(store, on=on), on=on)


def unit_outlines(store: Store, *, on: date | None = None) -> dict[str, Polygon | MultiPolygon]:
    """Return the outlines of the units that hold on a day, by ``unit_id``, in the place's grid [m]."""
    grid = store.grid
    return {} if grid is None else {unit.unit_id: grid.to_grid(unit.geometry) for unit in store.units(on)}


def remaining_outlines(store: Store, *, on: date | None = None) -> dict[str, Polygon | MultiPolygon]:
    """Return the ground that remains in each unit, the whole unit where none does; else as `unit_outlines`."""
    return unit_outlines(store, on=on) | remaining_ground(store, on=on)


def terrain_sums(
    store: Store, *sets: Collection[BaseGeometry], progress: Callable[[float, str], None] | None = None
) -> tuple[TerrainSums, ...]:
    """Sum the terrain under sets of outlines, in one pass over the raster; of a snapshot, each set once for all jobs.

    Parameters
    ----------
    sets
        Valid outlines in the place's grid [m]. What a set gives does not depend on what else is asked.

    Raises
    ------
    InputError
        No elevation is loaded, or its file is gone or unreadable.
    """
    source, grid = store.elevation(), store.grid
    if source is None:
        raise InputError("no elevation is loaded", mend="habmap load dem FILE")
    kept = worked_out(store)
    by_key = {(TerrainSums, *(outline.wkb for outline in outlines)): list(outlines) for outlines in sets}
    new = {key: outlines for key, outlines in by_key.items() if key not in kept}
    if new:
        settings = store.settings.terrain
        with open_elevation(
            Path(source.path), vertical_unit=source.vertical_unit, analysis_cell_m=settings.analysis_cell_m
        ) as dem:
            # The unit was settled, and any difference told, when the raster was loaded.
            told_at_loading = set(dem.warnings)
            shapes = [[] if grid is None else _in_degrees(grid, outlines) for outlines in new.values()]
            sums = dem.zone_sums_of(shapes, rules=face_rules(settings, grid), progress=progress)
            warnings = tuple(words for words in dem.warnings if words not in told_at_loading)
        for (key, outlines), totals in zip(new.items(), sums, strict=True):
            found = [total.summary(unit_m2=shape.area) for total, shape in zip(totals, outlines, strict=True)]
            kept[key] = TerrainSums(dem_info(dem), tuple(found), warnings)
    return tuple(kept[key] for key in by_key)


def _terrain_of(
    store: Store,
    outlines: Mapping[str, Polygon | MultiPolygon],
    *,
    on: date | None,
    progress: Callable[[float, str], None] | None = None,
) -> TerrainResult:
    (sums,) = terrain_sums(store, outlines.values(), progress=progress)
    names = {unit.unit_id: unit.name for unit in store.units(on)}
    figures = tuple(
        _unit_terrain(unit_id, names[unit_id], outline, found, cell_m=sums.dem.analysis_cell_m)
        for (unit_id, outline), found in zip(outlines.items(), sums.under, strict=True)
    )
    return TerrainResult(
        on=on,
        dem=sums.dem,
        sun_facing_deg=face_rules(store.settings.terrain, store.grid).sun_facing_deg,
        is_south=is_south(store.grid),
        units=figures,
        warnings=(*sums.warnings, *coverage_warnings(figures), *_coarse_warnings(figures, sums.dem)),
    )


def is_south(grid: LocalGrid | None) -> bool:
    """Tell whether a place lies south of the equator, where the noon sun stands in the north."""
    return grid is not None and grid.lat < 0


def face_rules(settings: TerrainSection, grid: LocalGrid | None) -> FaceRules:
    """Return what counts as flat, sun-facing and hand-only at this place.

    The faces that a new place's settings have, southeast to southwest, stand for the sun's side: south of the equator
    they are northwest to northeast. Any others are taken as they are written.
    """
    is_turned = is_south(grid) and settings.sun_facing_deg == SUN_FACING_NORTH_DEG
    return FaceRules(
        flat_below_pct=settings.flat_below_pct,
        sun_facing_deg=SUN_FACING_SOUTH_DEG if is_turned else settings.sun_facing_deg,
        machine_limit_pct=settings.machine_limit_pct,
    )


def dense_edges(grid: LocalGrid, geometries: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """Return lon/lat geometries with extra vertices along edges that are straight in the place's grid."""
    return _in_degrees(grid, list(grid.to_grid(shapely.GeometryCollection(list(geometries))).geoms))


def _in_degrees(grid: LocalGrid, shapes: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    in_grid = shapely.segmentize(shapely.GeometryCollection(list(shapes)), EDGE_M)
    return list(grid.to_lonlat(in_grid).geoms)


def coverage_warnings(figures: Sequence[UnitTerrain]) -> tuple[str, ...]:
    """Say which units the elevation leaves out, whole or in part."""
    off = [unit.unit_id for unit in figures if unit.coverage_pct == 0]
    part = [unit for unit in figures if 0 < unit.coverage_pct < 99]
    words = []
    if off:
        words.append(f"the elevation covers none of {_listed(off)}: no terrain figures there")
    if part:
        shares = [f"{unit.coverage_pct:.0f} % of {unit.unit_id}" for unit in part]
        words.append(f"the elevation covers only {_listed(shares)}: the figures are of that part")
    return tuple(words)


def _coarse_warnings(figures: Sequence[UnitTerrain], dem: DemInfo) -> tuple[str, ...]:
    """Say for which units the cells are too coarse, and what would mend it."""
    names = [f"{unit.unit_id} ({_cells(unit.cells)})" for unit in figures if unit.too_coarse]
    if not names:
        return ()
    mend = "load finer elevation"
    if dem.analysis_cell_m > 1.5 * dem.cell_m:
        mend = "make analysis_cell_m in habmap.toml smaller, or “native”"
    return (
        f"cells of {dem.analysis_cell_m:.0f} m are too coarse for {_listed(names)}: take the terrain figures there as "
        f"rough ({mend})",
    )


def _cells(cells: float) -> str:
    return "less than one cell" if cells < 1 else "1 cell" if cells < 1.5 else f"{cells:.0f} cells"


def _unit_terrain(unit_id: str, name: str, outline: BaseGeometry, found: Summary, *, cell_m: float) -> UnitTerrain:
    return UnitTerrain(
        unit_id=unit_id,
        name=name,
        **asdict(found),
        cells=outline.area / cell_m**2,
        too_coarse=is_too_coarse(outline, cell_m=cell_m) if found.slope_mean_deg is not None else None,
    )


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(names[:5])
    return shown if len(names) <= 5 else f"{shown} and {len(names) - 5} more"
