"""What adding any raster of heights to a place needs: which units it misses, and a copy that is whole or not there."""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Sequence
from pathlib import Path

from habmap.errors import InputError, PlaceError
from habmap.jobs.ports import Store
from habmap.place.groundraster import GroundRaster
from habmap.records import Unit


def units_off(store: Store, raster: GroundRaster, units: Sequence[Unit], *, what: str) -> tuple[str, ...]:
    """Return the units that have no ground on a raster; ``what`` it is, in a word or two, for the error.

    Raises
    ------
    InputError
        It misses every unit.
    """
    grid = store.grid
    if grid is None or not units:
        return ()
    on_raster = raster.touches(grid.dense_edges([unit.geometry for unit in units]))
    off = tuple(unit.unit_id for unit, is_on in zip(units, on_raster, strict=True) if not is_on)
    if len(off) == len(units):
        raise InputError(
            f"this {what} covers none of the units",
            where=str(raster.path),
            value=f"{raster.crs_name}, {', '.join(f'{side:.6g}' for side in raster.bounds)}",
            mend="check that it is the right raster, and that its coordinate system is the one the file names",
        )
    on = [unit.geometry for unit, is_on in zip(units, on_raster, strict=True) if is_on]
    if not raster.any_heights(grid.dense_edges(on)):
        raise InputError(
            f"this {what} holds no heights on any of the units",
            where=str(raster.path),
            value="no data",
            mend="look whether it is the right raster, and what its nodata value and its vertical unit are",
        )
    return off


def shown_ids(unit_ids: Sequence[str]) -> str:
    """Return up to five ids and how many more there are."""
    return ", ".join(unit_ids[:5]) + (f" and {len(unit_ids) - 5} more" if len(unit_ids) > 5 else "")


def copy_raster(files: tuple[Path, ...], folder: Path, *, overwrite: bool) -> list[Path]:
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
            "the raster cannot be copied into the place",
            where=str(folder),
            value=error,
            mend="check that the folder can be written and has room, or add it without --copy",
        ) from error
    return new
