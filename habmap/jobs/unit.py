"""Units split, redrawn, merged and retired: versions are added, so that no work is lost and all can be undone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Final

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, InputErrors, UsageError, printable
from habmap.jobs.ports import Store
from habmap.jobs.unit_edit import (
    UnitEdit,
    check_labels,
    following,
    grid_in_use,
    last_change,
    made,
    named_versions,
    only,
    present_unit,
    read_rows,
)
from habmap.land.meridian import near
from habmap.land.neighbors import settled
from habmap.land.splitting import divided, stops_inside_m
from habmap.measures import acres
from habmap.place.layers import read_layer
from habmap.records import Unit
from habmap.vocabulary import COVERS
from habmap.work.unit_outlines import trimmed
from habmap.work.versions import taken_back

#: A piece of a split smaller than this is more likely a slip of the line than a unit [m²]: a tenth of an acre.
SMALL_PIECE_M2: Final = 404.68564224
#: What one unit made of several must have been told alike, for its ground is judged by it.
_RULES: Final = ("target_pct", "leave_stems_per_acre")


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
    """Cut a unit along a line, or around a polygon, into new units.

    Parameters
    ----------
    by, layer
        File with one line that crosses the unit from edge to edge, or one polygon that covers part of it.
    into
        The new unit_ids, as many as there are pieces: by a line from west to east, by a polygon what lies in it first.
        Without them ``ID-1``, ``ID-2`` … in that order.
    valid_from, now
        First day of the new units; moment of recording, UTC.
    is_preview
        Look at it only.

    Raises
    ------
    InputError
        There is no such unit, the file holds more or less than one line or polygon, it cuts nothing off, or a new
        unit_id is taken or too few are given.
    """
    unit = present_unit(store, unit_id)
    grid = grid_in_use(store)
    row = only(read_rows(by, layer=layer, want="any"), by, "one line or polygon")
    drawn = near(row.geometry, grid.lon) if row.geometry is not None else MultiPolygon()
    if shapely.get_dimensions(drawn) < 1:
        raise InputError(
            "a unit is split by a line or a polygon",
            where=str(by),
            value=drawn.geom_type,
            allowed="one line across it, or one polygon over part of it",
            mend="draw the line from outside the unit to outside it on the other side",
        )
    shape, knife = grid.to_grid(unit.geometry), grid.to_grid(drawn)
    pieces = divided(shape, knife)
    if len(pieces) < 2:
        raise _cuts_nothing(unit, shape, knife, by)
    labels = tuple(into) or tuple(f"{unit_id}-{number}" for number in range(1, len(pieces) + 1))
    check_labels(store, labels, len(pieces), keeps=unit_id, valid_from=valid_from)
    notes = ["the parts carry the unit's own columns; planned acres and the ± of a walk stay with the version before"]
    new = []
    for label, piece in zip(labels, pieces, strict=True):
        new.append(
            following(
                (unit,),
                unit,
                unit_id=label,
                name=unit.name if label == unit_id else f"{unit.name} {label.removeprefix(f'{unit_id}-')}",
                geometry=settled(piece, grid=grid, drawn=[unit.geometry, drawn]),
                planned_acres=None,
                acres_sd=None,
                valid_from=valid_from,
                now=now,
            )
        )
        if piece.area < SMALL_PIECE_M2:
            notes.append(
                f"{printable(label)} holds {acres(piece.area):.4f} acres only: is the line where it should be?"
            )
    return made(store, "split", (unit,), new, valid_from, is_preview=is_preview, notes=notes)


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
    unit = present_unit(store, unit_id, or_retired=True)
    grid = grid_in_use(store)
    read = read_layer(path, layer=layer, want="ground", repair=repair)
    if read.faults:
        raise InputErrors(read.faults, where=read.where)
    row = only(read.rows, path, "one polygon")
    outline = near(row.geometry, grid.lon) if isinstance(row.geometry, MultiPolygon) else MultiPolygon()
    new = following((unit,), unit, geometry=outline, acres_sd=None, is_retired=False, valid_from=valid_from, now=now)
    notes = list(read.repaired)
    if trim:
        kept = [other for other in store.units() if other.unit_id != unit_id]
        done, words, faults = trimmed([(str(path), new)], kept, grid)
        if faults:
            raise InputErrors(faults, where=str(path))
        new, notes = done[0][1], notes + words
    return made(store, "redraw", (unit,), [new], valid_from, is_preview=is_preview, notes=notes, is_new_ground=True)


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
    """Make one unit of several, whether they touch or not.

    Parameters
    ----------
    into
        The unit_id of the whole: one of theirs, or a new one.
    cover
        What the whole was when the work began, where the units differ in that.

    Raises
    ------
    UsageError
        Fewer than two units are named, or the cover is not known.
    InputError
        One is not there, they differ in cover, target or what may be left, or ``into`` is another unit.
    """
    named = tuple(dict.fromkeys(unit_ids))
    if len(named) < 2:
        raise UsageError(
            "a merge needs two units or more", where="unit merge", value=", ".join(named), mend="name all of them"
        )
    if cover is not None and cover not in COVERS:
        raise UsageError("this cover is not known", where="--cover", value=cover, allowed=", ".join(COVERS))
    units = tuple(present_unit(store, unit_id) for unit_id in named)
    grid = grid_in_use(store)
    check_labels(store, (into,), 1, keeps=into if into in named else None, valid_from=valid_from)
    _check_alike(units, ("cover", *_RULES) if cover is None else _RULES)
    first = next((unit for unit in units if unit.unit_id == into), units[0])
    shapes = [grid.to_grid(unit.geometry) for unit in units]
    whole = shapely.union_all(shapes)
    notes = []
    apart = len(shapely.get_parts(whole))
    if apart > 1:
        notes.append(f"{into} lies in {apart} parts that do not touch")
    notes += [f"the units differ in {name}: {into} has none" for name in ("stratum",) if len(_values(units, name)) > 1]
    m2 = [float(shape.area) for shape in shapes]
    new = following(
        units,
        first,
        unit_id=into,
        name=first.name if first.unit_id == into else into,
        cover=cover or first.cover,
        geometry=settled(whole, grid=grid, drawn=[unit.geometry for unit in units]),
        stems_per_acre=_by_ground([unit.stems_per_acre for unit in units], m2),
        canopy_pct=_by_ground([unit.canopy_pct for unit in units], m2),
        planned_acres=_summed([unit.planned_acres for unit in units]),
        stratum=first.stratum if len(_values(units, "stratum")) == 1 else None,
        notes="\n".join(dict.fromkeys(unit.notes for unit in units if unit.notes)) or None,
        acres_sd=None,
        valid_from=valid_from,
        now=now,
    )
    return made(store, "merge", units, [new], valid_from, is_preview=is_preview, notes=notes)


def retire(store: Store, unit_id: str, *, valid_from: date, now: datetime, is_preview: bool = False) -> UnitEdit:
    """Let a unit be no unit from a day on; its work stays in the log, outside every unit.

    Raises
    ------
    InputError
        There is no such unit.
    """
    unit = present_unit(store, unit_id)
    new = following((unit,), unit, is_retired=True, valid_from=valid_from, now=now)
    return made(store, "retire", (unit,), [new], valid_from, is_preview=is_preview, notes=[])


def redate(store: Store, unit_id: str, *, valid_from: date, now: datetime, is_preview: bool = False) -> UnitEdit:
    """Give the last change of a unit another day: its versions anew, those with the wrong day taken back.

    Raises
    ------
    InputError
        There is no such unit, it was never changed, a part of that change was changed since, or the version before it
        begins later than the day.
    """
    group, before = last_change(store, unit_id)
    new = [
        following((unit, *named_versions(store, unit.replaces)), unit, valid_from=valid_from, now=now) for unit in group
    ]
    return made(store, "redate", before, new, valid_from, is_preview=is_preview, notes=[], judged_from=before)


def undo(store: Store, unit_id: str, *, now: datetime, is_preview: bool = False) -> UnitEdit:
    """Take the last change of a unit back: the versions before it hold again as if it had not been.

    Taking back what was taken back makes the change again, on the day that it had.

    Raises
    ------
    InputError
        There is no such unit, it was never changed, or a part of that change was changed since.
    """
    group, before = last_change(store, unit_id)
    begins = min(unit.valid_from for unit in group if unit.valid_from is not None)
    gone = taken_back(store.unit_versions())
    past = named_versions(store, [name for unit in group for name in unit.replaces])
    new = [
        following(
            (*group, *past),
            unit,
            # One that held until the change goes on from there; one that never held gets the day it was given.
            valid_from=unit.valid_from if unit.uuid in gone and unit.valid_from is not None else begins,
            now=now,
        )
        for unit in before
    ]
    first = min(unit.valid_from for unit in new if unit.valid_from is not None)
    return made(store, "undo", group, new, first, is_preview=is_preview, notes=[], is_new_ground=True, judged_from=())


# --- what they say and refuse ---


def _check_alike(units: Sequence[Unit], names: Sequence[str]) -> None:
    differing = [name for name in names if len(_values(units, name)) > 1]
    if differing:
        shown = "; ".join(
            f"{name}: " + ", ".join(f"{printable(unit.unit_id)} {getattr(unit, name)}" for unit in units)
            for name in differing
        )
        raise InputError(
            "units that differ in what their ground is judged by cannot be one",
            where="unit merge",
            value=printable(shown, longest=400),
            allowed="the same in all",
            mend="say the cover of the whole with --cover; make targets the same with `load units --overwrite` first",
        )


def _values(units: Sequence[Unit], name: str) -> set[object]:
    return {getattr(unit, name) for unit in units}


def _by_ground(values: Sequence[float | None], m2: Sequence[float]) -> float | None:
    """Return the mean of densities over the ground; ``None`` where one is not known."""
    known = [value for value in values if value is not None]
    if len(known) < len(values):
        return None
    if len(set(known)) == 1:
        return known[0]
    return sum(value * area for value, area in zip(known, m2, strict=True)) / sum(m2)


def _summed(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) if len(known) == len(values) else None


def _cuts_nothing(unit: Unit, shape: BaseGeometry, knife: BaseGeometry, by: Path) -> InputError:
    allowed = "a line from edge to edge, or a polygon over part of the unit"
    mend = "draw the line on past the unit's edge at both ends"
    if shapely.get_dimensions(knife) == 2:
        covers = "all" if shapely.covers(knife, shape) else "none"
        what, value = "the polygon does not cut the unit", f"it covers {covers} of {unit.unit_id}"
        mend = "draw it over the part that is to be a unit of its own"
    else:
        inside_m = stops_inside_m(shape, knife)
        what = "the line does not cross the unit from edge to edge"
        if not shapely.intersects(shape, knife):
            value = f"it lies {shapely.distance(shape, knife):,.1f} m away from {unit.unit_id}"
        elif inside_m is not None:
            value = f"an end stops {inside_m:,.1f} m inside {unit.unit_id}"
        else:
            value = f"it cuts nothing off {unit.unit_id}"
    return InputError(what, where=str(by), value=printable(value), allowed=allowed, mend=mend)
