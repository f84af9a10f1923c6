"""What became of every row of the log, and how units were redrawn; rows as they were written, told of units as now."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from habmap import measures
from habmap.land.grid import LocalGrid
from habmap.land.neighbors import HAIR_WIDTH_M
from habmap.records import BurnRecord, Entry, Unit, said_facts
from habmap.records.said import Carrying, carrying, is_said
from habmap.work.acres import Paper, acre_account
from habmap.work.ground import StageLimits, cut_ground
from habmap.work.ledger import Correction
from habmap.work.versions import taken_back

RowState = Literal["counts", "corrected", "withdrawn", "lost", "in force", "taken back", "unknown"]


@dataclass(frozen=True, slots=True)
class TouchedUnit:
    """A unit under a patch, and how much of the patch lies in it [acre]."""

    unit_id: str
    acres: float


@carrying(Entry)
class HistoryLine(Carrying):
    """One row of the log as it was written, with all that a person said in it (the fields of `Entry` with a fact).

    Attributes
    ----------
    number
        What people call the line by that this row is or speaks of; ``None`` when that line is not in this log.
    root_id
        The line that a correction speaks of; for a logged line its own id; ``None`` when it is not in this log.
    counts
        Whether the account rests on this row's content today.
    state
        What became of the row: ``counts``; ``corrected``, another says what counts; ``withdrawn``, a counting row
        withdraws it or its line; ``lost``, a correction made apart counts; of a row that withdraws ``in force`` or
        ``taken back``; ``unknown`` where its line is not in this log.
    acres
        Measured area of the patch [acre]; ``None`` without a patch.
    units
        Units, as drawn now, that the patch lies in by more than a hair.
    outside_acres
        Part of the patch in no unit as drawn now [acre].
    burn
        What was written with this very row of the weather observed at a burn and of who was told.
    cleared
        Of a correction: names of what the row that it was made upon says, and it no longer does.
    """

    entry_id: str
    number: int | None
    action: str
    root_id: str | None
    target: str | None
    counts: bool
    state: RowState
    practice: str
    date: datetime.date
    recorded_at: datetime.datetime
    unit_ids: tuple[str, ...]
    acres: float | None
    units: tuple[TouchedUnit, ...]
    outside_acres: float | None
    burn: BurnRecord | None = None
    cleared: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class UnitAcresThen:
    """A unit's acres in one drawing of it [acre]."""

    unit_id: str
    acres: float
    treated_acres: float
    remaining_acres: float
    keep_acres: float


@dataclass(frozen=True, slots=True)
class UnitChange:
    """Units redrawn, split or merged on a day: the same work on the old outlines and on the new."""

    date: datetime.date
    recorded_at: datetime.datetime
    before: tuple[UnitAcresThen, ...]
    after: tuple[UnitAcresThen, ...]


@dataclass(frozen=True, slots=True)
class VersionLine:
    """One version of a unit.

    Attributes
    ----------
    acres
        As drawn in it [acre].
    valid_from, valid_to
        First day, and first day it no longer holds; ``None``: from the beginning, still holds.
    state
        ``holds``, ``ended``, ``retired`` (the unit is none from then on) or ``taken back`` (it never held).
    follows
        unit_ids of the versions that it follows.
    """

    unit_id: str
    name: str
    cover: str
    acres: float
    valid_from: datetime.date | None
    valid_to: datetime.date | None
    state: str
    follows: tuple[str, ...]
    recorded_at: datetime.datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotChange:
    """A correction of a plot, its withdrawal, or its coming back; ``changes`` say field by field what it tells anew."""

    plot_id: str
    unit_id: str | None
    action: Literal["correct", "void", "restore"]
    changes: tuple[str, ...]
    why: str | None
    recorded_at: datetime.datetime


@dataclass(frozen=True, slots=True)
class HistoryResult:
    """The whole log, or one unit's part of it (``habmap/history/1``)."""

    place: str
    unit_id: str | None
    entries: tuple[HistoryLine, ...]
    changes: tuple[UnitChange, ...]
    plots: tuple[PlotChange, ...] = ()
    versions: tuple[VersionLine, ...] = ()


def version_lines(versions: Sequence[Unit], unit_id: str, *, grid: LocalGrid | None) -> tuple[VersionLine, ...]:
    """Return the versions of a unit, those it came from and those it went into, oldest first."""
    own = {unit.uuid for unit in versions if unit.unit_id == unit_id}
    near = {name for unit in versions if unit.uuid in own for name in unit.replaces}
    near |= {unit.uuid for unit in versions if own & set(unit.replaces)}
    gone = taken_back(versions)
    label = {unit.uuid: unit.unit_id for unit in versions}
    return tuple(
        VersionLine(
            unit_id=unit.unit_id,
            name=unit.name,
            cover=unit.cover,
            acres=measures.acres(grid.to_grid(unit.geometry).area) if grid else 0.0,
            valid_from=unit.valid_from,
            valid_to=unit.valid_to,
            state="taken back"
            if unit.uuid in gone
            else "retired"
            if unit.is_retired
            else "holds"
            if unit.valid_to is None
            else "ended",
            follows=tuple(sorted({label[name] for name in unit.replaces if name in label and name not in gone})),
            recorded_at=unit.recorded_at,
        )
        for unit in versions
        if unit.uuid in own | near
    )


def speaks_of(line: Correction, unit_id: str, versions: Sequence[Unit], *, grid: LocalGrid | None) -> bool:
    """Tell whether a line names a unit, or has ground in any drawing of it."""
    if any(unit_id in row.unit_ids for row in line.rows):
        return True
    if grid is None:
        return False
    outlines = [grid.to_grid(unit.geometry) for unit in versions if unit.unit_id == unit_id]
    patches = [grid.to_grid(row.patch) for row in line.rows if row.patch is not None]
    return any(_shares_ground(patch, outline) for patch in patches for outline in outlines)


def _shares_ground(patch: BaseGeometry, outline: BaseGeometry) -> bool:
    return _is_ground(shapely.intersection(patch, outline))


def _is_ground(shared: BaseGeometry) -> bool:
    """Tell shared ground from the hair between outlines of one edge drawn twice."""
    return not shapely.is_empty(shapely.buffer(shared, -HAIR_WIDTH_M / 2))


def history_lines(
    rows: Sequence[Entry],
    line_of: Mapping[str, Correction],
    *,
    units: Sequence[Unit],
    burns: Sequence[BurnRecord],
    numbers: Mapping[str, int],
    grid: LocalGrid | None,
) -> list[HistoryLine]:
    """Return rows of the log with what became of each.

    Parameters
    ----------
    line_of
        By the ``entry_id`` of a row: the line that it is or speaks of, where that is in this log.
    units
        As drawn now.
    numbers
        Of lines, by their ``entry_id``.
    """
    outlines = np.array([grid.to_grid(unit.geometry) for unit in units] if grid else [], dtype=object)
    tree = shapely.STRtree(outlines)
    everything = shapely.union_all(outlines) if outlines.size else None
    burn_of = {record.entry_id: record for record in burns}
    found = []
    for row in rows:
        patch = grid.to_grid(row.patch) if grid and row.patch is not None else None
        touched, outside = [], None
        if patch is not None:
            for index in sorted(tree.query(patch, predicate="intersects").tolist()):
                shared = shapely.intersection(patch, outlines[index])
                if _is_ground(shared):
                    touched.append(TouchedUnit(units[index].unit_id, measures.acres(shared.area)))
            rest = patch if everything is None else shapely.difference(patch, everything)
            outside = measures.acres(rest.area)
        line = line_of.get(row.entry_id)
        state = _state(row, line)
        found.append(
            HistoryLine.of(
                row,
                number=None if line is None else numbers.get(line.root.entry_id),
                root_id=None if line is None else line.root.entry_id,
                counts=state == "counts",
                state=state,
                acres=None if patch is None else measures.acres(patch.area),
                units=tuple(touched),
                outside_acres=outside,
                burn=burn_of.get(row.entry_id),
                cleared=() if line is None or row.action != "amend" else _cleared(row, line, burn_of),
            )
        )
    return found


def _cleared(row: Entry, line: Correction, burn_of: Mapping[str, BurnRecord]) -> tuple[str, ...]:
    """Return what a correction no longer says of what the row below it says; of a burn's weather those below."""
    by_id = {one.entry_id: one for one in line.rows}
    before = by_id[row.target or ""]
    gone = [one.name for one in said_facts(Entry) if is_said(before, one) and not is_said(row, one)]
    if (burn := burn_of.get(row.entry_id)) is not None:  # without a record of its own one below counts on
        below: Entry | None = before
        while below is not None and below.entry_id not in burn_of:
            below = by_id.get(below.target or "")
        old = None if below is None else burn_of[below.entry_id]
        gone += [one.name for one in said_facts(BurnRecord) if is_said(old, one) and not is_said(burn, one)]
    return tuple(gone)


def _state(row: Entry, line: Correction | None) -> RowState:
    if line is None:
        return "unknown"
    if row.action == "void":
        return "taken back" if row.entry_id in line.withdrawn else "in force"
    if line.content is None or row.entry_id in line.withdrawn:
        return "withdrawn"
    if row is line.basis[-1]:
        return "counts"
    return "lost" if row in line.rivals else "corrected"


#: Gives the account of versions of units, no two of one ``unit_id``, with some work, on a day.
Accounting = Callable[[Sequence[Unit], tuple[Entry, ...], datetime.date], tuple[UnitAcresThen, ...]]


def unit_changes(
    versions: Sequence[Unit], entries: Sequence[Entry], account: Accounting, *, unit_id: str | None = None
) -> Iterator[UnitChange]:
    """Yield the days on which units were replaced, with the account on both drawings of the same ground."""
    gone = taken_back(versions)
    by_uuid = {unit.uuid: unit for unit in versions if unit.uuid not in gone}
    days: defaultdict[datetime.date, list[Unit]] = defaultdict(list)
    for unit in versions:
        if unit.uuid in by_uuid and unit.replaces and unit.valid_from is not None:
            days[unit.valid_from].append(unit)
    for day, new in sorted(days.items()):
        old = {uuid: by_uuid[uuid] for unit in new for uuid in unit.replaces if uuid in by_uuid}
        for group_old, group_new in _families(list(old.values()), new):
            names = {unit.unit_id for unit in (*group_old, *group_new)}
            if (unit_id is not None and unit_id not in names) or _puts_back(group_old, group_new, gone):
                continue
            work = tuple(entry for entry in entries if entry.date <= day)
            yield UnitChange(
                date=day,
                recorded_at=max(unit.recorded_at for unit in group_new),
                before=account(_drawn(group_old), work, measures.days_after(day, -1)),
                after=account(_drawn(group_new), work, day),
            )


def _puts_back(old: list[Unit], new: list[Unit], gone: frozenset[str]) -> bool:
    """Tell whether new versions only take a change back: the ground is drawn as if that had never been."""
    outlines = {unit.unit_id: unit.geometry for unit in old}
    return any(gone & set(unit.replaces) for unit in new) and all(
        unit.unit_id in outlines and shapely.equals_identical(unit.geometry, outlines[unit.unit_id]) for unit in new
    )


def _drawn(units: list[Unit]) -> list[Unit]:
    return [unit for unit in units if not unit.is_retired]


def _families(old: list[Unit], new: list[Unit]) -> list[tuple[list[Unit], list[Unit]]]:
    """Group old and new versions that are tied by ``replaces``."""
    families: list[tuple[set[str], list[Unit]]] = []
    for unit in new:
        replaced = set(unit.replaces)
        tied = [family for family in families if family[0] & replaced]
        families = [family for family in families if not family[0] & replaced]
        families.append(
            (replaced.union(*(uuids for uuids, _ in tied)), [*(u for _, units in tied for u in units), unit])
        )
    return [([unit for unit in old if unit.uuid in uuids], units) for uuids, units in families]


def account_then(
    units: Sequence[Unit],
    entries: tuple[Entry, ...],
    on: datetime.date,
    *,
    grid: LocalGrid | None,
    limits: StageLimits,
    paper: Paper,
) -> tuple[UnitAcresThen, ...]:
    """Return the account of these versions of units, no two of one ``unit_id``, with this work."""
    cut = cut_ground(tuple(units), entries, grid=grid, limits=limits, on=on)
    names = [one.name for one in fields(UnitAcresThen)]
    return tuple(
        UnitAcresThen(**{name: getattr(unit, name) for name in names}) for unit in acre_account(cut, paper=paper).units
    )
