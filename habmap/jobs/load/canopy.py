"""Point a place at a raster of canopy heights above the ground, or copy the raster in."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from habmap.errors import InputError
from habmap.jobs.load.raster import copy_raster, shown_ids, units_off
from habmap.jobs.ports import Store
from habmap.measures import VerticalUnit
from habmap.place.canopy import open_canopy
from habmap.records import CanopySource

#: Folder of a place into which a raster is copied.
CANOPY_FOLDER = "canopy"


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyInfo:
    """The raster: its file, coordinate system, side of a cell on the ground [m] and unit of its heights."""

    path: str
    crs: str
    cell_m: float
    vertical_unit: VerticalUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class AddCanopyResult:
    """What was loaded: the raster, whether it was copied, and what a person should know about it."""

    canopy: CanopyInfo
    height_ft: float
    copied: bool
    units_covered: int
    units_off: tuple[str, ...]
    warnings: tuple[str, ...] = ()


def load_canopy(
    store: Store,
    *,
    path: Path,
    vertical_unit: VerticalUnit | None,
    copy_into: Path | None,
    overwrite: bool,
    now: datetime,
) -> AddCanopyResult:
    """Make a raster the place's canopy heights: heights above the ground, not above the sea.

    Parameters
    ----------
    path
        The raster.
    vertical_unit
        Unit of its heights; ``None``: take it from the file.
    copy_into
        The place folder, to copy the raster (and its side files) into; ``None``: leave it where it is.
    overwrite
        Follow a canopy raster that is already loaded, or replace a copy of the same name.

    Raises
    ------
    InputError
        The raster cannot be used (see :func:`habmap.place.canopy.open_canopy`), it misses every unit, or there is one
        already.
    PlaceError
        The copy cannot be written.
    """
    units = store.units()
    with open_canopy(path, vertical_unit=vertical_unit) as raster:
        off = units_off(store, raster, units, what="canopy raster")
        loaded = store.canopy()
        if loaded is not None and not overwrite:
            raise InputError(
                "this place has a canopy raster already",
                where=str(path),
                value=loaded.path,
                mend="give --overwrite to use the new one from now on",
            )
        files = raster.files
        target = path.resolve() if copy_into is None else copy_into.resolve() / CANOPY_FOLDER / path.name
        warnings = list(raster.warnings)
        if off:
            warnings.append(f"the canopy raster covers none of {shown_ids(off)}: they get no crown cover from it")
        info = CanopyInfo(
            path=str(target), crs=raster.crs_name, cell_m=raster.cell_m, vertical_unit=raster.vertical_unit
        )
        crs_wkt = raster.crs.to_wkt()
    is_copied = copy_into is not None and target != path.resolve()
    new = copy_raster(files, target.parent, overwrite=overwrite) if is_copied else []
    row = CanopySource(
        uuid=str(uuid.uuid4()), path=str(target), crs_wkt=crs_wkt, vertical_unit=info.vertical_unit, recorded_at=now
    )
    try:
        store.append([row])
    except BaseException:
        for file in new:
            file.unlink(missing_ok=True)
        raise
    return AddCanopyResult(
        canopy=info,
        height_ft=store.settings.density.canopy_height_ft,
        copied=is_copied,
        units_covered=len(units) - len(off),
        units_off=off,
        warnings=tuple(warnings),
    )
