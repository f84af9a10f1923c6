"""Days and moments as people, spreadsheets and Darwin Core's ``eventDate`` write them: every reading, none guessed.

``eventDate``: ISO 8601-1 days, moments, months, years and intervals, as local days.
"""

from __future__ import annotations

import calendar
import re
from datetime import date, datetime, time
from typing import Final
from zoneinfo import ZoneInfo

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


# --- eventDate of Darwin Core -------------------------------------------------------------------------------


_MONTH: Final = re.compile(r"(\d{4})-(\d{2})")
_YEAR: Final = re.compile(r"\d{4}")


class EventDateError(ValueError):
    """The text is no date, or an interval runs backward; the message says which."""


def event_days(text: str, *, timezone: str) -> tuple[date, date]:
    """Return the first and last local day of an ``eventDate``.

    Parameters
    ----------
    text
        A day, a date-time (local, or with its offset), a month, a year, or two of them joined by ``/``; the second may
        leave out what it shares with the first (``2026-05-14/16``).
    timezone
        Name of the place's time zone, in which moments with an offset are told.

    Raises
    ------
    EventDateError
        It is none of these, or ends before it begins.
    """
    first, slash, last = text.strip().partition("/")
    start = _span(first.strip(), timezone)
    if not slash:
        return start
    end = _span(_whole(last.strip(), first.strip()), timezone)
    if end[1] < start[0]:
        raise EventDateError("the interval ends before it begins")
    return start[0], end[1]


def _whole(last: str, first: str) -> str:
    """Fill in what the end of an interval shares with its start."""
    day = first.partition("T")[0]
    if last[:1].isdigit() and "T" not in last and len(last) < len(day) and re.fullmatch(r"\d{2}(-\d{2})?", last):
        return day[: len(day) - len(last)] + last
    if re.fullmatch(r"\d{2}:\d{2}.*", last):
        return f"{day}T{last}"
    return last


def _span(text: str, timezone: str) -> tuple[date, date]:
    try:
        if _YEAR.fullmatch(text):
            return date(int(text), 1, 1), date(int(text), 12, 31)
        if month := _MONTH.fullmatch(text):
            year, number = int(month[1]), int(month[2])
            return date(year, number, 1), date(year, number, calendar.monthrange(year, number)[1])
        if "T" in text or " " in text:
            moment = datetime.fromisoformat(text)
            if moment.tzinfo is not None:
                moment = moment.astimezone(ZoneInfo(timezone))
            return moment.date(), moment.date()
        if len(text) != 10:
            raise ValueError
        day = date.fromisoformat(text)
    except (ValueError, OverflowError) as error:
        raise EventDateError("no such day" if text else "blank") from error
    return day, day
