"""Rasters of heights that a property points at: looked at before they count, and copied whole or not at all."""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from habmap.errors import HabmapError, InputError, PlaceError
from habmap.measures import VerticalUnit
from habmap.place.canopy import open_canopy
from habmap.place.contents import Contents
from habmap.place.elevation import open_elevation
from habmap.place.groundraster import GroundRaster
from habmap.place.writers import sync_folder
from habmap.progress import Progress, Share, Steps
from habmap.records import CanopySource, ElevationSource, Unit
from habmap.work.terrain import DemInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterKind:
    """One kind of raster: what it is in words, its record, its folder when copied, how it is opened and found.

    ``lack`` says what units get without it.
    """

    what: str
    article: str
    lack: str
    folder: str
    record: type[ElevationSource | CanopySource]
    opened: Callable[..., AbstractContextManager[GroundRaster]]
    loaded: Callable[[Contents], ElevationSource | CanopySource | None]


#: By the name of the command that loads them.
RASTERS: Final = {
    "dem": RasterKind(
        what="elevation",
        article="an",
        lack="they get no terrain figures",
        folder="elevation",
        record=ElevationSource,
        opened=open_elevation,
        loaded=lambda store: store.elevation(),
    ),
    "canopy": RasterKind(
        what="canopy raster",
        article="a",
        lack="they get no crown cover from it",
        folder="canopy",
        record=CanopySource,
        opened=open_canopy,
        loaded=lambda store: store.canopy(),
    ),
}


#: What the loading of a raster is told in, before its row is written.
RASTER_STEPS: Final = ("reading", "copying")
_MB: Final = 2**20
#: A raster is copied in parts of this size, so that it can be told how far that is [bytes].
_COPIED_BYTES: Final = 4 * _MB


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterLoaded:
    """What was loaded: whether the raster was copied, and what a person should know about it."""

    copied: bool
    units_covered: int
    units_off: tuple[str, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DemLoaded(RasterLoaded):
    """An elevation just loaded."""

    dem: DemInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyInfo:
    """The raster: its file, coordinate system, side of a cell on the ground [m] and unit of its heights."""

    path: str
    crs: str
    cell_m: float
    vertical_unit: VerticalUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class CanopyLoaded(RasterLoaded):
    """Canopy heights just loaded, and the height from which ground counts as covered [ft]."""

    canopy: CanopyInfo
    height_ft: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BroughtRaster(RasterLoaded):
    """A raster to be pointed at: its row, facts of the file [m], and what is told of the loading."""

    row: ElevationSource | CanopySource
    crs: str
    cell_m: float
    analysis_cell_m: float

    @property
    def file(self) -> dict[str, Any]:
        """What is told of the file."""
        row = self.row
        return {"path": row.path, "crs": self.crs, "cell_m": self.cell_m, "vertical_unit": row.vertical_unit}

    @property
    def told(self) -> dict[str, Any]:
        """What is told of the loading."""
        return {one.name: getattr(self, one.name) for one in fields(RasterLoaded)}


@contextmanager
def bring_raster(
    store: Contents,
    kind: str,
    *,
    path: Path,
    now: datetime,
    vertical_unit: VerticalUnit | None = None,
    copy_into: Path | None = None,
    overwrite: bool = False,
    steps: Steps | None = None,
) -> Iterator[BroughtRaster]:
    """Look at a raster and copy it where that is wanted; where its row is not written then, the copy goes again.

    Parameters
    ----------
    kind
        One of ``RASTERS``. Canopy heights are above the ground, not above the sea.
    vertical_unit
        Unit of its heights; ``None``: take it from the file.
    copy_into
        The place folder, to copy the raster (and its side files) into; ``None``: leave it where it is.
    overwrite
        Follow a raster that is already loaded, or replace a copy of the same name.
    steps
        Have `RASTER_STEPS` among their names.

    Raises
    ------
    InputError
        The raster cannot be used (see `open_elevation`, `open_canopy`), it misses every unit, or there is one already.
    PlaceError
        The copy cannot be written.
    """
    raster_kind, steps = RASTERS[kind], steps or Steps()
    steps.begin("reading")
    cells: dict[str, Any] = {"analysis_cell_m": store.settings.terrain.analysis_cell_m} if kind == "dem" else {}
    units = store.units()
    with raster_kind.opened(path, vertical_unit=vertical_unit, **cells) as raster:
        off = _units_off(store, raster, units, what=raster_kind.what)
        loaded = raster_kind.loaded(store)
        if loaded is not None and not overwrite:
            raise InputError(
                f"this place has {raster_kind.article} {raster_kind.what} already",
                where=str(path),
                value=loaded.path,
                mend="give --overwrite to use the new one from now on",
            )
        target = path.resolve() if copy_into is None else copy_into.resolve() / raster_kind.folder / path.name
        warnings = list(raster.warnings)
        if off:
            shown = ", ".join(off[:5]) + (f" and {len(off) - 5} more" if len(off) > 5 else "")
            warnings.append(f"the {raster_kind.what} covers none of {shown}: {raster_kind.lack}")
        files, is_copied = raster.files, copy_into is not None and target != path.resolve()
        brought = BroughtRaster(
            row=raster_kind.record(
                uuid=str(uuid.uuid4()),
                path=str(target),
                crs_wkt=raster.crs.to_wkt(),
                vertical_unit=raster.vertical_unit,
                recorded_at=now,
            ),
            crs=raster.crs_name,
            cell_m=raster.cell_m,
            analysis_cell_m=raster.analysis_cell_m,
            copied=is_copied,
            units_covered=len(units) - len(off),
            units_off=off,
            warnings=tuple(warnings),
        )
    steps.begin("copying")
    new = _copied(files, target.parent, overwrite=overwrite, progress=steps.within) if is_copied else []
    try:
        yield brought
    except BaseException:
        for file in () if new and _may_be_there(store, raster_kind, brought.row) else new:
            with suppress(OSError):  # of a disk that fails the first error is told, not that the copy stayed
                file.unlink(missing_ok=True)
        raise


def _may_be_there(store: Contents, kind: RasterKind, row: ElevationSource | CanopySource) -> bool:
    """Return whether a row that could not be told as written is on the disk all the same, or nobody can tell."""
    try:
        loaded = kind.loaded(store)
    except HabmapError:
        return True
    return loaded is not None and loaded.uuid == row.uuid


def _units_off(store: Contents, raster: GroundRaster, units: Sequence[Unit], *, what: str) -> tuple[str, ...]:
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


def _copied(files: tuple[Path, ...], folder: Path, *, overwrite: bool, progress: Progress) -> list[Path]:
    """Copy a raster and its side files, each whole or not at all, and return those that were not there before."""
    if not files:
        raise InputError(
            "this raster is a list of other files, or a folder, and cannot be copied by itself",
            mend="add it without --copy, or save it as GeoTIFF first",
            where="the raster",
        )
    taken = [folder / file.name for file in files if (folder / file.name).exists()]
    if taken and not overwrite:
        raise InputError(
            "a file of this name is in the place already",
            where=str(taken[0]),
            mend="give --overwrite to replace it, or rename the new one",
        )
    new = [folder / file.name for file in files if folder / file.name not in taken]
    done_bytes = 0
    with PlaceError(
        "the raster cannot be copied into the place",
        where=str(folder),
        mend="check that the folder can be written and has room, or add it without --copy",
    ).instead_of(OSError):
        all_bytes = sum(file.stat().st_size for file in files)
        folder.mkdir(parents=True, exist_ok=True)
        for file in reversed(files):  # the raster itself last: its side files are there when it appears
            unfinished = folder / f".{file.name}.{uuid.uuid4().hex}"
            try:
                with file.open("rb") as source, unfinished.open("xb") as copied:
                    while part := source.read(_COPIED_BYTES):
                        copied.write(part)
                        done_bytes += len(part)
                        progress(Share(done=done_bytes // _MB, count=max(1, all_bytes // _MB), what="MB"))
                    copied.flush()
                    os.fsync(copied.fileno())
                unfinished.replace(folder / file.name)
            finally:
                unfinished.unlink(missing_ok=True)
        sync_folder(folder)
    return new
