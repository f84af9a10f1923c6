"""What may be asked of a burn sheet on the command line; each fault is told before any file is opened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Final

from habmap.errors import UsageError

#: The night before and after is looked at too, and the ends of the calendar have none.
BURN_YEARS: Final = range(1900, 2200)
PAPERS: Final = ("letter", "a4")


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


def check_alone(entry: str, given: Iterable[object]) -> None:
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


def check_complete(told: Mapping[str, Any]) -> None:
    """Refuse weather without one of the items that there is no burn sheet without.

    Raises
    ------
    UsageError
        Some are missing; all of them are named.
    """
    from habmap.work.burn.forecast import WEATHER_ITEMS
    from habmap.work.burn.request import WEATHER_FACTS

    missing = [WEATHER_FACTS[item].flag for item in WEATHER_ITEMS if told[item] is None]
    if missing:
        raise UsageError(
            "the weather is not complete",
            where=", ".join(missing),
            allowed="temperature, humidity, wind and its direction, or a forecast that has them at that hour",
            mend="give what is missing, or load a forecast with `habmap load forecast FILE`",
        )
