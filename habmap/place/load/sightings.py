"""The table of plants and animals seen, with the column names of Darwin Core."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from habmap.land.meridian import middle_lon, near
from habmap.place.days import EventDateError, event_days
from habmap.place.load.spec import Column, Loading, ReadRow, RecordOfRow, TableSpec, Written, columns_of
from habmap.records import Sighting

#: Row content that makes the identity of a row without an ``occurrenceID``. The recipe of ids that places hold already,
#: in its order: it never changes.
_IDENTITY_COLUMNS: Final = (
    "occurrenceID", "eventDate", "scientificName", "vernacularName", "individualCount", "decimalLatitude",
    "decimalLongitude", "coordinateUncertaintyInMeters", "occurrenceStatus", "establishmentMeans", "recordedBy",
    "occurrenceRemarks",
)  # fmt: skip
_DEGREES: Final = "degrees, WGS 84"


def _rest(row: ReadRow, loading: Loading) -> Mapping[str, Any]:
    written, count, status = row["eventDate"], row["individualCount"], row["occurrenceStatus"]
    days = None
    try:
        days = None if written is None else event_days(written, timezone=str(loading.zone))
    except EventDateError as error:
        row.cells.fault(
            f"eventDate is not a day: {error}",
            "eventDate",
            value=written,
            allowed="ISO 8601: 2026-05-14, 2026-05-14T07:30, 2026-05, or an interval of two, 2026-05-14/2026-05-16",
        )
    if (status == "present" and count == 0) or (status == "absent" and count):
        row.cells.fault(
            "occurrenceStatus and individualCount contradict each other",
            "occurrenceStatus",
            value=f"{status}, {count:g} counted",
            allowed="present with 1 or more, absent with 0 or blank",
        )
    if days is None or not row.is_sound:
        return {}
    return {
        "seen_from": days[0],
        "seen_to": days[1],
        "is_present": status != "absent" and count != 0,
        "geometry": Point(row["decimalLongitude"], row["decimalLatitude"]),
    }


def _notes(told: Sequence[RecordOfRow[Sighting]], loading: Loading) -> list[str]:
    """Say which sightings lie after today, and how many in no unit."""
    notes = [
        f"{one.where}: {one.record.event_date} is after today, {loading.today}"
        for one in told
        if one.record.seen_from > loading.today
    ]
    outside = [one.where for one in told if not any(_covers(unit.geometry, one.record) for unit in loading.units)]
    if outside:
        notes.append(
            f"{len(outside)} of {len(told)} sightings lie outside every unit and count for none"
            + (f": {', '.join(outside[:5])}" if len(outside) <= 5 else f", the first in {outside[0]}")
        )
    return notes


def _covers(ground: BaseGeometry, seen: Sighting) -> bool:
    return bool(shapely.covers(ground, near(seen.geometry, middle_lon(ground))))


#: Darwin Core terms (TDWG) that are read; all others in the file are left alone and named.
SIGHTINGS: Final = TableSpec(
    kind="sightings",
    noun="sighting",
    record=Sighting,
    columns=(
        *columns_of(
            Sighting,
            event_date={"kind": "written_day", "is_required": True, "title": "day"},
            scientific_name={
                "is_required": True,
                "allowed": "the species as you know it",
                "mend": "fill it in; a table with plain names alone: --map scientificName=COLUMN",
            },
        ),
        Column("decimalLatitude", "number", is_required=True, low=-90, high=90, allowed=_DEGREES, title="latitude"),
        Column("decimalLongitude", "number", is_required=True, low=-180, high=180, allowed=_DEGREES, title="longitude"),
        Column("occurrenceStatus", "choice", words=("present", "absent"), title="there, or looked for in vain"),
    ),
    identity=Written("occurrenceID", keeps="occurrence_id", word="sighting", content=_IDENTITY_COLUMNS),
    rest=_rest,
    once="each occurrenceID once; a sighting is never rewritten",
    own_id="give the new sighting its own occurrenceID",
    notes=_notes,
)
