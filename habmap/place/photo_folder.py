"""A person's folder of photos: which files in it are photos, and what each holds; nothing in it is changed."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from habmap.errors import InputError, InputErrors, printable
from habmap.place.pictures import MOST_BYTES
from habmap.place.workbooks import WORKBOOK_SUFFIXES

#: The table that says where photos were taken whose camera did not, and the names it may have.
PHOTO_TABLE: Final = "photos.csv"
PHOTO_TABLES: Final = (PHOTO_TABLE, *(f"photos{suffix}" for suffix in sorted(WORKBOOK_SUFFIXES)))
JPEG_SUFFIXES: Final = frozenset({".jpg", ".jpeg", ".jpe", ".jfif"})
#: Pictures that are not read here; photographs may hide behind them, so they are named and not passed over.
UNREAD_SUFFIXES: Final = frozenset(
    {".heic", ".heif", ".hif", ".avif", ".png", ".tif", ".tiff", ".webp", ".dng", ".cr2", ".cr3", ".nef", ".arw",
     ".raf", ".orf", ".rw2", ".bmp", ".gif"}
)  # fmt: skip
MOST_FILES: Final = 20_000


@dataclass(frozen=True, slots=True)
class PhotoFolder:
    """What a folder holds: JPEG files and other pictures, by path below it, and how many other files."""

    folder: Path
    jpegs: tuple[str, ...]
    unread: tuple[str, ...]
    other_files: int
    table: Path | None


def read_folder(folder: Path) -> PhotoFolder:
    """Look through a folder and the folders in it; hidden ones, and links to folders, are passed over.

    Raises
    ------
    InputError
        There is no such folder, it cannot be read, or it holds more files than anybody's photos.
    """
    try:
        kind = folder.stat().st_mode
    except FileNotFoundError as error:
        raise InputError("there is no such folder", where=printable(str(folder)), mend="check the name") from error
    except (OSError, ValueError) as error:
        raise InputError(
            "the folder cannot be read", where=printable(str(folder)), value=printable(str(error)),
            mend="check its name and its permissions",
        ) from error  # fmt: skip
    if not stat.S_ISDIR(kind):
        raise InputError(
            "this is a file, not a folder", where=printable(str(folder)), mend="name the folder that the photos lie in"
        )
    jpegs: list[str] = []
    unread: list[str] = []
    others, seen = 0, 0
    tables: list[Path] = []
    tables_below: list[str] = []
    try:
        for here, folders, names in os.walk(folder, onerror=_raise, followlinks=False):
            folders[:] = sorted(name for name in folders if not name.startswith("."))
            for name in sorted(names):
                if name.startswith("."):
                    continue
                seen += 1
                if seen > MOST_FILES:
                    raise InputError(
                        "there are too many files in this folder", where=printable(str(folder)),
                        allowed=f"up to {MOST_FILES:,}", mend="put the property's photos into a folder of their own",
                    )  # fmt: skip
                path = Path(here) / name
                below, suffix = path.relative_to(folder).as_posix(), path.suffix.lower()
                if below.lower() in PHOTO_TABLES:
                    tables.append(path)
                elif name.lower() in PHOTO_TABLES:
                    tables_below.append(below)
                elif suffix in JPEG_SUFFIXES:
                    jpegs.append(below)
                elif suffix in UNREAD_SUFFIXES:
                    unread.append(below)
                else:
                    others += 1
    except OSError as error:
        raise InputError(
            "the folder cannot be read",
            where=printable(str(folder)),
            value=error.strerror,
            mend="check its permissions",
        ) from error
    if tables_below:
        # a photo that it calls private would be loaded as one for all eyes
        raise InputErrors(
            [
                InputError(
                    "a table of photos lies in a folder below, where it is not read", where=printable(below),
                    allowed=f"one table {PHOTO_TABLE}, in the folder that you name",
                    mend="move its rows up into the folder's own table, or load that folder by itself",
                )
                for below in tables_below
            ],
            where=printable(str(folder)),
        )  # fmt: skip
    if len(tables) > 1:
        raise InputError(
            "there are several tables of photos in this folder", where=printable(str(folder)),
            value=", ".join(printable(path.name) for path in tables),
            allowed=f"one of {', '.join(PHOTO_TABLES)}", mend="keep the one that holds in this folder",
        )  # fmt: skip
    return PhotoFolder(folder, tuple(jpegs), tuple(unread), others, tables[0] if tables else None)


def _raise(error: OSError) -> None:
    raise error


def photo_bytes(path: Path) -> bytes:
    """Return what a photo's file holds.

    Raises
    ------
    InputError
        It cannot be read, is empty, is no plain file, or is larger than any camera's.
    """
    try:
        # asked before opening: a pipe would wait for its writer
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise InputError("this is no file on disk", where="the file", mend="name a file")
        if found.st_size > MOST_BYTES:
            raise InputError(
                "the file is larger than is accepted", value=f"{found.st_size:,} bytes",
                allowed=f"{MOST_BYTES // 1_000_000} MB", mend="save a smaller copy of it",
            where="the file")  # fmt: skip
        content = path.read_bytes()
    except OSError as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            "the file cannot be read", where="the file", value=error.strerror, mend="check its permissions"
        ) from error
    if not content:
        raise InputError("the file is empty (0 bytes)", mend="copy it from the camera again", where="the file")
    return content


def content_sha256(content: bytes) -> str:
    """Return the SHA-256 of a file's content as hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()
