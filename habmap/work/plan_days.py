"""The days of the year that a written burn plan is for. Within them burning may be considered; that is no leave."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.work.burn.written_plan import Comparison, PlanKind
from habmap.work.seasons import YearlyDays


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDays:
    """What a place's settings say of one kind of plan for one unit.

    Attributes
    ----------
    is_signed
        Whether it has an author and a date; without them no plan is in force.
    days
        Its days of the year; ``None`` = it names none.
    """

    kind: PlanKind
    is_signed: bool
    days: YearlyDays | None

    def has(self, day: date) -> bool:
        """Tell whether it is not known to leave a day out."""
        return self.days is None or self.days.has(day)

    def last_day(self, day: date) -> date | None:
        """Return the last of its days in the span that a day lies in; ``None`` where it names none."""
        return None if self.days is None else self.days.next_span(day)[1]

    def opens(self, day: date) -> date | None:
        """Return the first of its days on or after a day that lies outside them; ``None`` where it names none."""
        return None if self.days is None else max(day, self.days.next_span(day)[0])


#: What a burn sheet calls them beside the items of the weather.
PLAN_DAYS_WORDS: Final = "day of the year"


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedDay:
    """The day of a burn beside the days of the year that a signed plan is for.

    Attributes
    ----------
    from_day, to_day
        First and last of them, ``MM-DD``; they may run over the turn of the year.
    unit_ids
        Units whose plan it is.
    """

    day: date
    from_day: str
    to_day: str
    comparison: Comparison
    unit_ids: tuple[str, ...]


def compared_days(plans: Mapping[str, PlanDays], day: date) -> tuple[ComparedDay, ...]:
    """Compare a day with the days of signed plans, by ``unit_id``; what is not met first.

    A plan that nobody signed, or that names no days, is not compared.
    """
    units: dict[YearlyDays, list[str]] = {}
    for unit_id, plan in plans.items():
        if plan.is_signed and plan.days is not None:
            units.setdefault(plan.days, []).append(unit_id)
    found = [
        ComparedDay(
            day=day,
            from_day="{:02d}-{:02d}".format(*days.first),
            to_day="{:02d}-{:02d}".format(*days.last),
            comparison="within" if days.has(day) else "not met",
            unit_ids=tuple(unit_id for unit_id in mine if unit_id),
        )
        for days, mine in units.items()
    ]
    return tuple(sorted(found, key=lambda one: one.comparison != "not met"))
