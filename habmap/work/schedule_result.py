"""A season laid into weeks, as it is answered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from habmap.work.schedule import ScheduledWeek, Unfit
from habmap.work.schedule_tasks import KindRate


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduleResult:
    """A season's weeks, what would not fit, and what its hours rest on.

    Attributes
    ----------
    weeks
        Every whole week from ``from_date`` on.
    acres, person_hours
        Ground laid out to be cut [acre]; hours of all work laid out.
    cut_rests_on, rates
        Where the hours of cutting come from, by density and slope where the log has enough; those of other work.
    unsigned
        Kinds of fire laid out for which no written plan with author and date is in ``habmap.toml``.
    """

    from_date: date
    to_date: date
    hours_per_week: float
    weeks: tuple[ScheduledWeek, ...]
    unfit: tuple[Unfit, ...]
    acres: float
    person_hours: float
    cut_rests_on: str
    rates: tuple[KindRate, ...]
    unsigned: tuple[str, ...]
    cautions: tuple[str, ...]
