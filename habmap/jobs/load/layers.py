"""Load a person's layers, rasters of heights and photos: all of a file, or a folder of photos, or none of it."""

from __future__ import annotations

import uuid
from collections import defaultdict
from datetime import datetime
from pathlib import Path
from typing import Any

from habmap.errors import InputError
from habmap.jobs.history import changes_recorded
from habmap.jobs.load.result import LoadResult, read_and_written, result_of
from habmap.jobs.ports import Store
from habmap.land.grid import grid_around
from habmap.land.meridian import near
from habmap.measures import acres
from habmap.place.layers import read_ground_and_repairs
from habmap.place.load.block import BlockSaved, bring_block
from habmap.place.load.features import bring_features
from habmap.place.load.photo_taking import bring_photos
from habmap.place.load.photos import LoadPhotosResult
from habmap.place.load.rasters import RASTER_STEPS, BroughtRaster, CanopyInfo, CanopyLoaded, DemLoaded, bring_raster
from habmap.place.load.units import bring_units
from habmap.progress import Progress, Steps
from habmap.records import Boundary, is_same
from habmap.vocabulary import COVERS
from habmap.work.terrain import DemInfo


def load_units(store: Store, *, path: Path, now: datetime, progress: Progress | None = None, **how: Any) -> LoadResult:
    """Load a layer of units, one that is there as a new version of it; ``how`` as in `bring_units`."""
    brought = read_and_written(
        store, lambda told: bring_units(store, path=path, now=now, progress=told, **how), progress=progress
    )
    by_cover: defaultdict[str, float] = defaultdict(float)
    for unit in sorted(brought.fresh, key=lambda one: COVERS.index(one.cover)):
        grid = store.grid or grid_around([unit.geometry])
        by_cover[unit.cover] += acres(grid.to_grid(unit.geometry).area)
    return result_of(
        "units",
        brought,
        acres=sum(by_cover.values()),
        acres_by_cover=dict(by_cover),
        changes=changes_recorded(store, recorded_at=now) if brought.corrected else (),
    )


def load_features(store: Store, *, path: Path, progress: Progress | None = None, **how: Any) -> LoadResult:
    """Load roads, houses, creeks and other things on the map; ``how`` as in `bring_features`.

    Nests, graves and cultural sites are kept private whatever the file says.
    """
    brought = read_and_written(
        store, lambda told: bring_features(store, path=path, progress=told, **how), progress=progress
    )
    return result_of("features", brought)


def load_boundary(
    store: Store,
    *,
    path: Path,
    now: datetime,
    layer: str | None = None,
    repair: bool = False,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> LoadResult:
    """Load the property's outer line; several polygons are united.

    Raises
    ------
    InputError
        The file is unfit, or another boundary is there and ``overwrite`` is not set.
    """
    steps = Steps(progress, "reading", "writing")
    steps.begin("reading")
    outline, repaired = read_ground_and_repairs(path, layer=layer, repair=repair)
    outline = near(outline, store.grid.lon) if store.grid else outline
    known = store.boundary()
    if known is not None and is_same(known.geometry, outline):
        return LoadResult(kind="boundary", loaded=0, already_there=1, acres=0.0)
    if known is not None and not overwrite:
        raise InputError(
            "the property has a boundary already",
            where=str(path),
            value=f"recorded {known.recorded_at.date().isoformat()}",
            allowed="one boundary at a time; the old one stays on record",
            mend="let the new one count with --overwrite",
        )
    steps.begin("writing")
    store.append([Boundary(uuid=str(uuid.uuid4()), geometry=outline, recorded_at=now)])
    steps.end()
    grid = store.grid or grid_around([outline])
    return LoadResult(kind="boundary", loaded=1, acres=acres(grid.to_grid(outline).area), repaired=repaired)


def load_block(store: Store, *, name: str, path: Path, **how: Any) -> BlockSaved:
    """Save a drawn burn block by name; ``how``, and what is refused, as in `bring_block`."""
    brought, saved = bring_block(store, name=name, path=path, **how)
    store.append(brought.fresh)
    return saved


def load_dem(store: Store, *, path: Path, now: datetime, **how: Any) -> DemLoaded:
    """Make a raster the place's elevation; ``how``, and what is refused, as in `bring_raster`."""
    brought = _loaded(store, "dem", path=path, now=now, **how)
    return DemLoaded(dem=DemInfo(analysis_cell_m=brought.analysis_cell_m, **brought.file), **brought.told)


def load_canopy(store: Store, *, path: Path, now: datetime, **how: Any) -> CanopyLoaded:
    """Make a raster the place's canopy heights; ``how``, and what is refused, as in `bring_raster`."""
    brought = _loaded(store, "canopy", path=path, now=now, **how)
    height_ft = store.settings.density.canopy_height_ft
    return CanopyLoaded(canopy=CanopyInfo(**brought.file), height_ft=height_ft, **brought.told)


def _loaded(store: Store, kind: str, *, progress: Progress | None = None, **how: Any) -> BroughtRaster:
    steps = Steps(progress, *RASTER_STEPS, "writing")
    with bring_raster(store, kind, steps=steps, **how) as brought:
        steps.begin("writing")
        store.append([brought.row])
    steps.end()
    return brought


def load_photos(store: Store, *, folder: Path, **how: Any) -> LoadPhotosResult:
    """Load the JPEG photos of a folder; ``how``, and what is refused, as in `bring_photos`."""
    with bring_photos(store, folder=folder, **how) as brought:
        store.append_with_pictures(brought.rows, brought.pictures())
    return brought.result
