"""What a burn day's weather may look like on the command line; each fault is told before any file is opened."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from habmap.errors import UsageError
from habmap.vocabulary import WINDS_16

PLAN_KINDS = ("grass", "down_cedar", "piles")
WIND_HEIGHTS = ("20ft", "eye")


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
    """Read the direction that the wind comes from: degrees, or one of sixteen names [°]."""
    name = text.strip().upper()
    if name in WINDS_16:
        return WINDS_16.index(name) * 22.5
    try:
        value = float(name)
    except ValueError:
        value = math.nan
    if not 0 <= value <= 360:
        raise UsageError(
            "this is not a direction that wind comes from",
            where="--wind-from",
            value=text,
            allowed=f"0 to 360 degrees, true north, or {', '.join(WINDS_16)}",
            mend="write it like 200 or SSW; 0 and 360 are north",
        )
    return value % 360


def check_range(option: str, value: float | None, low: float, high: float, unit: str) -> None:
    """Refuse a number that no weather has.

    Raises
    ------
    UsageError
        It lies outside.
    """
    if value is not None and not low <= value <= high:
        raise UsageError(
            "this value cannot be",
            where=option,
            value=f"{value:g}",
            allowed=f"{low:g} to {high:g} {unit}".strip(),
            mend="look at the forecast again, and at its units",
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
