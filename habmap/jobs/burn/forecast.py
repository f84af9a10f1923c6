"""Which forecast a burn day goes by: the one handed over, else the newest stored one that reaches the hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from habmap.errors import InputError, printable
from habmap.jobs.ports import Store
from habmap.records import Forecast, ForecastHour
from habmap.work.burn.hours import hour_of, hours_span
from habmap.work.burn.request import BurnRequest, ForecastSource

WEATHER_ITEMS = ("temp_f", "rh_pct", "wind_mph", "wind_from_deg")


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastUsed:
    """The forecast that a burn day goes by.

    Attributes
    ----------
    file_name
        Name of its file, without the folder.
    recorded_at
        When it was loaded into the property; ``None`` = handed over for this once.
    wind_height
        Where its wind is meant: ``20ft`` or ``eye``; ``None`` = nobody said.
    first, last
        Its first and last hour, local time.
    taken
        Items of the weather at ignition that were taken from it; the others were given.
    words
        All that in a sentence.
    """

    file_name: str
    recorded_at: datetime | None
    wind_height: str | None
    first: str
    last: str
    taken: tuple[str, ...]
    words: str


def with_forecast(store: Store, request: BurnRequest) -> tuple[BurnRequest, tuple[str, ...]]:
    """Return the request with the hours that it goes by, and words for each forecast that does not reach the day.

    Notes
    -----
    A forecast handed over wins over stored ones. Of these the newest that reaches the hour of ignition counts; where
    the whole weather is given, the newest that reaches any later hour until next morning.

    Raises
    ------
    InputError
        The wind is taken from a forecast, and two heights were said of it.
    """
    request, words = _chosen(store, request)
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


def _chosen(store: Store, request: BurnRequest) -> tuple[BurnRequest, tuple[str, ...]]:
    if request.forecast:
        if _reaches(request.forecast, request.at):
            return request, ()
        name = request.forecast_source.file_name if request.forecast_source else "handed over"
        words = _not_reaching(name, request.forecast, request.at)
        return replace(request, forecast=(), forecast_source=None, is_forecast_settled=True), (words,)
    if request.is_forecast_settled:
        return request, ()
    stored = store.forecasts()
    is_complete = all(getattr(request, item) is not None for item in WEATHER_ITEMS)
    chosen = next((one for one in stored if _covers(one.hours, request.at)), None)
    if chosen is None and is_complete:
        chosen = next((one for one in stored if _reaches(one.hours, request.at)), None)
    if chosen is None:
        words = _not_reaching(stored[0].file_name, stored[0].hours, request.at) if stored else ""
        return replace(request, is_forecast_settled=True), (words,) if words else ()
    newer = stored[0]
    passed = () if newer is chosen else (_not_reaching(newer.file_name, newer.hours, request.at),)
    return replace(request, forecast=chosen.hours, forecast_source=_source(chosen), is_forecast_settled=True), passed


def forecast_used(store: Store, request: BurnRequest) -> ForecastUsed | None:
    """Return which forecast a request goes by; ``None`` = none."""
    if not request.forecast:
        return None
    source = request.forecast_source or ForecastSource(file_name="handed over")
    hour = hour_of(request.forecast, request.at)
    taken = tuple(
        item
        for item in WEATHER_ITEMS
        if getattr(request, item) is None and hour is not None and getattr(hour, item) is not None
    )
    if request.gust_mph is None and forecast_gust(request) is not None:
        taken += ("gust_mph",)
    loaded = "named with --forecast, not kept"
    if source.recorded_at is not None:
        local = source.recorded_at.astimezone(ZoneInfo(store.settings.place.timezone))
        loaded = f"loaded {local:%Y-%m-%d %H:%M}, {_age_words(request.at - local.replace(tzinfo=None))}"
    # What was said of a wind that is taken from the forecast was said of the forecast.
    said = source.wind_height or (request.wind_height if request.wind_mph is None else None)
    height = {"20ft": "its wind is at 20 ft", "eye": "its wind is at eye level"}.get(
        said or "", "nobody said at what height its wind is"
    )
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


def forecast_gust(request: BurnRequest) -> float | None:
    """Return the gusts of the forecast's hour; ``None`` where they are weaker than a wind that was given."""
    hour = hour_of(request.forecast, request.at)
    if hour is None or hour.gust_mph is None or hour.gust_mph < (request.wind_mph or 0.0):
        return None
    return hour.gust_mph


def wind_height(request: BurnRequest) -> str | None:
    """Return where the wind at ignition is meant: as said, else as the forecast says of a wind taken from it."""
    if request.wind_height is not None or request.wind_mph is not None or request.forecast_source is None:
        return request.wind_height
    return request.forecast_source.wind_height


def _source(stored: Forecast) -> ForecastSource:
    return ForecastSource(file_name=stored.file_name, recorded_at=stored.recorded_at, wind_height=stored.wind_height)


def _covers(hours: Sequence[ForecastHour], at: datetime) -> bool:
    return bool(hours) and hours[0].at <= at < hours[-1].at + timedelta(hours=1)


def _reaches(hours: Sequence[ForecastHour], at: datetime) -> bool:
    _, last = hours_span(at)
    return _covers(hours, at) or any(at <= hour.at <= last for hour in hours)


def _not_reaching(name: str, hours: Sequence[ForecastHour], at: datetime) -> str:
    return f"the forecast {printable(name)} reaches {_span_words(hours)}, not to {at:%Y-%m-%d %H:%M}: it is not used"


def _span_words(hours: Sequence[ForecastHour]) -> str:
    return f"from {hours[0].at:%Y-%m-%d %H:%M} to {hours[-1].at:%Y-%m-%d %H:%M}"
