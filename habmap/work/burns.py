"""Which burn record counts for a line of the log, and what such a record may hold."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

from habmap.land.grid import LocalGrid
from habmap.records import BurnRecord, Entry, Notice, faults
from habmap.records.said import BurnSaid
from habmap.records.written import is_clock, is_moment
from habmap.vocabulary import FIRE
from habmap.work.ledger import Correction, corrections

#: So that two copies that load one file give its burn records one id each.
_RECORDS: Final = uuid.UUID("5a0f3a52-6c0e-4e0b-9a44-7b8f4f5b6c21")

#: Ground shared by less than this is a common edge [m²].
LEAST_SHARED_M2: Final = 1.0


def record_id(entry_id: str) -> str:
    """Return the id of the burn record of a row of the log; a row has one at most."""
    return str(uuid.uuid5(_RECORDS, entry_id))


def burn_of(line: Correction, records: Iterable[BurnRecord]) -> BurnRecord | None:
    """Return the record that counts for a line: that of the counting row, else of the row it was made upon.

    Notes
    -----
    A line that is withdrawn, or was corrected to work without fire, has none. Of several records of one row, which
    only another program can have made, the later (``recorded_at``, then id) counts.
    """
    if line.content is None or line.content.practice not in FIRE:
        return None
    by_row = {record.entry_id: record for record in sorted(records, key=lambda one: (one.recorded_at, one.uuid))}
    return next((by_row[row.entry_id] for row in reversed(line.basis) if row.entry_id in by_row), None)


def record_faults(record: BurnRecord) -> list[str]:
    """Return in words what a stored record holds that cannot be."""
    broken = [one.broken(value) for one, value in faults(record, BurnRecord)]
    if record.ignition is not None and not is_clock(record.ignition):
        broken.append(f"the time of ignition is {record.ignition!r}")
    broken += [f"a notice was given {told.when!r}" for told in record.notices if not is_moment(told.when)]
    return broken


def ignition_of(day: date, record: BurnRecord) -> datetime | None:
    """Return the local civil time of ignition; ``None`` where nobody wrote it, or it cannot be read."""
    if record.ignition is None or not is_clock(record.ignition):
        return None
    return moment_on(day, record.ignition)


def moment_on(day: date, clock: str) -> datetime:
    """Return the local civil time of a day and a time of day, ``HH:MM``.

    Raises
    ------
    ValueError
        The text is no time of day.
    """
    return datetime.combine(day, datetime.strptime(clock, "%H:%M").time())


def burn_record(
    said: BurnSaid,
    *,
    entry_id: str,
    now: datetime,
    plans: dict[str, object] | None = None,
    is_kept: bool = False,
) -> BurnRecord | None:
    """Return the record of a burn, or ``None`` where there is nothing to keep; ``plans`` are those in force then.

    ``is_kept``: there is one though nothing is said in it.
    """
    if not said.given() and not is_kept:
        return None
    return BurnRecord(uuid=record_id(entry_id), entry_id=entry_id, plans=plans, recorded_at=now, **said.given())


def notices_of(
    entries: Sequence[Entry],
    records: Sequence[BurnRecord],
    block: Polygon | MultiPolygon,
    *,
    grid: LocalGrid,
    day: date,
) -> tuple[Notice, ...]:
    """Return who was told before the burns that the log has on this ground (grid meters) and day."""
    found: list[Notice] = []
    for line in corrections(entries) if records else ():
        record, content = burn_of(line, records), line.content
        if record is None or content is None or content.date != day or content.patch is None:
            continue
        if shapely.intersection(grid.to_grid(content.patch), block).area > LEAST_SHARED_M2:
            found += record.notices
    return tuple(dict.fromkeys(found))
