"""Load sightings of plants and animals from a CSV table with Darwin Core column names: all of it, or none."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Final

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.jobs.load.result import LoadResult
from habmap.jobs.ports import Store
from habmap.land.meridian import middle_lon, near
from habmap.place.eventdate import EventDateError, event_days
from habmap.place.load.cells import Cells
from habmap.place.load.columns import Rows
from habmap.place.load.identity import Identities, differing
from habmap.place.load.table import TableRow, read_table
from habmap.place.userfiles import printable
from habmap.records import Sighting

#: Darwin Core terms (TDWG) that are read; all others in the file are left alone and named.
SIGHTING_FIELDS: Final = (
    "occurrenceID", "eventDate", "scientificName", "vernacularName", "individualCount", "decimalLatitude",
    "decimalLongitude", "coordinateUncertaintyInMeters", "occurrenceStatus", "establishmentMeans", "recordedBy",
    "occurrenceRemarks",
)  # fmt: skip
_NEEDED: Final = ("eventDate", "scientificName", "decimalLatitude", "decimalLongitude")
#: Controlled values of ``establishmentMeans`` (TDWG Establishment Means Controlled Vocabulary, 2021-09-01).
ESTABLISHMENT_MEANS: Final = (
    "native", "nativeReintroduced", "introduced", "introducedAssistedColonisation", "vagrant", "uncertain",
)  # fmt: skip
OCCURRENCE_STATUS: Final = ("present", "absent")
#: A circle wider than a continent is no place [m].
_MOST_UNCERTAIN_M: Final = 10_000_000.0
_MOST_INDIVIDUALS: Final = 1_000_000_000.0


def load_sightings(
    store: Store,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
) -> LoadResult:
    """Load sightings; one that is there already with the same content is no news.

    Parameters
    ----------
    path
        A table with ``eventDate``, ``scientificName``, ``decimalLatitude``, ``decimalLongitude`` (WGS 84 [°]) and,
        where known, the others of ``SIGHTING_FIELDS``.
    today
        Local civil day at the place; later dates are pointed out.
    now
        Moment of recording, UTC.
    columns
        Field → column of the file, where the names differ; fields in upper or lower case.
    sheet
        Which sheet, where the file is a spreadsheet with several.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    InputError
        The file as a whole is unfit, or a column is missing.

    Notes
    -----
    An ``occurrenceID`` that is no UUID becomes the UUIDv5 of (place, text) and is kept. A blank one becomes the UUIDv5
    of the row's content, so that loading a file twice adds nothing.
    """
    table = read_table(path, sheet=sheet)
    by_name = {name.casefold(): name for name in SIGHTING_FIELDS}
    renames = {by_name.get(name.casefold(), name): column for name, column in (columns or {}).items()}
    rows = Rows(table, SIGHTING_FIELDS, needed=_NEEDED, renames=renames)
    reader = _Reader(store, rows, now)
    known = {row.uuid: (row, "the property") for row in store.sightings()}
    fresh: list[tuple[str, Sighting]] = []
    already = 0
    for row in table.rows:
        seen = reader.sighting(row)
        if seen is None:
            continue
        where = rows.where(row)
        before, said_in = known.setdefault(seen.uuid, (seen, f"row {row.number}"))
        if before is seen:
            fresh.append((where, seen))
        elif differences := differing(seen, before):
            rows.faults.append(
                InputError(
                    "the same occurrenceID with other content",
                    where=f"{where}; first said in {said_in}",
                    value=printable("; ".join(differences), longest=200),
                    allowed="each occurrenceID once; a sighting is never rewritten",
                    mend="give the new sighting its own occurrenceID",
                )
            )
        else:
            already += 1
    rows.refuse_faults()
    notes = [*rows.notes, *_place_notes(store, fresh, today), *rows.not_read()]
    store.append([seen for _, seen in fresh])
    return LoadResult(kind="sightings", loaded=len(fresh), already_there=already, warnings=tuple(notes))


class _Reader:
    """Turns rows of one table into sightings."""

    def __init__(self, store: Store, rows: Rows, now: datetime) -> None:
        self._identities = Identities(store.place_id, field="occurrenceID", content=SIGHTING_FIELDS, kind="sighting")
        self._timezone = store.settings.place.timezone
        self._rows = rows
        self._now = now

    def sighting(self, row: TableRow) -> Sighting | None:
        """Return a row as a sighting; ``None`` after adding to the faults what is wrong with it."""
        before = len(self._rows.faults)
        values, cells = self._rows.values(row), self._rows.cells(row)
        days, written = self._days(cells)
        name = cells.text("scientificName", longest=300)
        if name is None and not values["scientificName"].strip():
            cells.fault(
                "scientificName is blank",
                "scientificName",
                value="blank",
                allowed="the species as you know it",
                mend="fill it in; a table with plain names alone: --map scientificName=COLUMN",
            )
        lat, lon = self._degrees(cells, "decimalLatitude", 90), self._degrees(cells, "decimalLongitude", 180)
        count = cells.number("individualCount", low=0, high=_MOST_INDIVIDUALS)
        if count is not None and count != int(count):
            cells.fault("a count is not whole", "individualCount", value=count, allowed="a whole number, 0 or more")
        status = cells.choice("occurrenceStatus", OCCURRENCE_STATUS, required=False)
        if (status == "present" and count == 0) or (status == "absent" and count):
            cells.fault(
                "occurrenceStatus and individualCount contradict each other",
                "occurrenceStatus",
                value=f"{status}, {count:g} counted",
                allowed="present with 1 or more, absent with 0 or blank",
            )
        means = cells.choice("establishmentMeans", [word.casefold() for word in ESTABLISHMENT_MEANS], required=False)
        uncertainty_m = cells.number("coordinateUncertaintyInMeters", above=0, high=_MOST_UNCERTAIN_M)
        # a row is known again however its table writes the day
        identity = self._identities.of(cells, values | {"eventDate": written}, row.number, longest=400)
        recorded_by, remarks = cells.text("recordedBy"), cells.text("occurrenceRemarks", one_line=False)
        vernacular = cells.text("vernacularName", longest=300)
        if len(self._rows.faults) > before or days is None or name is None or lat is None or lon is None:
            return None
        return Sighting(
            uuid=identity.uuid,
            occurrence_id=identity.source_id,
            event_date=written,
            seen_from=days[0],
            seen_to=days[1],
            scientific_name=name,
            vernacular_name=vernacular,
            individual_count=None if count is None else int(count),
            is_present=status != "absent" and count != 0,
            establishment_means=next((word for word in ESTABLISHMENT_MEANS if word.casefold() == means), None),
            uncertainty_m=uncertainty_m,
            recorded_by=recorded_by,
            remarks=remarks,
            geometry=Point(lon, lat),
            recorded_at=self._now,
        )

    def _days(self, cells: Cells) -> tuple[tuple[date, date] | None, str]:
        written = cells.written_day("eventDate", longest=100)
        if written is None:
            return None, ""
        try:
            return event_days(written, timezone=self._timezone), written
        except EventDateError as error:
            cells.fault(
                f"eventDate is not a day: {error}",
                "eventDate",
                value=written,
                allowed="ISO 8601: 2026-05-14, 2026-05-14T07:30, 2026-05, or an interval of two, 2026-05-14/2026-05-16",
            )
            return None, written

    def _degrees(self, cells: Cells, field: str, limit_deg: float) -> float | None:
        value = cells.number(field, low=-limit_deg, high=limit_deg)
        if value is None and not cells.text(field):
            cells.fault(f"{field} is blank", field, value="blank", allowed="degrees, WGS 84")
        return value


def _place_notes(store: Store, fresh: list[tuple[str, Sighting]], today: date) -> list[str]:
    """Say which sightings lie after today, and how many in no unit."""
    notes = [f"{where}: {seen.event_date} is after today, {today}" for where, seen in fresh if seen.seen_from > today]
    units = [unit.geometry for unit in store.units()]
    outside = [where for where, seen in fresh if not any(_covers(ground, seen) for ground in units)]
    if outside:
        notes.append(
            f"{len(outside)} of {len(fresh)} sightings lie outside every unit and count for none"
            + (f": {', '.join(outside[:5])}" if len(outside) <= 5 else f", the first in {outside[0]}")
        )
    return notes


def _covers(ground: BaseGeometry, seen: Sighting) -> bool:
    return bool(shapely.covers(ground, near(seen.geometry, middle_lon(ground))))
