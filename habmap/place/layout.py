"""Whether a file is a place that this habmap can read, what is wrong with it, and an empty one made."""

from __future__ import annotations

import sqlite3
import uuid
from pathlib import Path

from habmap.errors import PlaceError
from habmap.place.bookkeeping import names
from habmap.place.connection import transaction
from habmap.place.ddl import APPLICATION_ID, USER_VERSION, creation_statements
from habmap.place.guards import guarding
from habmap.place.schema import SCHEMA_VERSION, TABLES


def place_id_of(connection: sqlite3.Connection, path: Path) -> str:
    """Return the UUID of the place in a file.

    Raises
    ------
    PlaceError
        It is no place, it lacks something, or a newer habmap made it.
    """
    application_id = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = names(connection, "table")
    if application_id != APPLICATION_ID or "habmap_meta" not in tables:
        raise PlaceError(
            "this file is not a property that habmap made",
            where=str(path),
            mend="restore it from a copy of the folder, or make a new one with `habmap start`",
        )
    meta = connection.execute("SELECT place_id, schema_version FROM habmap_meta").fetchone()
    if meta is None:
        raise PlaceError("the property's file has no identity", where=str(path), mend="restore it from a copy")
    if not isinstance(meta["schema_version"], int):
        raise PlaceError(
            "the property's file does not say how it is laid out",
            where=str(path),
            value=f"schema {meta['schema_version']}",
            mend="restore it from a copy",
        )
    if meta["schema_version"] > SCHEMA_VERSION:
        raise PlaceError(
            "this property was made by a newer habmap",
            where=str(path),
            value=f"schema {meta['schema_version']}",
            allowed=f"schema {SCHEMA_VERSION} or older",
            mend="update habmap; nothing was changed",
        )
    _refuse_disguised(connection, path)
    missing = {table.name for table in TABLES if not table.is_later} - tables
    if missing:
        raise PlaceError(
            "the property's file lacks tables",
            where=str(path),
            value=", ".join(sorted(missing)),
            mend="restore it from a copy of the property's folder",
        )
    place_id = meta["place_id"]
    if not isinstance(place_id, str) or not _is_uuid(place_id):
        raise PlaceError(
            "the identity of the property's file is damaged",
            where=f"{path}, table habmap_meta",
            value=f"place_id {place_id!r}",
            allowed="a UUID, the same in all copies of the property",
            mend="restore it from a copy of the property's folder",
        )
    return place_id


def _is_uuid(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True


def _refuse_disguised(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse what goes by the name of a table and is none: a view may have no end, and a write to it goes elsewhere."""
    found = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE type IN ('table', 'view')")
    ours = {"habmap_meta", *(table.name for table in TABLES)}
    disguised = [
        f"{row['name']} is a {'view' if row['type'] == 'view' else 'table that another program makes up'}"
        for row in found
        if row["name"].lower() in ours and not row["sql"].upper().startswith("CREATE TABLE")
    ]
    if disguised:
        raise PlaceError(
            "the property's file does not hold its rows in tables of its own",
            where=str(path),
            value=", ".join(sorted(disguised)),
            allowed="the tables that habmap makes",
            mend="restore it from a copy of the property's folder",
        )


def make_empty(connection: sqlite3.Connection, place_id: str) -> None:
    """Make all tables of a place in a file that is new, in one transaction."""
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {USER_VERSION}")
    with transaction(connection):
        for statement, values in creation_statements():
            connection.execute(statement, values)
        connection.execute("INSERT INTO habmap_meta VALUES (1, ?, ?, NULL, NULL)", (place_id, SCHEMA_VERSION))


def file_faults(connection: sqlite3.Connection) -> list[str]:
    """Return what is wrong with the file itself, in words; an empty list where nothing is."""
    faults = [line for (line,) in connection.execute("PRAGMA integrity_check") if line != "ok"]
    state = guarding(connection)
    if state.missing:
        faults.append(f"the guards that keep rows from being changed are gone: {', '.join(state.missing)}")
    if state.altered:
        faults.append(f"the guards that keep rows from being changed are not habmap's own: {', '.join(state.altered)}")
    if state.harmful:
        faults.append(f"other programs' triggers could swallow or change rows: {', '.join(state.harmful)}")
    if state.strange:
        faults.append(f"other programs' triggers hang on habmap's tables: {', '.join(state.strange)}")
    faults += _gone_rows(connection)
    return faults


def _gone_rows(connection: sqlite3.Connection) -> list[str]:
    """Say which tables hold fewer rows than were ever written to them: only another program can take rows away."""
    written = {row["name"]: row["seq"] for row in connection.execute("SELECT name, seq FROM sqlite_sequence")}
    faults = []
    for table in TABLES:
        if table.name in written:
            there = connection.execute(f"SELECT count(*) FROM {table.name}").fetchone()[0]
            if there != written[table.name]:
                faults.append(f"{written[table.name]} rows were written to {table.name}, {there} are there")
    return faults
