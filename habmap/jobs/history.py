"""Everything that was ever said of the work, in the order it was written, and how units were redrawn."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from functools import partial

from habmap.errors import no_such_unit
from habmap.jobs.ports import Store
from habmap.place.closed_days import paper_of
from habmap.records import Entry
from habmap.work.ledger import Correction, corrections, effective_entries, line_numbers, told_in_order
from habmap.work.log_history import (
    Accounting,
    HistoryLine,
    HistoryResult,
    UnitChange,
    account_then,
    history_lines,
    speaks_of,
    unit_changes,
    version_lines,
)
from habmap.work.plots import plot_changes


def history(store: Store, *, unit_id: str | None = None) -> HistoryResult:
    """Return every row of the log, oldest first, with what became of it.

    Parameters
    ----------
    unit_id
        Only lines whose ground lies in this unit, in any drawing of it, or that name it, with all their corrections.

    Raises
    ------
    InputError
        No version of any unit has this ``unit_id``.
    """
    versions, grid = store.unit_versions(), store.grid
    if unit_id is not None and unit_id not in {unit.unit_id for unit in versions}:
        raise no_such_unit(unit_id, {unit.unit_id for unit in versions}, where="the unit")
    rows = told_in_order(store.entries())
    lines = corrections(rows)
    if unit_id is not None:
        lines = tuple(line for line in lines if speaks_of(line, unit_id, versions, grid=grid))
    line_of = {row.entry_id: line for line in lines for row in line.rows}
    return HistoryResult(
        place=store.settings.place.name,
        unit_id=unit_id,
        entries=_lines(store, [row for row in rows if unit_id is None or row.entry_id in line_of], line_of),
        changes=_changes(store, unit_id),
        plots=plot_changes(store.plot_rows(), unit_id=unit_id),
        versions=() if unit_id is None else version_lines(versions, unit_id, grid=grid),
    )


def changes_recorded(store: Store, *, recorded_at: datetime.datetime) -> tuple[UnitChange, ...]:
    """Return the redrawings written at one moment, each with the account before and after."""
    return tuple(change for change in _changes(store, None) if change.recorded_at == recorded_at)


def described(contents: Sequence[Entry | None], store: Store) -> tuple[HistoryLine | None, ...]:
    """Return lines as `corrections` says they count, each under its own id, with acres and units; ``None`` stays."""

    def told(entry: Entry) -> HistoryLine:
        line = Correction(entry, (), (), (entry,), (), frozenset(), entry)
        return _lines(store, (entry,), {entry.entry_id: line})[0]

    return tuple(None if content is None else told(content) for content in contents)


def accounting(store: Store) -> Accounting:
    """Return what gives the account of versions of units with some work on a day, by the place's settings."""
    return partial(account_then, grid=store.grid, limits=store.settings.stages, paper=paper_of(store.settings))


def _changes(store: Store, unit_id: str | None) -> tuple[UnitChange, ...]:
    entries = effective_entries(store.entries())
    return tuple(unit_changes(store.unit_versions(), entries, accounting(store), unit_id=unit_id))


def _lines(store: Store, rows: Sequence[Entry], line_of: Mapping[str, Correction]) -> tuple[HistoryLine, ...]:
    numbers = line_numbers(store.entries())
    told = history_lines(rows, line_of, units=store.units(None), burns=store.burns(), numbers=numbers, grid=store.grid)
    return tuple(told)
