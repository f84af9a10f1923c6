"""The layer of roads, houses, creeks and other things on the map."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from habmap.place.load.spec import Column, Loading, RowSaid, TableSpec
from habmap.records import Feature
from habmap.vocabulary import FEATURE_KINDS, PRIVATE_FEATURE_KINDS


def _rest(row: RowSaid, _loading: Loading) -> Mapping[str, Any]:
    return {
        "name": row["name"] or "",
        # nests, graves and cultural sites are kept private whatever the file says
        "sensitive": bool(row["sensitive"]) or row["kind"] in PRIVATE_FEATURE_KINDS,
    }


FEATURES: Final = TableSpec(
    kind="features",
    noun="feature",
    record=Feature,
    columns=(
        Column("kind", "choice", is_required=True, words=FEATURE_KINDS),
        Column("name"),
        Column("sensitive", "flag"),
        Column("feature_id"),
    ),
    rest=_rest,
)
