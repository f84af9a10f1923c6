"""What of a record strangers may read: its fields say so, and every copy for the public goes by them."""

from __future__ import annotations

from dataclasses import MISSING, fields, replace
from typing import Any, Final, TypeVar

from habmap.records import BurnRecord, Entry, Feature, Photo, Unit, private_fields
from habmap.vocabulary import PUBLIC_NAME_KINDS

Record = TypeVar("Record", Entry, Unit, Feature, BurnRecord, Photo)
#: The column of a units layer with the name that strangers may read.
PUBLIC_NAME: Final = "public_name"


def is_public(kind: type, name: str) -> bool:
    """Return whether a field of a kind of record stands in a copy for the public."""
    return name not in private_fields(kind)


def public_copy(record: Record) -> Record:
    """Return a record as strangers may read it: the owner's fields as if nobody had filled them in.

    What people call a unit is the owner's (it may name a nest or a neighbor): strangers read its ``public_name``, or
    where it has none, nothing, and go by its label. Roads, creeks and ponds keep theirs: a neighbor finds the place by
    them.
    """
    empty: dict[str, Any] = {}
    private = private_fields(type(record))
    for field in fields(record):
        if field.name in private:
            made = field.default_factory() if field.default_factory is not MISSING else field.default
            empty[field.name] = "" if made is MISSING else made
    if isinstance(record, Unit):
        empty["name"] = public_name(record)
    if isinstance(record, Feature) and record.kind in PUBLIC_NAME_KINDS:
        empty["name"] = record.name
    return replace(record, **empty)


def public_name(unit: Unit) -> str:
    """Return the name that strangers may read; empty where the unit has none of its own for them."""
    return " ".join(str(unit.extra.get(PUBLIC_NAME) or "").split())
