"""Every day of the log as a step of the map: the ground as it was, each step the acre account of that day.

The ground is cut once for each way in which the units were drawn, with all lines of the log up to the last day they
were drawn so; the stage of a piece is then told for each day from the lines that lie on it. Cutting it anew for each
day would give the same acres (within the closure of 1e-6 m²) and cost a hundred cuts.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from operator import itemgetter
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

from habmap.land.acreage import merged
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.memory import remembered
from habmap.records import Entry, Unit
from habmap.show.page.ruler import ruler_bytes
from habmap.show.records import (
    PageDone,
    PageHistory,
    PageHistoryPiece,
    PageOldUnits,
    PageStep,
)
from habmap.vocabulary import PRACTICES
from habmap.work.ground import CutUnit, Ground, StageLimits, cut_ground, unit_courses
from habmap.work.season_account import season_label, season_year

#: A history that would make the page heavier than this steps by season instead of by day [bytes].
MOST_BYTES: Final = 2_000_000
#: Differences below this are binary crumbs of adding and taking away [acre].
_CRUMB_ACRES: Final = 1e-9


@dataclass(frozen=True, slots=True)
class _Step:
    """A step's day (``None`` before any work), the units drawn then, and the season it closes, if it stands for one."""

    day: date | None
    units: tuple[Unit, ...]
    season: str | None = None


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Steps, first to last included, whose units are drawn alike, and the ground cut for them."""

    first: int
    last: int
    ground: Ground


@dataclass(frozen=True, slots=True, eq=False)
class _UnitPart:
    """What becomes of one unit in one stretch; the very same object as long as nothing that decides about it changed.

    Attributes
    ----------
    changes
        Step, stage before (``None``: not drawn) and from then on, and how much ground [acre], piece by piece.
    stage_acres
        By step at which they change.
    done_acres
        By step and practice.
    """

    pieces: tuple[PageHistoryPiece, ...]
    changes: tuple[tuple[int, str | None, str, float], ...]
    stage_acres: Mapping[int, Mapping[str, float]]
    done_acres: Mapping[tuple[int, str], float]


def page_history(
    state: Ground, *, versions: Sequence[Unit], limits: StageLimits, most_bytes: int = MOST_BYTES
) -> PageHistory | None:
    """Return the steps of the page whose ground is ``state``; ``None`` where nothing is drawn or logged.

    Parameters
    ----------
    state
        The ground that the page opens with; its day is the last step.
    versions
        Every version of every unit.
    limits
        The place's own, by which the ground was cut.
    most_bytes
        Where days make a heavier history than this, each step is the end of a season instead.
    """
    if state.grid is None or not state.entries or not state.units:
        return None
    history = _history(limits, state, _day_steps(versions, state))
    if ruler_bytes(history) > most_bytes:
        history = _history(limits, state, _season_steps(versions, state))
    return history


def _day_steps(versions: Sequence[Unit], state: Ground) -> list[_Step]:
    days = sorted({entry.date for entry in state.entries})
    return _with_ends(versions, state, [(day, None) for day in days])


def _season_steps(versions: Sequence[Unit], state: Ground) -> list[_Step]:
    last_day = {season_year(entry.date): entry.date for entry in sorted(state.entries, key=lambda entry: entry.date)}
    return _with_ends(versions, state, [(day, season_label(year)) for year, day in last_day.items()])


def _with_ends(versions: Sequence[Unit], state: Ground, days: Sequence[tuple[date, str | None]]) -> list[_Step]:
    """Put the step before any work in front, and one with the units as the page has them behind where they differ."""

    def drawn_on(day: date) -> tuple[Unit, ...]:
        return tuple(
            unit
            for unit in versions
            if not unit.is_retired
            and (unit.valid_from is None or unit.valid_from <= day)
            and (unit.valid_to is None or unit.valid_to > day)
        )

    first = min(entry.date for entry in state.entries)
    before = first - timedelta(days=1) if first > date.min else first
    found = [_Step(None, drawn_on(before)), *(_Step(day, drawn_on(day), season) for day, season in days)]
    if _uuids(found[-1].units) != _uuids(state.units):
        found.append(_Step(state.on, state.units))
    return found


def _uuids(units: Sequence[Unit]) -> frozenset[str]:
    return frozenset(unit.uuid for unit in units)


def _stretches(limits: StageLimits, state: Ground, steps: Sequence[_Step]) -> Iterator[_Stretch]:
    first = 0
    for index, step in enumerate(steps):
        if index + 1 < len(steps) and _uuids(steps[index + 1].units) == _uuids(step.units):
            continue
        if _uuids(step.units) == _uuids(state.units):
            yield _Stretch(first, index, state)
        else:
            until = tuple(entry for entry in state.entries if step.day is not None and entry.date <= step.day)
            yield _Stretch(first, index, cut_ground(step.units, until, grid=state.grid, limits=limits, on=step.day))
        first = index + 1


def _history(limits: StageLimits, state: Ground, steps: Sequence[_Step]) -> PageHistory:
    grid = state.grid
    assert grid is not None
    days = [step.day for step in steps if step.day is not None]
    step_of = {day: 1 + bisect_left(days, day) for day in {entry.date for entry in state.entries}}
    found: list[PageStep] = []
    pieces: list[PageHistoryPiece] = []
    old_units: list[PageOldUnits] = []
    there: frozenset[str] = frozenset()
    for stretch in _stretches(limits, state, steps):
        last = None if stretch.last == len(steps) - 1 else stretch.last
        parts = {
            unit.unit_id: _unit_part(
                cut, tuple(step_of[line.date] for line in cut.lines), first=stretch.first, last=last, grid=grid
            )
            for unit, cut in zip(stretch.ground.units, stretch.ground.by_unit, strict=True)
        }
        ids = frozenset(parts)
        found += _steps(stretch, steps, parts, gone=there - ids, done=_done(stretch, parts, step_of))
        there = ids
        pieces += [piece for part in parts.values() for piece in part.pieces]
        if _uuids(stretch.ground.units) != _uuids(state.units):
            old_units.append(_old_units(stretch, grid))
    return PageHistory(
        steps=tuple(found),
        pieces=tuple(pieces),
        patch_steps=tuple(
            step_of[entry.date]
            for entry in sorted(state.entries, key=lambda entry: entry.date)
            if entry.patch is not None
        ),
        old_units=tuple(old_units),
        unit_names={unit.unit_id: unit.name or "" for step in steps for unit in step.units},
    )


@remembered
def _unit_part(
    cut: CutUnit, line_steps: tuple[int, ...], *, first: int, last: int | None, grid: LocalGrid
) -> _UnitPart:
    """Return what becomes of one unit in a stretch.

    Parameters
    ----------
    line_steps
        The step on which each of its lines was done.
    first, last
        Steps of the stretch; ``last`` is ``None`` where it is the page's own last.
    """
    step_of = {line.entry_id: step for line, step in zip(cut.lines, line_steps, strict=True)}
    practice_of = {line.entry_id: line.practice for line in cut.lines}
    parts: defaultdict[tuple[tuple[int, str], ...], list[Polygon | MultiPolygon]] = defaultdict(list)
    changes: list[tuple[int, str | None, str, float]] = []
    done_acres: defaultdict[tuple[int, str], float] = defaultdict(float)
    for piece, course in unit_courses(cut, group_of=lambda line: max(first, step_of[line.entry_id])):
        # What lies before the stretch's first step, or on it, has happened when it begins.
        at = {first if step is None else step: stage for step, stage in course}
        stages: list[tuple[int, str]] = []
        for step, stage in at.items():
            if _within(step, first, last) and (not stages or stages[-1][1] != stage):
                changes.append((step, stages[-1][1] if stages else None, stage, piece.acres))
                stages.append((step, stage))
        parts[tuple(stages)].append(piece.geometry)
        for key in {(step_of[entry_id], practice_of[entry_id]) for entry_id in piece.entry_ids}:
            if _within(key[0], first, last):
                done_acres[key] += piece.acres
    return _UnitPart(
        pieces=tuple(
            # Ground that had the same course is joined, so that no hairline shows and the file stays small.
            PageHistoryPiece(
                unit_id=cut.pieces[0].unit_id,
                geometry=grid.to_lonlat(merged(ground)),
                stages=stages if last is None else (*stages, (last + 1, None)),
            )
            for stages, ground in parts.items()
        ),
        changes=tuple(changes),
        stage_acres=dict(_running(changes)),
        done_acres=dict(done_acres),
    )


def _within(step: int, first: int, last: int | None) -> bool:
    return first <= step and (last is None or step <= last)


def _running(changes: Iterable[tuple[int, str | None, str, float]]) -> Iterator[tuple[int, Mapping[str, float]]]:
    """Yield the acres by stage after each step that changes them."""
    sums: defaultdict[str, float] = defaultdict(float)
    for step, its_changes in groupby(sorted(changes, key=itemgetter(0)), key=itemgetter(0)):
        for _, old, new, its_acres in its_changes:
            if old is not None:
                sums[old] -= its_acres
            sums[new] += its_acres
        yield step, {stage: value for stage, value in sums.items() if value > _CRUMB_ACRES}


def _steps(
    stretch: _Stretch,
    steps: Sequence[_Step],
    parts: Mapping[str, _UnitPart],
    *,
    gone: frozenset[str],
    done: dict[int, tuple[PageDone, ...]],
) -> Iterator[PageStep]:
    """Yield the stretch's steps; units that the step before it had and it has not are ``gone``."""
    units: defaultdict[int, dict[str, Mapping[str, float]]] = defaultdict(dict)
    for unit_id in sorted(parts):
        for step, stage_acres in parts[unit_id].stage_acres.items():
            units[step][unit_id] = stage_acres
    units[stretch.first] |= {unit_id: {} for unit_id in sorted(gone)}
    total = dict(_running(change for part in parts.values() for change in part.changes))
    now: Mapping[str, float] = {}
    for step in range(stretch.first, stretch.last + 1):
        now = total.get(step, now)
        yield PageStep(
            day=steps[step].day,
            season=steps[step].season,
            units=units[step],
            stage_acres=now,
            done=done.get(step, ()),
        )


def _done(
    stretch: _Stretch, parts: Mapping[str, _UnitPart], step_of: Mapping[date, int]
) -> dict[int, tuple[PageDone, ...]]:
    """Return what was worked on each step, each acre once per practice."""
    by_id = {entry.entry_id: entry for entry in stretch.ground.entries}
    inside: defaultdict[tuple[int, str], dict[str, float]] = defaultdict(dict)
    outside: defaultdict[tuple[int, str], float] = defaultdict(float)

    def works(entries: Iterable[Entry]) -> set[tuple[int, str]]:
        found = {(step_of[day], practice) for day, practice in {(entry.date, entry.practice) for entry in entries}}
        return {key for key in found if _within(key[0], stretch.first, stretch.last)}

    for unit_id, part in parts.items():
        for key, its_acres in part.done_acres.items():
            inside[key][unit_id] = its_acres
    for overlay in stretch.ground.overlays:
        if not overlay.unit_ids:
            for key in works(by_id[entry_id] for entry_id in overlay.entry_ids):
                outside[key] += acres(overlay.area_m2)
    # Lines without ground of their own were worked too.
    found: defaultdict[int, list[PageDone]] = defaultdict(list)
    for step, practice in sorted(works(stretch.ground.entries), key=lambda key: (key[0], PRACTICES.index(key[1]))):
        key = (step, practice)
        found[step].append(PageDone(practice=practice, unit_acres=inside[key], outside_acres=outside[key]))
    return {step: tuple(lines) for step, lines in found.items()}


def _old_units(stretch: _Stretch, grid: LocalGrid) -> PageOldUnits:
    shapes = stretch.ground.unit_shapes
    return PageOldUnits(
        first_step=stretch.first,
        last_step=stretch.last,
        units=tuple((unit, _middle(shapes[unit.unit_id], grid)) for unit in stretch.ground.units),
    )


def _middle(shape: MultiPolygon, grid: LocalGrid) -> tuple[float, float]:
    point = grid.to_lonlat(shapely.point_on_surface(shape))
    return (float(point.x), float(point.y))
