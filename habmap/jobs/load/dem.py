"""Point a place at its elevation raster, or copy the raster in."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from habmap.errors import InputError
from habmap.jobs.load.raster import copy_raster, shown_ids, units_off
from habmap.jobs.ports import Store
from habmap.measures import VerticalUnit
from habmap.place.elevation import open_elevation
from habmap.records import ElevationSource
from habmap.work.terrain import DemInfo

#: Folder of a place into which a raster is copied.
DEM_FOLDER = "elevation"


@dataclass(frozen=True, slots=True, kw_only=True)
class AddDemResult:
    """What was loaded: the raster, whether it was copied, and what a person should know about it."""

    dem: DemInfo
    copied: bool
    units_covered: int
    units_off: tuple[str, ...]
    warnings: tuple[str, ...] = ()


def load_dem(
    store: Store,
    *,
    path: Path,
    vertical_unit: VerticalUnit | None,
    copy_into: Path | None,
    overwrite: bool,
    now: datetime,
) -> AddDemResult:
    """Make a raster the place's elevation.

    Parameters
    ----------
    path
        The raster.
    vertical_unit
        Unit of its heights; ``None``: take it from the file.
    copy_into
        The place folder, to copy the raster (and its side files) into; ``None``: leave it where it is.
    overwrite
        Follow an elevation that is already loaded, or replace a copy of the same name.

    Raises
    ------
    InputError
        The raster cannot be used (see :func:`habmap.place.elevation.open_elevation`), it misses every unit, or there
        is an elevation already.
    PlaceError
        The copy cannot be written.
    """
    units = store.units()
    with open_elevation(
        path, vertical_unit=vertical_unit, analysis_cell_m=store.settings.terrain.analysis_cell_m
    ) as dem:
        off = units_off(store, dem, units, what="elevation")
        _refuse_to_replace(store, path, overwrite=overwrite)
        files = dem.files
        target = path.resolve() if copy_into is None else copy_into.resolve() / DEM_FOLDER / path.name
        warnings = list(dem.warnings)
        if off:
            warnings.append(f"the elevation covers none of {shown_ids(off)}: they get no terrain figures")
        info = dem.info(target)
        crs_wkt = dem.crs.to_wkt()
    is_copied = copy_into is not None and target != path.resolve()
    new = copy_raster(files, target.parent, overwrite=overwrite) if is_copied else []
    row = ElevationSource(
        uuid=str(uuid.uuid4()),
        path=str(target),
        crs_wkt=crs_wkt,
        vertical_unit=info.vertical_unit,
        recorded_at=now,
    )
    try:
        store.append([row])
    except BaseException:
        for file in new:
            file.unlink(missing_ok=True)
        raise
    return AddDemResult(
        dem=info,
        copied=is_copied,
        units_covered=len(units) - len(off),
        units_off=off,
        warnings=tuple(warnings),
    )


def _refuse_to_replace(store: Store, path: Path, *, overwrite: bool) -> None:
    loaded = store.elevation()
    if loaded is not None and not overwrite:
        raise InputError(
            "this place has an elevation already",
            where=str(path),
            value=loaded.path,
            mend="give --overwrite to use the new one from now on",
        )
