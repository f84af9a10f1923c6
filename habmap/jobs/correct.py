"""Correct a line of the log by a row more: nothing is changed or deleted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection
from dataclasses import replace
from zoneinfo import ZoneInfo

from habmap.errors import InputError, UsageError
from habmap.jobs.log import add_entry
from habmap.jobs.ports import Store
from habmap.records import BurnRecord
from habmap.records.said import BurnSaid, Said, without
from habmap.vocabulary import FIRE
from habmap.work.burn.observed import check_burn_said
from habmap.work.burns import burn_of, burn_record
from habmap.work.lines import find_line
from habmap.work.logged import Logged
from habmap.work.said import check_killed, check_practice, check_said, check_why, temperature_question
from habmap.work.unit_shares import Covered
from habmap.work.withdrawal import ask_dependents, corrected, dependent_lines, taken_out


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
    clear: Collection[str] = (),
    agree: Callable[[str], bool] = lambda words: False,
    is_preview: bool = False,
) -> Logged:
    """Correct a line of the log by a row that carries its whole content anew.

    Parameters
    ----------
    entry
        The line: its id, the beginning of it (4 characters or more, of one line only), that of one of its corrections,
        or the id it was imported with.
    why
        The reason.
    now
        Moment of recording, UTC.
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
    clear
        What the line should no longer say: words of options (``person-hours``) or names of fields.
    agree
        Asked where a temperature looks like Celsius or the reported acres are far from the ground, see
        `habmap.jobs.log.log`.
    is_preview
        Write nothing; what would be asked is told among the warnings.

    Raises
    ------
    UsageError
        No reason or nothing to correct is given, what was said cannot be, or nothing of a name can be taken out.
    InputError
        There is no such line, it is withdrawn, or says nothing of what is to be taken out.
    """
    check_why(why)
    doubts: list[str] = []
    if is_preview:
        agree = _noting(doubts)
    told = burn or BurnSaid()
    if not clear and not said.given() and not told.given() and practice is None and date is None and ground is None:
        raise UsageError("there is nothing to correct", where="correct", mend="give the fields that were wrong")
    if practice is not None:
        check_practice(practice)
    line = find_line(store.entries(), entry)
    content = line.content
    assert content is not None  # find_line refuses a withdrawn one
    covered = None if ground is None else ground(date or content.date)
    before = burn_of(line, store.burns())
    gone = taken_out(clear, content=content, burn=before, said=said, told=told)
    of_burn = [one for one in gone if one.record is BurnRecord]
    of_line = [one for one in gone if one.record is not BurnRecord]
    row = corrected(line, said, now=now, why=why, practice=practice, date=date, covered=covered, gone=of_line)
    whole = Said.of(row)
    check_said(whole, practice=row.practice)
    check_killed(whole, practice=row.practice, cedar=store.settings.place.cedar)
    if row.practice in FIRE or told.given():
        told = without(told.over(BurnSaid.of(before)), of_burn)
    check_burn_said(told, practice=row.practice, day=row.date, zone=ZoneInfo(store.settings.place.timezone))
    _ask_temperature(burn, row.date, agree)
    rows = store.entries()
    resting = dependent_lines(
        rows,
        (*rows, row),
        entry_id=line.root.entry_id,
        units=store.units(),
        grid=store.grid,
        limits=store.settings.stages,
    )
    ask_dependents(resting, agree=agree)
    record = burn_record(
        told,
        entry_id=row.entry_id,
        now=now,
        plans=before.plans if before else store.settings.burn_plan.kept(),
        is_kept=bool(of_burn),  # that nothing is left is said by a record, or the one before would count
    )
    is_asked = ground is not None or said.reported_acres is not None  # else it was agreed to when it was written
    logged = add_entry(store, row, burn=record, today=today, agree=agree if is_asked else None, is_preview=is_preview)
    return replace(logged, warnings=(*doubts, *logged.warnings), cleared=tuple(one.name for one in gone))


def _noting(doubts: list[str]) -> Callable[[str], bool]:
    """Return what agrees to everything and writes down what it was asked."""

    def agree(words: str) -> bool:
        doubts.append(words)
        return True

    return agree


def _ask_temperature(burn: BurnSaid | None, day: dt.date, agree: Callable[[str], bool]) -> None:
    question = None if burn is None or burn.temp_f is None else temperature_question(day.month, burn.temp_f)
    if question is not None and not agree(question):
        raise InputError(
            question,
            where="--temp-f",
            value=None if burn is None else burn.temp_f,
            mend="give it in Fahrenheit, or confirm with --yes; nothing was added",
        )
