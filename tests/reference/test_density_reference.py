"""Published density and cover figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from habmap.land.density import (
    combine_strata,
    crown_cover_pct,
    fixed_plots,
    line_intercept_pct,
    more_plots,
    plot_acres,
    quarter_points,
    vacant_quarter_factor,
)
from habmap.measures import M2_PER_ACRE

PER_HA = 10_000 / M2_PER_ACRE
#: Mitchell, arXiv:1010.3303v2, worked example: five points, four distances each [m].
MITCHELL_M = [
    [1.1, 1.6, 2.3, 3.0],
    [2.8, 3.7, 0.9, 2.2],
    [2.8, 1.1, 3.2, 1.4],
    [1.3, 0.8, 0.7, 3.1],
    [1.5, 2.4, 3.3, 1.7],
]


@pytest.mark.parametrize(
    ("acres", "radius_ft"), [(1 / 5, 52.660), (1 / 10, 37.237), (1 / 20, 26.330), (1 / 50, 16.653), (1 / 100, 11.775)]
)
def test_plot_acres(acres: float, radius_ft: float) -> None:
    # The forester's table prints radii to 0.001 ft; half of that is the tolerance, and a share of a radius counts
    # twice in the area.
    assert plot_acres(radius_ft) == pytest.approx(acres, rel=2 * 0.0005 / radius_ft * 1.01)


def test_eight_fixed_plots() -> None:
    # worked with the plain formulas: mean 10.75/0.05, s 87.994, SE 31.110, t(7) 2.364624
    got = fixed_plots([12, 7, 15, 9, 4, 11, 18, 10], [0.05] * 8)
    assert got.stems_per_acre == pytest.approx(215.0)
    assert got.se == pytest.approx(31.110, abs=1e-3)
    assert (got.ci95_low, got.ci95_high) == (pytest.approx(141.44, abs=0.01), pytest.approx(288.56, abs=0.01))


def test_pollard_estimate_of_the_worked_example() -> None:
    # Mitchell, arXiv:1010.3303v2: 2402.10 per ha, recomputed from the printed distances
    assert quarter_points(MITCHELL_M).stems_per_acre * PER_HA == pytest.approx(2402.10, abs=0.01)


def test_exact_quarter_limits_cover_as_often_as_they_say() -> None:
    """A stand at random: πλR²/4 of a quarter's nearest stem is exponential, so coverage can be counted."""
    rng = np.random.default_rng(7)
    true_per_m2, trials = 0.05, 4_000
    r = np.sqrt(rng.exponential(size=(trials, 5, 4)) * 4 / (math.pi * true_per_m2))
    found = [quarter_points(points) for points in r]
    inside = np.mean([(d.ci95_low or 0) <= true_per_m2 * M2_PER_ACRE <= (d.ci95_high or 0) for d in found])
    # binomial standard deviation of a 95 % share over 4,000 trials is 0.35 %: four of them
    assert inside == pytest.approx(0.95, abs=0.014)
    # Pollard's estimate is unbiased; its relative sd is 1/√18, so the mean of 4,000 is good to 0.4 %: four of them
    assert np.mean([d.stems_per_acre for d in found]) == pytest.approx(true_per_m2 * M2_PER_ACRE, rel=0.016)


@pytest.mark.parametrize(("p", "factor"), [(0.05, 0.8737), (0.10, 0.7840), (0.20, 0.6418), (0.30, 0.5263), (0, 1)])
def test_vacant_quarter_factor(p: float, factor: float) -> None:
    # Mitchell, arXiv:1010.3303v2, Table 11; printed to four decimals
    assert vacant_quarter_factor(p) == pytest.approx(factor, abs=5e-5)


def test_vacant_quarters_bring_a_censored_stand_back_near_the_truth() -> None:
    """Cut every distance beyond a search radius off: the corrected estimate finds the density again."""
    rng = np.random.default_rng(11)
    true_per_m2 = 0.02
    r = np.sqrt(rng.exponential(size=(20_000, 4)) * 4 / (math.pi * true_per_m2))
    search_m = np.sqrt(-math.log(0.2) * 4 / (math.pi * true_per_m2))  # one quarter in five is vacant
    r[r > search_m] = np.nan
    # 64,000 measured distances: relative sampling error about 0.5 %
    assert quarter_points(r).stems_per_acre == pytest.approx(true_per_m2 * M2_PER_ACRE, rel=0.02)


def test_all_vacant_says_so() -> None:
    with pytest.raises(ValueError, match="vacant"):
        quarter_points([[np.nan] * 4])


@pytest.mark.parametrize(("crown_ft", "pct"), [(6, 15.0), (8, 25.1), (10, 36.3), (12, 47.7)])
def test_crown_cover_at_250_stems(crown_ft: float, pct: float) -> None:
    # 1 − e^−k by hand from the stated formula, printed to 0.1
    assert crown_cover_pct(250, crown_ft=crown_ft) == pytest.approx(pct, abs=0.05)


def test_line_intercept() -> None:
    # Canfield 1941 (from memory): 12.5 + 7.5 + 20.0 ft on 100 ft → 40 %
    assert line_intercept_pct([12.5, 7.5, 20.0], line_ft=100) == pytest.approx(40.0)


def test_strata_by_hand() -> None:
    # 30 acres at 10 ± SE 2 and 10 acres at 30 ± SE 4 per acre: 15 and √(1.5² + 1²)
    low, high = fixed_plots([8, 10, 12], [1, 1, 1]), fixed_plots([26, 30, 34], [1, 1, 1])
    both = combine_strata([(low, 30.0), (high, 10.0)])
    assert both.stems_per_acre == pytest.approx(15.0)
    assert both.se == pytest.approx(math.sqrt((0.75 * 2 / math.sqrt(3)) ** 2 + (0.25 * 4 / math.sqrt(3)) ** 2))


def test_finite_population_correction_reaches_zero_when_all_ground_is_measured() -> None:
    got = fixed_plots([8, 10, 12, 14], [1, 1, 1, 1], ground_acres=4.0)
    assert got.se == 0 and got.ci95_low == got.ci95_high == pytest.approx(11.0)
    assert fixed_plots([8, 10, 12, 14], [1, 1, 1, 1], ground_acres=400.0).fpc_frac is None


def test_more_plots_is_the_first_number_that_is_enough() -> None:
    # CV 50 %: t(26)·0.5/√27 = 0.1978 ≤ 0.20 < t(25)·0.5/√26 = 0.2020
    assert more_plots(100.0, sd=50.0, plots=8) == 19


def test_the_quarter_method_has_a_standard_error_for_combining_strata() -> None:
    # Pollard's estimate of 20 quarters: variance λ²/(4n − 2) (Pollard 1971, from memory): 2402.10/√18 per hectare.
    # An independent route: the spread of the estimate over many drawn samples of random stems.
    found = quarter_points(MITCHELL_M)
    assert found.se is not None
    assert found.se / found.stems_per_acre == pytest.approx(1 / math.sqrt(18))
    rng = np.random.default_rng(7)
    squared = rng.exponential(1 / (math.pi / 4), size=(20_000, 20)).sum(axis=1)
    estimates = 4 * 19 / (math.pi * squared)
    assert estimates.mean() == pytest.approx(1, rel=0.01)
    # 20,000 draws: the standard deviation is known to about 1 %, its tail makes that 2 %
    assert estimates.std() == pytest.approx(1 / math.sqrt(18), rel=0.03)
