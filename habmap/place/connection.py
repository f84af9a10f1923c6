"""Connections to ``place.gpkg``: whole transactions, and SQLite's errors in words."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

from habmap.errors import HabmapError, InputError, PlaceBusyError, PlaceError
from habmap.place.beside import check_beside
from habmap.place.ddl import ALREADY_THERE
from habmap.place.wkb import bounds_of

#: A value longer than this is no part of a property, and is not taken into memory [bytes].
LONGEST_VALUE: Final = 32 * 2**20
#: How long SQLite may be at work for one call before the file is taken for what it is not [s].
LONGEST_WORK_S = 120.0
#: Steps of SQLite's own machine between two looks at the clock.
_STEPS: Final = 20_000


def connect(path: Path, busy_timeout_s: float, *, mode: str = "rw") -> sqlite3.Connection:
    """Connect to read and write where the system allows it, else to read; this undoes an interrupted save.

    ``synchronous = EXTRA`` puts the folder on the disk too when the journal is taken away: with less, a power cut right
    after a write can bring the journal back, and with it the file as it was before (SQLite, "PRAGMA synchronous").
    """
    check_beside(path)
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=busy_timeout_s, isolation_level=None
    )
    try:
        connection.row_factory = sqlite3.Row
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
        connection.set_progress_handler(_out_of_time(), _STEPS)
        for name, function in _FUNCTIONS.items():
            connection.create_function(name, 1, function, deterministic=True)
        connection.execute("PRAGMA synchronous = EXTRA")
        connection.execute("PRAGMA foreign_keys = OFF")
    except BaseException:
        connection.close()
        raise
    return connection


def _out_of_time() -> Callable[[], bool]:
    """Return what tells SQLite to give up; only the time that it is itself at work counts."""
    before = time.monotonic()
    worked_s = 0.0

    def is_out() -> bool:
        nonlocal before, worked_s
        now = time.monotonic()
        worked_s += min(now - before, 1.0)
        before = now
        return worked_s > LONGEST_WORK_S

    return is_out


def _edge(index: int) -> Callable[[bytes | None], float | None]:
    def edge(blob: bytes | None) -> float | None:
        bounds = bounds_of(blob)
        return None if bounds is None else bounds[index]

    return edge


#: What the triggers of a spatial index call, which plain SQLite lacks (GeoPackage 1.3, annex F.3): with them another
#: program's index on our tables neither stops a write nor falls behind.
_FUNCTIONS: Final[dict[str, Callable[[bytes | None], float | None]]] = {
    "ST_IsEmpty": lambda blob: None if blob is None else bounds_of(blob) is None,
    "ST_MinX": _edge(0),
    "ST_MinY": _edge(1),
    "ST_MaxX": _edge(2),
    "ST_MaxY": _edge(3),
}


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        if connection.in_transaction:
            connection.execute("COMMIT")
    except BaseException:
        # SQLite has rolled back by itself after some errors (a full disk); a second one would hide the first.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def reading(path: Path, busy_timeout_s: float) -> Iterator[sqlite3.Connection]:
    """Connect for as long as a call lasts, SQLite's errors put into words."""
    with words_for(path), closing(connect(path, busy_timeout_s)) as connection:
        yield connection


@contextmanager
def writing(path: Path, busy_timeout_s: float) -> Iterator[sqlite3.Connection]:
    """Connect, lock the file and write all that is done meanwhile, or nothing."""
    with reading(path, busy_timeout_s) as connection:
        # Other programs leave a GeoPackage in write-ahead mode, where a copy of the one file may lack rows.
        connection.execute("PRAGMA journal_mode = DELETE")
        with transaction(connection):
            yield connection


@contextmanager
def words_for(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into words a steward can act on."""
    try:
        yield
    except HabmapError:
        raise
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", None) or ""
        raise _fault(path, name, str(error)) from error
    except UnicodeDecodeError as error:  # sqlite3 reads SQLite's own words, which quote the file, as UTF-8
        raise _fault(path, "SQLITE_CORRUPT", "its inner names are no text") from error
    except OSError as error:
        raise PlaceError(
            "the property's file cannot be used", where=str(path), value=error, mend="check the disk and its free space"
        ) from error


def _fault(path: Path, name: str, message: str) -> HabmapError:
    where = str(path)
    if ALREADY_THERE in message:
        return InputError(
            "a row with this id is already there; nothing was written",
            where=where,
            mend="rows are corrected by `habmap correct` or `habmap void`",
        )
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return PlaceBusyError(
            "another program is writing to this property and did not finish in time; nothing was written",
            where=where,
            mend="wait until it has finished, or close it, and try again",
        )
    words = {
        "SQLITE_TOOBIG": (
            f"the property's file holds a value of more than {LONGEST_VALUE // 2**20} MB, or was given one",
            "see which program wrote it; restore the folder from a copy",
        ),
        "SQLITE_INTERRUPT": (
            f"after {LONGEST_WORK_S:.0f} s of work the property's file was not through: it is not what it seems",
            "see what other programs put into it; restore the folder from a copy",
        ),
        "SQLITE_FULL": ("the disk is full; nothing was written", "make room and try again"),
        "SQLITE_READONLY": (
            "the property's file cannot be written; nothing was changed",
            "make the file and its folder writable",
        ),
        "SQLITE_CANTOPEN": (
            "the property's file cannot be opened, or its folder cannot be written; nothing was changed",
            "check that folder and file are there and yours to write",
        ),
        "SQLITE_NOTADB": (
            "the property's file is not a GeoPackage, or it is damaged",
            "restore it from a copy",
        ),
        "SQLITE_CORRUPT": (
            "the property's file is damaged",
            "restore it from a copy of the property's folder",
        ),
        "SQLITE_IOERR": (
            # the last sync of a write may fail when it is done: the disk alone knows whether it will last
            "the disk failed while reading or writing",
            "check the disk; then look with `habmap history` whether what you wrote is there, before writing it again",
        ),
    }
    for prefix, (what, mend) in words.items():
        if name.startswith(prefix):
            return PlaceError(what, where=where, value=message, mend=mend)
    return PlaceError(
        "the property's file cannot be used",
        where=where,
        value=f"{message} ({name})",
        mend="see which program wrote it last; restore it from a copy of the property's folder",
    )
