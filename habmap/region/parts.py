"""Where a run keeps its parts, and when it may go on from what lies there."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from habmap.errors import HabmapError, InputError, PlaceError

#: What marks a folder of parts as one.
MARK_FILE: Final = "habmap-parts.txt"
#: What the names of parts begin with that took work to make.
_WORK: Final = ("part-", "place-")
_MARK_WORDS: Final = "Parts of `habmap region`. May be deleted when no run is to go on from them.\n"


def parts_folder(folder: Path, *, is_resumed: bool, overwrite: bool, is_shared: bool = False) -> Path:
    """Return the folder of parts, made; what lies there is only gone on with where that was asked for.

    Parameters
    ----------
    is_shared
        It was named, and other runs may keep their parts there too: it is never emptied.

    Raises
    ------
    InputError
        The folder holds something else, or parts of an earlier run and nobody said what is to become of them.
    PlaceError
        The disk refused.
    """
    mark = folder / MARK_FILE
    try:
        if folder.exists() and any(folder.iterdir()) and not mark.exists():
            raise InputError("this folder holds something else", where=str(folder), mend="name another one")
        if mark.exists() and not (is_resumed or is_shared):
            if not overwrite:
                raise InputError(
                    "parts of an earlier run are there",
                    where=str(folder),
                    mend="add --resume to go on from them, or --overwrite to begin anew",
                )
            shutil.rmtree(folder)
        folder.mkdir(parents=True, exist_ok=True)
        mark.write_text(_MARK_WORDS, encoding="utf-8")
    except OSError as error:
        raise PlaceError(
            "the folder of parts cannot be written",
            where=str(folder),
            value=error,
            mend="choose an output in a folder of your own",
        ) from error
    return folder


@contextmanager
def forgotten_if_refused(folder: Path) -> Iterator[None]:
    """Take a folder of parts away where a run is refused before any part of it is whole: it leaves nothing then."""
    try:
        yield
    except HabmapError:
        is_worth = any(path.suffix == ".bin" and path.name.startswith(_WORK) for path in folder.iterdir())
        if not is_worth:
            shutil.rmtree(folder, ignore_errors=True)
        raise
