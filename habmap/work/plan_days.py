"""The days of the year that a written burn plan is for. Within them burning may be considered; that is no leave."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from habmap.work.burn.written_plan import PlanKind
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
