"""Records to rows of ``place.gpkg`` and back, exactly: each value by the type of its field."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, is_dataclass
from datetime import UTC, date, datetime
from typing import Any, Final, Literal, TypeVar, get_args, get_origin

from shapely import MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.place.schema import TABLE_OF
from habmap.place.wkb import as_multipolygon, from_blob, to_blob
from habmap.records import Row, plain_type, shape_field, shape_of, types_of
from habmap.vocabulary import OLD_PRACTICES

Record = TypeVar("Record")


def to_values(row: Row) -> dict[str, object]:
    """Return a record as column values, ``geom`` among them where its table has one.

    Raises
    ------
    InputError
        A number is not finite, a moment has no time zone, or a text cannot be stored.
    """
    table = TABLE_OF[type(row)]
    where = f"{table.name}, row {getattr(row, table.key)}"
    values = {name: _to_column(name, getattr(row, name), where=where) for name in table.column_names}
    if table.geometry_type is not None:
        shape = shape_of(row)
        values["geom"] = None if shape is None else to_blob(shape)
    return values


def from_values(record: type[Record], values: Mapping[str, Any]) -> Record:
    """Return column values as a record; a column that an older place lacks takes the field's default.

    Raises
    ------
    ValueError
        A value is not of its field's type: another program wrote it.
    PlaceError
        A geometry is damaged.
    """
    table, shape = TABLE_OF[record], shape_field(record)
    where = f"{table.name}, row {values[table.key]}"
    found: dict[str, Any] = {}
    for name, hint in types_of(record).items():
        if name == shape:
            found[name] = _shape(hint, values["geom"], where=where)
        elif name in values:
            found[name] = _from_column(name, hint, values[name])
    return record(**found)


def moment_text(moment: datetime) -> str:
    """Return a moment as UTC text of fixed width, so that text order is time order."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")


def _shape(hint: Any, blob: bytes | None, *, where: str) -> BaseGeometry | None:
    plain, is_optional = plain_type(hint)
    if blob is None:
        if is_optional:
            return None
        raise ValueError("geom is empty")
    shape = from_blob(blob, where=where)
    if plain is MultiPolygon:
        return as_multipolygon(shape, where=where)
    if plain is Point and not isinstance(shape, Point):
        raise ValueError(f"geom holds a {shape.geom_type}")
    return shape


def _from_column(name: str, hint: Any, value: Any) -> Any:
    """Return a column's value as its field has it; SQLite itself takes a word where a number is declared."""
    plain, is_optional = plain_type(hint)
    if value is None and is_optional:
        return None
    if name == "practice":
        value = OLD_PRACTICES.get(value, value)
    if plain in _READ:
        return _READ[plain](name, value)
    if get_origin(plain) is Literal:
        return _choice(name, value, get_args(plain))
    return _nested(plain, json.loads(value))


def _number(name: str, value: Any) -> float:
    if not (isinstance(value, int | float) and math.isfinite(value)):
        raise ValueError(f"{name} holds {value!r}")
    return value


def _text(name: str, value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{name} holds {value!r}")
    return value


def _choice(name: str, value: Any, choices: tuple[Any, ...]) -> Any:
    if value not in choices:
        raise ValueError(f"{name} holds {value!r}")
    return value


def _moment_of(name: str, value: Any) -> datetime:
    moment = datetime.fromisoformat(value)
    if moment.tzinfo is None:
        raise ValueError(f"{name} holds {value!r}, a moment without a time zone")
    return moment


_READ: Final[dict[Any, Callable[[str, Any], Any]]] = {
    str: _text,
    float: _number,
    int: _number,
    bool: lambda _, value: bool(value),
    date: lambda _, value: date.fromisoformat(value),
    datetime: _moment_of,
}


def _nested(hint: Any, value: Any) -> Any:
    """Return what JSON holds as records, tuples and plain values of a type."""
    plain, is_optional = plain_type(hint)
    if value is None and is_optional:
        return None
    if isinstance(plain, type) and is_dataclass(plain):
        types = types_of(plain)
        unknown = sorted(set(value) - set(types))
        if unknown:
            raise ValueError(f"unknown parts: {', '.join(unknown)}")
        return plain(**{name: _nested(types[name], part) for name, part in value.items()})
    if get_origin(plain) is tuple:
        of = get_args(plain)
        if of[-1] is Ellipsis:
            return tuple(_nested(of[0], part) for part in value)
        return tuple(_nested(one, part) for one, part in zip(of, value, strict=True))
    if get_origin(plain) is Literal:
        return _choice("a part", value, get_args(plain))
    if plain in (date, datetime):
        return plain.fromisoformat(value)  # a forecast's hours are the place's own, without a zone
    if plain in (str, float, int) and isinstance(value, str | float | int):
        return plain(value) if plain is not float else _number("a part", value)
    return value


def _to_column(name: str, value: object, *, where: str) -> object:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, int | float):
        if not math.isfinite(value):
            raise InputError(
                "a number is not finite",
                where=f"{where}, {name}",
                value=value,
                allowed="a finite number",
                mend="give a number with digits",
            )
        return float(value)
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise InputError(
                "a moment has no time zone",
                where=f"{where}, {name}",
                value=value,
                allowed="UTC",
                mend="give the moment with its zone",
            )
        return moment_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) or isinstance(value, dict | list | tuple):
        value = json.dumps(_clean(value), ensure_ascii=False, allow_nan=False, default=str)
    if isinstance(value, str):
        try:
            value.encode("utf-8")
        except UnicodeEncodeError as error:
            raise InputError(
                "a text holds half a character that cannot be stored",
                where=f"{where}, {name}",
                value=ascii(value),
                mend="type the text anew",
            ) from error
    return value


def _clean(value: object) -> object:
    """Return nested values with NaN (a table's missing number) as ``None``, numpy scalars as plain ones."""
    if isinstance(value, Mapping):
        return {str(key): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if isinstance(value, datetime):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return _clean(asdict(value))
    if not isinstance(value, str) and hasattr(value, "item"):
        return _clean(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
