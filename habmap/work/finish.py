"""The day on which work left would be done, day by day through months off, closed days and holds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Final

from habmap.measures import days_after
from habmap.work.closures import Closure, Closures

#: A finish farther away than this is not a date but a warning [years].
FARTHEST_YEARS: Final = 100
#: Hours below this are the rounding of the arithmetic [h].
_NO_HOURS: Final = Fraction(1, 10**6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """When work would be done.

    Attributes
    ----------
    day
        The last day of work; ``None`` beyond a hundred years, or where all of it is on hold without an end.
    moved_by
        In words, what closed days on the way: months off, closed days, holds, first days of contracts.
    without
        Units not counted in: they are on hold, and no end is written.
    """

    day: date | None
    moved_by: tuple[str, ...] = ()
    without: tuple[str, ...] = ()


def finish(
    person_hours: Mapping[str, float],
    *,
    start: date,
    hours_per_week: float,
    working_months: Sequence[int],
    closures: Closures,
    waits: Mapping[str, Closure] | None = None,
) -> Finish:
    """Work hours off day by day, on ground that closes soonest first.

    Parameters
    ----------
    person_hours
        What each unit takes, by ``unit_id`` [h].
    hours_per_week
        Person-hours in a working week, above 0; a seventh of them is worked each day, the first one included.
    working_months
        Months (1–12) in which work is done.
    waits
        By unit the contract item whose first day its cutting waits for, as the order of work and the season do.
    """
    starts = {unit_id: (one, one.last or date.max) for unit_id, one in (waits or {}).items()}
    todo = {unit_id: Fraction(hours) for unit_id, hours in person_hours.items() if Fraction(hours) > _NO_HOURS}
    named = {hold.unit_id for hold in closures.holds} | {unit_id for ban in closures.bans for unit_id in ban.units}
    named |= starts.keys()
    narrow = [unit_id for unit_id in todo if unit_id in named]
    # Units that nothing closes by name share their days: they are one heap of hours.
    heap = sum((hours for unit_id, hours in todo.items() if unit_id not in named), Fraction(0))
    per_day = Fraction(hours_per_week) / 7
    moved_by: dict[str, None] = {}
    day, last, worked = start, days_after(start, round(365.25 * FARTHEST_YEARS)), start
    while True:
        held: list[str] = []
        free = per_day
        if day.month not in working_months:
            moved_by["months off"] = None
        else:
            for unit_id in narrow:
                closure = closures.on(day, unit_id, work=("cut",))
                if closure is None and unit_id in starts and day <= starts[unit_id][1]:
                    closure = starts[unit_id][0]
                if closure is None:
                    spent = min(free, todo[unit_id])
                    todo[unit_id] -= spent
                    free -= spent
                elif closure.is_hold and closure.last is None:
                    held.append(unit_id)
                else:
                    moved_by[f"{unit_id} {closure.words}"] = None
            shut = closures.on(day, "", work=("cut",)) if heap else None
            if shut is None:
                spent = min(free, heap)
                heap -= spent
                free -= spent
            else:
                moved_by[shut.words] = None
        narrow = [unit_id for unit_id in narrow if todo[unit_id] > _NO_HOURS]
        heap = heap if heap > _NO_HOURS else Fraction(0)
        if free < per_day:
            worked = day
        if not heap and set(narrow) <= set(held):
            is_any = worked != start or free < per_day or not narrow
            return Finish(day=worked if is_any else None, moved_by=tuple(moved_by), without=tuple(narrow))
        if day >= last:  # the farthest day looked at, or the calendar's own end
            return Finish(day=None, moved_by=tuple(moved_by), without=tuple(held))
        day += timedelta(days=1)
