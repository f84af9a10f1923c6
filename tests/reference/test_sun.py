"""Sunrise and sunset beside pvlib's solar position algorithm."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from pvlib.solarposition import spa_python

from habmap.land.sun import RIM_HEIGHT_DEG, _sun, sunrise_and_sunset

#: Seconds before and after a told moment at which the sun's height is asked for; over a minute it moves evenly.
ASIDE_S = 30


@pytest.mark.parametrize(
    ("lat", "lon", "tolerance_s"),
    # The short formula's own error: up to 0.1 minute below 60° by the almanac; measured here 3.3 s, at 58° 4.1 s
    [(36.5, 0, 4), (48, -3, 4), (-33, 10, 4), (0, 0, 4), (36.5, -97, 4), (30, -100.5, 4), (48, -103, 4), (58, -110, 5)],
)
def test_the_sun_s_height_at_the_told_moments_beside_pvlib(lat: float, lon: float, tolerance_s: float) -> None:
    # pvlib: Reda & Andreas 2008 (NREL SPA), height of the sun's center without refraction; ΔT of 2026 about 69 s
    days = [date(2026, month, 17) for month in range(1, 13)]
    moments = [moment for day in days for moment in sunrise_and_sunset(lat, lon, day) or ()]
    assert len(moments) == 24
    asked = pd.DatetimeIndex([moment + timedelta(seconds=s) for moment in moments for s in (-ASIDE_S, ASIDE_S)])
    heights = spa_python(asked, lat, lon, delta_t=69.2)["elevation"].to_numpy().reshape(-1, 2)
    # degrees a second, and by how many seconds the rim's height is missed
    pace = (heights[:, 1] - heights[:, 0]) / (2 * ASIDE_S)
    off_s = np.abs((heights.mean(axis=1) - RIM_HEIGHT_DEG) / pace)
    assert off_s.max() < tolerance_s
    assert (pace[::2] > 0).all() and (pace[1::2] < 0).all()  # up in the morning, down in the evening


def test_no_rise_in_polar_night() -> None:
    assert sunrise_and_sunset(80.0, 20.0, date(2026, 12, 21)) is None
    assert sunrise_and_sunset(80.0, 20.0, date(2026, 6, 21)) is None


def test_the_rim_s_height_is_that_of_the_almanacs() -> None:
    # 34′ of refraction at the horizon and 16′ of the sun's radius (Astronomical Almanac; NOAA's tables use 0.833)
    assert pytest.approx(-(34 + 16) / 60, abs=5e-4) == RIM_HEIGHT_DEG


@pytest.mark.parametrize("year", [1985, 2000, 2055])
def test_the_sun_s_height_holds_over_the_years_and_by_the_very_second(year: int) -> None:
    """The formula drifts by seconds in decades: its slow terms count."""
    days = [date(year, month, 3) for month in range(1, 13)]
    moments = [moment for day in days for moment in sunrise_and_sunset(40.0, -98.0, day) or ()]
    heights = spa_python(pd.DatetimeIndex(moments), 40.0, -98.0, delta_t=66.0)["elevation"].to_numpy()
    # a day's noon is the local one: about 12:32 on the 98th meridian's clock in UTC − 6
    assert all(
        rise < set_ and rise.hour in range(10, 16) for rise, set_ in zip(moments[::2], moments[1::2], strict=True)
    )
    assert np.abs(heights - RIM_HEIGHT_DEG).max() < 0.012
    assert np.abs((heights - RIM_HEIGHT_DEG).mean()) < 0.003


def test_close_to_the_polar_circle_the_sun_still_rises_for_minutes() -> None:
    """The height of the rim at noon decides: up on 65.5° N on the shortest day, and at 68° not."""
    told = sunrise_and_sunset(65.5, 0.0, date(2026, 12, 21))
    assert told is not None and 2.9 < (told[1] - told[0]) / timedelta(hours=1) < 3.6
    noon = pd.DatetimeIndex(["2026-12-21 11:58"])
    for lat in (67.2, 67.6):
        is_up = float(spa_python(noon, lat, 0.0, delta_t=69.2)["elevation"].iloc[0]) > RIM_HEIGHT_DEG
        assert (sunrise_and_sunset(lat, 0.0, date(2026, 12, 21)) is not None) is is_up
    assert sunrise_and_sunset(90.0, 0.0, date(2026, 6, 21)) is sunrise_and_sunset(-90.0, 0.0, date(2026, 6, 21)) is None


@pytest.mark.parametrize("lon", [-179.0, -98.0, 0.0, 120.0, 179.0])
def test_the_sun_rises_before_and_sets_after_the_noon_of_the_day_asked_for(lon: float) -> None:
    for month in range(1, 13):
        told = sunrise_and_sunset(38.0, lon, date(2026, month, 7))
        assert told is not None
        noon = datetime(2026, month, 7, 12, tzinfo=UTC) - timedelta(hours=lon / 15)
        before, after = (abs((moment - noon) / timedelta(hours=1)) for moment in told)
        # days of 9.5 to 15 hours about a noon that the sun keeps within 17 minutes
        assert told[0] < noon < told[1] and 4.4 < before < 7.8 and 4.4 < after < 7.8


@pytest.mark.parametrize("year", [1955, 2055])
def test_the_sun_stands_as_high_in_midsummer_as_the_ecliptic_is_inclined(year: int) -> None:
    # IAU 2006: 84381.406″ − 46.836769″ a century from 2000 (Capitaine et al. 2003; from memory)
    inclined_deg = (84381.406 - 46.836769 * (year - 2000 + 0.47) / 100) / 3600
    highest_deg = max(_sun(datetime(year, 6, 20, tzinfo=UTC) + timedelta(hours=h))[0] for h in range(72))
    assert highest_deg == pytest.approx(inclined_deg, abs=0.003)
