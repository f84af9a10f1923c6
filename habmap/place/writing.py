"""Rows written into ``place.gpkg`` within one transaction, and pictures with them."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from habmap.errors import PlaceError
from habmap.place.bookkeeping import absent, end_replaced_versions, fix_grid, note_contents, stored_like
from habmap.place.ddl import table_statements
from habmap.place.pictures import kept_pictures
from habmap.place.rows import to_values
from habmap.place.schema import TABLE_OF, Table
from habmap.place.source_paths import with_stored_path
from habmap.place.upkeep import bring_up_to_date
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
        The file is not to be written (see `habmap.place.upkeep`), or does not hold what was written.
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
