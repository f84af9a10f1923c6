"""What a person asks of a burn sheet."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields
from typing import Final

from shapely import MultiPolygon

from habmap.records import BurnRecord, ForecastHour, said_facts
from habmap.work.burn.written_plan import PlanKind


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastSource:
    """Where a forecast's hours came from: file name, the moment it was loaded (``None`` = never), its wind's height."""

    file_name: str
    recorded_at: dt.datetime | None = None
    wind_height: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnRequest:
    """What a person asks: which ground, which hour, which weather.

    Attributes
    ----------
    names, patch
        Which ground: see `habmap.work.burn.block.burn_block`.
    at
        Local civil time of ignition.
    temp_f, rh_pct, wind_mph, wind_from_deg
        The weather then; ``None`` takes the forecast's hour.
    wind_height
        Where the wind was measured or forecast for: ``20ft`` or ``eye``; ``None`` = nobody said.
    weather_elevation_ft
        Height of the place of the weather; ``None`` counts as level with the block.
    forecast, forecast_source
        Hours handed over, and their file; without any, stored ones are looked for.
    is_observed
        The weather of a past burn as logged: what is missing stays not given, but for the direction of the wind.
    """

    names: tuple[str, ...]
    at: dt.datetime
    temp_f: float | None = None
    rh_pct: float | None = None
    wind_mph: float | None = None
    wind_from_deg: float | None = None
    shade_pct: float | None = None
    gust_mph: float | None = None
    days_since_rain: float | None = None
    mixing_height_ft: float | None = None
    transport_wind_mph: float | None = None
    weather_elevation_ft: float | None = None
    plan_kind: PlanKind | None = None
    wind_height: str | None = None
    patch: MultiPolygon | None = None
    forecast: tuple[ForecastHour, ...] = ()
    forecast_source: ForecastSource | None = None
    is_observed: bool = False


#: What a person says of the weather and the plan, by name: of a burn to come as of one that is logged.
WEATHER_FACTS: Final = {
    one.name: one for one in said_facts(BurnRecord) if one.name in {field.name for field in fields(BurnRequest)}
}
