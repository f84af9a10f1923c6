"""Rows of ``place.gpkg`` found and made into records; tables that an older place lacks read as empty."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final, TypeVar

from habmap.errors import HabmapError, PlaceError
from habmap.land.grid import LocalGrid
from habmap.land.meridian import near
from habmap.memory import remembered
from habmap.place.bookkeeping import names
from habmap.place.guards import column_names
from habmap.place.rows import from_values
from habmap.place.schema import Table
from habmap.records import shape_field

Record = TypeVar("Record")

#: A property whose grid is centered no farther than this from Greenwich has nothing near the 180° meridian [°].
FAR_FROM_MERIDIAN_DEG: Final = 90.0

#: More rows, or more bytes of text and outlines, in one table than any property has: 100 lines a day for five years.
MOST_ROWS: Final = 200_000
MOST_BYTES: Final = 256 * 2**20


def beside_grid(row: Record, grid: LocalGrid | None) -> Record:
    """Return a row with its shape's longitudes counted near the grid's center, so that neighbors across 180° meet."""
    if grid is None or abs(grid.lon) <= FAR_FROM_MERIDIAN_DEG:
        return row
    name = shape_field(type(row))
    shape = getattr(row, name) if name else None
    if name is None or shape is None:
        return row
    moved = near(shape, grid.lon)
    return row if moved is shape else replace(row, **{name: moved})  # type: ignore[type-var]


def select(connection: sqlite3.Connection, table: Table, rest: str, values: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return a table's rows by column name, chosen and ordered by the rest of the statement.

    Raises
    ------
    PlaceError
        It holds more than any property does; that is said before it fills the memory.
    """
    if table.is_later and table.name not in names(connection, "table"):
        return []
    there = connection.execute(f"SELECT count(*) FROM {table.name}").fetchone()[0]
    if there > MOST_ROWS:
        _refuse_size(table, f"{there:,} rows", f"at most {MOST_ROWS:,}")
    present = column_names(connection, table.name)
    columns = [name for name in ("geom", *table.column_names) if name in present]
    found, held_bytes = [], 0
    for row in connection.execute(f"SELECT {', '.join(columns)} FROM {table.name} {rest}", values):
        held_bytes += sum(len(value) for value in row if isinstance(value, str | bytes))
        if held_bytes > MOST_BYTES:
            _refuse_size(table, f"more than {MOST_BYTES // 2**20} MB", "less")
        found.append(dict(row))
    return found


def _refuse_size(table: Table, value: str, allowed: str) -> None:
    raise PlaceError(
        "the property's file holds more than a property does",
        where=f"place.gpkg, table {table.name}",
        value=value,
        allowed=allowed,
        mend="see which program wrote it; restore the folder from a copy",
    )


def decoded(found: Sequence[dict[str, Any]], record: type[Record]) -> tuple[Record, ...]:
    """Return rows of a table as its records.

    Raises
    ------
    PlaceError
        What another program wrote there does not read as one.
    """
    records = []
    for row in found:
        try:
            records.append(_record(record, tuple(row), *row.values()))
        except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, RecursionError) as error:
            if isinstance(error, HabmapError):
                raise
            raise PlaceError(
                "a stored row is damaged",
                where=f"row {row.get('uuid') or row.get('entry_id')}",
                value=error,
                mend="restore the property's folder from a copy",
            ) from error
    return tuple(records)


@remembered
def _record(record: type[Any], names: tuple[str, ...], *values: Any) -> Any:
    """Make a row into a record; one that is stored as it was is the same record."""
    return from_values(record, dict(zip(names, values, strict=True)))
