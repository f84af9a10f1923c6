"""What of a record strangers may read, and of which features they must not learn.

A record's fields say so, and every copy for the public goes by them; what is done about the ground of a private feature
lies in `work/public_ground.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import MISSING, fields, replace
from typing import Any, Final, TypeVar

from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.records import BurnRecord, Entry, Feature, Photo, Unit, private_fields
from habmap.vocabulary import PRIVATE_FEATURE_KINDS, PUBLIC_NAME_KINDS

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


def is_private(feature: Feature) -> bool:
    """Return whether a feature stays out of everything made for the public."""
    return feature.sensitive or feature.kind in PRIVATE_FEATURE_KINDS


def private_shapes(features: Sequence[Feature], grid: LocalGrid) -> list[BaseGeometry]:
    """Return the outlines of the private features in grid meters."""
    return [grid.to_grid(feature.geometry) for feature in features if is_private(feature)]
