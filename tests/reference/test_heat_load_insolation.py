"""Equation 3 against clear-sky insolation on real elevation.

McCune & Keon's heat load peaks at 225° and insolation at 180°, so equation 3 at aspect a is held against insolation at
aspect a − 45°.
"""

from __future__ import annotations

import warnings
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from pvlib.irradiance import get_total_irradiance
from pvlib.location import Location
from scipy.stats import spearmanr

from habmap.land.terrain import heat_load_mccune_keon_2002

LAT, LON = 36.55, -84.25


@pytest.fixture(scope="module")
def slopes_and_aspects() -> tuple[np.ndarray, np.ndarray]:
    """Slope and aspect [°] of 400 cells of the elevation that matplotlib ships (SRTM, 3 arc-seconds, 36.5° N)."""
    found = np.load(Path(mpl.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz")
    z = found["elevation"].astype(np.float64)
    # plain central differences: this test is about equation 3, not about our own slopes
    north, east = np.gradient(z, 92.474, 74.6)  # meters per 3" at 36.55° N on WGS 84
    north = -north  # rows run south
    slope = np.degrees(np.arctan(np.hypot(north, east)))
    aspect = np.degrees(np.arctan2(-east, -north)) % 360
    pick = np.random.default_rng(1).choice(z.size, 400, replace=False)
    return slope.ravel()[pick], aspect.ravel()[pick]


def test_order_of_cells_is_that_of_a_year_of_clear_sky(slopes_and_aspects: tuple[np.ndarray, np.ndarray]) -> None:
    slope, aspect = slopes_and_aspects
    # one day in the middle of each month, every half hour
    days = [pd.date_range(f"2025-{month:02d}-15", periods=48, freq="30min", tz="Etc/GMT+6") for month in range(1, 13)]
    times = days[0].append(days[1:])
    place = Location(LAT, LON, tz="Etc/GMT+6", altitude=500)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pvlib's own notes on night hours
        sun = place.get_solarposition(times)
        sky = place.get_clearsky(times, model="ineichen", linke_turbidity=3.0)
        year = np.array(
            [
                get_total_irradiance(
                    tilt,
                    (facing - 45) % 360,
                    sun["apparent_zenith"],
                    sun["azimuth"],
                    sky["dni"],
                    sky["ghi"],
                    sky["dhi"],
                )["poa_global"].sum()
                for tilt, facing in zip(slope, aspect, strict=True)
            ]
        )
    heat = heat_load_mccune_keon_2002(np.full_like(slope, LAT), slope, aspect)
    agreement = float(spearmanr(heat, year).statistic)
    print(f"rank correlation of eq. 3 with clear-sky insolation turned by 45°: {agreement:.3f}")
    # 0.95 is asked for; a first measurement elsewhere gave 0.978
    assert agreement >= 0.95
