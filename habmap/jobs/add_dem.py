"""Point a place at its elevation raster, or copy the raster in."""

from __future__ import annotations

import shutil
import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from habmap.errors import InputError, PlaceError
from habmap.jobs.ports import Store
from habmap.jobs.terrain import DemInfo, dense_edges
from habmap.measures import VerticalUnit
from habmap.place.elevation import Elevation, open_elevation
from habmap.work.records import ElevationSource, Unit

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


def add_dem(
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
        off = _units_off(store, dem, units)
        if units and len(off) == len(units):
            raise InputError(
                "this elevation covers none of the units",
                where=str(path),
                value=f"{dem.crs_name}, {', '.join(f'{side:.6g}' for side in dem.bounds)}",
                mend="check that it is the right raster, and that its coordinate system is the one the file names",
            )
        _refuse_to_replace(store, path, overwrite=overwrite)
        files = dem.files
        target = path.resolve() if copy_into is None else copy_into.resolve() / DEM_FOLDER / path.name
        warnings = list(dem.warnings)
        if off:
            shown = ", ".join(off[:5]) + (f" and {len(off) - 5} more" if len(off) > 5 else "")
            warnings.append(f"the elevation covers none of {shown}: they get no terrain figures")
        info = DemInfo(
            path=str(target),
            crs=dem.crs_name,
            cell_m=dem.cell_m,
            analysis_cell_m=dem.analysis_cell_m,
            vertical_unit=dem.vertical_unit,
        )
        crs_wkt = dem.crs.to_wkt()
    is_copied = copy_into is not None and target != path.resolve()
    new = _copy(files, target.parent, overwrite=overwrite) if is_copied else []
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
        units_off=tuple(off),
        warnings=tuple(warnings),
    )


def _units_off(store: Store, dem: Elevation, units: tuple[Unit, ...]) -> list[str]:
    grid = store.grid
    if grid is None or not units:
        return []
    on_raster = dem.touches(dense_edges(grid, [unit.geometry for unit in units]))
    return [units[i].unit_id for i in np.flatnonzero(~on_raster)]


def _refuse_to_replace(store: Store, path: Path, *, overwrite: bool) -> None:
    loaded = store.elevation()
    if loaded is not None and not overwrite:
        raise InputError(
            "this place has an elevation already",
            where=str(path),
            value=loaded.path,
            mend="give --overwrite to use the new one from now on",
        )


def _copy(files: tuple[Path, ...], folder: Path, *, overwrite: bool) -> list[Path]:
    """Copy a raster and its side files, each whole or not at all, and return those that were not there before."""
    if not files:
        raise InputError(
            "this raster is a list of other files, or a folder, and cannot be copied by itself",
            mend="add it without --copy, or save it as GeoTIFF first",
        )
    taken = [folder / file.name for file in files if (folder / file.name).exists()]
    if taken and not overwrite:
        raise InputError(
            "a file of this name is in the place already",
            where=str(taken[0]),
            mend="give --overwrite to replace it, or rename the new one",
        )
    new = [folder / file.name for file in files if folder / file.name not in taken]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file in reversed(files):  # the raster itself last: its side files are there when it appears
            unfinished = folder / f".{file.name}.{uuid.uuid4().hex}"
            try:
                shutil.copyfile(file, unfinished)
                unfinished.replace(folder / file.name)
            finally:
                unfinished.unlink(missing_ok=True)
    except OSError as error:
        raise PlaceError(
            "the elevation cannot be copied into the place",
            where=str(folder),
            value=error,
            mend="check that the folder can be written and has room, or add the raster without --copy",
        ) from error
    return new
