"""Days and moments as people and spreadsheets write them: every reading that a text can have, and none guessed."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from typing import Final

_ISO_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
#: 11/14/2026, 14.11.2026, 2026/11/14; a year of two digits could be any.
_SPOKEN_DAY: Final = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})|(\d{4})([./])(\d{1,2})\6(\d{1,2})")
_CLOCK: Final = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.0+)?)?(?:\s*([AaPp])\.?[Mm]\.?)?")
#: A time as ISO 8601 has it, with or without an offset, behind its day.
_ISO_MOMENT: Final = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}.*")


def days_meant(text: str) -> tuple[date, ...]:
    """Return every day that a text can mean, in order: one where it is sure, none where it is no day.

    ISO days are taken as they are. With slashes, dots or dashes and the year last, the first number may be the month or
    the day of it, so that 03/04/2026 has two readings and 11/14/2026 has one.
    """
    if _ISO_DAY.fullmatch(text):
        orders = [tuple(map(int, text.split("-")))]
    elif found := _SPOKEN_DAY.fullmatch(text):
        one, _, two, year, year_first, _, month, day = found.groups()
        if year_first:
            orders = [(int(year_first), int(month), int(day))]
        else:
            orders = [(int(year), int(one), int(two)), (int(year), int(two), int(one))]
    else:
        return ()
    return tuple(sorted({day for order in orders if (day := _day(*order)) is not None}))


def moments_meant(text: str) -> tuple[datetime, ...]:
    """Return every moment that a text can mean: a day and its time (13:00, 1:00 PM), the offset kept."""
    if _ISO_MOMENT.fullmatch(text):
        try:
            return (datetime.fromisoformat(text),)
        except ValueError:
            pass
    day, _, clock = text.partition("T" if "T" in text else " ")
    at = _time(clock.strip())
    return () if at is None else tuple(datetime.combine(one, at) for one in days_meant(day))


def readings_words(readings: tuple[date, ...]) -> str:
    """Name the days or moments that a text can mean, for a message."""
    return " or ".join(one.isoformat(timespec="minutes") if isinstance(one, datetime) else str(one) for one in readings)


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _time(text: str) -> time | None:
    found = _CLOCK.fullmatch(text)
    if found is None:
        return None
    hour, minute, second, half = int(found[1]), int(found[2]), int(found[3] or 0), (found[4] or "").casefold()
    if half and not 1 <= hour <= 12:
        return None
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        return time(hour, minute, second)
    except ValueError:
        return None
