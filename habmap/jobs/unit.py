"""Units split, redrawn, merged and retired: versions are added, so that no work is lost and all can be undone."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from shapely import MultiPolygon

from habmap.errors import HabmapError, InputError, InputErrors, printable
from habmap.jobs.history import accounting
from habmap.jobs.ports import Store
from habmap.land.grid import LocalGrid
from habmap.land.meridian import near
from habmap.place.layers import read_only_feature
from habmap.place.named_units import renaming_notes
from habmap.work import unit_edit
from habmap.work.ledger import effective_entries
from habmap.work.log_history import UnitAcresThen
from habmap.work.unit_outlines import lie_beside, overlap_faults, trimmed


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitEdit:
    """A change of units (``habmap/unit/1``), made or only looked at.

    Attributes
    ----------
    change
        ``split``, ``redraw``, ``merge``, ``retire``, ``redate`` or ``undo``.
    valid_from
        First day on which the new versions hold.
    is_written
        Whether it was written; ``False`` for a preview.
    before, after
        The units concerned with all work of the log, on the outlines before and after [acre].
    notes
        What a person should know.
    """

    change: str
    valid_from: date
    is_written: bool
    before: tuple[UnitAcresThen, ...]
    after: tuple[UnitAcresThen, ...]
    notes: tuple[str, ...] = ()


def split(
    store: Store,
    unit_id: str,
    *,
    by: Path,
    into: Sequence[str] = (),
    layer: str | None = None,
    valid_from: date,
    now: datetime,
    is_preview: bool = False,
) -> UnitEdit:
    """Cut a unit along the one line, or around the one polygon, of a file into new units.

    ``into`` and what is refused as in `habmap.work.unit_edit.split`; ``now``: moment of recording, UTC.
    """
    versions = store.unit_versions()
    unit_edit.present_unit(versions, unit_id)  # said before anything is read
    grid = _grid_in_use(store)
    row, _repaired = read_only_feature(by, layer=layer, want="any", wanted="one line or polygon")
    drawn = row.geometry or MultiPolygon()
    change = unit_edit.split(versions, unit_id, drawn, grid=grid, into=into, valid_from=valid_from, where=str(by))
    return _made(store, change, now=now, is_preview=is_preview)


def redraw(
    store: Store,
    unit_id: str,
    *,
    path: Path,
    layer: str | None = None,
    repair: bool = False,
    trim: bool = False,
    valid_from: date,
    now: datetime,
    is_preview: bool = False,
) -> UnitEdit:
    """Give a unit another outline, all else as it was; also one that was retired, which so comes back.

    Raises
    ------
    InputError
        There is no such unit, the file holds not just one polygon, or it overlaps other units (``trim`` cuts it back).
    """
    unit, grid = unit_edit.present_unit(store.unit_versions(), unit_id, or_retired=True), _grid_in_use(store)
    row, repaired = read_only_feature(path, layer=layer, want="ground", repair=repair, wanted="one polygon")
    outline = near(row.geometry, grid.lon) if isinstance(row.geometry, MultiPolygon) else MultiPolygon()
    change = unit_edit.redraw(unit, outline, valid_from=valid_from, notes=repaired)
    if trim:
        kept = [other for other in store.units() if other.unit_id != unit_id]
        done, words, faults = trimmed([(str(path), change.new[0])], kept, grid)
        if faults:
            raise InputErrors(faults, where=str(path))
        change = replace(change, new=(done[0][1],), notes=(*repaired, *words))
    return _made(store, change, now=now, is_preview=is_preview)


def merge(
    store: Store,
    unit_ids: Sequence[str],
    *,
    into: str,
    cover: str | None = None,
    valid_from: date,
    now: datetime,
    is_preview: bool = False,
) -> UnitEdit:
    """Make one unit of several, whether they touch or not; see `habmap.work.unit_edit.merge`."""
    versions, grid = store.unit_versions(), _grid_in_use(store)
    change = unit_edit.merge(versions, unit_ids, grid=grid, into=into, cover=cover, valid_from=valid_from)
    return _made(store, change, now=now, is_preview=is_preview)


def retire(store: Store, unit_id: str, *, valid_from: date, now: datetime, is_preview: bool = False) -> UnitEdit:
    """Let a unit be no unit from a day on; its work stays in the log, outside every unit."""
    change = unit_edit.retire(store.unit_versions(), unit_id, valid_from=valid_from)
    return _made(store, change, now=now, is_preview=is_preview)


def redate(store: Store, unit_id: str, *, valid_from: date, now: datetime, is_preview: bool = False) -> UnitEdit:
    """Give the last change of a unit another day: its versions anew, those with the wrong day taken back."""
    change = unit_edit.redate(store.unit_versions(), unit_id, valid_from=valid_from)
    return _made(store, change, now=now, is_preview=is_preview)


def undo(store: Store, unit_id: str, *, now: datetime, is_preview: bool = False) -> UnitEdit:
    """Take the last change of a unit back: the versions before it hold again as if it had not been."""
    return _made(store, unit_edit.undo(store.unit_versions(), unit_id), now=now, is_preview=is_preview)


def _made(store: Store, change: unit_edit.Change, *, now: datetime, is_preview: bool) -> UnitEdit:
    """Check a change, measure it on both drawings and, unless it is only looked at, write it."""
    unit_edit.refuse_too_early(change)
    grid = _grid_in_use(store)
    new = [replace(unit, uuid=str(uuid.uuid4()), recorded_at=now) for unit in change.new]
    drawn = [unit for unit in new if not unit.is_retired]
    notes = list(change.notes)
    if change.is_new_ground and drawn:
        followed = {name for unit in new for name in unit.replaces}
        kept = [unit for unit in store.units() if unit.uuid not in followed]
        where = f"unit {change.word}"
        faults: list[HabmapError] = overlap_faults(
            [(f"unit {printable(unit.unit_id)}", unit) for unit in drawn], kept, grid, where
        )
        if faults:
            raise InputErrors(faults, where=where)
        notes += lie_beside(drawn, kept, grid)
    entries, account = effective_entries(store.entries()), accounting(store)
    before, after = (
        account([unit for unit in units if not unit.is_retired], entries, change.valid_from)
        for units in (change.old, drawn)
    )
    outside = sum(unit.treated_acres for unit in before) - sum(unit.treated_acres for unit in after)
    if change.word != "undo" and outside >= 0.005:
        notes.append(f"{outside:.2f} treated acres lie outside these units from then on; their work stays in the log")
    notes += renaming_notes(store.settings, change.old, new)
    if not is_preview:
        store.append(new)
    return UnitEdit(
        change=change.word,
        valid_from=change.valid_from,
        is_written=not is_preview,
        before=before,
        after=after,
        notes=tuple(notes),
    )


def _grid_in_use(store: Store) -> LocalGrid:
    """Return the place's grid, which it has once anything is loaded."""
    if store.grid is None:
        raise InputError("no units are loaded yet", where="units", mend="load them with `habmap load units FILE`")
    return store.grid
