"""A line of the log as it is told back: what it covers, what it changes, and what is to be minded.

Rules over plain rows; the sentences are made in `habmap.show.logged_words`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import shapely
from shapely import MultiPolygon

from habmap.land.grid import LocalGrid
from habmap.records import BurnRecord, Entry, Unit, facts
from habmap.work.acres import AcresResult, Paper, UnitAcres, acre_account
from habmap.work.ground import Ground, StageLimits, cut_ground, unit_rules
from habmap.work.ledger import effective_entries, line_numbers, root_of
from habmap.work.said import cautions_for
from habmap.work.unit_shares import UnitShare, valid_outline


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitChange:
    """Treated ground of one unit without a line of the log and with it [acre]."""

    unit_id: str
    treated_before_acres: float
    treated_after_acres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What a line of the log changes [acre].

    Attributes
    ----------
    treated_before_acres, treated_after_acres
        Of the whole property, without the line and with it.
    remaining_after_acres, keep_after_acres, cedar_acres
        The account with it.
    already_treated_acres
        Ground of the line, in units, that the rest of the log tells as treated.
    units
        Those whose treated ground it changes.
    """

    treated_before_acres: float
    treated_after_acres: float
    remaining_after_acres: float
    keep_after_acres: float
    cedar_acres: float
    already_treated_acres: float
    units: tuple[UnitChange, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidToday:
    """A caution that was said in full today already, with which line."""

    caution: str
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """A line just added, or as it would be.

    Attributes
    ----------
    number
        What people call the line by: its place in the order of recording (of a correction, the line's).
    acres, outside_acres
        The whole patch, and its part in no unit [acre].
    burn
        What was observed at a burn and who was told, where anybody said it.
    next_steps
        What such work leaves to be done, in words.
    preview
        Whether nothing was written.
    changes
        What it changes; ``None`` while there are no units.
    said_today
        Those of the cautions that a line of today told in full.
    cleared
        Names of what a correction took out of the line.
    """

    entry_id: str
    action: str
    target: str | None
    practice: str
    date: dt.date
    acres: float
    acres_sd: float | None
    units: tuple[UnitShare, ...]
    outside_acres: float
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    burn: BurnRecord | None = None
    next_steps: tuple[str, ...] = ()
    number: int | None = None
    preview: bool = False
    changes: Changes | None = None
    said_today: tuple[SaidToday, ...] = ()
    cleared: tuple[str, ...] = ()


def changes_by(
    entry: Entry,
    *,
    rows: Sequence[Entry],
    units: Sequence[Unit],
    grid: LocalGrid,
    limits: StageLimits,
    account: AcresResult,
) -> Changes:
    """Return what a new row of the log, written beside these, changes on the units as they are drawn now.

    Parameters
    ----------
    account
        The acre account without it: only the units that the line touches, or touched, are cut anew.
    """
    root = root_of(entry, {row.entry_id: row for row in rows}) or entry
    counting = effective_entries(rows)

    def meets(drawn: MultiPolygon | None, others: Sequence[MultiPolygon]) -> bool:
        shape = grid.to_grid(drawn or MultiPolygon())  # its edges are straight; long ones lie elsewhere in lon/lat
        return any(shape.intersects(other) for other in others)

    own = [one.patch for one in (entry, *counting) if one is entry or one.entry_id == root.entry_id]
    patches = [grid.to_grid(patch) for patch in own if patch is not None]
    touched = tuple(unit for unit in units if meets(unit.geometry, patches))
    shapes = [grid.to_grid(unit.geometry) for unit in touched]

    def ground(lines: Iterable[Entry]) -> Ground:
        near = tuple(line for line in lines if meets(line.patch, shapes))
        return cut_ground(touched, near, grid=grid, limits=limits)

    before, after = ground(counting), ground(effective_entries((*rows, entry)))
    told = [{unit.unit_id: unit for unit in acre_account(one, paper=Paper()).units} for one in (before, after)]
    totals = account.totals

    def with_it(name: str) -> float:
        return math.fsum([getattr(totals, name), *(_by(name, told[1])), *(-acres for acres in _by(name, told[0]))])

    return Changes(
        treated_before_acres=totals.treated_acres,
        treated_after_acres=with_it("treated_acres"),
        remaining_after_acres=with_it("remaining_acres"),
        keep_after_acres=with_it("keep_acres"),
        cedar_acres=totals.cedar_acres,
        already_treated_acres=_treated_without(root.entry_id, after, limits),
        units=tuple(
            UnitChange(
                unit_id=unit_id,
                treated_before_acres=told[0][unit_id].treated_acres,
                treated_after_acres=unit.treated_acres,
            )
            for unit_id, unit in told[1].items()
            if unit.treated_acres != told[0][unit_id].treated_acres
        ),
    )


def _by(name: str, units: Mapping[str, UnitAcres]) -> list[float]:
    return [getattr(unit, name) for unit in units.values()]


def _treated_without(entry_id: str, state: Ground, limits: StageLimits) -> float:
    """Return the ground of a line that is treated by the rest of the log [acre]."""
    lines = {line.entry_id: line for line in state.entries}
    rules = {unit.unit_id: unit_rules(unit, limits) for unit in state.units}
    return math.fsum(
        piece.acres
        for piece in state.pieces
        if entry_id in piece.entry_ids
        and rules[piece.unit_id].state_of(lines[one] for one in piece.entry_ids if one != entry_id).is_treated
    )


def said_today(
    cautions: Iterable[str], rows: Sequence[Entry], *, today: dt.date, zone: ZoneInfo
) -> tuple[SaidToday, ...]:
    """Return those of the cautions that went with a line which was typed in earlier on a day; loaded ones told none."""
    numbers = line_numbers(rows)
    told: dict[str, int] = {}
    for row in rows:
        if row.action == "log" and row.source_id is None and row.recorded_at.astimezone(zone).date() == today:
            told |= dict.fromkeys(cautions_for(row.practice, row), numbers[row.entry_id])
    return tuple(SaidToday(caution=one, number=told[one]) for one in cautions if one in told)


def same_work(entry: Entry, rows: Sequence[Entry]) -> Entry | None:
    """Return another line that counts and says the same; ``None`` where there is none."""
    root = root_of(entry, {row.entry_id: row for row in rows})
    root_id = None if root is None else root.entry_id
    return next(
        (row for row in effective_entries(rows) if is_same_work(row, entry) and row.entry_id != root_id),
        None,
    )


def is_same_work(one: Entry, other: Entry) -> bool:
    """Tell whether two entries say the same: practice, day, ground and numbers (who and notes may differ)."""
    told = {fact.within or fact.name for fact in facts(Entry).values() if fact.tells is not None}
    if any(getattr(one, name) != getattr(other, name) for name in ("practice", "date", *told)):
        return False
    return one.patch is other.patch or bool(shapely.equals(one.patch, other.patch))


def not_counted(entry: Entry) -> tuple[str, ...]:
    """Return in words the facts that an entry says and its practice does not count."""
    return tuple(
        one.words
        for one in facts(Entry).values()
        if one.within is None
        and one.practices is not None
        and entry.practice not in one.practices
        and getattr(entry, one.name) is not None
    )


def redrawn(entry: Entry, *, now: Sequence[Unit], then: Sequence[Unit]) -> tuple[str, ...]:
    """Return the whole units of an entry that were drawn otherwise on the day of the work than now."""
    current, former = ({unit.unit_id: unit for unit in units} for units in (now, then))
    return tuple(
        unit_id
        for unit_id in entry.unit_ids
        if unit_id in current
        and unit_id in former
        and current[unit_id].uuid != former[unit_id].uuid
        and _is_whole(entry, current[unit_id])
    )


def _is_whole(entry: Entry, unit: Unit) -> bool:
    """Tell whether an entry covers all of a unit, but for rounding."""
    outline = valid_outline(unit.geometry)
    return entry.patch is not None and shapely.difference(outline, entry.patch).area <= 1e-9 * outline.area
