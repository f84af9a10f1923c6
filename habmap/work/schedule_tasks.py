"""What a season has to hold: the tasks that the ground, the order of work and contracts ask for."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from habmap.vocabulary import KILLING
from habmap.work.burn.written_plan import PlanKind
from habmap.work.effort import no_rate
from habmap.work.effort_account import GroundRates, PracticeRate
from habmap.work.plan_days import PlanDays
from habmap.work.priority import SLIVER_ACRES, Ranked
from habmap.work.schedule import CHECK_HOURS, Kind, Task
from habmap.work.seasons import COMING_BACK, ContractDate, DueItem, UpkeepRule

#: Person-hours per acre where neither the log nor the settings say any. Chosen, no source: a place to start from.
ASSUMED_HOURS_PER_ACRE: Final[dict[Kind, float]] = {
    "burn": 2.0, "pile": 4.0, "pile_burn": 1.5, "upkeep": 1.5, "checkup": 0.25,
}  # fmt: skip
#: The practice whose hours a kind of work goes by.
_PRACTICE_OF: Final[dict[Kind, str]] = {
    "burn": "burn", "pile": "pile", "pile_burn": "pile_burn", "upkeep": "burn", "checkup": "checkup",
}  # fmt: skip
#: The practices of a contract that a kind of work is paid as.
_PAID_AS: Final[dict[Kind, frozenset[str]]] = {
    "cut": KILLING - {"burn"}, "burn": frozenset({"burn"}), "upkeep": frozenset({"burn"}),
    "pile": frozenset({"pile"}), "pile_burn": frozenset({"pile_burn"}),
}  # fmt: skip
#: The written plan that a kind of fire goes by.
_PLAN_OF: Final[dict[Kind, PlanKind]] = {"burn": "down_cedar", "pile_burn": "piles", "upkeep": "grass"}

PlanOf = Callable[[PlanKind, str], PlanDays]


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRate:
    """What an acre of one kind of work takes besides cutting, and where that comes from."""

    what: Kind
    hours_per_acre: float
    rests_on: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Ground of a unit that remains to be cut, in the order of work."""

    unit_id: str
    acres: float
    hours_per_acre: float


def _is_paid(what: Kind, unit_id: str, term: ContractDate) -> bool:
    """Tell whether work of a kind in a unit is paid under a contract item."""
    units = term.item.units
    return bool(_PAID_AS.get(what, frozenset()) & term.practices) and (not units or unit_id in units)


def kind_rates(practices: Iterable[PracticeRate], assumed: Mapping[str, float]) -> dict[Kind, KindRate]:
    """Return what each kind of work takes: by the log's own lines, else by the settings, else by an assumption."""
    logged = {line.practice: line for line in practices if line.hours_per_acre > 0}
    found: dict[Kind, KindRate] = {}
    for what, practice in _PRACTICE_OF.items():
        if practice in logged:
            lines = logged[practice].entries
            words = "one line of your own log" if lines == 1 else f"{lines} lines of your own log"
            found[what] = KindRate(what=what, hours_per_acre=logged[practice].hours_per_acre, rests_on=words)
        elif practice in assumed:
            words = f"rates.{practice} in habmap.toml"
            found[what] = KindRate(what=what, hours_per_acre=assumed[practice], rests_on=words)
        else:
            words = f"an assumption: no line of the log gives hours, nor does rates.{practice} in habmap.toml"
            found[what] = KindRate(what=what, hours_per_acre=ASSUMED_HOURS_PER_ACRE[what], rests_on=words)
    return found


def stands(order: Iterable[Ranked], rates: GroundRates) -> list[Stand]:
    """Return what remains to be cut in the order of work, held ground too: what keeps it is said.

    Raises
    ------
    InputError
        Nothing says how many hours an acre of it takes.
    """
    found = []
    for unit in order:
        if unit.has_cutting and unit.remaining_acres >= SLIVER_ACRES:
            hours = rates.hours_on(unit.unit_id, unit.remaining_acres).middle
            if not hours:
                raise no_rate("the log and [effort.rates]")
            per_acre = hours / unit.remaining_acres
            found.append(Stand(unit_id=unit.unit_id, acres=unit.remaining_acres, hours_per_acre=per_acre))
    return found


def cut_tasks(stands: Sequence[Stand], terms: Sequence[ContractDate]) -> list[Task]:
    """Return the cuts, best stand first; what a contract wants by a date is a task of its own with that date.

    A contract's acres are taken from its units in the order of work, the soonest date first.
    """
    left = {stand.unit_id: stand.acres for stand in stands}
    tasks = []
    dated = [term for term in terms if term.item.due is not None]
    for term in sorted(dated, key=lambda term: term.item.due or date.max):
        wanted = float("inf") if term.left_acres is None else term.left_acres
        for order, stand in enumerate(stands):
            acres = min(wanted, left[stand.unit_id]) if _is_paid("cut", stand.unit_id, term) else 0.0
            if acres > SLIVER_ACRES:
                due, name = term.item.due, term.item.name
                why = f"the contract wants it by {due} ({name})"
                task = _cut(stand, order, acres)
                tasks.append(replace(task, due=due, last=due, last_why=why, words=f"for {name}"))
                left[stand.unit_id] -= acres
                wanted -= acres
    tasks += [
        _cut(stand, order, left[stand.unit_id])
        for order, stand in enumerate(stands)
        if left[stand.unit_id] > SLIVER_ACRES
    ]
    return [_bounded(task, terms) for task in tasks]


def ground_tasks(
    items: Iterable[DueItem],
    terms: Sequence[ContractDate],
    *,
    rates: Mapping[Kind, KindRate],
    plan_of: PlanOf,
    upkeep: Mapping[str, UpkeepRule],
    first: date,
) -> list[Task]:
    """Return what the ground asks for: slash to burn or to pile, piles, checks after fires, upkeep and check-ups.

    Parameters
    ----------
    items
        What the ground asks for by its own dates (`habmap.work.seasons.ground_due`), not marked for holds.
    first
        First day of the season.

    Notes
    -----
    Slash that is past its drying days is laid out to be piled: whether it may still be burned where it lies is a
    question for the burn boss.
    """
    tasks = []
    for item in items:
        if item.unit_id is None or item.acres is None or item.acres <= SLIVER_ACRES:
            continue
        task = _task_of(item, item.unit_id, item.acres, rates=rates, plan_of=plan_of, upkeep=upkeep, first=first)
        if task is not None:
            tasks.append(_bounded(task, terms))
    return _together(tasks, first=first)


def _together(tasks: Iterable[Task], *, first: date) -> list[Task]:
    """Add up tasks of one kind in one unit that are open on the same days of a season that begins on ``first``."""
    alike: dict[Task, list[Task]] = {}
    for task in tasks:
        key = replace(task, acres=0.0, words="")
        if task.what == "hand_check":
            key = replace(key, hours_per_acre=0.0)  # so long for each walk, however large the ground
        elif task.first is not None and task.first <= first:
            key = replace(key, first=None, first_why="")
        alike.setdefault(key, []).append(task)
    found = []
    for key, mine in alike.items():
        acres = math.fsum(task.acres for task in mine)
        rate = CHECK_HOURS / acres if key.what == "hand_check" else key.hours_per_acre
        said = list(dict.fromkeys(task.words for task in mine))
        words = [one for one in said if not any(one != other and one in other for other in said)]
        found.append(replace(key, acres=acres, hours_per_acre=rate, words="; ".join(words)))
    return found


def like_task(
    what: Kind, unit_id: str, terms: Sequence[ContractDate], *, rates: Mapping[Kind, KindRate], plan_of: PlanOf
) -> Task:
    """Return a burn of slash or piles that is still to come, its acres and days open."""
    task = Task(
        what=what, unit_id=unit_id, acres=1.0, hours_per_acre=rates[what].hours_per_acre,
        plan=plan_of(_PLAN_OF[what], unit_id), words="piles laid out here" if what == "pile_burn" else "",
    )  # fmt: skip
    return _bounded(task, terms)


def _task_of(
    item: DueItem,
    unit_id: str,
    acres: float,
    *,
    rates: Mapping[Kind, KindRate],
    plan_of: PlanOf,
    upkeep: Mapping[str, UpkeepRule],
    first: date,
) -> Task | None:
    def task(what: Kind, words: str) -> Task:
        by_fire = what in ("burn", "pile_burn") or (
            what == "upkeep" and item.name != COMING_BACK and upkeep[unit_id].is_asked
        )
        return Task(
            what=what, unit_id=unit_id, acres=acres, hours_per_acre=rates[what].hours_per_acre, by_fire=by_fire,
            plan=plan_of(_PLAN_OF[what], unit_id) if by_fire else None, words=words,
        )  # fmt: skip

    if item.what in ("hand_check", "snag_check"):
        return Task(
            what="hand_check", unit_id=unit_id, acres=acres, hours_per_acre=CHECK_HOURS / acres,
            first=item.from_date, last=item.from_date, words=item.words,
        )  # fmt: skip
    if item.what == "drying":
        if item.to_date is not None and item.to_date < first:
            return task("pile", "past its drying days: the burn boss says what may still burn where it lies")
        return replace(
            task("burn", item.words), first=item.from_date, first_why=f"its slash dries until {item.from_date}",
            last=item.to_date, last_why=f"its drying days end {item.to_date}",
        )  # fmt: skip
    if item.what == "piles":
        return task("pile_burn", item.words)
    if item.what == "upkeep":
        return replace(
            task("upkeep", item.words), first=item.from_date, first_why=f"it falls due on {item.from_date}",
            last=item.to_date, last_why=f"its days end {item.to_date}",
        )  # fmt: skip
    if item.what == "checkup":
        is_late = item.to_date is not None and item.to_date < first
        return replace(
            task("checkup", item.words), first=item.from_date, first_why=f"its days begin on {item.from_date}",
            last=None if is_late else item.to_date, last_why="" if is_late else f"its days end {item.to_date}",
        )  # fmt: skip
    return None


def _cut(stand: Stand, order: int, acres: float) -> Task:
    return Task(what="cut", unit_id=stand.unit_id, acres=acres, hours_per_acre=stand.hours_per_acre, order=order)


def _bounded(task: Task, terms: Sequence[ContractDate]) -> Task:
    """Return a task that begins no sooner than its contracts, and presses by the soonest of their dates."""
    mine = [term.item for term in terms if _is_paid(task.what, task.unit_id, term)]
    starts = [(term.not_before, term.name) for term in mine if term.not_before is not None]
    dues = [term.due for term in mine if term.due is not None]
    if task.what != "cut" and dues:
        task = replace(task, due=min(dues))
    if starts and (latest := max(starts))[0] > (task.first or date.min):
        task = replace(task, first=latest[0], first_why=f"its contract begins on {latest[0]} ({latest[1]})")
    return task
