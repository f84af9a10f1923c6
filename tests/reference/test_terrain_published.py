"""Slope, aspect and heat load against figures printed elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from habmap.land.terrain import GroundSteps, aspect_deg, heat_load_mccune_keon_2002, horn_gradient, slope_deg
from habmap.measures import slope_deg as slope_deg_of_pct


def cell(text: str, side_m: float) -> tuple[float, float, float]:
    """Return slope [°], aspect [°] and rise over run of the middle of a 3 × 3 grid, north up."""
    heights = np.array([[float(word) for word in row.split()] for row in text.split("/")])
    steps = GroundSteps(np.array(side_m), np.array(0.0), np.array(0.0), np.array(-side_m))
    gradient = steps.gradient(*horn_gradient(heights))
    return (
        float(slope_deg(*gradient)[1, 1]),
        float(aspect_deg(*gradient)[1, 1]),
        float(np.hypot(*gradient)[1, 1]),
    )


def test_horn_worked_example_slope():
    # A GIS vendor's published worked example of Horn's method; it prints 75.25762 because it rounds 180/π to
    # 57.29578, so the exact value of the same arithmetic is taken. 1e-4: the digits printed.
    slope, aspect, rise = cell("50 45 50 / 30 30 30 / 8 10 10", 5)
    assert slope == pytest.approx(75.2577, abs=1e-4)
    assert rise == pytest.approx(3.80032, abs=1e-5)
    assert aspect == pytest.approx(180.7538, abs=1e-4)


def test_horn_worked_example_aspect():
    # Same vendor's worked example of aspect. 1e-4: the digits printed.
    slope, aspect, _ = cell("101 92 85 / 101 92 85 / 101 91 84", 10)
    assert aspect == pytest.approx(92.6426, abs=1e-4)
    assert slope == pytest.approx(39.12370, abs=1e-4)


def test_ten_percent_toward_south():
    # Derived: Horn 1981, Proc. IEEE 69(1):14-47; atan 0.1.
    slope, aspect, _ = cell("3 3 3 / 2 2 2 / 1 1 1", 10)
    assert slope == pytest.approx(5.710593, abs=1e-6)
    assert aspect == 180


@pytest.mark.parametrize(
    ("percent", "degrees"),
    [(5, 2.8624), (10, 5.7106), (20, 11.3099), (30, 16.6992), (35, 19.2900), (50, 26.5651)],
)
def test_percent_to_degrees(percent, degrees):
    assert slope_deg_of_pct(percent) == pytest.approx(degrees, abs=1e-4)  # atan; 1e-4: digits given


@pytest.mark.parametrize(
    ("lat", "slope", "aspect", "expected"),
    # McCune & Keon 2002, J. Veg. Sci. 13:603-606, equation 3, recomputed from its printed coefficients and seen in
    # public code that cites it. 5e-5: four digits given.
    [(40, 0, 0, 0.9580), (40, 0, 123, 0.9580), (40, 30, 0, 0.6416), (40, 30, 180, 0.9825)],
)
def test_heat_load(lat, slope, aspect, expected):
    assert heat_load_mccune_keon_2002(lat, slope, aspect) == pytest.approx(expected, abs=5e-5)


def test_heat_load_is_symmetric_about_southwest_and_rises_toward_it():
    # The outer bars of |180 − |aspect − 225||: both pairs lie as far from 225°.
    assert heat_load_mccune_keon_2002(36, 20, 0) == pytest.approx(heat_load_mccune_keon_2002(36, 20, 90), abs=1e-12)
    assert heat_load_mccune_keon_2002(36, 20, 180) == pytest.approx(heat_load_mccune_keon_2002(36, 20, 270), abs=1e-12)
    assert (np.diff(heat_load_mccune_keon_2002(36, 20, np.arange(45, 226))) > 0).all()


@pytest.mark.parametrize(("lat", "slope"), [(29.9, 10), (60.1, 10), (-40, 10), (40, 60.1)])
def test_heat_load_is_unknown_outside_the_range_it_was_fitted_for(lat, slope):
    assert np.isnan(heat_load_mccune_keon_2002(lat, slope, 180))
