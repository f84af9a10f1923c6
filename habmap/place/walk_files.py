"""The walk files behind log lines, kept as they came under ``tracks/``, each under its line's number."""

from __future__ import annotations

import filecmp
import re
import shutil
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Final

from habmap.errors import HabmapError
from habmap.place.writers import write_whole

FOLDER: Final = "tracks"
_LONGEST_NAME: Final = 80


def keep_walks(folder: Path, walks: Sequence[Path], *, number: int | None) -> tuple[str, ...]:
    """Copy the walks of a log line into the property's folder; what is there already stays.

    The line is in the log before this: a copy that cannot be made is said and takes nothing back.

    Parameters
    ----------
    folder
        The property's folder.
    walks
        The files as the person has them.
    number
        The line's number; ``None``: their names alone.

    Returns
    -------
    tuple[str, ...]
        What could not be kept, in words.
    """
    notes = []
    for walk in walks:
        try:
            target = _free_name(folder / FOLDER, walk, number)
            if target is not None:
                copy = partial(shutil.copyfile, walk)
                write_whole(target, copy, overwrite=False, make_folder=True, is_own=True)
        except (HabmapError, OSError) as error:
            why = getattr(error, "what", error)
            notes.append(
                f"the walk {walk.name} was not kept under {FOLDER}/ ({why}): the line stands, keep the file yourself"
            )
    return tuple(notes)


def _free_name(folder: Path, walk: Path, number: int | None) -> Path | None:
    """Return where a walk goes; ``None`` where its very bytes lie there already."""
    stem = re.sub(r"[^\w.-]+", "_", walk.stem)[:_LONGEST_NAME].strip("._") or "walk"
    suffix = re.sub(r"[^\w.]", "", walk.suffix.lower())
    for again in range(1, 1000):
        target = folder / f"{'' if number is None else f'{number}-'}{stem}{'' if again == 1 else f'-{again}'}{suffix}"
        if not target.exists():
            return target
        if filecmp.cmp(target, walk, shallow=False):
            return None
    raise HabmapError("too many walks of one name", where=str(folder), mend="move the oldest of them elsewhere")
