"""Which burn record counts for a line of the log, and what such a record may hold."""

from __future__ import annotations

import math
import re
import uuid
from collections.abc import Iterable
from datetime import date, datetime
from typing import Final

from habmap.records import BurnRecord
from habmap.vocabulary import FIRE
from habmap.work.ledger import Correction

#: What observed weather may be: low, high and unit. Outside of these a number is a slip or of another unit (no source).
WEATHER_RANGES: Final[dict[str, tuple[float, float, str]]] = {
    "temp_f": (-60, 150, "°F"),
    "rh_pct": (0, 100, "%"),
    "wind_mph": (0, 150, "mph"),
    "wind_from_deg": (0, 360, "°"),
    "gust_mph": (0, 250, "mph"),
    "shade_pct": (0, 100, "%"),
    "days_since_rain": (0, 3_650, "days"),
    "mixing_height_ft": (0, 60_000, "ft"),
    "transport_wind_mph": (0, 250, "mph"),
    "weather_elevation_ft": (-1_500, 20_000, "ft"),
}
WIND_HEIGHTS: Final = ("20ft", "eye")
PLAN_KINDS: Final = ("grass", "down_cedar", "piles")
_CLOCK: Final = re.compile(r"(?:[01]\d|2[0-3]):[0-5]\d")
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


def is_clock(text: str) -> bool:
    """Tell whether a text is a time of day, ``HH:MM``."""
    return _CLOCK.fullmatch(text) is not None


def is_moment(text: str) -> bool:
    """Tell whether a text is a day, or a day and a time of day: ``2026-03-02`` or ``2026-03-02 09:10``."""
    day, _, clock = text.partition(" ")
    try:
        date.fromisoformat(day)
    except ValueError:
        return False
    return len(day) == 10 and (text == day or is_clock(clock))


def as_moment(text: str) -> str | None:
    """Return a day and time as they are kept, or ``None`` where the text is neither."""
    plain = " ".join(text.strip().replace("T", " ").split())
    return plain if is_moment(plain) else None


def record_faults(record: BurnRecord) -> list[str]:
    """Return in words what a stored record holds that cannot be."""
    faults = []
    for name, (low, high, unit) in WEATHER_RANGES.items():
        value: float | None = getattr(record, name)
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            faults.append(f"{name} is {value:g} {unit}")
    if record.ignition is not None and not is_clock(record.ignition):
        faults.append(f"the time of ignition is {record.ignition!r}")
    if record.wind_height not in (None, *WIND_HEIGHTS):
        faults.append(f"the wind's height is {record.wind_height!r}")
    if record.plan_kind not in (None, *PLAN_KINDS):
        faults.append(f"the kind of plan is {record.plan_kind!r}")
    faults += [f"a notice was given {told.when!r}" for told in record.notices if not is_moment(told.when)]
    return faults


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
