"""Connections to ``place.gpkg``: whole transactions, and SQLite's errors in words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from habmap.errors import HabmapError, InputError, PlaceBusyError, PlaceError
from habmap.place.ddl import ALREADY_THERE


def connect(path: Path, busy_timeout_s: float, *, mode: str = "rw") -> sqlite3.Connection:
    """Connect to read and write where the system allows it, else to read; this undoes an interrupted save."""
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}", uri=True, timeout=busy_timeout_s, isolation_level=None
    )
    try:
        connection.row_factory = sqlite3.Row
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = OFF")
    except BaseException:
        connection.close()
        raise
    return connection


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
    except OSError as error:
        raise PlaceError("the property's file cannot be used", where=str(path), value=error) from error


def _fault(path: Path, name: str, message: str) -> HabmapError:
    where = str(path)
    if ALREADY_THERE in message:
        return InputError(
            "a row with this id is already there; nothing was written",
            where=where,
            mend="rows are corrected by `amend` or `void`",
        )
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return PlaceBusyError(
            "another program is writing to this property and did not finish in time; nothing was written",
            where=where,
            mend="wait until it has finished, or close it, and try again",
        )
    words = {
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
            "the disk failed while reading or writing; nothing was written",
            "check the disk and its free space",
        ),
    }
    for prefix, (what, mend) in words.items():
        if name.startswith(prefix):
            return PlaceError(what, where=where, value=message, mend=mend)
    return PlaceError("the property's file cannot be used", where=where, value=f"{message} ({name})")
