"""``eventDate`` of Darwin Core: ISO 8601-1 days, moments, months, years and intervals, as local days."""

from __future__ import annotations

import calendar
import re
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

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
