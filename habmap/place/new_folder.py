"""A new place folder: made in a workshop beside it and moved in whole, or not at all; where the sample's layers lie."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from habmap.errors import HabmapError, PlaceError
from habmap.place.schema import STORE_FILE
from habmap.place.settings import SETTINGS_FILE
from habmap.place.settings_reading import read_settings
from habmap.place.store import PLACE_FOLDERS
from habmap.place.writers import sync_folder

FOLDER_NAME = "sample_layers"
SAMPLE_NAME = "Turtle Shell place (sample)"


def sample_layers_folder() -> Path:
    """Return the folder of the sample layers.

    Raises
    ------
    PlaceError
        This copy of habmap came without them.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / FOLDER_NAME, package.parent / FOLDER_NAME):
        if (folder / "units.geojson").is_file():
            return folder
    raise PlaceError(
        "this copy of habmap came without the sample property",
        where=str(package),
        mend="install habmap again, or run `python scripts/make_sample_property.py` in its source folder",
    )


#: What lies in a new place folder.
NEW_FILES = (SETTINGS_FILE, STORE_FILE, *(f"{child}/" for child in PLACE_FOLDERS))


@contextmanager
def new_place(folder: Path) -> Iterator[Path]:
    """Give a workshop for a place, whose files are moved into the folder when the context is left in good order.

    Parameters
    ----------
    folder
        A new folder, or one without place files in it; what else it holds stays as it is. Absolute.

    Raises
    ------
    PlaceError
        There is a place here already, or the folder cannot be written.
    """
    for existing in (folder / SETTINGS_FILE, folder / STORE_FILE):
        if _is_there(existing):
            raise _already_here(folder, existing)
    made = _make_parents(folder)
    try:
        with tempfile.TemporaryDirectory(prefix=".habmap-", dir=folder) as workshop:
            draft = Path(workshop) / "place"
            yield draft
            _move_in(draft, folder)
    except BaseException as error:
        _take_away(made)
        if isinstance(error, OSError) and not isinstance(error, HabmapError):
            raise _not_writable(folder, error) from error
        raise


@contextmanager
def new_sample(folder: Path, *, overwrite: bool) -> Iterator[Path]:
    """Give a workshop for the sample property, which takes the folder's place when all is done.

    Parameters
    ----------
    folder
        A new or empty folder; with ``overwrite`` also one that holds the sample property already. Absolute.

    Raises
    ------
    PlaceError
        The folder holds something else, or cannot be written.
    """
    _refuse_to_lose(folder, overwrite=overwrite)
    with PlaceError(
        "the sample property cannot be written there", where=str(folder), mend="choose a folder that you may write to"
    ).instead_of(OSError):
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".habmap-demo-", dir=folder.parent) as workshop:
            draft, before = Path(workshop) / "place", Path(workshop) / "before"
            yield draft
            if folder.exists():
                folder.rename(before)  # what was there goes with the workshop
            try:
                draft.rename(folder)
            except OSError:
                if before.exists():
                    before.rename(folder)
                raise


def _is_there(path: Path) -> bool:
    """Tell whether a file is there; a name that no disk takes is none, and making it says why."""
    try:
        return path.exists()
    except OSError:
        return False


def _make_parents(folder: Path) -> list[Path]:
    """Make the folder and what is missing above it; return what was made, outermost first."""
    missing = [path for path in (folder, *folder.parents) if not _is_there(path)]
    made: list[Path] = []
    try:
        for directory in reversed(missing):
            directory.mkdir()
            made.append(directory)
            sync_folder(directory.parent)
        if not folder.is_dir():
            raise NotADirectoryError(20, "a file of this name is there", str(folder))
    except OSError as error:
        _take_away(made)
        raise _not_writable(folder, error) from error
    return made


def _take_away(made: Sequence[Path]) -> None:
    """Take away what was made, the last first; a disk that fails may keep some of it."""
    for path in reversed(made):
        with suppress(OSError):
            if path.is_dir():
                path.rmdir()
            else:
                path.unlink()


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
            sync_folder(folder)  # each name on the disk before the next
    except BaseException:
        _take_away(moved)
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
    if _is_there(folder / SETTINGS_FILE):
        return PlaceError(
            "the disk failed at the last moment; the property may be there, or not after a power cut",
            where=str(folder),
            value=error.strerror or error,
            mend="look at it with `habmap check`, or take the folder away and start again elsewhere",
        )
    return PlaceError(
        "the folder cannot be made or written; nothing was changed",
        where=str(folder),
        value=error.strerror or error,
        mend="choose a folder of your own",
    )


def _refuse_to_lose(folder: Path, *, overwrite: bool) -> None:
    """Refuse a folder with anything in it but, when told to overwrite, an earlier sample property."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise PlaceError("this is a file, not a folder", where=str(folder), mend="name a new folder")
    with PlaceError(
        "the folder cannot be read", where=str(folder), mend="see that it is there and that you may read it"
    ).instead_of(OSError):
        is_empty = not any(folder.iterdir())
    if is_empty:
        return
    if not overwrite:
        raise PlaceError(
            "there is something in this folder already",
            where=str(folder),
            allowed="a new or an empty folder",
            mend="choose another folder, or add --overwrite if it holds an earlier sample property",
        )
    if not ((folder / SETTINGS_FILE).is_file() and (folder / STORE_FILE).is_file()):
        raise PlaceError(
            "this folder is not a habmap property; it stays as it is",
            where=str(folder),
            allowed="an earlier sample property",
            mend="choose another folder",
        )
    name = read_settings(folder).place.name
    if name != SAMPLE_NAME:
        raise PlaceError(
            "this folder holds a property of your own; the sample never replaces that",
            where=str(folder),
            value=name,
            allowed=SAMPLE_NAME,
            mend="choose another folder",
        )
