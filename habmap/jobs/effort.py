"""Person-hours and money so far, the pace, what remains and when it would be done."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.jobs.density import density
from habmap.jobs.effort_slopes import slope_classes
from habmap.jobs.ground import ground, remaining_ground
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.measures import acres
from habmap.place.closed_days import closures
from habmap.vocabulary import FOLLOW_UP, SAW_CAUTION, STEEP_CAUTION, TREATED
from habmap.work.effort import (
    PUBLISHED_CONTEXT,
    Rate,
    Rates,
    Sample,
    assumed,
    in_days,
    left,
    left_on,
    rate,
    rates,
    together,
)
from habmap.work.effort_samples import density_classes, follow_up, pass_acres, samples
from habmap.work.finish import Finish, finish
from habmap.work.ground import Ground
from habmap.work.priority import DenseLimits

#: Work on slash after the clearing; what the log says it took so far is told beside the hours of clearing.
#: What no figure here counts in.
LEFT_OUT: Final = "upkeep in later years, check-ups and seeding"


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeRate:
    """Hours per acre of one practice, over the plain sum of its patches: ground worked twice counts twice."""

    practice: str
    entries: int
    pass_acres: float
    person_hours: float
    hours_per_acre: float
    hours_per_acre_low: float | None
    hours_per_acre_high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitEffort:
    """What one unit still takes.

    ``density`` is the class of what remains (``dense``, ``open``, ``None`` = not known); ``hand_only_acres`` is
    remaining ground too steep for the place's machine limit; ``lines`` are those of the log that its hours
    rest on; ``waits`` says if it is on hold or closed to cutting now.
    """

    unit_id: str
    name: str
    remaining_acres: float
    on_hold: bool
    waits: str | None
    density: str | None
    lines: int
    person_hours_left_low: float | None
    person_hours_left: float | None
    person_hours_left_high: float | None
    cost_left_low: float | None
    cost_left: float | None
    cost_left_high: float | None
    hand_only_acres: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassRate:
    """Hours per acre brought to target on one class of ground; ``None`` = that is not told apart."""

    density: str | None
    slope: str | None
    entries: int
    hours_per_acre: float
    hours_per_acre_low: float | None
    hours_per_acre_high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowUp:
    """What work on slash took so far (``practices`` that the log gives hours for), and would take on the rest.

    ``hours_per_acre`` is over all ground treated so far, followed up or not: it grows as more of it is.
    """

    practices: tuple[str, ...]
    person_hours: float
    hours_per_acre: float | None
    person_hours_left: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EffortResult:
    """Hours and money of a place; ``None`` = not known.

    Attributes
    ----------
    acres_per_person_hour
        Acres brought to target per person-hour of clearing, all its passes together.
    hours_per_acre
        The same the other way round, or the assumption in ``habmap.toml``.
    lines
        Lines of the log that the hours of what remains rest on: of classes of ground the class that has fewest.
    rests_on
        In words: the place's own log, or an assumption.
    follow_up, left_out
        Work on slash, told beside the hours of clearing; in words, what no figure here counts in.
    person_days_left_low, person_days_left, person_days_left_high
        The hours in working days of one person, ``hours_per_day`` each.
    hand_only_acres
        Remaining ground steeper than the machine limit; ``None`` where some of it is not known.
    classes
        Empty unless each class of ground has three lines with hours; then the rest goes by them.
    finish_low, finish, finish_high
        When the rest would be done at ``hours_per_week``, months off, closed days and holds counted in.
    finish_moved_by, finish_without
        In words, what closed days on the way to ``finish``; units left out of it, on hold with no end written.
    """

    on: date | None
    person_hours: float
    cost: float
    currency: str
    acres_per_person_hour: float | None
    hours_per_acre: float | None
    lines: int
    rests_on: str
    remaining_acres: float
    hand_only_acres: float | None
    person_hours_left_low: float | None
    person_hours_left: float | None
    person_hours_left_high: float | None
    hours_per_day: float
    person_days_left_low: float | None
    person_days_left: float | None
    person_days_left_high: float | None
    cost_left_low: float | None
    cost_left: float | None
    cost_left_high: float | None
    cost_rests_on: str
    hours_per_week: float | None
    finish_low: date | None
    finish: date | None
    finish_high: date | None
    finish_moved_by: tuple[str, ...]
    finish_without: tuple[str, ...]
    follow_up: FollowUp
    left_out: str
    practices: tuple[PracticeRate, ...]
    classes: tuple[ClassRate, ...]
    units: tuple[UnitEffort, ...]
    context: str
    cautions: tuple[str, ...]


@once
def effort(store: Store, *, on: date | None = None, today: date) -> EffortResult:
    """Return what the work has taken and what the rest would take.

    Hours per acre are those of ground that was brought to its target, all its passes together. Ground part killed so
    far is counted as if nothing had been done there yet.

    Parameters
    ----------
    today
        Day from which the finish is counted; ``on`` counts instead where it is given.
    """
    settings, day = store.settings.effort, on or today
    state = ground(store, on=on)
    remaining = remaining_ground(store, on=on)
    stands = {stand.unit_id: stand for stand in density(store, on=on).units}
    own_limits = store.settings.density
    limits = DenseLimits(stems_per_acre=own_limits.dense_stems_per_acre, canopy_pct=own_limits.dense_canopy_pct)
    then, now = density_classes(state, stands, limits=limits)
    slope, steep_frac = slope_classes(store, on=on)
    hours = samples(state, lambda entry: entry.person_hours, density=then, slope=slope)
    own = rates(hours)
    money = rates(samples(state, lambda entry: entry.cost, density=then, slope=slope))
    if own.overall is None and "cut" in settings.rates:
        own = Rates(overall=assumed(settings.rates["cut"]))
    closed = closures(settings_of_now(store))
    units, todos, costs = [], [], []
    for unit in state.units:
        shape = remaining.get(unit.unit_id)
        if shape is None:
            continue
        acres_left = acres(shape.area)
        ground_class, steep = now.get(unit.unit_id), steep_frac.get(unit.unit_id)
        todo = left_on(acres_left, density=ground_class, steep_frac=steep, by=own)
        cost = left_on(acres_left, density=ground_class, steep_frac=steep, by=money)
        closure = closed.on(day, unit.unit_id, work=("cut",))
        todos.append(todo)
        costs.append(cost)
        units.append(
            UnitEffort(
                unit_id=unit.unit_id,
                name=unit.name,
                remaining_acres=acres_left,
                on_hold=closure is not None and closure.is_hold,
                waits=None if closure is None else closure.words,
                density=ground_class,
                lines=own.lines_of(density=ground_class),
                person_hours_left_low=todo.low,
                person_hours_left=todo.middle,
                person_hours_left_high=todo.high,
                cost_left_low=cost.low,
                cost_left=cost.middle,
                cost_left_high=cost.high,
                hand_only_acres=None if steep is None else acres_left * steep,
            )
        )
    total_left = sum(unit.remaining_acres for unit in units)
    # without ground that remains nothing is left to take, whatever an acre takes
    todo, money_left = (
        (together(todos), together(costs)) if units else (left(0.0, own.overall), left(0.0, money.overall))
    )
    days = in_days(todo, hours_per_day=settings.hours_per_day)

    def ends(which: Callable[[UnitEffort], float | None]) -> Finish:
        taken = {unit.unit_id: which(unit) for unit in units}
        known = {unit_id: value for unit_id, value in taken.items() if value is not None}
        if settings.hours_per_week is None or len(known) < len(taken):
            return Finish(day=None)
        return finish(
            known, start=day, hours_per_week=settings.hours_per_week, working_months=settings.working_months,
            closures=closed,
        )  # fmt: skip

    middle = ends(lambda unit: unit.person_hours_left)
    return EffortResult(
        on=state.on,
        person_hours=sum(entry.person_hours or 0.0 for entry in state.entries),
        cost=sum(entry.cost or 0.0 for entry in state.entries),
        currency=store.settings.place.currency,
        acres_per_person_hour=_pace(hours),
        hours_per_acre=own.overall.per_acre if own.overall else None,
        lines=min((unit.lines for unit in units), default=0),
        rests_on=_rests_on(own, "hours"),
        remaining_acres=total_left,
        hand_only_acres=_total([unit.hand_only_acres for unit in units]),
        person_hours_left_low=todo.low,
        person_hours_left=todo.middle,
        person_hours_left_high=todo.high,
        hours_per_day=settings.hours_per_day,
        person_days_left_low=days.low,
        person_days_left=days.middle,
        person_days_left_high=days.high,
        cost_left_low=money_left.low,
        cost_left=money_left.middle,
        cost_left_high=money_left.high,
        cost_rests_on=_rests_on(money, "cost"),
        hours_per_week=settings.hours_per_week,
        finish_low=ends(lambda unit: unit.person_hours_left_low).day,
        finish=middle.day,
        finish_high=ends(lambda unit: unit.person_hours_left_high).day,
        finish_moved_by=middle.moved_by,
        finish_without=middle.without,
        follow_up=_follow_up(state, total_left),
        left_out=LEFT_OUT,
        practices=_practices(state),
        classes=tuple(_class_line(dict(zip(own.ways, key, strict=True)), found) for key, found in own.classes.items()),
        units=tuple(units),
        context=PUBLISHED_CONTEXT,
        cautions=(SAW_CAUTION, STEEP_CAUTION),
    )


def _rests_on(own: Rates, what: str) -> str:
    if own.overall is None:
        words = f"nothing: no ground is at its target whose lines of the log all give their {what}"
        return words + (" and habmap.toml has no rate" if what == "hours" else "")
    return f"{own.overall.rests_on}, {own.apart}" if own.overall.samples else own.overall.rests_on


def _pace(hours: Sequence[Sample]) -> float | None:
    spent = sum(sample.spent for sample in hours)
    return sum(sample.acres for sample in hours) / spent if spent > 0 else None


def _practices(state: Ground) -> tuple[PracticeRate, ...]:
    found: dict[str, list[Sample]] = defaultdict(list)
    for entry in state.entries:
        if entry.person_hours is not None and entry.entry_id in state.patches:
            found[entry.practice].append(Sample(acres=pass_acres(state, entry), spent=entry.person_hours))
    return tuple(_practice_line(practice, lines) for practice, lines in sorted(found.items()))


def _practice_line(practice: str, lines: Sequence[Sample]) -> PracticeRate:
    own = rate(lines)
    return PracticeRate(
        practice=practice,
        entries=len(lines),
        pass_acres=sum(one.acres for one in lines),
        person_hours=sum(one.spent for one in lines),
        hours_per_acre=own.per_acre if own else 0.0,
        hours_per_acre_low=own.low if own else None,
        hours_per_acre_high=own.high if own else None,
    )


def _follow_up(state: Ground, remaining_acres: float) -> FollowUp:
    practices, hours = follow_up(state, FOLLOW_UP)
    treated_acres = math.fsum(piece.acres for piece in state.pieces if piece.stage in TREATED)
    per_acre = hours / treated_acres if practices and treated_acres > 0 else None
    return FollowUp(
        practices=practices,
        person_hours=hours,
        hours_per_acre=per_acre,
        person_hours_left=None if per_acre is None else per_acre * remaining_acres,
    )


def _class_line(ways: Mapping[str, str | None], own: Rate) -> ClassRate:
    return ClassRate(
        density=ways.get("density"),
        slope=ways.get("slope"),
        entries=own.samples,
        hours_per_acre=own.per_acre,
        hours_per_acre_low=own.low,
        hours_per_acre_high=own.high,
    )


def _total(values: Sequence[float | None]) -> float | None:
    """Add what is known; ``None`` where nothing is, or something is not."""
    known = [value for value in values if value is not None]
    return sum(known) if known and len(known) == len(values) else None
