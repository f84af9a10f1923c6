"""Rows written into ``place.gpkg`` within one transaction, and pictures with them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from habmap.place import rows as codec
from habmap.place.bookkeeping import absent, columns_of, end_replaced_versions, fix_grid, note_contents
from habmap.place.ddl import column_statements, table_statements
from habmap.place.pictures import kept_pictures
from habmap.place.schema import Table
from habmap.place.source_paths import with_stored_path
from habmap.work.records import Row, Unit

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
    return [(row, codec.TABLE_OF[type(row)], codec.to_values(row)) for row in kept]


def insert(connection: sqlite3.Connection, ready: Sequence[Prepared]) -> None:
    """Insert rows within a transaction, making the later tables and columns that an older place lacks."""
    rows, touched = [row for row, _, _ in ready], {table for _, table, _ in ready}
    for table in absent(connection, touched):
        for statement, content in table_statements(table):
            connection.execute(statement, content)
    for table in touched:
        for statement in column_statements(table, columns_of(connection, table)):
            connection.execute(statement)
    for _, table, values in ready:
        columns = ", ".join(values)
        marks = ", ".join("?" * len(values))
        connection.execute(f"INSERT INTO {table.name} ({columns}) VALUES ({marks})", tuple(values.values()))
    if any(isinstance(row, Unit) for row in rows):
        end_replaced_versions(connection)
    if rows:
        note_contents(connection, rows)
        fix_grid(connection, rows)


def insert_with_pictures(
    connection: sqlite3.Connection, ready: Sequence[Prepared], folder: Path, pictures: Iterable[tuple[str, bytes]]
) -> None:
    """Write pictures, insert the rows and commit; where any of it fails, no picture stays.

    All under the transaction's lock: a second writer of the same photos would otherwise take for kept what this one,
    failing, takes away again.
    """
    with kept_pictures(folder, pictures):
        insert(connection, ready)
        connection.execute("COMMIT")
