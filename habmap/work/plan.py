"""A season of cutting, week by week: the best stand first, inside every window, and what would not fit.

The rule is greedy and plain: each week goes to the first stand in the order of work that may be cut on every day of
that week and whose slash would find at least one day without a burn ban inside its drying window.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from habmap.measures import days_after
from habmap.work.closures import Closures

WEEK = timedelta(days=7)
#: Hours below this are the rounding of the arithmetic [h].
NO_HOURS = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """A stand in the order of work, with what it takes."""

    unit_id: str
    acres: float
    hours_per_acre: float
    not_before: date | None = None

    @property
    def hours(self) -> float:
        """Person-hours that the stand takes."""
        return self.acres * self.hours_per_acre


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """One stand in one week; ``burn_from`` and ``burn_to`` are its drying window, not leave to burn."""

    week_from: date
    week_to: date
    unit_id: str
    acres: float
    person_hours: float
    burn_from: date
    burn_to: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfit:
    """Ground that found no place in the season, and why."""

    unit_id: str
    acres: float
    person_hours: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows(Closures):
    """Everything that closes days: holds, closed days, months off, and the drying window [days]."""

    working_months: Sequence[int]
    drying_days: tuple[int, int]

    def why_not_cut(self, stand: Stand, first: date, last: date) -> str | None:
        """Say why a stand may not be cut on every day of a span; ``None`` where it may."""
        days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        if stand.not_before is not None and first < stand.not_before:
            return f"its contract begins on {stand.not_before}"
        if any(day.month not in self.working_months for day in days):
            return "months off"
        for day in days:
            if (found := self.on(day, stand.unit_id, work=("cut",))) is not None:
                return found.words
        if not self.has_burn_day(stand.unit_id, *self.drying(last)):
            return "no day without a burn ban inside its drying window"
        return None

    def drying(self, cut: date) -> tuple[date, date]:
        """Return the first and last day of the drying window of ground cut on a day."""
        return days_after(cut, self.drying_days[0]), days_after(cut, self.drying_days[1])

    def has_burn_day(self, unit_id: str, first: date, last: date) -> bool:
        """Tell whether any day of a span is free of the place's own no-burn days and holds."""
        return any(
            self.on(first + timedelta(days=n), unit_id, work=("burn",)) is None for n in range((last - first).days + 1)
        )


def season_plan(
    stands: Sequence[Stand], *, first: date, last: date, hours_per_week: float, windows: Windows
) -> tuple[tuple[Slot, ...], tuple[Unfit, ...]]:
    """Lay stands, best first, into the whole weeks from one day to another.

    Parameters
    ----------
    hours_per_week
        Person-hours in a week, above 0.

    Returns
    -------
    The slots by week, and what did not fit with its reason.
    """
    hours_left = {stand.unit_id: stand.hours for stand in stands}
    reason: dict[str, str] = {}
    slots: list[Slot] = []
    for number in range(((last - first).days + 1) // WEEK.days):
        week = first + number * WEEK
        week_to = week + timedelta(days=WEEK.days - 1)
        free = hours_per_week
        for stand in stands:
            todo = hours_left[stand.unit_id]
            if todo <= NO_HOURS:
                continue
            why = windows.why_not_cut(stand, week, week_to)
            if why is not None:
                reason[stand.unit_id] = why
                continue
            reason.pop(stand.unit_id, None)
            if free <= NO_HOURS:
                continue
            spent = min(free, todo)
            burn_from, burn_to = windows.drying(week_to)
            slots.append(
                Slot(
                    week_from=week,
                    week_to=week_to,
                    unit_id=stand.unit_id,
                    acres=spent / stand.hours_per_acre,
                    person_hours=spent,
                    burn_from=burn_from,
                    burn_to=burn_to,
                )
            )
            hours_left[stand.unit_id] = todo - spent
            free -= spent
    unfit = tuple(
        Unfit(
            unit_id=stand.unit_id,
            acres=hours_left[stand.unit_id] / stand.hours_per_acre,
            person_hours=hours_left[stand.unit_id],
            why=reason.get(stand.unit_id, "the hours ran out"),
        )
        for stand in stands
        if hours_left[stand.unit_id] > NO_HOURS
    )
    return tuple(slots), unfit
