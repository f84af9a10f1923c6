"""Add one line to the work log, with the ground that the work really covered."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import shapely
from shapely import MultiPolygon

from habmap.errors import InputError
from habmap.jobs.burn.record import LOOK_NEXT_SEASON, burn_record, late_notices
from habmap.jobs.ground import states_on
from habmap.jobs.leave import taken_by
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.land.grid import grid_around
from habmap.measures import acres
from habmap.place.closed_days import holds
from habmap.records import BurnRecord, Entry, Unit, facts
from habmap.records.said import BurnSaid, Said
from habmap.show.leave_words import taken_sentence
from habmap.vocabulary import PRACTICE_WORDS, STATEMENTS, STUMP_WORDS, TOP_KILLING
from habmap.work.burn.observed import check_burn_said, hour_note
from habmap.work.ledger import effective_entries, line_number, root_of
from habmap.work.reported import reported_question
from habmap.work.said import cautions_for, check_killed, check_practice, check_said
from habmap.work.unit_shares import TRACE_M2, UnitShare, shares, valid_outline


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """A line just added.

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


def log(
    store: Store,
    *,
    practice: str,
    date: dt.date,
    patch: MultiPolygon,
    said: Said,
    now: dt.datetime,
    today: dt.date,
    unit_ids: Sequence[str] = (),
    acres_sd: float | None = None,
    burn: BurnSaid | None = None,
    agree: Callable[[str], bool] = lambda words: False,
) -> Logged:
    """Add one entry.

    Parameters
    ----------
    store
        The place.
    practice
        Key of the practice.
    date
        Local civil day of the work.
    patch
        Ground covered, WGS 84 lon/lat [°].
    said
        What the person said about it.
    now, today
        Moment of recording (UTC) and the local civil day at the place.
    unit_ids
        Units as the person named them.
    acres_sd
        Standard deviation of the patch's acres, where it was walked [acre].
    burn
        What was observed at a burn and who was told.
    agree
        Asked, in words, where the reported acres are far from the ground; nothing is added unless it says yes.

    Raises
    ------
    UsageError
        What was said cannot be.
    InputError
        The ground is unfit, or the reported acres were not agreed to.
    """
    check_practice(practice)
    check_said(said, practice=practice)
    check_killed(said, practice=practice, cedar=store.settings.place.cedar)
    told = burn or BurnSaid()
    check_burn_said(told, practice=practice, day=date, zone=ZoneInfo(store.settings.place.timezone))
    entry = said.over(
        Entry(
            entry_id=str(uuid.uuid4()),
            recorded_at=now,
            practice=practice,
            date=date,
            patch=patch,
            unit_ids=tuple(unit_ids),
            acres_sd=acres_sd,
        )
    )
    record = burn_record(store, told, entry_id=entry.entry_id, now=now)
    return add_entry(store, entry, burn=record, today=today, agree=agree)


def add_entry(
    store: Store, entry: Entry, *, burn: BurnRecord | None = None, today: dt.date, agree: Callable[[str], bool] | None
) -> Logged:
    """Add a logging or amending row after the looks that every such row gets; see `log`.

    Without ``agree`` nobody is asked about the reported acres, and what was confirmed of them before still stands.
    """
    patch = entry.patch
    if patch is None or patch.is_empty or not patch.is_valid:
        raise InputError("the ground of this work is empty or crosses itself", mend="give ground as whole polygons")
    grid = store.grid or grid_around([patch])
    patch_acres = acres(grid.to_grid(patch).area)
    units, outside_acres = shares(patch, store.units(), grid=grid)
    rows = store.entries()
    question = reported_question(entry, patch_acres)
    if agree is not None:
        if question is not None and not agree(question):
            raise InputError(
                question,
                where="--reported-acres",
                value=entry.reported_acres,
                mend="correct the figure or the ground, or confirm with --yes; nothing was added",
            )
        entry = replace(entry, is_sure=question is not None)
    warnings = [taken_sentence(one) for one in taken_by(store, entry, rows=rows)]
    warnings += [] if question is None else [question]
    warnings += _warnings(
        store, entry, rows=rows, units=units, outside_acres=outside_acres, patch_acres=patch_acres, today=today
    )
    if burn is not None:
        note = hour_note(burn.ignition, entry.date, ZoneInfo(store.settings.place.timezone))
        warnings += [*([note] if note else []), *late_notices(burn.notices, entry.date)]
    before = states_on(store, patch, on=entry.date, rows=rows)
    store.append([entry, *([burn] if burn else [])])
    return Logged(
        entry_id=entry.entry_id,
        action=entry.action,
        target=entry.target,
        practice=entry.practice,
        date=entry.date,
        acres=patch_acres,
        acres_sd=entry.acres_sd,
        units=units,
        outside_acres=outside_acres,
        warnings=tuple(warnings),
        cautions=cautions_for(entry.practice, entry, before),
        burn=burn,
        next_steps=_next_steps(entry),
        number=line_number(entry, (*rows, entry)),
    )


def _next_steps(entry: Entry) -> tuple[str, ...]:
    if entry.action != "log":
        return ()
    if entry.practice in TOP_KILLING and entry.killed_pct is None:
        return (STUMP_WORDS,)
    return (LOOK_NEXT_SEASON,) if entry.practice == "burn" else ()


def whole_units(store: Store, unit_ids: Sequence[str], *, on: dt.date) -> MultiPolygon:
    """Return the ground of whole units as drawn now, or on a day where the unit is no more, lon/lat [°].

    Raises
    ------
    InputError
        A unit is not known.
    """
    known = {unit.unit_id: unit for unit in (*store.units(on), *store.units())}
    unknown = [unit_id for unit_id in unit_ids if unit_id not in known]
    if unknown or not unit_ids:
        raise InputError(
            "there is no such unit" if known else "this property has no units yet",
            where="--unit",
            value=", ".join(unknown),
            allowed=", ".join(sorted(known)) or None,
            mend="name one of these" if known else "load them with `habmap load units FILE`",
        )
    outlines = [known[unit_id].geometry for unit_id in dict.fromkeys(unit_ids)]
    # A single outline is kept vertex for vertex, so that logging all of a unit leaves nothing of it.
    ground = outlines[0] if len(outlines) == 1 else shapely.union_all(outlines)
    parts = [part for part in shapely.get_parts(ground) if part.geom_type == "Polygon"]
    return MultiPolygon(parts)


def _warnings(
    store: Store,
    entry: Entry,
    *,
    rows: Sequence[Entry],
    units: Sequence[UnitShare],
    outside_acres: float,
    patch_acres: float,
    today: dt.date,
) -> list[str]:
    warnings: list[str] = []
    if entry.date > today:
        warnings.append(f"{entry.date} is after today, {today}")
    warnings += _redrawn(store, entry) + _contract_and_holds(store, entry, units)
    if outside_acres >= patch_acres * (1 - 1e-9):
        warnings.append("none of this ground lies in a unit")
    elif acres(TRACE_M2) < outside_acres:
        warnings.append(f"{outside_acres:,.2f} acres of this ground lie outside every unit")
    warnings += [
        f"a {one.words} is not counted for `{entry.practice}`"
        for one in facts(Entry).values()
        if one.within is None
        and one.practices is not None
        and entry.practice not in one.practices
        and getattr(entry, one.name) is not None
    ]
    root = root_of(entry, {row.entry_id: row for row in rows})
    root_id = None if root is None else root.entry_id
    twins = [row for row in effective_entries(rows) if is_same_work(row, entry) and row.entry_id != root_id]
    if twins:
        warnings.append(
            f"the same work is already logged ({PRACTICE_WORDS[entry.practice]}, {entry.date}, same ground: "
            f"line {line_number(twins[0], rows)}); ground counts once, hours and cost count twice"
        )
    return warnings


def is_same_work(one: Entry, other: Entry) -> bool:
    """Tell whether two entries say the same: practice, day, ground and numbers (who and notes may differ)."""
    told = {fact.within or fact.name for fact in facts(Entry).values() if fact.tells is not None}
    if any(getattr(one, name) != getattr(other, name) for name in ("practice", "date", *told)):
        return False
    if one.patch is None or other.patch is None:
        return one.patch is other.patch
    return bool(shapely.equals(one.patch, other.patch))


def _redrawn(store: Store, entry: Entry) -> list[str]:
    """Say where a whole unit was drawn otherwise on the day of the work."""
    if not entry.unit_ids:
        return []
    now = {unit.unit_id: unit for unit in store.units()}
    then = {unit.unit_id: unit for unit in store.units(entry.date)}
    return [
        f"unit {unit_id} was drawn otherwise on {entry.date}; the ground taken is its outline of today"
        for unit_id in entry.unit_ids
        if unit_id in now
        and unit_id in then
        and now[unit_id].uuid != then[unit_id].uuid
        and _is_whole(entry, now[unit_id])
    ]


def _is_whole(entry: Entry, unit: Unit) -> bool:
    """Tell whether an entry covers all of a unit, but for rounding."""
    outline = valid_outline(unit.geometry)
    return entry.patch is not None and shapely.difference(outline, entry.patch).area <= 1e-9 * outline.area


def _contract_and_holds(store: Store, entry: Entry, units: Sequence[UnitShare]) -> list[str]:
    """Point out work on ground that is on hold, and work dated before a contract item lets it begin."""
    if entry.practice in STATEMENTS:
        return []
    settings, touched = settings_of_now(store), {share.unit_id for share in units}
    words = [
        f"unit {hold.unit_id} is on hold on {entry.date}: {hold.reason}"
        for hold in holds(settings)
        if hold.unit_id in touched and hold.has(entry.date)
    ]
    code = settings.practice_code(entry.practice)
    words += [
        f"{item.program} item {item.item} begins on {item.not_before}; work dated earlier can forfeit payment"
        for item in settings.contract
        if item.not_before is not None
        and entry.date < item.not_before
        and item.practice_code == code
        and (not item.units or touched.intersection(item.units))
    ]
    return words
