"""Add one line to the work log, with the ground that the work really covered, or tell what it would change."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from shapely import MultiPolygon

from habmap.errors import InputError
from habmap.jobs.acres import acres as acre_account
from habmap.jobs.ground import states_on
from habmap.jobs.ports import Store
from habmap.land.grid import grid_around
from habmap.measures import acres
from habmap.place.closed_days import held_on, leave_rule, not_begun
from habmap.place.named_units import settings_of_now
from habmap.records import BurnRecord, Entry
from habmap.records.said import BurnSaid, Said
from habmap.show.burn.words import LOOK_NEXT_SEASON, late_notices
from habmap.show.logged_words import ground_warnings, taken_sentence
from habmap.vocabulary import STATEMENTS, STUMP_WORDS, TOP_KILLING
from habmap.work.burn.observed import check_burn_said, hour_note
from habmap.work.burns import burn_record
from habmap.work.ground import cut_ground
from habmap.work.leave import Taken, taken_under
from habmap.work.ledger import effective_entries, line_number
from habmap.work.logged import Changes, Logged, changes_by, not_counted, redrawn, said_today, same_work
from habmap.work.said import cautions_for, check_killed, check_practice, check_said, reported_question
from habmap.work.unit_shares import UnitShare, shares


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
    is_preview: bool = False,
) -> Logged:
    """Add one entry.

    Parameters
    ----------
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
    is_preview
        Write nothing and ask nothing; tell what the line would be and change.

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
    record = burn_record(told, entry_id=entry.entry_id, now=now, plans=store.settings.burn_plan.kept())
    return add_entry(store, entry, burn=record, today=today, agree=agree, is_preview=is_preview)


def add_entry(
    store: Store,
    entry: Entry,
    *,
    burn: BurnRecord | None = None,
    today: dt.date,
    agree: Callable[[str], bool] | None,
    is_preview: bool = False,
) -> Logged:
    """Add a logging or amending row after the looks that every such row gets; see `log`.

    Without ``agree`` nobody is asked about the reported acres, and what was confirmed of them before still stands.
    """
    patch = entry.patch
    if patch is None or patch.is_empty or not patch.is_valid:
        raise InputError(
            "the ground of this work is empty or crosses itself",
            mend="give ground as whole polygons",
            where="the ground of the work",
        )
    patch_acres = acres((store.grid or grid_around([patch])).to_grid(patch).area)
    rows, zone = store.entries(), ZoneInfo(store.settings.place.timezone)
    question = reported_question(entry, patch_acres)
    if agree is not None and not is_preview:
        if question is not None and not agree(question):
            raise InputError(
                question,
                where="--reported-acres",
                value=entry.reported_acres,
                mend="correct the figure or the ground, or confirm with --yes; nothing was added",
            )
        entry = replace(entry, is_sure=question is not None)
    units, outside_acres = shares(patch, store.units(), grid=store.grid or grid_around([patch]))
    warnings = [taken_sentence(one) for one in taken_by(store, entry, rows=rows)]
    warnings += [] if question is None else [question]
    warnings += _ground_warnings(store, entry, units, patch_acres=patch_acres, outside_acres=outside_acres, today=today)
    if burn is not None:
        note = hour_note(burn.ignition, entry.date, zone)
        warnings += [*([note] if note else []), *late_notices(burn.notices, entry.date)]
    cautions = cautions_for(entry.practice, entry, states_on(store, patch, on=entry.date, rows=rows))
    logged = Logged(
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
        cautions=cautions,
        burn=burn,
        next_steps=_next_steps(entry),
        number=line_number(entry, (*rows, entry)),
        preview=is_preview,
        changes=_changes(store, entry),
        said_today=said_today(cautions, rows, today=today, zone=zone),
    )
    if not is_preview:
        store.append([entry, *([burn] if burn else [])])
    return logged


def _changes(store: Store, entry: Entry) -> Changes | None:
    units, grid = store.units(), store.grid
    if grid is None or not units:
        return None
    return changes_by(
        entry,
        rows=store.entries(),
        units=units,
        grid=grid,
        limits=store.settings.stages,
        account=acre_account(store),
    )


def _next_steps(entry: Entry) -> tuple[str, ...]:
    if entry.action != "log":
        return ()
    if entry.practice in TOP_KILLING and entry.killed_pct is None:
        return (STUMP_WORDS,)
    return (LOOK_NEXT_SEASON,) if entry.practice == "burn" else ()


def _ground_warnings(
    store: Store,
    entry: Entry,
    units: Sequence[UnitShare],
    *,
    patch_acres: float,
    outside_acres: float,
    today: dt.date,
) -> list[str]:
    settings, touched, rows = settings_of_now(store), {share.unit_id for share in units}, store.entries()
    day, is_work = entry.date, entry.practice not in STATEMENTS
    early = not_begun(settings, (entry.practice,), day) if is_work else []
    twin = same_work(entry, rows)
    return ground_warnings(
        entry,
        today=today,
        redrawn=redrawn(entry, now=store.units(), then=store.units(day)),
        holds=held_on(settings, day, touched) if is_work else (),
        too_early=[item for item in early if not item.units or touched.intersection(item.units)],
        patch_acres=patch_acres,
        outside_acres=outside_acres,
        not_counted=not_counted(entry),
        same_as=None if twin is None else line_number(twin, rows),
    )


def taken_by(store: Store, entry: Entry, *, rows: Sequence[Entry]) -> tuple[Taken, ...]:
    """Return the units that a new row of the log, written beside these, takes below what is to be left in them.

    Of all units as they are drawn now, under all lines that count; a row that corrects one is taken in its place, and
    where that lay something may be taken too.
    """
    settings = settings_of_now(store)
    before, after = (
        cut_ground(store.units(), effective_entries(lines), grid=store.grid, limits=settings.stages)
        for lines in (rows, (*rows, entry))
    )
    return taken_under(before, after, leave_rule(settings))
