"""What every change of units needs: the versions it rests on, its names, and how it is measured and made."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import shapely

from habmap.errors import HabmapError, InputError, InputErrors, printable
from habmap.jobs.history import accounting
from habmap.jobs.ports import Store
from habmap.land.grid import LocalGrid
from habmap.place.layers import LayerRow, Wanted, read_layer
from habmap.place.named_units import renaming_notes
from habmap.records import Unit
from habmap.work.ledger import effective_entries
from habmap.work.log_history import UnitAcresThen
from habmap.work.unit_outlines import lie_beside, overlap_faults
from habmap.work.versions import made_together, taken_back


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


def read_rows(path: Path, *, layer: str | None, want: Wanted) -> tuple[LayerRow, ...]:
    """Return a file's features, every unfit one told."""
    read = read_layer(path, layer=layer, want=want)
    if read.faults:
        raise InputErrors(read.faults, where=read.where)
    return read.rows


def only(rows: Sequence[LayerRow], path: Path, wanted: str) -> LayerRow:
    """Return the one feature of a file; ``wanted`` says what it should be."""
    if len(rows) != 1:
        raise InputError(
            f"the file must hold {wanted}",
            where=str(path),
            value=f"{len(rows)} features",
            allowed="one feature",
            mend="save it alone in a file of its own; `load units` takes many at once",
        )
    return rows[0]


def following(followed: Sequence[Unit], like: Unit, *, valid_from: date, now: datetime, **changed: object) -> Unit:
    """Return a new version that follows others and is like one of them but for what changed."""
    return replace(
        like,
        **changed,  # type: ignore[arg-type]
        uuid=str(uuid.uuid4()),
        replaces=tuple(dict.fromkeys(unit.uuid for unit in followed)),
        valid_from=valid_from,
        valid_to=None,
        recorded_at=now,
    )


def made(
    store: Store,
    change: str,
    old: Sequence[Unit],
    new: Sequence[Unit],
    valid_from: date,
    *,
    is_preview: bool,
    notes: Sequence[str],
    is_new_ground: bool = False,
    judged_from: Sequence[Unit] | None = None,
) -> UnitEdit:
    """Check a change, measure it on both drawings and, unless it is only looked at, write it."""
    grid = grid_in_use(store)
    late = [
        unit
        for unit in (old if judged_from is None else judged_from)
        if unit.valid_from is not None and unit.valid_from > valid_from
    ]
    if late:
        raise InputError(
            "the version before begins later",
            where=f"unit {printable(late[0].unit_id)}, --from",
            value=valid_from.isoformat(),
            allowed=f"{max(unit.valid_from for unit in late if unit.valid_from).isoformat()} or later",
            mend="give a later day, or mend that version's day first with `unit redate`",
        )
    followed = {name for unit in new for name in unit.replaces}
    kept = [unit for unit in store.units() if unit.uuid not in followed]
    drawn = [unit for unit in new if not unit.is_retired]
    told = list(notes)
    if is_new_ground and drawn:
        faults: list[HabmapError] = overlap_faults(
            [(f"unit {printable(unit.unit_id)}", unit) for unit in drawn], kept, grid, f"unit {change}"
        )
        if faults:
            raise InputErrors(faults, where=f"unit {change}")
        told += lie_beside(drawn, kept, grid)
    entries = effective_entries(store.entries())
    account = accounting(store)
    before, after = (
        account([unit for unit in units if not unit.is_retired], entries, valid_from) for units in (old, drawn)
    )
    outside = sum(unit.treated_acres for unit in before) - sum(unit.treated_acres for unit in after)
    if change != "undo" and outside >= 0.005:
        told.append(f"{outside:.2f} treated acres lie outside these units from then on; their work stays in the log")
    told += renaming_notes(store.settings, old, new)
    if not is_preview:
        store.append(list(new))
    return UnitEdit(
        change=change,
        valid_from=valid_from,
        is_written=not is_preview,
        before=before,
        after=after,
        notes=tuple(told),
    )


def grid_in_use(store: Store) -> LocalGrid:
    """Return the place's grid, which it has once anything is loaded."""
    grid = store.grid
    if grid is None:
        raise InputError("no units are loaded yet", where="units", mend="load them with `habmap load units FILE`")
    return grid


def _current(store: Store) -> dict[str, Unit]:
    """Return the versions that nothing follows, retired ones too, by ``unit_id``."""
    return {unit.unit_id: unit for unit in store.unit_versions() if unit.valid_to is None}


def present_unit(store: Store, unit_id: str, *, or_retired: bool = False) -> Unit:
    """Return the version of a unit that holds now, or say why there is none."""
    current = _current(store)
    unit = current.get(unit_id)
    present = [name for name, one in current.items() if not one.is_retired]
    if unit is not None and (or_retired or not unit.is_retired):
        return unit
    known = {one.unit_id for one in store.unit_versions()}
    if unit is not None:
        what, mend = "this unit was retired", "`unit undo` brings it back as it was, `unit redraw` with another outline"
    elif unit_id in known:
        what, mend = (
            "this unit was split or merged and is no unit of its own any more",
            "name one of those it went into",
        )
    else:
        what, mend = "there is no such unit", "use one of these ids, or load the unit with `habmap load units FILE`"
    raise InputError(
        what,
        where="unit",
        value=printable(unit_id),
        allowed=printable(", ".join(sorted(present)), longest=400) or "no units are loaded yet",
        mend=mend,
    )


def named_versions(store: Store, ids: Sequence[str]) -> list[Unit]:
    """Return the versions with these ids, oldest first."""
    return [unit for unit in store.unit_versions() if unit.uuid in ids]


def last_change(store: Store, unit_id: str) -> tuple[tuple[Unit, ...], tuple[Unit, ...]]:
    """Return the versions made by the last change of a unit, and those that held before it."""
    unit = present_unit(store, unit_id, or_retired=True)
    versions = store.unit_versions()
    group = made_together(unit, versions)
    gone = taken_back(versions)
    names = {name for one in group for name in one.replaces}
    past = [one for one in versions if one.uuid in names]
    before = tuple(one for one in past if one.uuid not in gone)
    if before and _drawn_alike(group, before):
        # This change took another back: what it took back last stood before it.
        under = {name for one in past for name in one.replaces}
        before = tuple(one for one in past if one.uuid in gone and one.uuid not in under) or before
    if not before:
        raise InputError(
            "this unit was never changed since it was loaded",
            where="unit",
            value=printable(unit_id),
            mend="`unit redraw` gives it another outline, `unit retire` ends it",
        )
    later = [one.unit_id for one in group if one.valid_to is not None]
    if later:
        raise InputError(
            "a part of that change was changed again since",
            where="unit",
            value=printable(", ".join(later)),
            allowed="the last change of all its units",
            mend="undo that later change first",
        )
    return group, before


def _drawn_alike(some: Sequence[Unit], others: Sequence[Unit]) -> bool:
    """Tell whether two sets of versions are the same units with the same outlines."""
    outlines = {unit.unit_id: unit for unit in some}
    return outlines.keys() == {unit.unit_id for unit in others} and all(
        shapely.equals_identical(outlines[unit.unit_id].geometry, unit.geometry)
        and outlines[unit.unit_id].is_retired == unit.is_retired
        for unit in others
    )


def check_labels(store: Store, labels: Sequence[str], count: int, *, keeps: str | None, valid_from: date) -> None:
    """Refuse names for new units that are too few or too many, blank, or held on that day or later (but ``keeps``)."""
    if len(labels) != count:
        raise InputError(
            "there are not as many names as pieces",
            where="--into",
            value=f"{len(labels)} names, {count} pieces",
            allowed=f"{count} unit_ids, parted by commas",
            mend="look at the pieces with --preview, then name each",
        )
    taken = {
        unit.unit_id
        for unit in store.unit_versions()
        if unit.valid_to is None or (unit.valid_to > valid_from and unit.valid_to != unit.valid_from)
    } - {keeps}
    for label in labels:
        if not label.strip() or ";" in label or label in taken or labels.count(label) > 1:
            raise InputError(
                "this unit_id cannot be given to a new unit",
                where="--into",
                value=printable(label) or "blank",
                allowed="a text without ; that no unit has on that day or later, each once",
                mend="choose other names with --into",
            )
