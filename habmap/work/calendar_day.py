"""One day of a calendar: what is to be known or done on it, and how long before it reminds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

#: Nine in the morning of the day before, and a week earlier, counted from the day's own midnight.
DAY_BEFORE: Final = timedelta(hours=-15)
WEEK_BEFORE: Final = timedelta(days=-7, hours=9)
#: Seven in the morning of the day itself.
THAT_MORNING: Final = timedelta(hours=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarDay:
    """One all-day event on a single day.

    Attributes
    ----------
    key
        Makes its identity: the same as long as it is the same thing, whatever its day, words and acres become.
    summary, description
        In words that stay true on any later day.
    alarms
        When it reminds, counted from the day's midnight.
    """

    key: str
    summary: str
    description: str
    day: date
    alarms: tuple[timedelta, ...] = (DAY_BEFORE,)
