"""Rows written into ``place.gpkg`` within one transaction, and pictures with them; an older file is brought up to date.

What an older file lacks is added by the first write: columns, and the guards, which name them. What this habmap does
not know (a column or a table that a newer one made) it can read past but not write beside: a line corrected here would
lose what it holds.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from habmap.errors import PlaceError
from habmap.place.bookkeeping import absent, end_replaced_versions, fix_grid, names, note_contents, stored_like
from habmap.place.ddl import META_GUARD, META_GUARD_NAME, table_statements
from habmap.place.guards import column_names, guarding, guards_of
from habmap.place.pictures import kept_pictures
from habmap.place.rows import to_values
from habmap.place.schema import SCHEMA_VERSION, TABLE_OF, TABLES, Table
from habmap.place.source_paths import with_stored_path
from habmap.records import Row, Unit
from habmap.work.succession import in_sight

#: A row, the table it goes into and its column values.
Prepared = tuple[Row, Table, dict[str, Any]]


def prepared(rows: Sequence[Row], folder: Path) -> list[Prepared]:
    """Return rows as they will be stored, so that what cannot be is refused before the file is locked.

    Raises
    ------
    InputError
        A row holds what cannot be stored.
    """
    kept = [with_stored_path(row, folder) for row in rows]
    return [(row, TABLE_OF[type(row)], to_values(row)) for row in kept]


def insert(connection: sqlite3.Connection, ready: Sequence[Prepared], *, is_copied: bool = False) -> None:
    """Insert rows within a transaction, bringing an older file up to date, and see that each is there as written.

    Raises
    ------
    InputError
        A row is there already.
    PlaceError
        The file is not to be written (see `habmap.place.writing`), or does not hold what was written.
    """
    bring_up_to_date(connection)
    rows = [row for row, _, _ in ready]
    for table in absent(connection, {table for _, table, _ in ready}):
        for statement, content in table_statements(table):
            connection.execute(statement, content)
    for _, table, values in ready:
        if table.one_per is not None and not is_copied and values["supersedes"] is None:
            values["supersedes"] = json.dumps(in_sight(stored_like(connection, table, values)))
        columns = ", ".join(values)
        marks = ", ".join("?" * len(values))
        connection.execute(f"INSERT INTO {table.name} ({columns}) VALUES ({marks})", tuple(values.values()))
    for _, table, values in ready:
        _read_back(connection, table, values)
    if any(isinstance(row, Unit) for row in rows):
        end_replaced_versions(connection)
    if rows:
        note_contents(connection, rows)
        fix_grid(connection, rows)


def _read_back(connection: sqlite3.Connection, table: Table, values: dict[str, Any]) -> None:
    """See that a row is there just as written: a program that shares the file may have put triggers into it."""
    found = connection.execute(
        f"SELECT {', '.join(values)} FROM {table.name} WHERE {table.key} = ?", (values[table.key],)
    ).fetchall()
    if [tuple(row) for row in found] != [tuple(values.values())]:
        raise PlaceError(
            "the property's file did not take a row as it was written; nothing was written",
            where=f"{table.name}, row {values[table.key]}",
            mend="see what other programs put into the file with `habmap check`",
        )


def insert_with_pictures(
    connection: sqlite3.Connection,
    ready: Sequence[Prepared],
    folder: Path,
    pictures: Iterable[tuple[str, bytes]],
    *,
    is_copied: bool = False,
) -> None:
    """Write pictures and insert the rows; where either fails, no picture stays.

    All within the transaction, and so under its lock: a second writer of the same photos would otherwise take for kept
    what this one, failing, takes away again. Not the commit: where that fails the rows may be on the disk all the same,
    and a picture without a row does less harm than a row without its picture.
    """
    with kept_pictures(folder, pictures):
        insert(connection, ready, is_copied=is_copied)


# --- an older file ------------------------------------------------------------------------------------------


def bring_up_to_date(connection: sqlite3.Connection) -> None:
    """Add what the file lacks, within the transaction of a write, so that it holds all of it or is as it was.

    Raises
    ------
    PlaceError
        The file holds what a newer habmap made, lacks what no version did without, or another program's triggers could
        swallow or change what is written.
    """
    state = guarding(connection)
    if state.harmful or state.altered:
        _refuse_triggers(state.harmful, state.altered)
    if state.unknown:
        _refuse_unknown(state.unknown)
    tables = [table for table in TABLES if table.name in names(connection, "table")]
    columns = {table: column_names(connection, table.name) for table in tables}
    lacking = {table: _lacking(table, columns[table]) for table in tables}
    for table, missing in lacking.items():
        for name, kind in missing:
            connection.execute(f"ALTER TABLE {table.name} ADD COLUMN {name} {kind}")
    stale = {table for table in tables if lacking[table] or set(guards_of(table, columns[table])) & set(state.missing)}
    for table in stale:
        for name, statement in guards_of(table, table.column_names).items():
            connection.execute(f"DROP TRIGGER IF EXISTS {name}")
            connection.execute(statement)
    if META_GUARD_NAME in state.missing:
        connection.execute(META_GUARD)
    connection.execute(
        "UPDATE habmap_meta SET schema_version = ? WHERE schema_version < ?", (SCHEMA_VERSION, SCHEMA_VERSION)
    )


def _lacking(table: Table, present: tuple[str, ...]) -> list[tuple[str, str]]:
    missing = [(name, kind) for name, kind in table.columns if name not in present]
    needed = [name for name, kind in missing if "NOT NULL" in kind and "DEFAULT" not in kind]
    if needed:
        raise PlaceError(
            "the property's file lacks columns",
            where=f"place.gpkg, table {table.name}",
            value=", ".join(needed),
            mend="restore it from a copy of the property's folder; nothing was written",
        )
    return missing


def _refuse_unknown(found: tuple[str, ...]) -> None:
    raise PlaceError(
        "the property's file holds columns or tables that this habmap does not know; it is read, but not written",
        where="place.gpkg",
        value=", ".join(found[:8]) + (", …" if len(found) > 8 else ""),
        allowed="what this habmap knows",
        mend="update habmap; if another program put them there, take them out with it. Nothing was written",
    )


def _refuse_triggers(harmful: tuple[str, ...], altered: tuple[str, ...]) -> None:
    what = (
        "another program's triggers in the property's file could swallow or change what is written; it is not written"
    )
    if not harmful:
        what = "the guards that keep rows from being changed are not habmap's own any more; the file is not written"
    drops = "; ".join(f"DROP TRIGGER {name}" for name in (*harmful, *altered)[:8])
    raise PlaceError(
        what,
        where="place.gpkg",
        value=", ".join((*harmful, *altered)[:8]),
        allowed="triggers that run after a row is there, raise nothing and write to no table of the property",
        mend="restore the folder from a copy if rows may be gone (`habmap check`); else take them out with the program "
        f"that made them, or with any SQLite program: {drops}. habmap's own guards are made anew by the next write",
    )
