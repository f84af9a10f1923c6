"""Person-hours and money so far, the pace, what remains and when it would be done: one account of all of it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.vocabulary import FOLLOW_UP, TREATED
from habmap.work.closures import Closure, Closures
from habmap.work.density_records import UnitDensity
from habmap.work.effort import (
    PUBLISHED_CONTEXT,
    Left,
    Rates,
    Sample,
    assumed,
    density_classes,
    follow_up,
    in_days,
    left,
    left_on,
    pass_acres,
    per_acre,
    rate,
    rates,
    samples,
    together,
    total_known,
)
from habmap.work.finish import Finish, finish
from habmap.work.ground import Ground
from habmap.work.priority import DenseLimits
from habmap.work.said import cautions_ahead

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
        When the rest would be done at ``hours_per_week``, months off, closed days, holds and first days of
        contracts counted in.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundRates:
    """What an acre takes on each unit's ground.

    Attributes
    ----------
    samples
        Ground that lines with hours brought to its target.
    hours, money
        Rates of both, by classes of ground where the log has enough lines.
    density, steep_frac
        Of what remains of each unit: its density class (``None`` = not known), and its steep share where known (0–1).
    """

    samples: Sequence[Sample]
    hours: Rates
    money: Rates
    density: Mapping[str, str | None]
    steep_frac: Mapping[str, float]

    def hours_on(self, unit_id: str, acres: float) -> Left:
        """Return the person-hours that so much of a unit's remaining ground takes."""
        return self._on(unit_id, acres, self.hours)

    def cost_on(self, unit_id: str, acres: float) -> Left:
        """Return the money that so much of a unit's remaining ground takes."""
        return self._on(unit_id, acres, self.money)

    def _on(self, unit_id: str, acres: float, by: Rates) -> Left:
        return left_on(acres, density=self.density.get(unit_id), steep_frac=self.steep_frac.get(unit_id), by=by)


def ground_rates(
    state: Ground,
    *,
    stands: Mapping[str, UnitDensity],
    limits: DenseLimits,
    slopes: Mapping[str, str],
    steep_frac: Mapping[str, float],
    assumed_hours_per_acre: float | None,
) -> GroundRates:
    """Return what an acre takes, from the log's own lines.

    Parameters
    ----------
    stands, limits
        How dense each unit is, and what counts as dense.
    slopes
        Slope class by ``entry_id`` of a clearing line.
    steep_frac
        As of `GroundRates`.
    assumed_hours_per_acre
        Counts where the log has no hours of its own.
    """
    then, now = density_classes(state, stands, limits=limits)
    hours = samples(state, "person_hours", density=then, slope=slopes)
    own = rates(hours)
    if own.overall is None and assumed_hours_per_acre is not None:
        own = Rates(overall=assumed(assumed_hours_per_acre))
    money = rates(samples(state, "cost", density=then, slope=slopes))
    return GroundRates(samples=hours, hours=own, money=money, density=now, steep_frac=steep_frac)


def effort_account(
    state: Ground,
    by: GroundRates,
    *,
    remaining_acres: Mapping[str, float],
    hours_per_day: float,
    hours_per_week: float | None,
    working_months: Sequence[int],
    closures: Closures,
    waits: Mapping[str, Closure],
    day: date,
    currency: str,
) -> EffortResult:
    """Return what the work has taken and what the rest would take.

    Parameters
    ----------
    remaining_acres
        What remains of each unit that has any [acre].
    closures, waits, day
        Holds and closed days; by unit the contract item whose first day is waited for; and the day from which the
        finish is counted.
    """
    own, money = by.hours, by.money
    units, todos, costs = [], [], []
    for unit in state.units:
        acres_left = remaining_acres.get(unit.unit_id)
        if acres_left is None:
            continue
        ground_class, steep = by.density.get(unit.unit_id), by.steep_frac.get(unit.unit_id)
        todos.append(by.hours_on(unit.unit_id, acres_left))
        costs.append(by.cost_on(unit.unit_id, acres_left))
        closure = closures.on(day, unit.unit_id, work=("cut",)) or waits.get(unit.unit_id)
        units.append(
            UnitEffort(
                unit_id=unit.unit_id,
                name=unit.name,
                remaining_acres=acres_left,
                on_hold=closure is not None and closure.is_hold,
                waits=None if closure is None else closure.words,
                density=ground_class,
                lines=own.lines_of(density=ground_class),
                **todos[-1].fields("person_hours_left"),
                **costs[-1].fields("cost_left"),
                hand_only_acres=None if steep is None else acres_left * steep,
            )
        )
    total_left = sum(unit.remaining_acres for unit in units)
    # without ground that remains nothing is left to take, whatever an acre takes
    todo = together(todos) if units else left(0.0, own.overall)
    spent = sum(sample.spent for sample in by.samples)

    def ends(takes: Sequence[float | None]) -> Finish:
        known = {unit.unit_id: value for unit, value in zip(units, takes, strict=True) if value is not None}
        if hours_per_week is None or len(known) < len(units):
            return Finish(day=None)
        return finish(
            known, start=day, hours_per_week=hours_per_week, working_months=working_months, closures=closures,
            waits=waits,
        )  # fmt: skip

    middle = ends([one.middle for one in todos])
    return EffortResult(
        on=state.on,
        person_hours=sum(entry.person_hours or 0.0 for entry in state.entries),
        cost=sum(entry.cost or 0.0 for entry in state.entries),
        currency=currency,
        acres_per_person_hour=sum(sample.acres for sample in by.samples) / spent if spent > 0 else None,
        hours_per_acre=own.overall.per_acre if own.overall else None,
        lines=min((unit.lines for unit in units), default=0),
        rests_on=rests_on(own, "hours"),
        remaining_acres=total_left,
        hand_only_acres=total_known([unit.hand_only_acres for unit in units]) if units else None,
        **todo.fields("person_hours_left"),
        hours_per_day=hours_per_day,
        **in_days(todo, hours_per_day=hours_per_day).fields("person_days_left"),
        **(together(costs) if units else left(0.0, money.overall)).fields("cost_left"),
        cost_rests_on=rests_on(money, "cost"),
        hours_per_week=hours_per_week,
        finish_low=ends([one.low for one in todos]).day,
        finish=middle.day,
        finish_high=ends([one.high for one in todos]).day,
        finish_moved_by=middle.moved_by,
        finish_without=middle.without,
        follow_up=_follow_up(state, total_left),
        left_out=LEFT_OUT,
        practices=_practices(state),
        classes=tuple(
            ClassRate(
                density=own.class_of("density", key),
                slope=own.class_of("slope", key),
                entries=found.samples,
                **per_acre(found).fields("hours_per_acre"),
            )
            for key, found in own.classes.items()
        ),
        units=tuple(units),
        context=PUBLISHED_CONTEXT,
        cautions=cautions_ahead(
            state.entries, is_steep=True, also=FOLLOW_UP, snags_in=(piece.state for piece in state.pieces)
        ),
    )


def rests_on(own: Rates, what: str) -> str:
    """Say in words what the rates of `what` (hours, cost) come from."""
    if own.overall is None:
        words = f"nothing: no ground is at its target whose lines of the log all give their {what}"
        return words + (" and habmap.toml has no rate" if what == "hours" else "")
    return f"{own.overall.rests_on}, {own.split_words}" if own.overall.samples else own.overall.rests_on


def _practices(state: Ground) -> tuple[PracticeRate, ...]:
    found: dict[str, list[Sample]] = defaultdict(list)
    for entry in state.entries:
        if entry.person_hours is not None and entry.entry_id in state.patches:
            found[entry.practice].append(Sample(acres=pass_acres(state, entry), spent=entry.person_hours))
    return tuple(
        PracticeRate(
            practice=practice,
            entries=len(lines),
            pass_acres=sum(one.acres for one in lines),
            person_hours=sum(one.spent for one in lines),
            **per_acre(rate(lines) or assumed(0.0)).fields("hours_per_acre"),
        )
        for practice, lines in sorted(found.items())
    )


def _follow_up(state: Ground, remaining_acres: float) -> FollowUp:
    practices, hours = follow_up(state, FOLLOW_UP)
    treated_acres = math.fsum(piece.acres for piece in state.pieces if piece.stage in TREATED)
    hours_per_acre = hours / treated_acres if practices and treated_acres > 0 else None
    return FollowUp(
        practices=practices,
        person_hours=hours,
        hours_per_acre=hours_per_acre,
        person_hours_left=None if hours_per_acre is None else hours_per_acre * remaining_acres,
    )
