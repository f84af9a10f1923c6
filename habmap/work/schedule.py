"""A season, week by week: what closes soonest first, then the order of work; every day open to what is laid on it.

The rule is greedy and plain. Each week's hours go, in this order, to checks after fires on their own days, burns of
slash inside its drying days, burns of piles, cuts that a contract wants by a date, upkeep, check-ups, cuts in the
order of work, and piling. A cut is laid only where its slash will find a day to burn inside its drying days; that burn,
and the checks after a burn of piles on days 1, 3 and 7, are laid too. Nothing here is leave to do any of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import groupby
from typing import Final, Literal

from habmap.errors import InputError
from habmap.measures import days_after
from habmap.work.closures import Closure, Closures, Work
from habmap.work.plan_days import PlanDays
from habmap.work.seasons import HAND_CHECK_DAYS

Kind = Literal["cut", "burn", "pile", "pile_burn", "hand_check", "upkeep", "checkup"]
#: What each kind of work is called on screen.
KIND_WORDS: Final[dict[Kind, str]] = {
    "cut": "cut", "burn": "burn slash", "pile": "pile", "pile_burn": "burn piles", "hand_check": "check after fire",
    "upkeep": "upkeep", "checkup": "check-up",
}  # fmt: skip
WEEK_DAYS: Final = 7
#: Hours below this are the rounding of the arithmetic [h].
NO_HOURS: Final = 1e-9
#: Hours left over in a week go to no less cutting than this, unless it is all there is [acre]. Chosen, no source.
LEAST_CUT_ACRES: Final = 0.1
#: A check of one unit after a fire takes this long: a walk around. Chosen, no source [person-hour].
CHECK_HOURS: Final = 1.0
#: Whole weeks of these are laid, for any day of the week; the others are done on some day of it.
_ALL_WEEK: Final[frozenset[Kind]] = frozenset({"cut", "pile"})
#: What closes days to each kind, besides holds; upkeep without fire asks `Closures.on_upkeep`.
_CLOSED_TO: Final[dict[Kind, tuple[Work, ...]]] = {
    "cut": ("cut",), "pile": ("cut",), "burn": ("burn",), "pile_burn": ("burn",), "checkup": (),
}  # fmt: skip
HOURS_RAN_OUT: Final = "the hours ran out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """Work of one kind on ground of one unit, and what bounds it.

    Attributes
    ----------
    hours_per_acre
        Person-hours per acre; above 0.
    first, first_why, last, last_why
        First and last day on which it may be laid, and in words what sets them; ``None`` = open.
    due
        Day by which a contract wants it; it only presses.
    plan
        The days of the written burn plan that it is burned by; ``None``: no fire.
    by_fire
        Upkeep: whether the settings ask for fire.
    order
        Its place in the order of work.
    begun_acres
        How much of it was laid in weeks before [acre].
    words
        What it is, where the kind alone does not say it.
    """

    what: Kind
    unit_id: str
    acres: float
    hours_per_acre: float
    first: date | None = None
    first_why: str = ""
    last: date | None = None
    last_why: str = ""
    due: date | None = None
    plan: PlanDays | None = None
    by_fire: bool = False
    order: int = 0
    begun_acres: float = 0.0
    words: str = ""

    @property
    def hours(self) -> float:
        """Person-hours that it takes."""
        return self.acres * self.hours_per_acre


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduledItem:
    """Work laid into a week; ``from_date`` to ``to_date`` are days of it that nothing closes, not leave to do it."""

    what: Kind
    unit_id: str
    acres: float
    person_hours: float
    from_date: date
    to_date: date
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ScheduledWeek:
    """A week of the season, and what is laid into it."""

    from_date: date
    to_date: date
    items: tuple[ScheduledItem, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfit:
    """Work that found no place in the season, and why."""

    what: Kind
    unit_id: str
    acres: float
    person_hours: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Seasonal:
    """What bounds all work of a season.

    Attributes
    ----------
    closures
        Holds and closed days.
    working_months
        Months (1-12) in which work is done; checks after fires are done in any.
    drying_days
        First and last day of the drying window after a cut [days].
    burns
        What the burn of a cut's slash is like in a unit: a task whose acres and days are those of the cut.
    pile_burns
        The same of piles laid out.
    """

    closures: Closures
    working_months: Sequence[int]
    drying_days: tuple[int, int]
    burns: dict[str, Task]
    pile_burns: dict[str, Task]

    def why_not(self, task: Task, day: date) -> tuple[int, str] | None:
        """Say why a task may not be done on a day, and how much that counts beside other reasons; ``None``: it may.

        A hold stands before everything: nothing else is said of ground that is on hold.
        """
        closure = self._closure(task, day)
        if closure is not None and closure.is_hold:
            return 0, closure.words
        if task.last is not None and day > task.last:
            return 1, task.last_why
        if closure is not None:
            return 2, closure.words
        if task.first is not None and day < task.first:
            return 3, task.first_why
        if task.what != "hand_check" and day.month not in self.working_months:
            return 4, "months off"
        if task.plan is not None and not task.plan.has(day):
            return 5, "outside the days of its burn plan"
        return None

    def _closure(self, task: Task, day: date) -> Closure | None:
        if task.what == "hand_check":
            return None
        if task.what == "upkeep" and not task.by_fire:
            return self.closures.on_upkeep(day, task.unit_id)
        return self.closures.on(day, task.unit_id, work=_CLOSED_TO.get(task.what, ("burn",)))

    def open_run(self, task: Task, days: Sequence[date]) -> tuple[Sequence[date], str]:
        """Return the longest run of open days, the earlier of equals; empty with the reason that counts most."""
        reasons = {day: self.why_not(task, day) for day in days}
        if task.what in _ALL_WEEK and any(reasons.values()):
            runs: list[list[date]] = []
        else:
            runs = [list(run) for is_open, run in groupby(days, lambda day: reasons[day] is None) if is_open]
        if runs:
            return max(runs, key=len), ""
        return (), min(reason for reason in reasons.values() if reason is not None)[1]

    def burn_after(self, cut: Task, *, acres: float, last_cut: date) -> Task | None:
        """Return the burn of the slash of a cut, ``None`` where the unit's slash is not burned by this schedule."""
        like = self.burns.get(cut.unit_id)
        if like is None:
            return None
        first, last = (days_after(last_cut, days) for days in self.drying_days)
        return replace(
            like,
            acres=acres,
            first=first,
            first_why=f"its slash dries until {first}",
            last=last,
            last_why=f"its drying days end {last}",
            words=f"slash cut by {last_cut}",
        )

    def why_no_burn(self, cut: Task, *, last_cut: date) -> str | None:
        """Say why the slash of a cut would find no day to burn inside its drying days; ``None`` where it would."""
        burn = self.burn_after(cut, acres=cut.acres, last_cut=last_cut)
        if burn is None or burn.first is None or burn.last is None:
            return None
        days = [days_after(burn.first, n) for n in range((burn.last - burn.first).days + 1)]
        run, why = self.open_run(burn, days)
        return None if run else f"its slash would find no day to burn in its drying days: {why}"


def refuse_no_week(first: date, last: date) -> None:
    """Raise ``InputError`` for a season that holds no whole week."""
    if (last - first).days < WEEK_DAYS - 1:
        raise InputError(
            "the season holds no whole week",
            value=f"{first} to {last}",
            allowed="at least seven days",
            mend="give --from and --to at least a week apart",
            where="the season",
        )


def lay_out(
    tasks: Iterable[Task], *, first: date, last: date, hours_per_week: float, season: Seasonal
) -> tuple[tuple[ScheduledWeek, ...], tuple[Unfit, ...]]:
    """Lay tasks into the whole weeks from one day to another.

    Parameters
    ----------
    hours_per_week
        Person-hours in a week, above 0; no week is given more.

    Returns
    -------
    Every whole week with what is laid into it, and what found no place with its reason.
    """
    board = _Board(first=first, last=last, hours_per_week=hours_per_week, season=season)
    todo = [task for task in tasks if task.what != "hand_check" and task.hours > NO_HOURS]
    for check in sorted((task for task in tasks if task.what == "hand_check"), key=lambda task: task.first or first):
        board.lay_check(check)
    for number in range(len(board.starts)):
        later: list[Task] = []
        for task in sorted(todo, key=_pressing):
            left, new = board.lay(task, number)
            later += [*([left] if left is not None else []), *new]
        todo = later
    for task in todo:
        board.give_up(task)
    return board.weeks(), board.unfit()


_PRESSES: Final[tuple[Kind, ...]] = ("burn", "pile_burn", "cut", "upkeep", "checkup")


def _pressing(task: Task) -> tuple[int, date, int, str, date]:
    """Return what puts tasks of a week into their order: last cuts that no contract wants by a date, then piling."""
    is_any_time = task.what == "cut" and task.due is None
    return (
        len(_PRESSES) if is_any_time else len(_PRESSES) + 1 if task.what == "pile" else _PRESSES.index(task.what),
        min(task.last or date.max, task.due or date.max),
        task.order,
        task.unit_id,
        task.first or date.min,
    )


@dataclass(slots=True)
class _Board:
    """The weeks while they are filled."""

    first: date
    last: date
    hours_per_week: float
    season: Seasonal
    starts: list[date] = field(init=False)
    free: list[float] = field(init=False)
    items: list[list[ScheduledItem]] = field(init=False)
    reasons: dict[tuple[Kind, str, date | None, date | None], dict[str, None]] = field(default_factory=dict)
    left_over: dict[tuple[Kind, str, str], list[Task]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        count = ((self.last - self.first).days + 1) // WEEK_DAYS
        self.starts = [self.first + timedelta(days=WEEK_DAYS * number) for number in range(count)]
        self.free = [self.hours_per_week] * count
        self.items = [[] for _ in self.starts]

    def lay(self, task: Task, number: int) -> tuple[Task | None, list[Task]]:
        """Lay as much of a task into a week as there are hours for; return what is left of it, and what follows it."""
        days = self._days(number)
        run, why = self.season.open_run(task, days)
        if run and task.what == "cut" and (no_burn := self.season.why_no_burn(task, last_cut=days[-1])) is not None:
            run, why = (), no_burn
        if not run:
            self._reasons(task)[why] = None
            return self._unless_late(task, days[-1])
        if task.what == "pile_burn":
            return self._lay_pile_burn(task, number, run)
        spent = min(self.free[number], task.hours)
        acres = task.acres if spent == task.hours else spent / task.hours_per_acre
        is_scrap = task.what == "cut" and acres < min(task.acres, LEAST_CUT_ACRES) and spent < self.hours_per_week
        if spent <= NO_HOURS or is_scrap:
            self._reasons(task)[HOURS_RAN_OUT] = None
            return self._unless_late(task, days[-1])
        self._put(task, number, acres, spent, run[0], run[-1])
        new: list[Task] = []
        if task.what == "cut" and (burn := self.season.burn_after(task, acres=acres, last_cut=days[-1])) is not None:
            new.append(burn)
        if spent == task.hours:
            if task.what == "pile" and task.unit_id in self.season.pile_burns:
                after = days_after(days[-1], 1)
                piles, like = task.begun_acres + acres, self.season.pile_burns[task.unit_id]
                new.append(replace(like, acres=piles, first=after, first_why=f"piled until {days[-1]}"))
            return None, new
        self._reasons(task)[HOURS_RAN_OUT] = None
        left, _ = self._unless_late(
            replace(task, acres=task.acres - acres, begun_acres=task.begun_acres + acres), days[-1]
        )
        return left, new

    def _lay_pile_burn(self, task: Task, number: int, run: Sequence[date]) -> tuple[Task | None, list[Task]]:
        """Burn piles on the first day that leaves hours for the checks after it: all of them, or a week's worth."""
        for day in run:
            checks = [self._check(task, day, days) for days in HAND_CHECK_DAYS]
            room = self.free[number] - sum(check.hours for check in checks if self._week_of(check.first) == number)
            others = {self._week_of(check.first) for check in checks} - {number, None}
            has_room = all(
                self.free[week] >= sum(check.hours for check in checks if self._week_of(check.first) == week)
                for week in others
                if week is not None
            )
            is_all = task.hours <= room
            if has_room and (is_all or (task.hours > self.hours_per_week and room >= self.hours_per_week / 2)):
                spent = task.hours if is_all else room
                acres = task.acres if is_all else spent / task.hours_per_acre
                self._put(task, number, acres, spent, day, day)
                for check in checks:
                    self.lay_check(replace(check, acres=acres, hours_per_acre=CHECK_HOURS / acres))
                return (None if is_all else replace(task, acres=task.acres - acres)), []
        self._reasons(task)[HOURS_RAN_OUT] = None
        return self._unless_late(task, self._days(number)[-1])

    def lay_check(self, check: Task) -> None:
        """Lay a check on its own day; where that is past the season or the hours don't reach, say so."""
        day = check.first or self.first
        week = self._week_of(day)
        if week is None:
            self._leave(check, f"falls on {day}, outside these weeks, and must be done all the same")
        elif self.free[week] + NO_HOURS < check.hours:
            self._leave(check, f"falls on {day}, for which the hours of that week do not reach; do it all the same")
        else:
            self._put(check, week, check.acres, min(check.hours, self.free[week]), day, day)

    def give_up(self, task: Task) -> None:
        """Put what is left of a task to what does not fit."""
        found = self._reasons(task)
        if task.first is not None and task.first > self._days(-1)[-1]:
            why = f"{task.first_why}, past the last of these weeks"
        elif HOURS_RAN_OUT in found:
            why = HOURS_RAN_OUT
            if task.last is not None and task.last <= self.last:
                why += f" before then: {task.last_why}"
        else:
            why = "; ".join(found) or HOURS_RAN_OUT
        self._leave(task, why)

    def weeks(self) -> tuple[ScheduledWeek, ...]:
        """Return every week, what must be done on its own day first."""
        return tuple(
            ScheduledWeek(from_date=start, to_date=days_after(start, WEEK_DAYS - 1), items=tuple(items))
            for start, items in zip(self.starts, self.items, strict=True)
        )

    def unfit(self) -> tuple[Unfit, ...]:
        """Return what did not fit, work of one kind in one unit for one reason together."""
        return tuple(
            Unfit(
                what=what,
                unit_id=unit_id,
                acres=sum(task.acres for task in tasks),
                person_hours=sum(task.hours for task in tasks),
                why=why,
            )
            for (what, unit_id, why), tasks in self.left_over.items()
        )

    def _check(self, task: Task, day: date, days: int) -> Task:
        on = days_after(day, days)
        words = f"day {days} after the piles were burned; also before any windy day"
        return Task(
            what="hand_check",
            unit_id=task.unit_id,
            acres=task.acres,
            hours_per_acre=CHECK_HOURS / task.acres,
            first=on,
            last=on,
            words=words,
        )

    def _put(self, task: Task, number: int, acres: float, hours: float, first: date, last: date) -> None:
        self.free[number] = max(0.0, self.free[number] - hours)
        self.items[number].append(
            ScheduledItem(
                what=task.what,
                unit_id=task.unit_id,
                acres=acres,
                person_hours=hours,
                from_date=first,
                to_date=last,
                words=task.words,
            )
        )

    def _unless_late(self, task: Task, day: date) -> tuple[Task | None, list[Task]]:
        """Return a task for the weeks after a day; one that is past its last day is given up."""
        if task.last is None or task.last > day:
            return task, []
        self.give_up(task)
        return None, []

    def _leave(self, task: Task, why: str) -> None:
        self.left_over.setdefault((task.what, task.unit_id, why), []).append(task)

    def _reasons(self, task: Task) -> dict[str, None]:
        return self.reasons.setdefault((task.what, task.unit_id, task.first, task.last), {})

    def _days(self, number: int) -> list[date]:
        return [days_after(self.starts[number], days) for days in range(WEEK_DAYS)]

    def _week_of(self, day: date | None) -> int | None:
        number = ((day or self.first) - self.first).days // WEEK_DAYS
        return number if 0 <= number < len(self.starts) else None
