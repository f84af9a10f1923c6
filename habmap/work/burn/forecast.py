"""Which forecast a burn sheet goes by, the one handed over or the newest that reaches the hour; the weather of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo

from habmap.errors import InputError, printable
from habmap.records import WIND_HEIGHT_WORDS, Forecast, ForecastHour
from habmap.work.burn.hours import hour_of, hours_span
from habmap.work.burn.request import BurnRequest, ForecastSource
from habmap.work.burn.result import ForecastUsed
from habmap.work.burn.written_plan import ITEMS

WEATHER_ITEMS = ("temp_f", "rh_pct", "wind_mph", "wind_from_deg")


def with_forecast(request: BurnRequest, stored: Sequence[Forecast] = ()) -> tuple[BurnRequest, tuple[str, ...]]:
    """Return the request with the hours that it goes by, and words for each forecast that does not reach the day.

    Parameters
    ----------
    stored
        The property's forecasts, the newest first.

    Notes
    -----
    A forecast handed over wins over stored ones. Of these the newest that reaches the hour of ignition counts; where
    the whole weather is given, the newest that reaches any later hour until next morning.

    Raises
    ------
    InputError
        The wind is taken from a forecast, and two heights were said of it.
    """
    request, words = _chosen(request, stored)
    source = request.forecast_source
    said = None if source is None else source.wind_height
    if said is not None and request.wind_mph is None and request.wind_height not in (None, said):
        raise InputError(
            "the forecast says another height of the wind",
            where=f"{source.file_name if source else 'forecast'}; --wind-height",
            value=f"{said} in the forecast, {request.wind_height} on the command line",
            allowed="one height",
            mend="leave --wind-height out, or give the wind at that height with --wind-mph",
        )
    return request, words


def _chosen(request: BurnRequest, stored: Sequence[Forecast]) -> tuple[BurnRequest, tuple[str, ...]]:
    at, is_complete = request.at, all(getattr(request, item) is not None for item in WEATHER_ITEMS)
    if request.forecast:
        if _reaches(request.forecast, at):
            return request, ()
        name = request.forecast_source.file_name if request.forecast_source else "handed over"
        return replace(request, forecast=(), forecast_source=None), (_not_reaching(name, request.forecast, at),)
    chosen = next((one for one in stored if _covers(one.hours, at)), None)
    if chosen is None and is_complete:
        chosen = next((one for one in stored if _reaches(one.hours, at)), None)
    passed = [one for one in stored[:1] if one is not chosen]
    words = tuple(_not_reaching(one.file_name, one.hours, at) for one in passed)
    if chosen is None:
        return request, words
    source = ForecastSource(file_name=chosen.file_name, recorded_at=chosen.recorded_at, wind_height=chosen.wind_height)
    return replace(request, forecast=chosen.hours, forecast_source=source), words


def ignition_weather(request: BurnRequest, not_used: Sequence[str]) -> dict[str, float | None]:
    """Return the weather at ignition by item, from the request first, else from the forecast's hour.

    Parameters
    ----------
    not_used
        Words of forecasts that do not reach the day, said with what is missing.

    Raises
    ------
    InputError
        Temperature, humidity, wind or its direction is nowhere to be had; all that are missing are named.

    Notes
    -----
    Gusts of the forecast that are weaker than a wind that was given are not taken.
    """
    hour = hour_of(request.forecast, request.at)
    found: dict[str, float | None] = {item: getattr(request, item) for item in ITEMS if hasattr(request, item)}
    if hour is not None:
        for item in WEATHER_ITEMS:
            found[item] = getattr(hour, item) if found[item] is None else found[item]
        if found["gust_mph"] is None and (hour.gust_mph or 0.0) >= (request.wind_mph or 0.0):
            found["gust_mph"] = hour.gust_mph
    needed = ("wind_from_deg",) if request.is_observed else WEATHER_ITEMS
    missing = [ITEMS[item][0] for item in needed if found[item] is None]
    if missing:
        raise InputError(
            "the weather at ignition is not complete",
            where="the forecast, at the hour of --time",
            value="; ".join((f"no {', no '.join(missing)}", *not_used)),
            allowed="temperature, humidity, wind and its direction, given or in the forecast",
            mend="give them with --temp-f, --rh-pct, --wind-mph and --wind-from, or load a forecast that reaches it: "
            "`habmap load forecast FILE`",
        )
    return found


def forecast_used(request: BurnRequest, weather: Mapping[str, float | None], zone: tzinfo) -> ForecastUsed | None:
    """Return which forecast a request goes by, and what of its weather at ignition is from it; ``None`` = none."""
    if not request.forecast:
        return None
    source = request.forecast_source or ForecastSource(file_name="handed over")
    hour = hour_of(request.forecast, request.at)
    taken = tuple(
        item for item in (*WEATHER_ITEMS, "gust_mph") if getattr(request, item) is None and weather[item] is not None
    )
    loaded = "named with --forecast, not kept"
    if source.recorded_at is not None:
        local = source.recorded_at.astimezone(zone)
        loaded = f"loaded {local:%Y-%m-%d %H:%M}, {_age_words(request.at - local.replace(tzinfo=None))}"
    # What was said of a wind that is taken from the forecast was said of the forecast.
    said = source.wind_height or (request.wind_height if request.wind_mph is None else None)
    height = f"its wind is {WIND_HEIGHT_WORDS[said]}" if said else "nobody said at what height its wind is"
    row = f"; the weather at ignition is its row of {hour.at:%H:%M}" if taken and hour is not None else ""
    first, last = request.forecast[0].at, request.forecast[-1].at
    return ForecastUsed(
        file_name=source.file_name,
        recorded_at=None if source.recorded_at is None else source.recorded_at.astimezone(UTC),
        wind_height=said,
        first=first.isoformat(timespec="minutes"),
        last=last.isoformat(timespec="minutes"),
        taken=taken,
        words=f"{printable(source.file_name)}, {loaded}, {_span_words(request.forecast)}; {height}{row}",
    )


def _age_words(before_ignition: timedelta) -> str:
    hours = before_ignition / timedelta(hours=1)
    if hours < 0:
        return "after ignition"
    return f"{hours:.0f} hours before ignition" if hours < 48 else f"{hours / 24:.0f} days before ignition"


def wind_height(request: BurnRequest) -> str | None:
    """Return where the wind at ignition is meant: as said, else as the forecast says of a wind taken from it."""
    if request.wind_height is not None or request.wind_mph is not None or request.forecast_source is None:
        return request.wind_height
    return request.forecast_source.wind_height


def _covers(hours: Sequence[ForecastHour], at: datetime) -> bool:
    return bool(hours) and hours[0].at <= at < hours[-1].at + timedelta(hours=1)


def _reaches(hours: Sequence[ForecastHour], at: datetime) -> bool:
    _, last = hours_span(at)
    return _covers(hours, at) or any(at <= hour.at <= last for hour in hours)


def _not_reaching(name: str, hours: Sequence[ForecastHour], at: datetime) -> str:
    return f"the forecast {printable(name)} reaches {_span_words(hours)}, not to {at:%Y-%m-%d %H:%M}: it is not used"


def _span_words(hours: Sequence[ForecastHour]) -> str:
    return f"from {hours[0].at:%Y-%m-%d %H:%M} to {hours[-1].at:%Y-%m-%d %H:%M}"
