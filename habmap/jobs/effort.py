"""Person-hours and money so far, the pace, what remains and when it would be done."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from habmap.errors import InputError
from habmap.jobs.ground import Ground, ground
from habmap.jobs.ports import Store
from habmap.jobs.terrain import terrain
from habmap.measures import acres
from habmap.vocabulary import REMAINING, SAW_CAUTION, STEEP_CAUTION
from habmap.work.effort import PUBLISHED_CONTEXT, Left, Rate, Sample, assumed, finish_date, left, rate

#: Practices that clear standing cedars; their hours say what the rest will take. A burn clears none by itself.
CLEARING = ("cut", "girdle", "spray", "mulch")


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeRate:
    """Hours per acre of one practice."""

    practice: str
    entries: int
    acres: float
    person_hours: float
    hours_per_acre: float
    hours_per_acre_low: float | None
    hours_per_acre_high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitEffort:
    """What one unit still takes; ``hand_only_acres`` is remaining ground too steep for the place's machine limit."""

    unit_id: str
    name: str
    remaining_acres: float
    person_hours_left_low: float | None
    person_hours_left: float | None
    person_hours_left_high: float | None
    cost_left: float | None
    hand_only_acres: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EffortResult:
    """Hours and money of a place; ``None`` = not known.

    Attributes
    ----------
    acres_per_person_hour
        Acres cleared of standing cedar per person-hour, from lines of the log that give their hours.
    rests_on
        In words: the place's own log, or an assumption.
    finish_low, finish, finish_high
        When the rest would be done at ``hours_per_week`` in the working months.
    """

    on: date | None
    person_hours: float
    cost: float
    currency: str
    acres_per_person_hour: float | None
    rests_on: str
    remaining_acres: float
    person_hours_left_low: float | None
    person_hours_left: float | None
    person_hours_left_high: float | None
    cost_left: float | None
    hours_per_week: float | None
    finish_low: date | None
    finish: date | None
    finish_high: date | None
    practices: tuple[PracticeRate, ...]
    units: tuple[UnitEffort, ...]
    context: str
    cautions: tuple[str, ...]


def effort(store: Store, *, on: date | None = None, today: date) -> EffortResult:
    """Return what the work has taken and what the rest would take.

    Parameters
    ----------
    today
        Day from which the finish is counted; ``on`` counts instead where it is given.
    """
    settings = store.settings.effort
    state = ground(store, on=on)
    entries = state.entries
    patch_acres = {entry_id: acres(patch.area) for entry_id, patch in state.patches.items()}
    hours = _hours(state)
    money = [
        Sample(acres=patch_acres[entry.entry_id], spent=entry.cost)
        for entry in entries
        if entry.cost is not None and entry.practice in CLEARING
    ]
    clearing = [sample for practice in CLEARING for sample in hours[practice]]
    own = clearing_rate(state, settings.rates)
    remaining = {unit.unit_id: 0.0 for unit in state.units}
    for piece in state.pieces:
        if piece.stage in REMAINING:
            remaining[piece.unit_id] += piece.acres
    hand_only_pct = _hand_only_pct(store, on)
    cost_rate = rate(money)
    units = []
    for unit in state.units:
        acres_left = remaining[unit.unit_id]
        if acres_left <= 0:
            continue
        todo = left(acres_left, own)
        share = hand_only_pct.get(unit.unit_id)
        units.append(
            UnitEffort(
                unit_id=unit.unit_id,
                name=unit.name,
                remaining_acres=acres_left,
                person_hours_left_low=todo.low,
                person_hours_left=todo.middle,
                person_hours_left_high=todo.high,
                cost_left=left(acres_left, cost_rate).middle,
                hand_only_acres=None if share is None else acres_left * share / 100,
            )
        )
    total_left = sum(remaining.values())
    todo = left(total_left, own)
    ends = _finish(todo, start=on or today, hours_per_week=settings.hours_per_week, months=settings.working_months)
    return EffortResult(
        on=state.on,
        person_hours=sum(entry.person_hours or 0.0 for entry in entries),
        cost=sum(entry.cost or 0.0 for entry in entries),
        currency=store.settings.place.currency,
        acres_per_person_hour=_pace(clearing),
        rests_on=own.rests_on if own else "nothing: no line of the log gives its hours and habmap.toml has no rate",
        remaining_acres=total_left,
        person_hours_left_low=todo.low,
        person_hours_left=todo.middle,
        person_hours_left_high=todo.high,
        cost_left=left(total_left, cost_rate).middle,
        hours_per_week=settings.hours_per_week,
        finish_low=ends[0],
        finish=ends[1],
        finish_high=ends[2],
        practices=tuple(_practice_line(practice, samples) for practice, samples in sorted(hours.items()) if samples),
        units=tuple(units),
        context=PUBLISHED_CONTEXT,
        cautions=(SAW_CAUTION, STEEP_CAUTION),
    )


def clearing_rate(state: Ground, rates: Mapping[str, float]) -> Rate | None:
    """Return person-hours per acre of clearing standing cedar: from the log, else ``rates["cut"]``, else ``None``."""
    hours = _hours(state)
    own = rate([sample for practice in CLEARING for sample in hours[practice]])
    return own if own is not None or "cut" not in rates else assumed(rates["cut"])


def _hours(state: Ground) -> dict[str, list[Sample]]:
    hours: dict[str, list[Sample]] = defaultdict(list)
    for entry in state.entries:
        if entry.person_hours is not None and entry.entry_id in state.patches:
            patch_acres = acres(state.patches[entry.entry_id].area)
            hours[entry.practice].append(Sample(acres=patch_acres, spent=entry.person_hours))
    return hours


def _pace(samples: Sequence[Sample]) -> float | None:
    hours = sum(sample.spent for sample in samples)
    return sum(sample.acres for sample in samples) / hours if hours > 0 else None


def _practice_line(practice: str, samples: Sequence[Sample]) -> PracticeRate:
    own: Rate | None = rate(samples)
    return PracticeRate(
        practice=practice,
        entries=len(samples),
        acres=sum(sample.acres for sample in samples),
        person_hours=sum(sample.spent for sample in samples),
        hours_per_acre=own.per_acre if own else 0.0,
        hours_per_acre_low=own.low if own else None,
        hours_per_acre_high=own.high if own else None,
    )


def _finish(
    todo: Left, *, start: date, hours_per_week: float | None, months: Sequence[int]
) -> tuple[date | None, date | None, date | None]:
    def end(person_hours: float | None) -> date | None:
        if person_hours is None or hours_per_week is None:
            return None
        return finish_date(person_hours, start=start, hours_per_week=hours_per_week, working_months=months)

    return end(todo.low), end(todo.middle), end(todo.high)


def _hand_only_pct(store: Store, on: date | None) -> dict[str, float]:
    """Return the hand-only share of each unit's ground; its remaining part is taken to be like the whole."""
    try:
        found = terrain(store, on=on) if store.elevation() else None
    except InputError:
        return {}  # hours are worth saying without the elevation; `habmap check` says what is wrong with it
    if found is None:
        return {}
    return {unit.unit_id: unit.hand_only_pct for unit in found.units if unit.hand_only_pct is not None}
