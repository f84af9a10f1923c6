"""What of a record strangers may read: one table, and every copy for the public goes by it."""

from __future__ import annotations

from dataclasses import MISSING, fields, replace
from typing import Any, Final, TypeVar

from habmap.records import BurnRecord, Entry, Feature, Photo, Unit

#: The owner's own: names, hours, money, notes, what was sprayed, and what a person wrote beside the measured ground.
PRIVATE_FIELDS: Final[dict[type, frozenset[str]]] = {
    Entry: frozenset(
        {
            "who", "note", "why", "cost", "person_hours", "reported_acres", "acres_sd", "product", "product_rate",
            "source_id", "is_sure",
        }
    ),
    Unit: frozenset({"notes", "extra", "planned_acres"}),
    Feature: frozenset({"name", "extra"}),
    BurnRecord: frozenset({"notices", "plans"}),
    Photo: frozenset({"file_name"}),
}  # fmt: skip
Record = TypeVar("Record", Entry, Unit, Feature, BurnRecord, Photo)
#: The column of a units layer with the name that strangers may read.
PUBLIC_NAME: Final = "public_name"


def is_told(kind: type, name: str) -> bool:
    """Return whether a field of a kind of record stands in a copy for the public."""
    return name not in PRIVATE_FIELDS[kind]


def told(record: Record) -> Record:
    """Return a record as strangers may read it: the owner's fields as if nobody had filled them in.

    What people call a unit is the owner's (it may name a nest or a neighbour): strangers read its ``public_name``, or
    where it has none, nothing, and go by its label.
    """
    empty: dict[str, Any] = {}
    for field in fields(record):
        if field.name in PRIVATE_FIELDS[type(record)]:
            made = field.default_factory() if field.default_factory is not MISSING else field.default
            empty[field.name] = "" if made is MISSING else made
    if isinstance(record, Unit):
        empty["name"] = public_name(record)
    return replace(record, **empty)


def public_name(unit: Unit) -> str:
    """Return the name that strangers may read; empty where the unit has none of its own for them."""
    return " ".join(str(unit.extra.get(PUBLIC_NAME) or "").split())
