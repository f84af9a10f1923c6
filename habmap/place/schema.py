"""The tables of ``place.gpkg``, derived from the records that are kept: each column from its field's type."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any, Final, Literal, get_origin

from shapely import MultiPolygon, Point

from habmap.records import KEPT, plain_type, shape_field, types_of

STORE_FILE: Final = "place.gpkg"
#: Raised when a table or column changes its meaning; a file with a higher number is left alone. A column or table more
#: does not raise it: an older habmap reads such a file and does not write it (see `habmap.place.writing`).
#: 2: a void may name a correction, and rows say which ones they supersede.
SCHEMA_VERSION: Final = 2

#: What SQLite calls a plain type; a datetime is kept as text of fixed width, anything else as JSON text.
_SQL_TYPES: Final[dict[Any, str]] = {
    str: "TEXT", datetime: "TEXT", float: "REAL", int: "INTEGER", bool: "BOOLEAN", date: "DATE",
}  # fmt: skip
_GEOMETRY_TYPES: Final[dict[Any, str]] = {MultiPolygon: "MULTIPOLYGON", Point: "POINT"}


@dataclass(frozen=True, slots=True)
class Table:
    """One table: the record that its rows are, its name, what it holds, its geometry type and its columns.

    ``geometry_type`` is ``None`` where it has no geometry. A column that older places lack stands at the end, with a
    default where it may not be NULL; the first write adds it. The rest is as in `habmap.records.Kept`.
    """

    record: type[Any]
    name: str
    holds: str
    geometry_type: str | None
    columns: tuple[tuple[str, str], ...]
    changeable: tuple[str, ...] = ()
    is_later: bool = False
    one_per: tuple[str, ...] | None = None

    @property
    def key(self) -> str:
        """Name of the column that holds the row's UUID."""
        return self.columns[0][0]

    @property
    def oldest_first(self) -> str:
        """The order in which rows are read; rows of one moment by id."""
        return f"ORDER BY recorded_at, {self.key}"

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the columns but ``fid`` and ``geom``."""
        return tuple(name for name, _ in self.columns)


def _table(record: type[Any]) -> Table:
    kept, shape, types = KEPT[record], shape_field(record), types_of(record)
    plain, _ = plain_type(types[shape]) if shape else (None, False)
    defaults = {field.name: field.default for field in fields(record)}
    columns = [
        (name, "TEXT NOT NULL UNIQUE" if at == 0 else _sql(hint, defaults[name]))
        for at, (name, hint) in enumerate(types.items())
        if name != shape
    ]
    return Table(
        record=record,
        name=kept.table,
        holds=kept.holds,
        geometry_type=_GEOMETRY_TYPES.get(plain, "GEOMETRY") if shape else None,
        columns=tuple(columns),
        changeable=kept.changeable,
        is_later=kept.is_later,
        one_per=kept.one_per,
    )


def _sql(hint: Any, default: object) -> str:
    plain, is_optional = plain_type(hint)
    kind = "TEXT" if get_origin(plain) is Literal else _SQL_TYPES.get(plain, "TEXT")
    if is_optional:
        return kind
    return f"{kind} NOT NULL" + (f" DEFAULT {int(default)}" if isinstance(default, bool) else "")


TABLE_OF: Final[dict[type[Any], Table]] = {record: _table(record) for record in KEPT}
TABLES: Final = tuple(TABLE_OF.values())
