"""What lies beside a file: libraries open side files by themselves, and wait for a pipe's other end for good."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from habmap.errors import InputError, printable


def files_beside(path: Path) -> Iterator[Path]:
    """Yield all that has a file's name in its folder, with whatever endings (``-journal``, ``.dbf``), itself too.

    Raises
    ------
    InputError
        One of them is a pipe or a device.
    """
    stem = path.stem.casefold()
    with os.scandir(path.parent) as listed:
        names = [one.name for one in listed if one.name.casefold().startswith(stem)]
    for name in names:
        beside = path.with_name(name)
        with suppress(OSError):  # a link that leads nowhere
            mode = beside.stat().st_mode
            if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
                raise InputError(
                    "this is a pipe or a device, not a file, and would be read with the file beside it",
                    where=printable(str(beside), longest=400),
                    allowed="files on disk",
                    mend="take it away, or put the file into a folder of its own",
                )
        yield beside


def check_beside(path: Path) -> None:
    """See that nothing beside a file that has its name is a pipe or a device; see `files_beside`."""
    for _ in files_beside(path):
        pass
