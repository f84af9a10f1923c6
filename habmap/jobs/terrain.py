"""How steep each unit is, which way it faces, and how hot that makes it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date

from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.jobs.ground import remaining_ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once, worked_out
from habmap.place.ground_readings import TerrainSums, terrain_under
from habmap.progress import Progress
from habmap.show.terrain_words import coarse_warnings, coverage_warnings
from habmap.work.terrain import TerrainResult, as_stored, is_south, of_unit, rules_here


@once
def terrain(store: Store, *, on: date | None = None, progress: Progress | None = None) -> TerrainResult:
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
    store: Store, *sets: Collection[BaseGeometry], progress: Progress | None = None
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
    source = store.elevation()
    if source is None:
        raise InputError("no elevation is loaded", mend="habmap load dem FILE", where="the property")
    kept = worked_out(store)
    by_key = {(TerrainSums, *(outline.wkb for outline in outlines)): list(outlines) for outlines in sets}
    new = {key: outlines for key, outlines in by_key.items() if key not in kept}
    if new:
        settings = store.settings.terrain
        shapes = [as_stored(outlines, store.unit_versions(), store.grid) for outlines in new.values()]
        found = terrain_under(
            source, shapes, rules=rules_here(settings.rules, store.grid), terrain=settings, progress=progress
        )
        kept.update(zip(new, found, strict=True))
    return tuple(kept[key] for key in by_key)


def _terrain_of(
    store: Store,
    outlines: Mapping[str, Polygon | MultiPolygon],
    *,
    on: date | None,
    progress: Progress | None = None,
) -> TerrainResult:
    (sums,) = terrain_sums(store, outlines.values(), progress=progress)
    names, cell_m = {unit.unit_id: unit.name for unit in store.units(on)}, sums.dem.analysis_cell_m
    figures = tuple(
        of_unit(found, unit_id=unit_id, name=names[unit_id], outline=planar, cell_m=cell_m)
        for unit_id, found, planar in zip(outlines, sums.under, sums.planar, strict=True)
    )
    return TerrainResult(
        on=on,
        dem=sums.dem,
        sun_facing_deg=rules_here(store.settings.terrain.rules, store.grid).sun_facing_deg,
        is_south=is_south(store.grid),
        units=figures,
        warnings=(*sums.warnings, *coverage_warnings(figures), *coarse_warnings(figures, sums.dem)),
    )
