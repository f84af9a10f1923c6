"""A forecast beside the written plan, hour by hour, from before ignition through the following night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta, tzinfo
from typing import Final

from habmap.records import ForecastHour
from habmap.work.burnday import Window, compare, turn_deg
from habmap.work.clock import is_skipped
from habmap.work.fuel_moisture import Air, table_moisture_pct
from habmap.work.fuel_tables import Aspect, SlopeClass

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
    ignition: datetime,
    ignition_wind_from_deg: float,
    classes: Sequence[tuple[Aspect | None, SlopeClass | None, bool]],
    shade_pct: float | None,
    above_weather_ft: float | None,
    lat_deg: float | None = None,
    zone: tzinfo | None = None,
) -> tuple[BurnHour, ...]:
    """Compare every hour with the plan.

    Parameters
    ----------
    classes
        The block's ground: aspect, slope class, whether flat.
    lat_deg
        Latitude of the block [°].
    zone
        The property's: an hour that its clock skips is no gap.
    """
    first, last = hours_span(ignition)
    rows = {hour.at: hour for hour in forecast if first <= hour.at <= last}
    told = {at.replace(minute=0, second=0, microsecond=0) for at in rows}
    hours: dict[datetime, ForecastHour | None] = dict(rows)
    clock = first
    while clock <= last:
        if clock not in told and not (zone is not None and is_skipped(clock, zone)):
            hours[clock] = None
        clock += timedelta(hours=1)
    found = []
    for at, hour in sorted(hours.items()):
        if hour is None:
            found.append(BurnHour(time=_written(at), is_gap=True))
            continue
        # A calm has no direction that a plan could be held against, and none that a wind could turn from.
        from_deg = None if hour.wind_mph == 0 else hour.wind_from_deg
        fine_fuel_pct = _driest(hour, classes, shade_pct, above_weather_ft, lat_deg)
        values = {
            "temp_f": hour.temp_f,
            "rh_pct": hour.rh_pct,
            "wind_mph": hour.wind_mph,
            "gust_mph": hour.gust_mph,
            "wind_from_deg": from_deg,
            "fine_fuel_pct": fine_fuel_pct,
        }
        lines = [line for line in compare(values, windows) if line.item in values]
        turn = None
        if at > ignition and from_deg is not None:
            turn = turn_deg(from_deg, ignition_wind_from_deg)
        found.append(
            BurnHour(
                time=_written(at),
                is_gap=False,
                temp_f=hour.temp_f,
                rh_pct=hour.rh_pct,
                wind_mph=hour.wind_mph,
                gust_mph=hour.gust_mph,
                wind_from_deg=hour.wind_from_deg,
                rain_in=hour.rain_in,
                fine_fuel_pct=fine_fuel_pct,
                not_met=tuple(dict.fromkeys(line.item for line in lines if line.comparison == "not met")),
                not_given=tuple(dict.fromkeys(line.item for line in lines if line.comparison == "not given")),
                wind_turn_deg=turn,
                wind_shift=turn is not None and turn > WIND_SHIFT_DEG,
            )
        )
    return tuple(found)


def _driest(
    hour: ForecastHour,
    classes: Sequence[tuple[Aspect | None, SlopeClass | None, bool]],
    shade_pct: float | None,
    above_weather_ft: float | None,
    lat_deg: float | None,
) -> float | None:
    if hour.temp_f is None or hour.rh_pct is None:
        return None
    air = Air(
        at=hour.at,
        temp_f=hour.temp_f,
        rh_pct=hour.rh_pct,
        shade_pct=shade_pct,
        above_weather_ft=above_weather_ft,
        lat_deg=lat_deg,
    )
    figures = [
        table_moisture_pct(air, aspect=aspect, slope_class=slope_class, is_flat=is_flat)
        for aspect, slope_class, is_flat in classes
    ]
    return min((float(figure) for figure in figures if figure is not None), default=None)


def _written(at: datetime) -> str:
    return at.isoformat(timespec="minutes")
