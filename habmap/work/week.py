"""What a week asks: what is forbidden now, then what closes, may be considered for burning, is cut next, is checked.

Nothing on hold or closed is asked for: it stands with what holds it up, as what waits there. Checks after a fire are
asked for whatever is on hold.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final, Literal

from habmap.measures import days_after
from habmap.work.burn.written_plan import PlanKind
from habmap.work.closures import Closure, Closures, Work
from habmap.work.due_rows import GROUND_KINDS, SPOTS, acres_of
from habmap.work.plan_days import PlanDays
from habmap.work.priority import Ranked
from habmap.work.seasons import COMING_BACK, DueItem

#: What begins within so many days belongs to the week [d].
WEEK_DAYS: Final = 7
Section = Literal["closes", "burn", "cut", "check"]
SECTIONS: Final[tuple[Section, ...]] = ("closes", "burn", "cut", "check")
#: Which written plan speaks of a thing with fire in it.
_PLAN_OF: Final[dict[str, PlanKind]] = {"drying": "down_cedar", "piles": "piles", "upkeep": "grass"}
#: What is looked after whatever is on hold: fire wakes in piles and dead trees for days.
FIRE_CHECKS: Final = frozenset({"hand_check", "snag_check"})


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekItem:
    """One line of a week (``habmap/week/1``).

    Attributes
    ----------
    place
        The property's name.
    unit_id
        ``None`` where it holds for the whole property.
    to_date
        Last day that it has, or on which what forbids it stands; ``None`` = no end is written.
    waits
        What would be asked, were it not forbidden.
    bite_acres, bite_hours
        Of ground to be cut, ``acres`` of which remain: what the next bite takes, and the person-hours that takes;
        ``None`` = not known, or no ground to be cut.
    """

    place: str
    unit_id: str | None
    what: str
    acres: float | None
    to_date: date | None
    words: str
    waits: tuple[str, ...] = ()
    bite_acres: float | None = None
    bite_hours: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekFault:
    """A property that could not be read, and why."""

    place: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekResult:
    """What a week asks, soonest first in each list; ``places`` are the properties asked."""

    places: tuple[str, ...]
    on: date
    forbidden: tuple[WeekItem, ...]
    closes: tuple[WeekItem, ...]
    burn: tuple[WeekItem, ...]
    cut: tuple[WeekItem, ...]
    check: tuple[WeekItem, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    faults: tuple[WeekFault, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One thing that a week asks of a unit, as facts.

    Attributes
    ----------
    parts
        What it adds up.
    past_acres
        Slash beside it whose drying days are over [acre].
    plan
        The burn plan's days that it was compared with.
    is_without_fire
        Whether upkeep is asked for by saw, mower or grazing.
    ranked, passed
        Of ground to cut: the unit in the order of work, and those that would come before it but wait.
    bite_acres, bite_hours
        What the next bite of it takes, and the person-hours that takes.
    """

    unit_id: str | None
    what: str
    acres: float | None = None
    to_date: date | None = None
    parts: tuple[DueItem, ...] = ()
    past_acres: float | None = None
    plan: PlanDays | None = None
    is_without_fire: bool = False
    ranked: Ranked | None = None
    passed: tuple[str, ...] = ()
    bite_acres: float | None = None
    bite_hours: float | None = None


@dataclass(slots=True, kw_only=True)
class Barrier:
    """What forbids something now, and what waits for its end.

    ``what`` is ``hold``, ``closed_cut``, ``closed_burn``, ``contract`` (its first day is to come) or ``burn_plan`` (its
    days of the year are to come).
    """

    what: str
    unit_id: str | None
    to_date: date | None
    reason: str = ""
    waits: list[Ask] = field(default_factory=list)


@dataclass(slots=True, kw_only=True)
class Week:
    """A week as facts: what forbids, and what is asked by section."""

    barriers: list[Barrier]
    asks: dict[Section, list[Ask]]


def week_of(
    items: Iterable[DueItem],
    *,
    on: date,
    closures: Closures,
    plan_of: Callable[[PlanKind, str], PlanDays],
    order: Sequence[Ranked],
    is_month_off: bool,
    bite_of: Callable[[Ranked], tuple[float, float | None]],
) -> Week:
    """Return what the week that begins on a day asks.

    Parameters
    ----------
    items
        What is due, not marked for holds and closed days.
    plan_of
        Gives the burn plan's days for a unit.
    order
        The units in the order of work; those that wait for a contract's first day say so.
    is_month_off
        Whether the month is none in which anybody works: nothing is asked to be cut then.
    bite_of
        Gives the acres and person-hours of a unit's next bite.
    """
    found = list(items)
    barriers = _Barriers(_barriers(found), closures, plan_of, on)
    asks: dict[Section, list[Ask]] = {section: [] for section in SECTIONS}
    together: defaultdict[tuple[str | None, str], list[DueItem]] = defaultdict(list)
    for item in found:
        if item.what in GROUND_KINDS:
            together[item.unit_id, item.what].append(item)
        elif item.what == "contract" and item.state in ("due", "overdue"):
            _contract(item, barriers, asks)
    for (unit_id, what), parts in together.items():
        if what in SPOTS:
            _spots(unit_id, what, parts, barriers, asks, on)
            continue
        if unit_id is None:
            continue
        if what in FIRE_CHECKS:
            asks["check"] += _fire_check(unit_id, what, parts, on)
        elif what == "checkup":
            _checkup(unit_id, parts, barriers, asks, on)
        elif what == "upkeep":
            _upkeep(unit_id, parts, barriers, asks, on, is_month_off=is_month_off)
        else:
            _burnable(unit_id, what, parts, barriers, asks, on)
    _cut(order, barriers, asks, is_month_off=is_month_off, bite_of=bite_of)
    return Week(barriers=barriers.all, asks=asks)


def soonest(item: WeekItem) -> tuple[date, float, str, str]:
    """Return what sorts the lines of a list: the soonest end first, then the most acres."""
    return (item.to_date or date.max, -round(item.acres or 0.0, 6), item.unit_id or "", item.what)


def together(weeks: Sequence[WeekResult], *, on: date, faults: Sequence[WeekFault]) -> WeekResult:
    """Return the weeks of several properties as one, soonest first across all."""

    def joined(name: str) -> tuple[WeekItem, ...]:
        return tuple(sorted((item for week in weeks for item in getattr(week, name)), key=soonest))

    def once(name: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(words for week in weeks for words in getattr(week, name)))

    return WeekResult(
        places=tuple(place for week in weeks for place in week.places),
        on=on,
        forbidden=joined("forbidden"),
        closes=joined("closes"),
        burn=joined("burn"),
        cut=joined("cut"),
        check=joined("check"),
        notes=once("notes"),
        cautions=once("cautions"),
        faults=tuple(faults),
    )


def _barriers(items: Iterable[DueItem]) -> list[Barrier]:
    found = []
    for item in items:
        if item.state == "in force":
            found.append(Barrier(what=item.what, unit_id=item.unit_id, to_date=item.to_date, reason=item.words))
        elif item.what == "contract" and item.state == "before its start date" and item.from_date is not None:
            last = days_after(item.from_date, -1)
            for unit_id in (item.unit_id or "").split(";"):
                found.append(Barrier(what="contract", unit_id=unit_id or None, to_date=last, reason=item.name))
    return found


class _Barriers:
    """What forbids what where, on a day."""

    def __init__(
        self, written: list[Barrier], closures: Closures, plan_of: Callable[[PlanKind, str], PlanDays], on: date
    ) -> None:
        self.all = written
        self.closures, self.on = closures, on
        self._plan_of = plan_of

    def before(self, unit_id: str, *work: Work) -> Barrier | None:
        """Return the hold, else the closed days, that keep a unit from work now; of plain looking only holds do."""
        found = self.closures.on(self.on, unit_id, work=work)
        return None if found is None else self._of(found, unit_id)

    def before_contract(self, unit_id: str, closure: Closure) -> Barrier:
        """Return the contract item whose first day a unit waits for; to the public, whom no list tells it, unlisted."""
        written = [one for one in self.all if (one.what, one.unit_id) == ("contract", unit_id)]
        named = [one for one in written if one.reason == closure.reason]
        return (named or [Barrier(what="contract", unit_id=unit_id, to_date=closure.last, reason=closure.reason)])[0]

    def before_fire(self, unit_id: str, what: str) -> Barrier | None:
        """Return what keeps a unit from a fire now: a hold, closed days, or the days of the burn plan."""
        found = self.before(unit_id, "burn")
        plan = self.plan(unit_id, what)
        if found is not None or plan.has(self.on):
            return found
        opens = plan.opens(self.on)
        last = None if opens is None else days_after(opens, -1)
        return self._kept(Barrier(what="burn_plan", unit_id=None, to_date=last, reason=plan.kind))

    def plan(self, unit_id: str, what: str) -> PlanDays:
        """Return the plan's days for a thing."""
        return self._plan_of(_PLAN_OF[what], unit_id)

    def last_fire_day(self, unit_id: str, what: str) -> date | None:
        """Return the last day before the plan, closed days or a hold leave a fire out; ``None`` = none is written."""
        days = [
            self.plan(unit_id, what).last_day(self.on),
            self.closures.last_open_day(self.on, unit_id, work=("burn",)),
        ]
        return min((day for day in days if day is not None), default=None)

    def _of(self, closure: Closure, unit_id: str) -> Barrier:
        what = "hold" if closure.work is None else f"closed_{closure.work}"
        for barrier in self.all:
            if barrier.what == what and barrier.unit_id in (unit_id, None) and barrier.to_date in (closure.last, None):
                return barrier
        return self._kept(Barrier(what=what, unit_id=unit_id, to_date=closure.last, reason=closure.reason))

    def _kept(self, barrier: Barrier) -> Barrier:
        for known in self.all:
            if (known.what, known.unit_id, known.to_date) == (barrier.what, barrier.unit_id, barrier.to_date):
                return known
        self.all.append(barrier)
        return barrier


Asks = dict[Section, list[Ask]]


def _first_of(*days: date | None) -> date | None:
    return min((day for day in days if day is not None), default=None)


def _burnable(unit_id: str, what: str, parts: Sequence[DueItem], barriers: _Barriers, asks: Asks, on: date) -> None:
    """Slash whose drying days have begun, and piles."""
    begun = tuple(part for part in parts if part.from_date is None or part.from_date <= on)
    if not begun:
        return
    plan, last = barriers.plan(unit_id, what), barriers.last_fire_day(unit_id, what)
    open_ = tuple(part for part in begun if part.to_date is None or part.to_date >= on)
    ask = Ask(unit_id=unit_id, what=what, acres=acres_of(begun), parts=begun, plan=plan)
    closing = replace(
        ask, acres=acres_of(open_), parts=open_, to_date=_first_of(last, *(part.to_date for part in open_))
    )
    gate = barriers.before_fire(unit_id, what)
    if gate is not None:
        gate.waits.append(replace(ask, to_date=_first_of(*(part.to_date for part in open_))))
        return
    if what == "drying" and open_:
        asks["closes"].append(closing)
    # Green needles keep slash out, whatever its days; days that are over leave a question for the burn boss.
    now = tuple(part for part in open_ if part.state != "drying")
    past = tuple(part for part in begun if part not in open_ and part.state != "drying")
    if now:
        last = _first_of(last, *(part.to_date for part in now))
        asks["burn"].append(replace(ask, acres=acres_of(now), parts=now, to_date=last, past_acres=acres_of(past)))
    elif past:
        asks["burn"].append(replace(ask, acres=acres_of(past), parts=past))


def _upkeep(
    unit_id: str, parts: Sequence[DueItem], barriers: _Barriers, asks: Asks, on: date, *, is_month_off: bool
) -> None:
    """Ground to be kept up: where cedars come back by saw before fire, else by fire before mower and grazing."""
    for is_coming_back in (True, False):
        due = tuple(
            part
            for part in parts
            if (part.name == COMING_BACK) == is_coming_back
            and part.state in ("due", "overdue")
            and (part.from_date is None or part.from_date <= on)
        )
        if not due:
            continue
        ends = _first_of(*(part.to_date for part in due))
        ask = Ask(
            unit_id=unit_id, what="upkeep", acres=acres_of(due), to_date=ends, parts=due,
            plan=barriers.plan(unit_id, "upkeep"),
        )  # fmt: skip
        by_fire = replace(ask, to_date=_first_of(ends, barriers.last_fire_day(unit_id, "upkeep")))
        without = replace(
            ask,
            is_without_fire=True,
            to_date=_first_of(ends, barriers.closures.last_open_day(on, unit_id, work=("cut",))),
        )
        doors: list[tuple[Section, Barrier | None, Ask]] = [
            ("burn", barriers.before_fire(unit_id, "upkeep"), by_fire),
            ("cut", barriers.before(unit_id, "cut"), without),
        ]
        if is_coming_back:
            doors.reverse()
        if is_month_off:  # nothing is asked to be cut
            doors = [door for door in doors if door[0] != "cut"]
        section, gate, chosen = next((door for door in doors if door[1] is None), doors[0])
        if gate is not None:
            gate.waits.append(ask)
            continue
        asks[section].append(chosen)
        if ends is not None:
            asks["closes"].append(chosen)


def _fire_check(unit_id: str, what: str, parts: Sequence[DueItem], on: date) -> list[Ask]:
    """The next day on which burned piles or dead trees in a burn are looked at; no hold keeps anybody from it."""
    soon = [part for part in parts if part.from_date is not None and part.from_date <= days_after(on, WEEK_DAYS)]
    if not soon:
        return []
    day = min(part.from_date for part in soon if part.from_date is not None)
    return [Ask(unit_id=unit_id, what=what, acres=acres_of(soon), to_date=day, parts=tuple(soon))]


def _checkup(unit_id: str, parts: Sequence[DueItem], barriers: _Barriers, asks: Asks, on: date) -> None:
    last = days_after(on, WEEK_DAYS)
    now = tuple(part for part in parts if part.from_date is not None and part.from_date <= last)
    if now:
        ends = _first_of(*(part.to_date for part in now))
        ask = Ask(unit_id=unit_id, what="checkup", acres=acres_of(now), to_date=ends, parts=now)
        gate = barriers.before(unit_id)
        (asks["check"] if gate is None else gate.waits).append(ask)


def _contract(item: DueItem, barriers: _Barriers, asks: Asks) -> None:
    units = [] if item.unit_id is None else item.unit_id.split(";")
    gates = [gate for unit_id in units if (gate := barriers.before(unit_id)) is not None]
    ask = Ask(unit_id=item.unit_id, what="contract", acres=item.acres, to_date=item.to_date, parts=(item,))
    (gates[0].waits if units and len(gates) == len(units) else asks["closes"]).append(ask)


def _cut(
    order: Sequence[Ranked],
    barriers: _Barriers,
    asks: Asks,
    *,
    is_month_off: bool,
    bite_of: Callable[[Ranked], tuple[float, float | None]],
) -> None:
    """The first unit of the order of work that nothing keeps anybody from."""
    if is_month_off:
        return
    passed: list[str] = []
    for unit in order:
        if not unit.has_cutting:
            continue
        gate = barriers.before(unit.unit_id, "cut")
        if gate is None and unit.closure is not None and unit.closure.is_contract:
            gate = barriers.before_contract(unit.unit_id, unit.closure)
        last = barriers.closures.last_open_day(barriers.on, unit.unit_id, work=("cut",))
        ask = Ask(
            unit_id=unit.unit_id, what="cut", acres=unit.remaining_acres, to_date=last, ranked=unit,
            passed=tuple(passed),
        )  # fmt: skip
        if gate is None:
            bite_acres, bite_hours = bite_of(unit)
            asks["cut"].insert(0, replace(ask, bite_acres=bite_acres, bite_hours=bite_hours))
            return
        passed.append(unit.unit_id)
        gate.waits.append(ask)


def _spots(unit_id: str | None, what: str, parts: Sequence[DueItem], barriers: _Barriers, asks: Asks, on: date) -> None:
    """Photo points, plots and frames to look at again; none of them runs away, so no last day is told."""
    last = days_after(on, WEEK_DAYS)
    now = tuple(part for part in parts if part.from_date is None or part.from_date <= last)
    if now:
        gate = None if unit_id is None else barriers.before(unit_id)
        (asks["check"] if gate is None else gate.waits).append(Ask(unit_id=unit_id, what=what, parts=now))
