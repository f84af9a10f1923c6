"""Published density and cover figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from habmap.land.density import (
    Density,
    combine_strata,
    crown_cover_pct,
    fixed_plots,
    line_intercept_pct,
    mean_square_crown_ft,
    more_plots,
    plot_acres,
    poisson_limits,
)
from habmap.land.quarter import (
    _one_scale_p,
    log_t_limits,
    own_per_m2,
    pollard_per_m2,
    quarter_points,
    random_p,
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
    r = np.sqrt(rng.exponential(size=(trials, 20)) * 4 / (math.pi * true_per_m2))
    found = np.array([pollard_per_m2(points) for points in r])
    inside = np.mean((found[:, 1] <= true_per_m2) & (true_per_m2 <= found[:, 2]))
    # binomial standard deviation of a 95% share over 4,000 trials is 0.35%: four of them
    assert inside == pytest.approx(0.95, abs=0.014)
    # Pollard's estimate is unbiased; its relative sd is 1/√18, so the mean of 4,000 is good to 0.4%: four of them
    assert found[:, 0].mean() == pytest.approx(true_per_m2, rel=0.016)


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
    # 64,000 measured distances: relative sampling error about 0.5%
    assert quarter_points(r).stems_per_acre == pytest.approx(true_per_m2 * M2_PER_ACRE, rel=0.02)


def test_all_vacant_says_so() -> None:
    with pytest.raises(ValueError, match="vacant"):
        quarter_points([[np.nan] * 4])


@pytest.mark.parametrize(("crown_ft", "pct"), [(6, 15.0), (8, 25.1), (10, 36.3), (12, 47.7)])
def test_crown_cover_at_250_stems(crown_ft: float, pct: float) -> None:
    # 1 − e^−k by hand from the stated formula, printed to 0.1
    assert crown_cover_pct(250, crown_ft=crown_ft) == pytest.approx(pct, abs=0.05)


def test_line_intercept() -> None:
    # Canfield 1941 (from memory): 12.5 + 7.5 + 20.0 ft on 100 ft → 40%
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
    # CV 50%: t(26)·0.5/√27 = 0.1978 ≤ 0.20 < t(25)·0.5/√26 = 0.2020
    assert more_plots(100.0, sd=50.0, plots=8) == 19
    # up to a hundred thousand, by SciPy's t: one more narrows the limits by 5 millionths
    widest = 20 * math.sqrt(100_000) / stats.t.ppf(0.975, 99_999)
    assert more_plots(100.0, sd=widest * (1 - 1e-7), plots=8) == 100_000 - 8
    assert more_plots(100.0, sd=widest * (1 + 1e-7), plots=8) is None


def test_plots_that_cover_a_twentieth_of_the_ground_narrow_the_limits_and_how_many_more_are_enough() -> None:
    assert fixed_plots([8, 10, 12, 14], [1, 1, 1, 1], ground_acres=80.0).fpc_frac == 0.05
    # CV 87.99/215 = 0.4093: t(18)·0.4093/√19 = 0.1973 ≤ 0.20 < t(17)·0.4093/√18 = 0.2035
    assert fixed_plots([12, 7, 15, 9, 4, 11, 18, 10], [0.05] * 8).more_plots == 19 - 8


# --- small counts -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # Garwood 1936 as printed in tables of exact Poisson limits, 95% (from memory): 0–3.689, 1: 0.0253–5.572,
    # 2: 0.242–7.225, 5: 1.623–11.668, 10: 4.795–18.390; the last digit printed is the tolerance
    [(0, 0, 3.689), (1, 0.0253, 5.572), (2, 0.242, 7.225), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_garwood_limits_against_the_printed_table_and_the_definition(count: int, low: float, high: float) -> None:
    got = poisson_limits(count)
    assert got == (pytest.approx(low, abs=5e-4), pytest.approx(high, abs=5e-4))
    # by their definition: each limit is the mean at which this count or one farther off has a chance of 2.5%
    upper = optimize.brentq(lambda mean: stats.poisson.cdf(count, mean) - 0.025, 1e-9, 100)
    assert got[1] == pytest.approx(upper, rel=1e-9)
    if count:
        lower = optimize.brentq(lambda mean: stats.poisson.sf(count - 1, mean) - 0.025, 1e-9, 100)
        assert got[0] == pytest.approx(lower, rel=1e-9)


def test_three_empty_plots_are_not_sure_of_nothing() -> None:
    got = fixed_plots([0, 0, 0], [0.1, 0.1, 0.1])
    # χ²(0.975, 2)/2 / 0.3 acre = 3.6889/0.3 (scipy's chi2, and Garwood's table)
    assert (got.stems_per_acre, got.ci95_low) == (0.0, 0.0)
    assert got.ci95_high == pytest.approx(stats.chi2.ppf(0.975, 2) / 2 / 0.3) == pytest.approx(12.296, abs=5e-4)
    assert (got.limits_by, got.more_plots) == ("poisson", None)
    assert fixed_plots([0], [0.1]).ci95_high is None  # one plot says nothing of how plots differ


def test_few_stems_spread_evenly_have_exact_limits_and_heaped_ones_the_wider() -> None:
    even = fixed_plots([1, 1, 0], [0.1] * 3)
    assert even.ci95_low == pytest.approx(0.2422 / 0.3, abs=1e-3)
    assert even.ci95_high == pytest.approx(7.2247 / 0.3, abs=1e-3)
    heaped = fixed_plots([12, 0, 0], [0.1] * 3)
    # s = √48 stems, SE 4 stems a plot, t(2) = 4.3027: 4 ± 17.21 a plot; the count's own limits are 6.20 to 20.96
    assert (heaped.ci95_low, heaped.ci95_high) == (0.0, pytest.approx((4 + 4.3027 * 4) / 0.1, abs=0.05))
    # heaped on few of many plots: mean 0.1, s² 0.1621, SE 0.07351, t(29) 2.0452; the count of 3 is at most 8.767
    rare = fixed_plots([2, 1] + [0] * 28, [0.1] * 30)
    assert (rare.ci95_low, rare.ci95_high) == (0.0, pytest.approx(8.767 / 3, abs=1e-3))
    many = fixed_plots([10, 10, 10], [0.1] * 3)
    # all alike: Student's t would be sure of 100; the count of 30 is 20.24 to 42.83
    assert many.limits_by == "poisson" and many.ci95_high == pytest.approx(142.8, abs=0.1)
    assert fixed_plots([9, 10, 11], [0.1] * 3).limits_by == "t"


@pytest.mark.parametrize("mean", [0.3, 1.0, 3.0, 8.0])
@pytest.mark.parametrize("plots", [3, 6, 12])
def test_limits_hold_for_stems_at_random(mean: float, plots: int) -> None:
    rng = np.random.default_rng(plots * 100 + round(mean * 10))
    draws = rng.poisson(mean, size=(500, plots))
    found = [fixed_plots(counts, [0.1] * plots) for counts in draws]
    inside = np.mean([(d.ci95_low or 0) <= 10 * mean <= (d.ci95_high or 0) for d in found])
    # exact limits hold at least 95%, Student's t about that; three standard deviations of 500 draws are 3%
    assert inside >= 0.92


def test_degrees_of_freedom_and_a_stratum_s_ground() -> None:
    assert fixed_plots([12, 7, 15, 9, 4, 11, 18, 10], [0.05] * 8).df == 7


# --- strata -------------------------------------------------------------------------------------------------

#: Counts on plots of 1/10 acre and acres of three strata, made up.
STRATA = {"bottom": ([39, 51, 47, 60], 12.0), "bench": ([22, 35, 29], 30.0), "top": ([10, 14, 19, 8, 12], 58.0)}


def test_strata_against_cochran_s_formulas_written_out() -> None:
    """Cochran 1977, 5.1 to 5.4 (from memory): ȳst, s²(ȳst), effective degrees of freedom; no finite correction."""
    whole_acres = sum(acres for _, acres in STRATA.values())
    mean = variance = bottom = 0.0
    for counts, acres in STRATA.values():
        per_acre = np.array(counts) / 0.1
        weight, n = acres / whole_acres, len(counts)
        own = weight**2 * per_acre.var(ddof=1) / n
        mean, variance, bottom = mean + weight * per_acre.mean(), variance + own, bottom + own**2 / (n - 1)
    df = variance**2 / bottom
    half = stats.t.ppf(0.975, df) * math.sqrt(variance)
    got = combine_strata([(fixed_plots(counts, [0.1] * len(counts)), acres) for counts, acres in STRATA.values()])
    assert got.stems_per_acre == pytest.approx(mean, rel=1e-12)
    assert (got.se, got.df) == (pytest.approx(math.sqrt(variance), rel=1e-12), pytest.approx(df, rel=1e-12))
    assert (got.ci95_low, got.ci95_high) == (pytest.approx(mean - half), pytest.approx(mean + half))
    assert got.limits_by == "t"


def test_one_stratum_without_limits_leaves_the_whole_without() -> None:
    known, unknown = fixed_plots([20, 24, 28], [0.1] * 3), fixed_plots([30], [0.1])
    for parts in ([(known, 3.0), (unknown, 1.0)], [(unknown, 1.0), (known, 3.0)]):
        got = combine_strata(parts)
        assert got.stems_per_acre == pytest.approx(0.75 * 240 + 0.25 * 300)
        assert (got.ci95_low, got.ci95_high, got.limits_by) == (None, None, None)


def test_limits_of_several_kinds_hold_together() -> None:
    """Half the ground empty or nearly so, half counted by quarter points: what is printed holds the truth."""
    rng = np.random.default_rng(3)
    thin_per_acre, thick_per_m2, hits, trials = 4.0, 0.05, 0, 300
    truth = (thin_per_acre + thick_per_m2 * M2_PER_ACRE) / 2
    for _ in range(trials):
        thin = fixed_plots(rng.poisson(thin_per_acre * 0.1, 5), [0.1] * 5)
        low, high = (x * M2_PER_ACRE for x in pollard_per_m2(_random_m(rng, 10, thick_per_m2).ravel())[1:])
        thick = Density(plots=10, stems_per_acre=(low + high) / 2, ci95_low=low, ci95_high=high, limits_by="quarter")
        got = combine_strata([(thin, 1.0), (thick, 1.0)])
        assert got.limits_by == "several" and got.ci95_low is not None and got.ci95_high is not None
        hits += got.ci95_low <= truth <= got.ci95_high
    # three standard deviations of a 95% share of 300 are 3.8%
    assert hits / trials >= 0.912


# --- stems at random or in clumps ---------------------------------------------------------------------------


def _random_m(rng: np.random.Generator, points: int, per_m2: float) -> np.ndarray:
    return np.asarray(np.sqrt(rng.exponential(size=(points, 4)) * 4 / (math.pi * per_m2)))


def test_each_point_s_own_estimate_is_unbiased_and_its_limits_by_hand() -> None:
    rng = np.random.default_rng(5)
    own = own_per_m2(_random_m(rng, 40_000, 0.05))
    # each has the relative standard deviation 1/√2: 0.35% of the mean; four of them
    assert own.mean() == pytest.approx(0.05, rel=0.015)
    assert own_per_m2([[1, 1, 1, np.nan], [2, 2, 2, 2]]) == pytest.approx([12 / (16 * math.pi)])
    # mean 2, s √2, SE 1, t(1) 12.7062: 2·e^±6.3531
    low, high = log_t_limits(np.array([1.0, 3.0]))
    assert (low, high) == (
        pytest.approx(2 * math.exp(-6.3531), rel=1e-4),
        pytest.approx(2 * math.exp(6.3531), rel=1e-4),
    )


def test_the_test_of_randomness_doubts_random_stems_as_often_as_it_says() -> None:
    rng = np.random.default_rng(9)
    doubted = np.mean([(random_p(_random_m(rng, 10, 0.05)) or 0) < 0.20 for _ in range(1_000)])
    # two tests that overlap: between one test's 10% and Bonferroni's 20%
    assert 0.10 <= doubted <= 0.20
    cut = []
    for _ in range(400):
        r = _random_m(rng, 10, 0.05)
        r[r > 6.0] = np.nan
        cut.append((random_p(r) or 0) < 0.20)
    assert np.mean(cut) <= 0.25  # three standard deviations of 400 draws are 6%
    assert random_p([[1, 2, 3, 4]]) is None


def test_the_test_statistic_is_bartlett_s() -> None:
    """scipy's own Bartlett test of normal samples whose variances are the values: the same statistic."""
    values, size = np.array([0.5, 1.0, 3.0, 0.2, 7.0]), 9
    shape = np.linspace(-1, 1, size)
    shape = shape / shape.std(ddof=1)
    theirs = stats.bartlett(*(shape * math.sqrt(value) for value in values)).pvalue
    assert _one_scale_p(values, df=size - 1) == pytest.approx(theirs, rel=1e-9)


# --- crowns -------------------------------------------------------------------------------------------------


def test_crown_cover_goes_by_the_stems_of_each_plot_and_the_square_of_their_crowns() -> None:
    # 10 stems of 6 ft and 20 of 12 ft: (10·36 + 20·144)/30 = 108 ft²; the plain mean of 9 ft would say 81
    width = mean_square_crown_ft([6.0, 12.0], [10, 20])
    assert width == pytest.approx(math.sqrt(108))
    # on two plots of 1/20 acre: crowns added up one by one, Σ π c²/4 over 4,356 ft², overlapping at random
    k = (10 * math.pi * 9 + 20 * math.pi * 36) / (0.1 * 43_560)
    assert crown_cover_pct(300, crown_ft=width or 0) == pytest.approx(100 * (1 - math.exp(-k)))
    assert mean_square_crown_ft([6.0, None, 30.0], [10, 50, 0]) == pytest.approx(6.0)
    assert mean_square_crown_ft([None, 8.0], [5, 0]) is None
