"""Hours and money per acre from the place's own log, and what the rest would take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from habmap.land.ratio import ratio_of_totals, t_limits
from habmap.measures import days_after

#: Published figures, shown only as context (Ortmann et al. 1998, J. Range Manage. 51:158-163, abstract read): minutes
#: and dollars per hectare turned into hours and dollars per acre.
PUBLISHED_CONTEXT: Final = (
    "Published, as context only: cutting redcedar on rangeland in central Nebraska in 1993-94 took 362 minutes a "
    "hectare (2.44 hours an acre) and cost 62.92 dollars a hectare (25.46 an acre, dollars of then); after a burn 184 "
    "minutes (1.24 hours an acre) and 39.26 dollars (15.89 an acre). Ortmann and others 1998; the abstract does not "
    "say how many stems stood there. Your ground and your trees differ."
)

#: Fewer log lines with hours than this on steep, or on gentle, ground say nothing of how the two differ.
ENOUGH_LINES: Final = 3
SLOPE_CLASSES: Final = ("steep", "gentle")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One line of the log that says what it took: acres covered and person-hours or money spent."""

    acres: float
    spent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """What an acre takes, with 95 % limits; limits ``None`` where the log is too short.

    ``rests_on`` says in words how many lines it comes from, or that it is an assumption.
    """

    per_acre: float
    low: float | None
    high: float | None
    samples: int
    rests_on: str


def rate(samples: Sequence[Sample]) -> Rate | None:
    """Return spent per acre as the ratio of totals with Student's t limits, never below 0; ``None`` without acres."""
    total_acres = sum(sample.acres for sample in samples)
    if total_acres <= 0:
        return None
    ratio = ratio_of_totals([sample.spent for sample in samples], [sample.acres for sample in samples])
    if ratio.se is None:
        return Rate(per_acre=ratio.value, low=None, high=None, samples=1, rests_on="one line of your own log")
    low, high = t_limits(ratio.value, ratio.se, ratio.pairs - 1)
    return Rate(
        per_acre=ratio.value,
        low=low,
        high=high,
        samples=ratio.pairs,
        rests_on=f"{ratio.pairs} lines of your own log",
    )


def assumed(per_acre: float) -> Rate:
    """Return a rate taken from ``habmap.toml``, marked as an assumption."""
    return Rate(per_acre=per_acre, low=None, high=None, samples=0, rests_on="an assumption in habmap.toml")


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What remains, low to high; ``None`` where no rate is known."""

    low: float | None
    middle: float | None
    high: float | None


def left(acres: float, rate_per_acre: Rate | None) -> Left:
    """Return acres times a rate, with its limits."""
    if rate_per_acre is None:
        return Left(low=None, middle=None, high=None)
    return Left(
        low=None if rate_per_acre.low is None else acres * rate_per_acre.low,
        middle=acres * rate_per_acre.per_acre,
        high=None if rate_per_acre.high is None else acres * rate_per_acre.high,
    )


def together(parts: Sequence[Left]) -> Left:
    """Add what remains on several grounds; a limit that one of them lacks, the sum lacks.

    Limits are added as they are: wider than they need be where the rates are independent of one another.
    """

    def total(values: Sequence[float | None]) -> float | None:
        known = [value for value in values if value is not None]
        return sum(known) if len(known) == len(values) else None

    return Left(
        low=total([part.low for part in parts]),
        middle=total([part.middle for part in parts]),
        high=total([part.high for part in parts]),
    )


def in_days(hours: Left, *, hours_per_day: float) -> Left:
    """Turn hours left into working days left."""

    def days(value: float | None) -> float | None:
        return None if value is None else value / hours_per_day

    return Left(low=days(hours.low), middle=days(hours.middle), high=days(hours.high))


def slope_class(slope_mean_pct: float, *, machine_limit_pct: float) -> str:
    """Return ``steep`` above the machine limit, else ``gentle``."""
    return "steep" if slope_mean_pct > machine_limit_pct else "gentle"


#: A finish farther away than this is not a date but a warning [years].
FARTHEST_YEARS: Final = 100


def finish_date(
    person_hours: float, *, start: date, hours_per_week: float, working_months: Sequence[int]
) -> date | None:
    """Return the day on which so many person-hours are worked off; ``None`` beyond a hundred years.

    Parameters
    ----------
    hours_per_week
        Person-hours in a working week, above 0.
    working_months
        Months (1–12) in which work is done; days of other months count nothing.
    """
    per_day = hours_per_week / 7
    todo = person_hours
    day = start
    last = days_after(start, round(365.25 * FARTHEST_YEARS))
    while todo > 1e-9:
        if day > last or day == date.max:  # the farthest day looked at, or the calendar's own end
            return None
        if day.month in working_months:
            todo -= per_day
        if todo > 1e-9:
            day += timedelta(days=1)
    return day
