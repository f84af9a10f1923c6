"""Sunrise and sunset beside pvlib's solar position algorithm."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from pvlib.solarposition import spa_python

from habmap.land.sun import RIM_HEIGHT_DEG, sunrise_and_sunset

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
