"""Sunrise and sunset beside pvlib's solar position algorithm."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from pvlib.solarposition import sun_rise_set_transit_spa

from habmap.land.sun import sunrise_and_sunset


@pytest.mark.parametrize(
    ("lat", "lon", "tolerance_s"),
    [(36.5, 0, 60), (48, -3, 60), (-33, 10, 60), (0, 0, 60), (36.5, -97, 150), (30, -100.5, 150), (48, -103, 150)],
)
@pytest.mark.parametrize("month", range(1, 13))
def test_beside_pvlib(lat: float, lon: float, tolerance_s: float, month: int) -> None:
    # pvlib: Reda & Andreas 2008 (NREL SPA), upper rim, refraction 0.5667°. 60 s: the almanac's short formula is good to
    # 0.1 minute of time; the rest is the rim's height (0.833° here, about 0.833° there with the sun's true distance).
    # Far from Greenwich pvlib takes the sun of the day in UTC, up to a day's change away: 2 minutes in spring and fall.
    day = date(2026, month, 17)
    told = sunrise_and_sunset(lat, lon, day)
    assert told is not None
    # pvlib wants midnight of the local day; local solar days are close enough for the moments sought
    zone = f"Etc/GMT{round(-lon / 15):+d}"
    theirs = sun_rise_set_transit_spa(pd.DatetimeIndex([pd.Timestamp(day, tz=zone)]), lat, lon, how="numpy")
    for mine, name in zip(told, ("sunrise", "sunset"), strict=True):
        assert abs((pd.Timestamp(mine) - theirs[name].iloc[0]).total_seconds()) < tolerance_s


def test_no_rise_in_polar_night() -> None:
    assert sunrise_and_sunset(80.0, 20.0, date(2026, 12, 21)) is None
    assert sunrise_and_sunset(80.0, 20.0, date(2026, 6, 21)) is None
