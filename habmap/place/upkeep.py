"""A file made by any version of habmap, brought up to date by the first write to it.

What an older file lacks is added: columns, and the guards, which name them. What this habmap does not know (a column or
a table that a newer one made) it can read past but not write beside: a line corrected here would lose what it holds.
"""

from __future__ import annotations

import sqlite3

from habmap.errors import PlaceError
from habmap.place.bookkeeping import names
from habmap.place.ddl import META_GUARD, META_GUARD_NAME
from habmap.place.guards import column_names, guarding, guards_of
from habmap.place.schema import SCHEMA_VERSION, TABLES, Table


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
