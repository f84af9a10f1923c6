"""What a burn day's weather may look like on the command line; each fault is told before any file is opened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Final

from habmap.errors import UsageError

#: The night before and after is looked at too, and the ends of the calendar have none.
BURN_YEARS: Final = range(1900, 2200)


def parsed_time(text: str) -> datetime:
    """Read a local civil time, to the minute or finer."""
    try:
        at = datetime.fromisoformat(text)
        if len(text) < len("2026-03-14T13:30") or at.tzinfo is not None or at.year not in BURN_YEARS:
            raise ValueError
    except ValueError as error:
        raise UsageError(
            "this is not a local time",
            where="--time",
            value=text,
            allowed=f"YYYY-MM-DDTHH:MM on the property's own clock, no zone, {BURN_YEARS[0]} to {BURN_YEARS[-1]}",
            mend='write it like "2026-03-14T13:30"',
        ) from error
    return at


def parsed_wind_from(text: str) -> float:
    """Read the direction that the wind comes from [°]; see `habmap.records.written.bearing_of`."""
    from habmap.records.written import bearing_of

    return bearing_of(text)


def check_weather(given: Mapping[str, float | None]) -> None:
    """Refuse numbers that no weather has, by the names that they have in a burn's record.

    Raises
    ------
    UsageError
        One lies outside of its range, or gusts are weaker than the wind.
    """
    from habmap.records import BurnRecord, facts

    for name, value in given.items():
        one = facts(BurnRecord)[name]
        if one.fault(value) is not None:
            raise UsageError(
                "this value cannot be",
                where=one.flag,
                value=value,
                allowed=one.allowed,
                mend="look at the forecast again, and at its units",
            )
    gust_mph, wind_mph = given["gust_mph"], given["wind_mph"]
    if gust_mph is not None and wind_mph is not None and gust_mph < wind_mph:
        raise UsageError(
            "gusts are weaker than the wind itself",
            where="--gust-mph, --wind-mph",
            value=f"gusts {gust_mph:g}, wind {wind_mph:g}",
            allowed="gusts of at least the wind",
            mend="see which is which",
        )


def check_choice(option: str, value: str | None, choices: tuple[str, ...]) -> None:
    """Refuse a word that is not one of the choices.

    Raises
    ------
    UsageError
        It is not.
    """
    if value is not None and value not in choices:
        raise UsageError(
            "this is not one of the choices", where=option, value=value, allowed=", ".join(choices), mend="use one"
        )


def check_alone(entry: str, given: Sequence[object]) -> None:
    """Refuse ground, hour or weather beside a line of the log, which says them itself.

    Raises
    ------
    UsageError
        Some are given.
    """
    if any(value not in (None, [], ()) for value in given):
        raise UsageError(
            "ground, hour and weather of a logged burn are in the log",
            where="--again",
            value=entry,
            allowed="--again ENTRY with --sheet, --paper, --overwrite and --json",
            mend="leave the others out; `habmap correct` corrects what the log says",
        )


def check_temperature(month: int, temp_f: float | None, *, is_sure: bool, where: str) -> None:
    """Ask back where a temperature looks like Celsius.

    Raises
    ------
    UsageError
        It does, and nobody said that it is right.
    """
    from habmap.work.weather_doubts import temperature_question

    question = None if temp_f is None or is_sure else temperature_question(month, temp_f)
    if question is not None:
        raise UsageError(
            question,
            where=where,
            value=f"{temp_f:g}",
            allowed="degrees Fahrenheit that the month has by day",
            mend="give it in Fahrenheit, or add --yes if it is right as it stands",
        )
