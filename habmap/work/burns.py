"""Which burn record counts for a line of the log, and what such a record may hold."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Final

from habmap.records import BurnRecord, faults
from habmap.records.written import is_clock, is_moment
from habmap.vocabulary import FIRE
from habmap.work.ledger import Correction

#: So that two copies that load one file give its burn records one id each.
_RECORDS: Final = uuid.UUID("5a0f3a52-6c0e-4e0b-9a44-7b8f4f5b6c21")


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
