"""Make a new place folder, whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from habmap.errors import PlaceError
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.place.layers import read_boundary
from habmap.place.schema import STORE_FILE
from habmap.place.settings import SETTINGS_FILE
from habmap.place.store import PLACE_FOLDERS, GeoPackageStore
from habmap.records import Boundary


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A place that has just been made; ``boundary_acres`` [acre] is ``None`` where no boundary was given."""

    place: str
    place_id: str
    folder: str
    files: tuple[str, ...]
    boundary_acres: float | None


def start(
    folder: Path, *, name: str, now: datetime, boundary: Path | None = None, timezone: str | None = None
) -> Started:
    """Make a place folder with commented settings and an empty GeoPackage.

    Parameters
    ----------
    folder
        A new folder, or one without place files in it; what else it holds stays as it is.
    name
        What people call the property.
    now
        The moment of recording, UTC.
    boundary
        Vector file with the property's outer line, any CRS that it declares.
    timezone
        Name of the time zone whose local days the dates are.

    Raises
    ------
    PlaceError
        There is a place here already, or the folder cannot be written.
    InputError
        The boundary file is unfit.
    UsageError
        The name or the time zone cannot be used.
    """
    folder = folder.absolute()
    for existing in (folder / SETTINGS_FILE, folder / STORE_FILE):
        if existing.exists():
            raise _already_here(folder, existing)
    outline = None if boundary is None else read_boundary(boundary)
    made = _make_parents(folder)
    try:
        with tempfile.TemporaryDirectory(prefix=".habmap-", dir=folder) as workshop:
            draft = Path(workshop) / "place"
            store = GeoPackageStore.create(draft, name, timezone=timezone)
            boundary_acres = None
            if outline is not None:
                store.append([Boundary(uuid=str(uuid.uuid4()), geometry=outline, recorded_at=now)])
                grid = store.grid
                assert isinstance(grid, LocalGrid)  # the boundary has just fixed it
                boundary_acres = acres(grid.to_grid(outline).area)
            _move_in(draft, folder)
    except BaseException as error:
        for directory in reversed(made):
            directory.rmdir()
        if isinstance(error, OSError) and not isinstance(error, PlaceError):
            raise _not_writable(folder, error) from error
        raise
    return Started(
        place=name,
        place_id=store.place_id,
        folder=str(folder),
        files=(SETTINGS_FILE, STORE_FILE, *(f"{child}/" for child in PLACE_FOLDERS)),
        boundary_acres=boundary_acres,
    )


def _make_parents(folder: Path) -> list[Path]:
    """Make the folder and what is missing above it; return what was made, outermost first."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    made: list[Path] = []
    try:
        for directory in reversed(missing):
            directory.mkdir()
            made.append(directory)
        if not folder.is_dir():
            raise NotADirectoryError(20, "a file of this name is there", str(folder))
    except OSError as error:
        for directory in reversed(made):
            directory.rmdir()
        raise _not_writable(folder, error) from error
    return made


def _move_in(draft: Path, folder: Path) -> None:
    """Move the finished files into the folder, the settings last: only with them it is a place."""
    moved: list[Path] = []
    try:
        for child in PLACE_FOLDERS:
            if not (folder / child).exists():
                shutil.move(draft / child, folder / child)
                moved.append(folder / child)
        for name in (STORE_FILE, SETTINGS_FILE):
            shutil.move(draft / name, folder / name)
            moved.append(folder / name)
    except BaseException:
        for path in reversed(moved):
            if path.is_dir():
                path.rmdir()
            else:
                path.unlink()
        raise


def _already_here(folder: Path, existing: Path) -> PlaceError:
    if (folder / SETTINGS_FILE).exists():
        return PlaceError(
            "there is a property here already",
            where=str(existing),
            mend="choose another folder; nothing was changed",
        )
    # The settings move in last: a start that was cut short (a power cut) can leave the store without them.
    return PlaceError(
        f"there is a {STORE_FILE} here without its {SETTINGS_FILE}; nothing was changed",
        where=str(existing),
        mend="bring the settings back from a copy; or, if only a start that was cut short left it, move the file away "
        "and start again",
    )


def _not_writable(folder: Path, error: OSError) -> PlaceError:
    return PlaceError(
        "the folder cannot be made or written; nothing was changed",
        where=str(folder),
        value=error.strerror or error,
        mend="choose a folder of your own",
    )
