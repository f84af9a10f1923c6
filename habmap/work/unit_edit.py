"""Units split, redrawn, merged, retired, dated anew: which versions follow which, and what cannot be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, UsageError, no_such_unit, printable
from habmap.land.acreage import divided, stops_inside_m
from habmap.land.grid import LocalGrid
from habmap.land.meridian import near
from habmap.land.neighbors import settled
from habmap.measures import acres
from habmap.records import Unit, is_same
from habmap.vocabulary import COVERS
from habmap.work.versions import made_together, taken_back

#: A piece of a split smaller than this is more likely a slip of the line than a unit [m²]: a tenth of an acre.
SMALL_PIECE_M2: Final = 404.68564224
#: What one unit made of several must have been told alike, for its ground is judged by it.
_RULES: Final = ("target_pct", "leave_stems_per_acre")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of units as it is asked for.

    Attributes
    ----------
    word
        ``split``, ``redraw``, ``merge``, ``retire``, ``redate`` or ``undo``.
    old, new
        The versions before, and those that follow them (without an id and a moment of their own).
    valid_from
        First day on which the new versions hold.
    notes
        What a person should know.
    is_new_ground
        Whether the new versions may lie over others.
    not_before
        Versions that must not begin later.
    """

    word: str
    old: tuple[Unit, ...]
    new: tuple[Unit, ...]
    valid_from: date
    notes: tuple[str, ...] = ()
    is_new_ground: bool = False
    not_before: tuple[Unit, ...] = ()


def split(
    versions: Sequence[Unit],
    unit_id: str,
    drawn: BaseGeometry,
    *,
    grid: LocalGrid,
    into: Sequence[str],
    valid_from: date,
    where: str,
) -> Change:
    """Cut a unit along a line, or around a polygon (WGS 84 lon/lat), into new units.

    Parameters
    ----------
    into
        The new unit_ids, as many as there are pieces: by a line from west to east, by a polygon what lies in it first.
        Without them ``ID-1``, ``ID-2`` … in that order.
    where
        The file that it was drawn in, for messages.

    Raises
    ------
    InputError
        There is no such unit, it is no line or polygon, it cuts nothing off, or a new unit_id is taken or too few are
        given.
    """
    unit = present_unit(versions, unit_id)
    drawn = near(drawn, grid.lon)
    if shapely.get_dimensions(drawn) < 1:
        raise InputError(
            "a unit is split by a line or a polygon",
            where=where,
            value=drawn.geom_type,
            allowed="one line across it, or one polygon over part of it",
            mend="draw the line from outside the unit to outside it on the other side",
        )
    shape, knife = grid.to_grid(unit.geometry), grid.to_grid(drawn)
    pieces = divided(shape, knife)
    if len(pieces) < 2:
        raise _cuts_nothing(unit, shape, knife, where)
    labels = tuple(into) or tuple(f"{unit_id}-{number}" for number in range(1, len(pieces) + 1))
    _check_labels(versions, labels, len(pieces), keeps=unit_id, valid_from=valid_from)
    notes = ["the parts carry the unit's own columns; planned acres and the ± of a walk stay with the version before"]
    new = []
    for label, piece in zip(labels, pieces, strict=True):
        new.append(
            _following(
                (unit,),
                unit,
                unit_id=label,
                name=unit.name if label == unit_id else f"{unit.name} {label.removeprefix(f'{unit_id}-')}",
                geometry=settled(piece, grid=grid, drawn=[unit.geometry, drawn]),
                planned_acres=None,
                acres_sd=None,
                valid_from=valid_from,
            )
        )
        if piece.area < SMALL_PIECE_M2:
            notes.append(
                f"{printable(label)} holds {acres(piece.area):.4f} acres only: is the line where it should be?"
            )
    return Change(
        word="split", old=(unit,), new=tuple(new), valid_from=valid_from, notes=tuple(notes), not_before=(unit,)
    )


def redraw(unit: Unit, outline: MultiPolygon, *, valid_from: date, notes: Sequence[str] = ()) -> Change:
    """Give a unit another outline (WGS 84 lon/lat), all else as it was; one that was retired so comes back."""
    new = _following((unit,), unit, geometry=outline, acres_sd=None, is_retired=False, valid_from=valid_from)
    return Change(
        word="redraw",
        old=(unit,),
        new=(new,),
        valid_from=valid_from,
        notes=tuple(notes),
        is_new_ground=True,
        not_before=(unit,),
    )


def merge(
    versions: Sequence[Unit],
    unit_ids: Sequence[str],
    *,
    grid: LocalGrid,
    into: str,
    cover: str | None,
    valid_from: date,
) -> Change:
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
        raise UsageError(
            "this cover is not known",
            where="--cover",
            value=cover,
            allowed=", ".join(COVERS),
            mend="use one of these words",
        )
    units = tuple(present_unit(versions, unit_id) for unit_id in named)
    _check_labels(versions, (into,), 1, keeps=into if into in named else None, valid_from=valid_from)
    _check_alike(units, ("cover", *_RULES) if cover is None else _RULES)
    first = next((unit for unit in units if unit.unit_id == into), units[0])
    shapes = [grid.to_grid(unit.geometry) for unit in units]
    whole = shapely.union_all(shapes)
    notes = []
    apart = len(shapely.get_parts(whole))
    if apart > 1:
        notes.append(f"{into} lies in {apart} parts that do not touch")
    if len(_values(units, "stratum")) > 1:
        notes.append(f"the units differ in stratum: {into} has none")
    m2 = [float(shape.area) for shape in shapes]
    new = _following(
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
    )
    return Change(word="merge", old=units, new=(new,), valid_from=valid_from, notes=tuple(notes), not_before=units)


def retire(versions: Sequence[Unit], unit_id: str, *, valid_from: date) -> Change:
    """Let a unit be no unit from a day on; its work stays in the log, outside every unit.

    Raises
    ------
    InputError
        There is no such unit.
    """
    unit = present_unit(versions, unit_id)
    new = _following((unit,), unit, is_retired=True, valid_from=valid_from)
    return Change(word="retire", old=(unit,), new=(new,), valid_from=valid_from, not_before=(unit,))


def redate(versions: Sequence[Unit], unit_id: str, *, valid_from: date) -> Change:
    """Give the last change of a unit another day: its versions anew, those with the wrong day taken back.

    Raises
    ------
    InputError
        There is no such unit, it was never changed, or a part of that change was changed since.
    """
    group, before = _last_change(versions, unit_id)
    new = [_following((unit, *_named(versions, unit.replaces)), unit, valid_from=valid_from) for unit in group]
    return Change(word="redate", old=before, new=tuple(new), valid_from=valid_from, not_before=before)


def undo(versions: Sequence[Unit], unit_id: str) -> Change:
    """Take the last change of a unit back: the versions before it hold again as if it had not been.

    Taking back what was taken back makes the change again, on the day that it had.

    Raises
    ------
    InputError
        There is no such unit, it was never changed, or a part of that change was changed since.
    """
    group, before = _last_change(versions, unit_id)
    begins = min(unit.valid_from for unit in group if unit.valid_from is not None)
    gone = taken_back(versions)
    past = _named(versions, [name for unit in group for name in unit.replaces])
    new = [
        _following(
            (*group, *past),
            unit,
            # One that held until the change goes on from there; one that never held gets the day it was given.
            valid_from=unit.valid_from if unit.uuid in gone and unit.valid_from is not None else begins,
        )
        for unit in before
    ]
    first = min(unit.valid_from for unit in new if unit.valid_from is not None)
    return Change(word="undo", old=group, new=tuple(new), valid_from=first, is_new_ground=True)


def refuse_too_early(change: Change) -> None:
    """Refuse a day on which the versions before have not begun."""
    late = [unit.valid_from for unit in change.not_before if unit.valid_from and unit.valid_from > change.valid_from]
    if late:
        first = next(unit for unit in change.not_before if unit.valid_from == late[0])
        raise InputError(
            "the version before begins later",
            where=f"unit {printable(first.unit_id)}, --from",
            value=change.valid_from.isoformat(),
            allowed=f"{max(late).isoformat()} or later",
            mend="give a later day, or mend that version's day first with `unit redate`",
        )


def present_unit(versions: Sequence[Unit], unit_id: str, *, or_retired: bool = False) -> Unit:
    """Return the version of a unit that holds now, or say why there is none."""
    current = {unit.unit_id: unit for unit in versions if unit.valid_to is None}
    unit = current.get(unit_id)
    present = [name for name, one in current.items() if not one.is_retired]
    if unit is not None and (or_retired or not unit.is_retired):
        return unit
    if unit is None and unit_id not in {one.unit_id for one in versions}:
        raise no_such_unit(unit_id, present, where="unit")
    what, mend = "this unit was retired", "`unit undo` brings it back as it was, `unit redraw` with another outline"
    if unit is None:
        what = "this unit was split or merged and is no unit of its own any more"
        mend = "name one of those it went into"
    allowed = printable(", ".join(sorted(present)), longest=400) or "no units are loaded yet"
    raise InputError(what, where="unit", value=printable(unit_id), allowed=allowed, mend=mend)


def _following(followed: Sequence[Unit], like: Unit, *, valid_from: date, **changed: object) -> Unit:
    """Return a new version that follows others and is like one of them but for what changed."""
    return replace(
        like,
        **changed,  # type: ignore[arg-type]
        replaces=tuple(dict.fromkeys(unit.uuid for unit in followed)),
        valid_from=valid_from,
        valid_to=None,
    )


def _named(versions: Sequence[Unit], ids: Sequence[str]) -> list[Unit]:
    """Return the versions with these ids, oldest first."""
    return [unit for unit in versions if unit.uuid in ids]


def _last_change(versions: Sequence[Unit], unit_id: str) -> tuple[tuple[Unit, ...], tuple[Unit, ...]]:
    """Return the versions made by the last change of a unit, and those that held before it."""
    unit = present_unit(versions, unit_id, or_retired=True)
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
        is_same(outlines[unit.unit_id].geometry, unit.geometry) and outlines[unit.unit_id].is_retired == unit.is_retired
        for unit in others
    )


def _check_labels(
    versions: Sequence[Unit], labels: Sequence[str], count: int, *, keeps: str | None, valid_from: date
) -> None:
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
        for unit in versions
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


def _cuts_nothing(unit: Unit, shape: BaseGeometry, knife: BaseGeometry, where: str) -> InputError:
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
    return InputError(what, where=where, value=printable(value), allowed=allowed, mend=mend)
