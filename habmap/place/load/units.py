"""The layer of units: polygons, each of one cover."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, Final

from habmap.place.load.spec import Column, Loading, RowSaid, TableSpec
from habmap.records import Unit
from habmap.vocabulary import COVERS

LONGEST_UNIT_ID: Final = 200


def _rest(row: RowSaid, _loading: Loading) -> Mapping[str, Any]:
    unit_id, replaces = row["unit_id"], row["replaces"] or ""
    if unit_id is not None and ";" in unit_id:
        row.cells.fault(
            "a unit_id holds a semicolon, which parts the units of a log line",
            "unit_id",
            value=unit_id,
            allowed="any text without ;",
            mend="rename it",
        )
    return {
        "uuid": _row_uuid(row),
        "name": row["name"] or unit_id or "",
        "replaces": tuple(part.strip() for part in replaces.split(";") if part.strip()),
    }


def _row_uuid(row: RowSaid) -> str:
    text = row["uuid"]
    if text is not None:
        try:
            return str(uuid.UUID(text))
        except ValueError:
            mend = "delete it: habmap gives each version its own"
            row.cells.fault("this is not a uuid", "uuid", value=text, mend=mend)
    return str(uuid.uuid4())


UNITS: Final = TableSpec(
    kind="units",
    noun="unit",
    record=Unit,
    columns=(
        Column("unit_id", is_required=True, longest=LONGEST_UNIT_ID),
        Column("name"),
        Column("cover", "choice", is_required=True, words=COVERS),
        Column("stems_per_acre", "number", low=0),
        Column("canopy_pct", "number", low=0, high=100),
        Column("target_pct", "number", above=0, high=100),
        Column("leave_stems_per_acre", "number", low=0),
        Column("planned_acres", "number", low=0),
        Column("stratum"),
        Column("notes", one_line=False),
        Column("acres_sd", "number", low=0),
        Column("replaces"),
        Column("uuid"),
    ),
    rest=_rest,
)
