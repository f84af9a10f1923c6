"""A forecast beside the written plan, hour by hour, from before ignition through the following night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime, time, timedelta, tzinfo
from typing import Final

from habmap.records import ForecastHour
from habmap.work.burn.fuel import FuelClass
from habmap.work.burn.written_plan import ITEMS, Window, compare, turn_deg
from habmap.work.clock import is_skipped
from habmap.work.fuel_moisture import Air

#: From this long before ignition to this hour of the next day.
BEFORE_IGNITION: Final = timedelta(hours=3)
NIGHT_ENDS: Final = time(8)
#: A turn of the wind since ignition that is pointed out [°] (half a quarter; no source).
WIND_SHIFT_DEG: Final = 45.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnHour:
    """One hour of the forecast beside the plan.

    Attributes
    ----------
    time
        Local civil time.
    is_gap
        No row for this hour: nothing is known of it.
    not_met, not_given
        Items of the plan by name; both empty where there is no plan.
    fine_fuel_pct
        Of the driest ground, by the tables; ``None`` at night, and south of the equator.
    wind_turn_deg
        Turn of the wind since ignition, for hours after it; ``wind_shift`` where it is more than 45°.
    """

    time: str
    is_gap: bool
    temp_f: float | None = None
    rh_pct: float | None = None
    wind_mph: float | None = None
    gust_mph: float | None = None
    wind_from_deg: float | None = None
    rain_in: float | None = None
    fine_fuel_pct: float | None = None
    not_met: tuple[str, ...] = ()
    not_given: tuple[str, ...] = ()
    wind_turn_deg: float | None = None
    wind_shift: bool = False

    @property
    def at(self) -> datetime:
        """Local civil time."""
        return datetime.fromisoformat(self.time)


def hour_of(forecast: Sequence[ForecastHour], at: datetime) -> ForecastHour | None:
    """Return the row that an hour is told by: the last one at or before it and less than an hour old."""
    rows = [hour for hour in forecast if timedelta(0) <= at - hour.at < timedelta(hours=1)]
    return rows[-1] if rows else None


def hours_span(ignition: datetime) -> tuple[datetime, datetime]:
    """Return the first and the last hour that a burn is followed through: into the next morning."""
    first = (ignition - BEFORE_IGNITION).replace(minute=0, second=0, microsecond=0)
    return first, datetime.combine(ignition.date() + timedelta(days=1), NIGHT_ENDS)


def burn_hours(
    forecast: Sequence[ForecastHour],
    windows: Sequence[Window],
    *,
    ignition: Air | None,
    wind_from_deg: float,
    at: datetime,
    classes: Sequence[FuelClass],
    zone: tzinfo | None = None,
) -> tuple[BurnHour, ...]:
    """Compare every hour with the plan; none without a forecast.

    Parameters
    ----------
    ignition, wind_from_deg, at
        The air, the wind's true bearing [°] and the local civil time of ignition.
    classes
        The block's ground by face and slope.
    zone
        The property's: an hour that its clock skips is no gap.
    """
    if not forecast:
        return ()
    first, last = hours_span(at)
    rows = {hour.at: hour for hour in forecast if first <= hour.at <= last}
    told = {one.replace(minute=0, second=0, microsecond=0) for one in rows}
    hours: dict[datetime, ForecastHour | None] = dict(rows)
    clock = first
    while clock <= last:
        if clock not in told and not (zone is not None and is_skipped(clock, zone)):
            hours[clock] = None
        clock += timedelta(hours=1)
    found = []
    for moment, hour in sorted(hours.items()):
        time = moment.isoformat(timespec="minutes")
        if hour is None:
            found.append(BurnHour(time=time, is_gap=True))
            continue
        figures = {one.name: getattr(hour, one.name) for one in fields(hour) if one.name != "at"}
        figures["fine_fuel_pct"] = _driest(hour, ignition, classes)
        # A calm has no direction that a plan could be held against, and none that a wind could turn from.
        from_deg = None if hour.wind_mph == 0 else hour.wind_from_deg
        values = {item: figures[item] for item in ITEMS if item in figures} | {"wind_from_deg": from_deg}
        lines = [line for line in compare(values, windows) if line.item in values]
        turn = turn_deg(from_deg, wind_from_deg) if moment > at and from_deg is not None else None
        found.append(
            BurnHour(
                time=time,
                is_gap=False,
                **figures,
                not_met=tuple(dict.fromkeys(line.item for line in lines if line.comparison == "not met")),
                not_given=tuple(dict.fromkeys(line.item for line in lines if line.comparison == "not given")),
                wind_turn_deg=turn,
                wind_shift=turn is not None and turn > WIND_SHIFT_DEG,
            )
        )
    return tuple(found)


def _driest(hour: ForecastHour, ignition: Air | None, classes: Sequence[FuelClass]) -> float | None:
    if ignition is None or hour.temp_f is None or hour.rh_pct is None:
        return None
    air = replace(ignition, at=hour.at, temp_f=hour.temp_f, rh_pct=hour.rh_pct)
    figures = (one.moisture_pct(air) for one in classes)
    return min((figure for figure in figures if figure is not None), default=None)
