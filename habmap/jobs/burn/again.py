"""The burn day of a past burn, made again from the ledger: its ground, weather and notices as logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, cast
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from habmap.errors import InputError, PlaceError, printable
from habmap.jobs.burn.record import Again
from habmap.jobs.burnday import BurnDayResult, burnday
from habmap.jobs.ports import Store
from habmap.place.settings import PlanSection, Settings
from habmap.records import BurnRecord, Entry, Forecast, Row
from habmap.vocabulary import FIRE, PRACTICE_WORDS
from habmap.work.burn.request import BurnRequest
from habmap.work.burnday import PlanKind
from habmap.work.burns import burn_of, ignition_of, record_faults
from habmap.work.ledger import effective_entries, line_numbers
from habmap.work.lines import find_line

#: Said of everything that the log has no date for.
AS_TODAY: str = "roads, houses, lines, distances and closed days are as the property has them today"


@dataclass(frozen=True, slots=True)
class BurnAgain:
    """A past burn made again: what was asked, what it was asked of, and the answer."""

    store: Store
    request: BurnRequest
    result: BurnDayResult


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
        self._settings = settings

    @property
    def settings(self) -> Settings:
        """The settings to go by."""
        return self._settings

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


def burn_again(store: Store, entry: str, *, today: dt.date) -> BurnAgain:
    """Make the burn day of a logged burn again.

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
    missing = [
        option
        for option, value in (
            ("--observed-time", ignition),
            ("--wind-from", None if record is None else record.wind_from_deg),
        )
        if value is None
    ]
    if record is None or ignition is None or missing:
        raise InputError(
            "the hour of ignition and the direction of the wind are needed to make a burn day again",
            where=where,
            value=f"not logged: {', '.join(missing)}",
            mend=f"add what was written down that day: habmap correct {number} --why … {' … '.join(missing)} …",
        )
    _refuse_unsound(content, record, where)
    plans, plans_kept = _plans(store, record, where)
    settings = store.settings.model_copy(update={"burn_plan": plans})
    past = cast("Store", PastStore(store, before=content.date, settings=settings))
    request = BurnRequest(
        names=(),
        patch=content.patch,
        at=ignition,
        temp_f=record.temp_f,
        rh_pct=record.rh_pct,
        wind_mph=record.wind_mph,
        wind_from_deg=record.wind_from_deg,
        shade_pct=record.shade_pct,
        gust_mph=record.gust_mph,
        days_since_rain=record.days_since_rain,
        mixing_height_ft=record.mixing_height_ft,
        transport_wind_mph=record.transport_wind_mph,
        weather_elevation_ft=record.weather_elevation_ft,
        plan_kind=cast("PlanKind | None", record.plan_kind),
        wind_height=record.wind_height,
        is_forecast_settled=True,
        is_observed=True,
    )
    result = burnday(past, request)
    logged_on = record.recorded_at.astimezone(ZoneInfo(store.settings.place.timezone)).date()
    again = _again(
        content,
        number,
        result,
        _block_name(store, content, result),
        today=today,
        plans_from=logged_on if plans_kept else None,
    )
    return BurnAgain(past, request, replace(result, block=again.block, notices=record.notices, again=again))


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
            "no burn day can be made of this day", where=where, value=content.date, mend="correct the date"
        )


def _plans(store: Store, record: BurnRecord, where: str) -> tuple[PlanSection, bool]:
    """Return the plans that were in force when the burn was logged, or today's where none were kept with it."""
    if record.plans is None:
        return store.settings.burn_plan, False
    try:
        return PlanSection.model_validate(record.plans), True
    except ValidationError as error:
        raise PlaceError(
            "the written plans kept with this burn cannot be read", where=where, mend="restore the folder from a copy"
        ) from error


def _block_name(store: Store, entry: Entry, result: BurnDayResult) -> str:
    """Return the ground as people call it: by its units, by the drawn block that it is, or as a patch."""
    if entry.unit_ids:
        return ", ".join(entry.unit_ids)
    units = ", ".join(result.units)
    for block in reversed(store.drawn_blocks()):
        if entry.patch is not None and block.geometry.equals(entry.patch):
            return f"{block.name} ({units})" if units else block.name
    return f"a patch in {units}" if units else "a patch outside every unit"


def _again(
    entry: Entry, number: int, result: BurnDayResult, block: str, *, today: dt.date, plans_from: dt.date | None
) -> Again:
    ground_on = entry.date - dt.timedelta(days=1)
    burned = "not given" if entry.burned_pct is None else f"{entry.burned_pct:g} % of the ground"
    plans = (
        f"The plan's limits are those that habmap.toml had when this burn was logged, on {plans_from}"
        if plans_from
        else "The plan's limits are those of habmap.toml today: none were kept with this burn"
    )
    return Again(
        entry_id=entry.entry_id,
        number=number,
        date=entry.date,
        made_on=today,
        block=block,
        burned_pct=entry.burned_pct,
        ground_on=ground_on,
        plans_kept=plans_from is not None,
        title=f"as logged, made again on {today}",
        words=(
            f"Log line {number} as logged, made again on {today}",
            f"Share that burned: {burned}",
            f"The ground is as the log has it on {ground_on}, before the work of that day; {AS_TODAY}",
            plans,
        ),
    )
