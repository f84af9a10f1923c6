"""The winds that a burn is looked at under: the one at ignition, then every hour's until the forecast ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from habmap.measures import so_many
from habmap.records import ForecastHour


@dataclass(frozen=True, slots=True)
class HourWind:
    """One hour (local civil time) and the true bearing that its wind comes from [°]; ``None`` = calm or not known."""

    at: datetime
    from_deg: float | None


@dataclass(frozen=True, slots=True)
class Spell:
    """Neighboring hours, by the first and the last of them; ``last`` is ``None`` where no forecast says how long."""

    first: datetime
    last: datetime | None


def winds_cast(at: datetime, wind_from_deg: float, forecast: Sequence[ForecastHour]) -> tuple[HourWind, ...]:
    """Return the wind at ignition and those of the forecast's later hours, all of them."""
    later = (HourWind(hour.at, None if hour.wind_mph == 0 else hour.wind_from_deg) for hour in forecast if hour.at > at)
    return (HourWind(at, wind_from_deg), *later)


def spells(winds: Sequence[HourWind], is_so: Sequence[bool]) -> tuple[Spell, ...]:
    """Return the runs of hours in which something is so; hours without a direction end none.

    Parameters
    ----------
    is_so
        One for each wind; of an hour without a direction it does not count.
    """
    known = [(wind.at, so) for wind, so in zip(winds, is_so, strict=True) if wind.from_deg is not None]
    found = [[at for at, _ in run] for so, run in groupby(known, key=lambda one: bool(one[1])) if so]
    is_alone = len(winds) == 1
    return tuple(Spell(run[0], None if is_alone else run[-1]) for run in found)


def winds_words(winds: Sequence[HourWind]) -> str:
    """Say which winds were cast, and that a wind which nobody foretold was not."""
    if len(winds) == 1:
        return (
            "Cast for the wind given for ignition alone, for there is no forecast of later hours: when it turns, other "
            "places and edges lie downwind"
        )
    blank = sum(wind.from_deg is None for wind in winds)
    without = f"; {so_many(blank, 'of them has', 'of them have')} no direction and could not be cast" if blank else ""
    return (
        f"Cast for the wind at ignition and those of the forecast's next {len(winds) - 1} rows, to "
        f"{winds[-1].at:%Y-%m-%d %H:%M}{without}"
    )


def written(at: datetime) -> str:
    """Return a local time as the JSON has it."""
    return at.isoformat(timespec="minutes")
