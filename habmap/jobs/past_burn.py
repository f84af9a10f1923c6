"""The burn sheet of a past burn, made again from the ledger: its ground, weather and notices as logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, cast
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from habmap.errors import InputError, PlaceError, printable
from habmap.jobs.burnsheet import Burnsheet, worked_out
from habmap.jobs.ports import Store
from habmap.place.settings import PlanSection, Settings
from habmap.records import BurnRecord, Entry, Forecast, Row
from habmap.show.burn.words import past_burn_words
from habmap.vocabulary import FIRE, PRACTICE_WORDS
from habmap.work.burn.block import patch_name
from habmap.work.burn.request import WEATHER_FACTS, BurnRequest
from habmap.work.burn.result import BurnsheetResult, PastBurn
from habmap.work.burns import burn_of, ignition_of, record_faults
from habmap.work.ledger import effective_entries, line_numbers
from habmap.work.lines import find_line


class PastStore:
    """A place as the log had it before a day: work of that day and later is left out, and no forecast is looked for.

    Parameters
    ----------
    store
        The place.
    before
        First day whose work is left out.
    settings
        The settings to go by.
    """

    def __init__(self, store: Store, *, before: dt.date, settings: Settings) -> None:
        self._store = store
        self._before = before
        self.settings = settings

    def held(self) -> PastStore:
        """Return this very place: what the real one holds is of today."""
        return self

    def entries(self) -> tuple[Entry, ...]:
        """Return the lines that count, with today's corrections, of work done before the day."""
        return tuple(entry for entry in effective_entries(self._store.entries()) if entry.date < self._before)

    def forecasts(self) -> tuple[Forecast, ...]:
        """Return none: the weather is as observed."""
        return ()

    def burns(self) -> tuple[BurnRecord, ...]:
        """Return none: the notices of the one burn are known."""
        return ()

    def append(self, rows: Sequence[Row]) -> None:
        """Refuse: the past is only read."""
        raise TypeError("a past state is only read")

    def __getattr__(self, name: str) -> Any:
        """Return what the place itself has: units, features, elevation and all else that has no such day."""
        return getattr(self._store, name)


def past_burn(store: Store, entry: str, *, today: dt.date) -> Burnsheet:
    """Make the burn sheet of a logged burn again.

    Parameters
    ----------
    store
        The place.
    entry
        The line of the log: its id, the beginning of it, or the id it was imported with.
    today
        The local civil day at the place.

    Raises
    ------
    InputError
        There is no such line or it is withdrawn, it is no burn, or its hour or the direction of its wind were not
        logged. No other weather is asked for: what is missing is said to be not given.
    """
    line = find_line(store.entries(), entry)
    content = line.content
    assert content is not None  # find_line refuses a withdrawn one
    number = line_numbers(store.entries())[content.entry_id]
    where = f"line {number} ({content.entry_id})"
    if content.practice not in FIRE:
        raise InputError(
            "this line of the log is no burn",
            where=where,
            value=f"{PRACTICE_WORDS.get(content.practice, content.practice)}, {content.date}",
            allowed="a line of `log burn` or `log pile_burn`",
            mend="`habmap history` lists every line",
        )
    record = burn_of(line, store.burns())
    ignition = None if record is None else ignition_of(content.date, record)
    from_deg = None if record is None else record.wind_from_deg
    if record is None or ignition is None or from_deg is None:
        by_option = {"--observed-time": ignition, "--wind-from": from_deg}
        missing = [option for option, value in by_option.items() if value is None]
        raise InputError(
            "the hour of ignition and the direction of the wind are needed to make a burn sheet again",
            where=where,
            value=f"not logged: {', '.join(missing)}",
            mend=f"add what was written down that day: habmap correct {number} --why … {' … '.join(missing)} …",
        )
    _refuse_unsound(content, record, where)
    plans = _plans(store, record, where)
    settings = store.settings.model_copy(update={"burn_plan": plans})
    asked = {name: getattr(record, name) for name in WEATHER_FACTS}
    sheet = worked_out(
        cast("Store", PastStore(store, before=content.date, settings=settings)),
        BurnRequest(names=(), patch=content.patch, at=ignition, is_observed=True, **asked),
    )
    past = PastBurn(
        entry_id=content.entry_id,
        number=number,
        date=content.date,
        made_on=today,
        block=_block_name(store, content, sheet.result),
        burned_pct=content.burned_pct,
        ground_on=content.date - dt.timedelta(days=1),
        plans_kept=record.plans is not None,
        title=f"as logged, made again on {today}",
        words=(),
    )
    logged_on = record.recorded_at.astimezone(ZoneInfo(store.settings.place.timezone)).date()
    past = replace(past, words=past_burn_words(past, logged_on if past.plans_kept else None))
    return replace(sheet, result=replace(sheet.result, block=past.block, notices=record.notices, again=past))


def _refuse_unsound(content: Entry, record: BurnRecord, where: str) -> None:
    """Raise where another program left what cannot be, or the day has no day before or after it."""
    faults = record_faults(record)
    if faults:
        raise PlaceError(
            "what is stored of this burn is damaged", where=where, value=printable("; ".join(faults), longest=200),
            mend="`habmap check` lists such rows; correct it with `habmap correct`",
        )  # fmt: skip
    if not dt.date.min < content.date < dt.date.max:
        raise InputError(
            "no burn sheet can be made of this day", where=where, value=content.date, mend="correct the date"
        )


def _plans(store: Store, record: BurnRecord, where: str) -> PlanSection:
    """Return the plans that were in force when the burn was logged, or today's where none were kept with it."""
    if record.plans is None:
        return store.settings.burn_plan
    try:
        return PlanSection.model_validate(record.plans)
    except ValidationError as error:
        raise PlaceError(
            "the written plans kept with this burn cannot be read", where=where, mend="restore the folder from a copy"
        ) from error


def _block_name(store: Store, entry: Entry, result: BurnsheetResult) -> str:
    """Return the ground as people call it: by its units, by the drawn block that it is, or as a patch."""
    if entry.unit_ids:
        return ", ".join(entry.unit_ids)
    for block in reversed(store.drawn_blocks()):
        if entry.patch is not None and block.geometry.equals(entry.patch):
            return f"{block.name} ({', '.join(result.units)})" if result.units else block.name
    return patch_name(result.units)
