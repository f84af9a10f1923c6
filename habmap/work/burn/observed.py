"""What a person says was observed at a burn, and what of it cannot be."""

from __future__ import annotations

import datetime as dt
from typing import Final

from habmap.errors import UsageError
from habmap.records import BurnRecord, facts
from habmap.records.said import BurnSaid, refuse_faults
from habmap.records.written import is_clock
from habmap.vocabulary import FIRE
from habmap.work.burns import moment_on
from habmap.work.clock import comes_twice, is_skipped
from habmap.work.said import temperature_question

_FACTS: Final = facts(BurnRecord)


def check_burn_said(
    said: BurnSaid,
    *,
    practice: str,
    month: int | None = None,
    is_sure: bool = False,
    needs_hour: bool = True,
    day: dt.date | None = None,
    zone: dt.tzinfo | None = None,
) -> None:
    """Refuse what cannot be.

    Parameters
    ----------
    month
        1 to 12: asks back where the temperature looks like Celsius in that month, unless the person ``is_sure``.
    needs_hour
        Whether weather must come with the hour it was observed at.
    day, zone
        The burn's day and the property's zone, where they are known: an hour that its clock skips is refused.

    Raises
    ------
    UsageError
        Weather beside work without fire or without an hour, an hour that never came, a number that no weather has, or a
        word not known.
    """
    given = said.given()
    if given and practice not in FIRE:
        raise UsageError(
            "observed weather and notices belong to a burn",
            where=", ".join(_FACTS[name].flag for name in given),
            value=practice,
            allowed=", ".join(sorted(FIRE)),
            mend="leave them out, or log the burn as a line of its own",
        )
    refuse_faults(said, BurnRecord)
    _check_hour(said, needs_hour=needs_hour)
    if said.ignition is not None and day is not None and zone is not None:
        _check_it_came(said.ignition, day, zone)
    if said.gust_mph is not None and said.wind_mph is not None and said.gust_mph < said.wind_mph:
        raise UsageError(
            "gusts are weaker than the wind itself",
            where="--gust-mph, --wind-mph",
            value=f"gusts {said.gust_mph:g}, wind {said.wind_mph:g}",
            allowed="gusts of at least the wind",
            mend="see which is which",
        )
    question = None if said.temp_f is None or month is None or is_sure else temperature_question(month, said.temp_f)
    if question is not None:
        raise UsageError(
            question,
            where="--temp-f",
            value=f"{said.temp_f:g}",
            allowed="degrees Fahrenheit that the month has by day",
            mend="give it in Fahrenheit, or add --yes if it is right as it stands",
        )


def _check_hour(said: BurnSaid, *, needs_hour: bool) -> None:
    if said.ignition is not None and not is_clock(said.ignition):
        raise UsageError(
            "this is not a time of day",
            where="--observed-time",
            value=said.ignition,
            allowed="HH:MM on the property's own clock, 00:00 to 23:59",
            mend="write it like 13:30",
        )
    weather = [name for name in said.given() if name not in ("ignition", "plan_kind", "notices")]
    if needs_hour and weather and said.ignition is None:
        raise UsageError(
            "weather without the hour it was observed at",
            where="--observed-time",
            value=", ".join(_FACTS[name].flag for name in weather),
            mend="add the time of ignition, such as --observed-time 13:30",
        )


def _check_it_came(ignition: str, day: dt.date, zone: dt.tzinfo) -> None:
    if is_skipped(moment_on(day, ignition), zone):
        raise UsageError(
            "this hour never came: the clock was put forward over it that day",
            where=_FACTS["ignition"].flag,
            value=f"{day} {ignition}",
            allowed=f"an hour that a clock in {zone} showed",
            mend="give the time of ignition on the property's own clock, or mend the date",
        )


def hour_note(ignition: str | None, day: dt.date, zone: dt.tzinfo) -> str | None:
    """Point out an hour of ignition that came twice on its day; ``None`` where it came once or is not given."""
    if ignition is None or not comes_twice(moment_on(day, ignition), zone):
        return None
    return f"{ignition} came twice on {day}: the clock was put back over it; a note can say which of the two it was"
