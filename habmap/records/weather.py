"""Weather: what it can be, and forecasts as they were loaded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from habmap.records.facts import fact
from habmap.records.kept import kept

#: Weather that can be, observed or forecast: outside of these a number is a slip or of another unit (no source).
TEMPERATURE: Final[dict[str, Any]] = {"words": "temperature", "unit": "°F", "low": -60, "high": 150}
HUMIDITY: Final[dict[str, Any]] = {"words": "humidity", "unit": "%", "low": 0, "high": 100}
WIND: Final[dict[str, Any]] = {"words": "wind", "unit": "mph", "low": 0, "high": 150}
WIND_FROM: Final[dict[str, Any]] = {"words": "wind from", "unit": "°", "low": 0, "high": 360}
GUSTS: Final[dict[str, Any]] = {"words": "gusts", "unit": "mph", "low": 0, "high": 250}
#: Where wind is measured or meant.
WIND_HEIGHT_WORDS: Final = {"20ft": "at 20 ft", "eye": "at eye level"}
WIND_HEIGHTS: Final = tuple(WIND_HEIGHT_WORDS)
PLAN_KINDS: Final = ("grass", "down_cedar", "piles")


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastHour:
    """One row of a forecast; ``None`` = a blank cell.

    Attributes
    ----------
    at
        Local civil time.
    temp_f, rh_pct, wind_mph, gust_mph, wind_from_deg, rain_in
        In these units, whatever the file's.
    """

    at: datetime
    temp_f: float | None = fact(**TEMPERATURE)
    rh_pct: float | None = fact(**HUMIDITY)
    wind_mph: float | None = fact(**WIND)
    gust_mph: float | None = fact(**GUSTS)
    wind_from_deg: float | None = fact(**WIND_FROM)
    rain_in: float | None = fact("rain", unit="in", low=0, high=20)


@kept(
    "forecast",
    "forecasts as loaded, the hours of each as one JSON list; of those that reach a day the newest counts",
    is_later=True,
    one_per=(),
)
@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """One forecast as it was loaded, all its hours together; later ones stand beside it and none is changed.

    Attributes
    ----------
    file_name
        Name of the file that it came from, without its folder.
    wind_height
        Where its wind is meant: ``20ft`` or ``eye``; ``None`` = nobody said.
    hours
        In the order of time.
    """

    uuid: str
    file_name: str
    wind_height: str | None
    hours: tuple[ForecastHour, ...]
    recorded_at: datetime
    supersedes: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        if not self.hours:
            raise ValueError("a forecast holds no hours")
