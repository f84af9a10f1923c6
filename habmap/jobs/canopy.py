"""How much of each unit lies under a canopy, from a raster of canopy heights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import shapely

from habmap.jobs.ports import Store
from habmap.land.shares import is_too_coarse
from habmap.measures import M_PER_FT
from habmap.place.canopy import open_canopy
from habmap.records import Unit
from habmap.work.density_records import UnitCanopy


def canopy_of_units(store: Store, units: Sequence[Unit]) -> tuple[Mapping[str, UnitCanopy], tuple[str, ...]]:
    """Measure the canopy of units by ``unit_id``; units off the raster are left out, as all are without a raster.

    Returns
    -------
    canopy, warnings

    Raises
    ------
    InputError
        The raster that the place names is gone or unreadable.
    """
    source, grid = store.canopy(), store.grid
    if source is None or grid is None or not units:
        return {}, ()
    outlines = [unit.geometry for unit in units]
    shapes = list(grid.to_grid(shapely.GeometryCollection(outlines)).geoms)
    limit_m = store.settings.density.canopy_height_ft * M_PER_FT
    with open_canopy(Path(source.path), vertical_unit=source.vertical_unit) as raster:
        told_at_loading, cell_m = set(raster.warnings), raster.cell_m
        sums = raster.cover(grid.dense_edges(outlines), limit_m=limit_m)
        warnings = tuple(words for words in raster.warnings if words not in told_at_loading)
    return {
        unit.unit_id: UnitCanopy(
            canopy_pct=total.canopy_pct,
            coverage_pct=total.coverage_pct(unit_m2=shape.area),
            too_coarse=is_too_coarse(shape, cell_m=cell_m),
        )
        for unit, total, shape in zip(units, sums, shapes, strict=True)
        if total.canopy_pct is not None
    }, warnings
