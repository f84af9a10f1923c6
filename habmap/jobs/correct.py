"""Withdraw or correct a line of the log: rows are added, nothing is changed or deleted."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final
from zoneinfo import ZoneInfo

from shapely import MultiPolygon

from habmap.errors import InputError, UsageError
from habmap.jobs.burn.record import BurnSaid, burn_record, check_burn_said
from habmap.jobs.log import Logged, add_entry
from habmap.jobs.ports import Store
from habmap.jobs.said import Said, check_killed, check_practice, check_said
from habmap.vocabulary import FIRE
from habmap.work.burns import burn_of
from habmap.work.ledger import Correction, corrections
from habmap.work.records import Entry, Look
from habmap.work.weather_doubts import temperature_question

#: Fewer characters than this of an id are too easily another line's.
MIN_PREFIX: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """Ground of a line: lon/lat patch [°], the units named, and the standard deviation of a walked one [acre]."""

    patch: MultiPolygon
    unit_ids: tuple[str, ...] = ()
    acres_sd: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Voided:
    """A line just withdrawn: the new row, the line it withdraws and what that said."""

    entry_id: str
    target: str
    practice: str
    date: dt.date
    why: str
    who: str | None


def void(store: Store, entry: str, *, why: str, now: dt.datetime, who: str | None = None) -> Voided:
    """Withdraw a line of the log.

    Parameters
    ----------
    store
        The place.
    entry
        The line: its id, the beginning of it (4 characters or more, of one line only) or the id it was imported with.
    why, who
        The reason, and whose it is.
    now
        Moment of recording, UTC.

    Raises
    ------
    UsageError
        No reason is given.
    InputError
        There is no such line, several begin so, or it is withdrawn already.
    """
    _check_why(why)
    line = find_line(store.entries(), entry)
    counting = line.content or line.root
    row = Entry(
        entry_id=str(uuid.uuid4()),
        recorded_at=now,
        action="void",
        target=line.root.entry_id,
        why=why,
        who=who,
        practice=counting.practice,
        date=counting.date,
    )
    store.append([row])
    return Voided(
        entry_id=row.entry_id,
        target=line.root.entry_id,
        practice=counting.practice,
        date=counting.date,
        why=why,
        who=who,
    )


def amend(
    store: Store,
    entry: str,
    *,
    why: str,
    said: Said,
    now: dt.datetime,
    today: dt.date,
    practice: str | None = None,
    date: dt.date | None = None,
    ground: Callable[[dt.date], Covered] | None = None,
    burn: BurnSaid | None = None,
    agree: Callable[[str], bool] = lambda words: False,
) -> Logged:
    """Correct a line of the log by a row that carries its whole content anew.

    Parameters
    ----------
    store, entry, why, now
        As for `void`.
    said
        What is to be said instead; what is left out stays as it was, ``who`` included.
    today
        The local civil day at the place.
    practice, date
        The right ones, where they were wrong.
    ground
        Gives the right ground, for the line's day, where it was wrong.
    burn
        The right weather of a burn and who was told, where it was wrong; what is left out stays as it was.
    agree
        Asked where a temperature looks like Celsius or the reported acres are far from the ground, see
        `habmap.jobs.log.log`.

    Raises
    ------
    UsageError
        No reason or nothing to correct is given, or what was said cannot be.
    InputError
        There is no such line, or it is withdrawn.
    """
    _check_why(why)
    told = burn or BurnSaid()
    if not said.given() and not told.given() and practice is None and date is None and ground is None:
        raise UsageError("there is nothing to correct", where="correct", mend="give the fields that were wrong")
    if practice is not None:
        check_practice(practice)
    line = find_line(store.entries(), entry)
    content = line.content
    assert content is not None  # find_line refuses a withdrawn one
    row = replace(
        content,
        entry_id=str(uuid.uuid4()),
        recorded_at=now,
        action="amend",
        # Naming the correction before it shows that this one was made in sight of it.
        target=line.amends[-1].entry_id if line.amends else line.root.entry_id,
        why=why,
        practice=practice or content.practice,
        date=date or content.date,
    )
    if ground is not None:
        covered = ground(row.date)
        row = replace(row, patch=covered.patch, unit_ids=covered.unit_ids, acres_sd=covered.acres_sd)
    if row.practice != "checkup" and row.look is not None:
        treated = row.look.stump_treated  # all that other work says of what stands there
        row = replace(row, look=None if treated is None else Look(stump_treated=treated))
    row = said.over(row)
    check_said(_as_said(row), practice=row.practice)
    check_killed(_as_said(row), practice=row.practice, cedar=store.settings.place.cedar)
    before = burn_of(line, store.burns())
    if row.practice in FIRE or told.given():
        told = told.over(before)
    check_burn_said(told, practice=row.practice, day=row.date, zone=ZoneInfo(store.settings.place.timezone))
    _ask_temperature(burn, row.date, agree)
    record = burn_record(store, told, entry_id=row.entry_id, now=now, before=before)
    is_asked = ground is not None or said.reported_acres is not None  # else it was agreed to when it was written
    return add_entry(store, row, burn=record, today=today, agree=agree if is_asked else None)


def _ask_temperature(burn: BurnSaid | None, day: dt.date, agree: Callable[[str], bool]) -> None:
    question = None if burn is None or burn.temp_f is None else temperature_question(day.month, burn.temp_f)
    if question is not None and not agree(question):
        raise InputError(
            question,
            where="--temp-f",
            value=None if burn is None else burn.temp_f,
            mend="give it in Fahrenheit, or confirm with --yes; nothing was added",
        )


def find_line(rows: Sequence[Entry], entry: str) -> Correction:
    """Return the counting line that a person names by id, beginning of id, id of a correction, or imported id.

    Raises
    ------
    InputError
        There is none, there are several, or it is withdrawn.
    """
    name = entry.strip()
    lines = corrections(rows)
    exact = [line for line in lines if name in _names(line)]
    found = exact or [line for line in lines if len(name) >= MIN_PREFIX and _begins(line, name)]
    if not found:
        raise InputError(
            "there is no such line in the log",
            where="ENTRY",
            value=entry,
            allowed=f"an entry_id, its first {MIN_PREFIX} characters or more, or the id it was imported with",
            mend="`habmap history` lists every line",
        )
    if len(found) > 1:
        raise InputError(
            "several lines of the log are called so",
            where="ENTRY",
            value=entry,
            allowed=", ".join(line.root.entry_id for line in found),
            mend="give more of the id",
        )
    if found[0].content is None:
        raise InputError(
            "this line is withdrawn already",
            where="ENTRY",
            value=found[0].root.entry_id,
            mend="nothing needs to be done; log the work anew if it did happen",
        )
    return found[0]


def _names(line: Correction) -> set[str | None]:
    return {line.root.entry_id, line.root.source_id} | {row.entry_id for row in line.amends}


def _begins(line: Correction, name: str) -> bool:
    return any(row.entry_id.startswith(name.lower()) for row in (line.root, *line.amends))


def _as_said(row: Entry) -> Said:
    return Said(**{name: getattr(row, name) for name in Said.__slots__})


def _check_why(why: str) -> None:
    if not why.strip():
        raise UsageError("a correction needs a reason", where="--why", mend='say it in a few words: --why "wrong unit"')
