"""Person-hours and money so far, the pace, what remains and when it would be done."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.jobs.ground import Ground, ground
from habmap.jobs.ports import Store
from habmap.jobs.terrain import EDGE_M, face_rules
from habmap.land.acreage import merged
from habmap.measures import acres
from habmap.place.elevation import open_elevation
from habmap.vocabulary import REMAINING, SAW_CAUTION, STEEP_CAUTION
from habmap.work.effort import (
    ENOUGH_LINES,
    PUBLISHED_CONTEXT,
    SLOPE_CLASSES,
    Left,
    Rate,
    Sample,
    assumed,
    finish_date,
    in_days,
    left,
    rate,
    slope_class,
    together,
)

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
    cost_left_low: float | None
    cost_left: float | None
    cost_left_high: float | None
    hand_only_acres: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SlopeRate:
    """Hours per acre of clearing on ``steep`` or ``gentle`` ground, by each patch's own mean slope."""

    ground: str
    entries: int
    hours_per_acre: float
    hours_per_acre_low: float | None
    hours_per_acre_high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EffortResult:
    """Hours and money of a place; ``None`` = not known.

    Attributes
    ----------
    acres_per_person_hour
        Acres cleared of standing cedar per person-hour, from lines of the log that give their hours.
    rests_on
        In words: the place's own log, or an assumption.
    person_days_left_low, person_days_left, person_days_left_high
        The hours in working days of one person, ``hours_per_day`` each.
    hand_only_acres
        Remaining ground steeper than the machine limit; ``None`` where some of it is not known.
    by_slope
        Empty unless steep and gentle ground each have three lines with hours; then the rest goes by them.
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
    practices: tuple[PracticeRate, ...]
    by_slope: tuple[SlopeRate, ...]
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
    hours = _hours(state)
    clearing = [sample for practice in CLEARING for sample in hours[practice]]
    own = clearing_rate(state, settings.rates)
    cost_rate = rate(_money(state))
    remaining = _remaining(state)
    slopes = _slopes(store, state, remaining)
    by_slope = _slope_rates(state, slopes, machine_limit_pct=store.settings.terrain.machine_limit_pct)
    units = []
    todos = []
    for unit in state.units:
        shape = remaining.get(unit.unit_id)
        if shape is None:
            continue
        acres_left = acres(shape.area)
        steep_share = slopes.steep_frac.get(unit.unit_id)
        todo = _left_on_slopes(acres_left, steep_share, own, by_slope)
        money_left = left(acres_left, cost_rate)
        todos.append(todo)
        units.append(
            UnitEffort(
                unit_id=unit.unit_id,
                name=unit.name,
                remaining_acres=acres_left,
                person_hours_left_low=todo.low,
                person_hours_left=todo.middle,
                person_hours_left_high=todo.high,
                cost_left_low=money_left.low,
                cost_left=money_left.middle,
                cost_left_high=money_left.high,
                hand_only_acres=None if steep_share is None else acres_left * steep_share,
            )
        )
    total_left = sum(unit.remaining_acres for unit in units)
    todo = together(todos)
    days = in_days(todo, hours_per_day=settings.hours_per_day)
    money_left = left(total_left, cost_rate)
    ends = _finish(todo, start=on or today, hours_per_week=settings.hours_per_week, months=settings.working_months)
    rests_on = own.rests_on if own else "nothing: no line of the log gives its hours and habmap.toml has no rate"
    if by_slope:
        rests_on += ", steep and gentle ground apart"
    return EffortResult(
        on=state.on,
        person_hours=sum(entry.person_hours or 0.0 for entry in entries),
        cost=sum(entry.cost or 0.0 for entry in entries),
        currency=store.settings.place.currency,
        acres_per_person_hour=_pace(clearing),
        rests_on=rests_on,
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
        cost_rests_on=cost_rate.rests_on if cost_rate else "nothing: no clearing line of the log gives its cost",
        hours_per_week=settings.hours_per_week,
        finish_low=ends[0],
        finish=ends[1],
        finish_high=ends[2],
        practices=tuple(_practice_line(practice, samples) for practice, samples in sorted(hours.items()) if samples),
        by_slope=tuple(_slope_line(name, own_rate) for name, own_rate in by_slope.items()),
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


@dataclass(frozen=True, slots=True)
class _Slopes:
    """Mean slope of patches by ``entry_id`` [%], and the steep share of remaining ground by ``unit_id`` (0–1)."""

    patch_pct: Mapping[str, float]
    steep_frac: Mapping[str, float]


def _slopes(store: Store, state: Ground, remaining: Mapping[str, BaseGeometry]) -> _Slopes:
    """Measure patches with clearing hours, and what remains; empty where no elevation can be read.

    Hours are worth saying without the elevation; ``habmap check`` says what is wrong with it.
    """
    source = store.elevation()
    timed = [
        entry.entry_id
        for entry in state.entries
        if entry.practice in CLEARING and entry.person_hours is not None and entry.entry_id in state.patches
    ]
    shapes = [*(state.patches[entry_id] for entry_id in timed), *remaining.values()]
    if source is None or state.grid is None or not shapes:
        return _Slopes({}, {})
    try:
        with open_elevation(
            Path(source.path),
            vertical_unit=source.vertical_unit,
            analysis_cell_m=store.settings.terrain.analysis_cell_m,
        ) as dem:
            outlines = [state.grid.to_lonlat(shapely.segmentize(shape, EDGE_M)) for shape in shapes]
            sums = dem.zone_sums(outlines, rules=face_rules(store.settings.terrain, state.grid))
    except InputError:
        return _Slopes({}, {})
    found = [total.summary(unit_m2=shape.area) for total, shape in zip(sums, shapes, strict=True)]
    patches, rest = found[: len(timed)], found[len(timed) :]
    return _Slopes(
        {name: one.slope_mean_pct for name, one in zip(timed, patches, strict=True) if one.slope_mean_pct is not None},
        {
            name: one.hand_only_pct / 100
            for name, one in zip(remaining, rest, strict=True)
            if one.hand_only_pct is not None
        },
    )


def _slope_rates(state: Ground, slopes: _Slopes, *, machine_limit_pct: float) -> dict[str, Rate]:
    """Return hours per acre of clearing on steep and on gentle ground; empty unless both have enough lines."""
    samples: dict[str, list[Sample]] = defaultdict(list)
    for entry in state.entries:
        pct = slopes.patch_pct.get(entry.entry_id)
        if pct is not None and entry.person_hours is not None:
            patch_acres = acres(state.patches[entry.entry_id].area)
            name = slope_class(pct, machine_limit_pct=machine_limit_pct)
            samples[name].append(Sample(acres=patch_acres, spent=entry.person_hours))
    if any(len(samples[name]) < ENOUGH_LINES for name in SLOPE_CLASSES):
        return {}
    rates = {name: rate(samples[name]) for name in SLOPE_CLASSES}
    return {name: found for name, found in rates.items() if found is not None}


def _left_on_slopes(
    acres_left: float, steep_frac: float | None, own: Rate | None, by_slope: Mapping[str, Rate]
) -> Left:
    """Return the hours left, steep and gentle ground each at its own rate where both are known."""
    if steep_frac is None or len(by_slope) < len(SLOPE_CLASSES):
        return left(acres_left, own)
    return together(
        [left(acres_left * steep_frac, by_slope["steep"]), left(acres_left * (1 - steep_frac), by_slope["gentle"])]
    )


def _remaining(state: Ground) -> dict[str, BaseGeometry]:
    """Return the remaining ground of each unit that has any, in grid metres."""
    pieces: dict[str, list[BaseGeometry]] = defaultdict(list)
    for piece in state.pieces:
        if piece.stage in REMAINING and piece.area_m2 > 0:
            pieces[piece.unit_id].append(piece.geometry)
    return {unit_id: merged(shapely.get_parts(shapes).tolist()) for unit_id, shapes in pieces.items()}


def _money(state: Ground) -> list[Sample]:
    return [
        Sample(acres=acres(state.patches[entry.entry_id].area), spent=entry.cost)
        for entry in state.entries
        if entry.cost is not None and entry.practice in CLEARING and entry.entry_id in state.patches
    ]


def _slope_line(name: str, own: Rate) -> SlopeRate:
    return SlopeRate(
        ground=name,
        entries=own.samples,
        hours_per_acre=own.per_acre,
        hours_per_acre_low=own.low,
        hours_per_acre_high=own.high,
    )


def _total(values: Sequence[float | None]) -> float | None:
    """Add what is known; ``None`` where nothing is, or something is not."""
    known = [value for value in values if value is not None]
    return sum(known) if known and len(known) == len(values) else None
