"""Which records a property keeps, each as the rows of one table; everything about a column follows from its field."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import datetime
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Any, Final, Protocol, TypeVar, Union, get_args, get_origin, get_type_hints

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Record = TypeVar("Record")


class Row(Protocol):
    """Any record that is kept."""

    @property
    def recorded_at(self) -> datetime:
        """The moment at which it was written down (UTC)."""


@dataclass(frozen=True, slots=True)
class Kept:
    """How rows of one kind of record are kept.

    Attributes
    ----------
    table
        Name of the table.
    holds
        What it holds, for people who open the file with another program.
    noun, nouns
        One of its rows and several, in words.
    changeable
        Fields that an update may touch (all others, and every deletion, are refused).
    is_later
        Whether older places lack the table: the first write makes it, until then it reads as empty.
    one_per
        Fields that tell what a row speaks of: of rows that agree in them one counts, and a new one supersedes those it
        is written in sight of (``()``: all rows of the table; ``None``: rows stand beside each other).
    """

    table: str
    holds: str
    noun: str = "row"
    nouns: str = "rows"
    changeable: tuple[str, ...] = ()
    is_later: bool = False
    one_per: tuple[str, ...] | None = None

    @property
    def key(self) -> str:
        """What counts of its rows are called in JSON: the table's name for several."""
        if self.table.endswith("s"):
            return self.table
        return f"{self.table[:-1]}ies" if self.table.endswith("y") else f"{self.table}s"


#: Every kind of record that is kept, in the order in which all rows of a property are told.
KEPT: Final[dict[type[Any], Kept]] = {}


#: Types of fields already looked up: they are asked for with every row.
_TYPES: Final[dict[type[Any], dict[str, Any]]] = {}
#: Of each the field that holds its shape.
_SHAPE_FIELDS: Final[dict[type[Any], str | None]] = {}


def kept(table: str, holds: str, **traits: Any) -> Callable[[type[Record]], type[Record]]:
    """Mark a record class as kept in a table of this name; the traits are those of `Kept`.

    The first field is the row's own id. A field that older places lack stands last, with a default.
    """

    def mark(record: type[Record]) -> type[Record]:
        one = traits.pop("noun", table.removesuffix("s"))
        KEPT[record] = Kept(table, holds, one, traits.pop("nouns", f"{one}s"), **traits)
        return record

    return mark


def key_of(row: Row) -> str:
    """Return a row's own id: its first field."""
    return str(getattr(row, next(iter(types_of(type(row))))))


def types_of(record: type[Any]) -> dict[str, Any]:
    """Return the types of a record's fields by name, in their order."""
    found = _TYPES.get(record)
    if found is None:
        import shapely  # the geometries that fields are annotated with; records themselves load without it
        from shapely.geometry.base import BaseGeometry

        shapes = {"MultiPolygon": shapely.MultiPolygon, "Point": shapely.Point, "BaseGeometry": BaseGeometry}
        hints = get_type_hints(record, localns=shapes)
        found = _TYPES[record] = {field.name: hints[field.name] for field in fields(record)}
    return found


def plain_type(hint: Any) -> tuple[Any, bool]:
    """Return a type without its ``None``, and whether it may be ``None``."""
    if get_origin(hint) not in (Union, UnionType):
        return hint, False
    (plain,) = [one for one in get_args(hint) if one is not NoneType]
    return plain, True


def shape_field(record: type[Any]) -> str | None:
    """Return the name of the field that holds a record's geometry (WGS 84 lon/lat); ``None`` where it has none."""
    if record not in _SHAPE_FIELDS:
        from shapely.geometry.base import BaseGeometry

        plain_types = {name: plain_type(hint)[0] for name, hint in types_of(record).items()}
        shapes = (name for name, one in plain_types.items() if isinstance(one, type) and issubclass(one, BaseGeometry))
        _SHAPE_FIELDS[record] = next(shapes, None)
    return _SHAPE_FIELDS[record]


def shape_of(row: Row) -> BaseGeometry | None:
    """Return the geometry that a row carries (WGS 84 lon/lat); ``None`` where it has none."""
    name = shape_field(type(row))
    return None if name is None else getattr(row, name)
