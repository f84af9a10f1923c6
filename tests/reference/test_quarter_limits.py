"""Quarter points and ratios by formulas of scipy and of hand, one by one and together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from habmap.land.density import Density, combine_strata, fixed_plots, mean_square_crown_ft, more_plots
from habmap.land.quarter import quarter_points, random_p
from habmap.land.ratio import Ratio, ratio_of_totals, t_limits
from habmap.measures import M2_PER_ACRE

NAN = math.nan
#: Distances made up [m].
POINTS_M = [
    [1.2, 1.6, 2.3, 3.1],
    [2.8, 3.6, 0.9, 2.2],
    [2.7, 1.1, 3.2, 1.5],
    [1.3, 0.8, 0.7, 3.1],
    [1.5, 2.4, 3.3, 1.7],
]
#: A quarter of the second and two of the fourth point are vacant.
VACANT_M = [
    [1.1, 1.6, 2.3, 3.0],
    [2.8, 3.7, NAN, 2.2],
    [2.8, 1.1, 3.2, 1.4],
    [1.3, NAN, NAN, 3.1],
    [1.5, 2.4, 3.3, 1.7],
]


def bartlett_p(values: np.ndarray, df: int) -> float:
    """Return scipy's chance of normal samples of df + 1 whose variances are the values."""
    shape = np.linspace(-1, 1, df + 1)
    shape = shape / shape.std(ddof=1)
    return float(stats.bartlett(*(shape * math.sqrt(value) for value in values)).pvalue)


def chance(distances_m: np.ndarray) -> float:
    """Return the chance that stems at random are as uneven, from scipy's tests alone."""
    whole = distances_m[~np.isnan(distances_m).any(axis=1)] ** 2
    chances = []
    if len(whole) > 1:
        chances = [bartlett_p(whole.ravel(), 2), bartlett_p(whole.sum(axis=1), 8)]
    vacant = np.isnan(distances_m).sum(axis=1)
    if vacant.any() and len(distances_m) > 1:
        chances.append(float(stats.chi2_contingency([vacant, 4 - vacant], correction=False).pvalue))
    return min(1.0, len(chances) * min(chances))


@pytest.mark.parametrize(
    "distances_m",
    [
        POINTS_M,
        VACANT_M,
        POINTS_M[:2],
        [[1, 1, 1, 9.0], [0.2, 3, 3, 0.1], [4, 4, 9, 9]],
        [[1, 2, NAN, 3], [2, NAN, NAN, NAN]],  # none is whole
        [[1, 2, NAN, 3], [2, 1, 3, 1]],  # one is
        [[1, 2, 3, 4], [NAN, NAN, NAN, NAN], [2, 1, 3, 1]],
    ],
)
def test_how_often_stems_at_random_are_as_uneven(distances_m: list[list[float]]) -> None:
    assert random_p(distances_m) == pytest.approx(chance(np.array(distances_m, dtype=float)), rel=1e-9)


def test_a_single_point_says_nothing_of_how_points_differ() -> None:
    assert random_p([[1, 2, 3, 4]]) is None and random_p([[1, NAN, 3, 4]]) is None


def limits_by_hand(distances_m: np.ndarray, factor: float) -> tuple[float, float]:
    """Return the wider of χ² limits and of Student's t on the logarithm of the points' own estimates [1/acre]."""
    known = distances_m[np.isfinite(distances_m)]
    low, high = stats.chi2.ppf([0.025, 0.975], 2 * len(known)) * 2 / math.pi / (known**2).sum() * factor
    squared = (distances_m**2).sum(axis=1)
    own = 12 / math.pi / squared[np.isfinite(squared)]
    if len(own) > 1:
        half = stats.t.ppf(0.975, len(own) - 1) * stats.sem(own) / own.mean()
        low, high = min(low, own.mean() * math.exp(-half)), max(high, own.mean() * math.exp(half))
    return low * M2_PER_ACRE, high * M2_PER_ACRE


def test_limits_are_the_wider_of_both_kinds() -> None:
    r = np.array(POINTS_M)
    got = quarter_points(r)
    assert (got.plots, got.limits_by) == (5, "quarter") and got.random_p == pytest.approx(chance(r))
    assert (got.ci95_low, got.ci95_high) == pytest.approx(limits_by_hand(r, 1.0))
    even = np.array([[1.0, 1.6, 2.1, 3.0], [1.05, 1.5, 2.2, 2.9], [1.0, 1.7, 2.0, 3.1]])  # all points alike
    got = quarter_points(even)
    low, high = stats.chi2.ppf([0.025, 0.975], 24) * 2 / math.pi / (even**2).sum() * M2_PER_ACRE
    assert (got.ci95_low, got.ci95_high) == pytest.approx((low, high))
    # a spread of points below that of the pooled estimate, ½ of it, asks for as many as that: t·0.5/√n ≤ 0.2
    first = next(n for n in range(3, 99) if stats.t.ppf(0.975, n - 1) * 0.5 / math.sqrt(n) <= 0.2)
    assert got.more_plots == first - 3
    uneven = np.array([[1.0, 1.6, 2.1, 3.0], [2.1, 1.5, 3.2, 3.9], [1.0, 0.9, 2.0, 1.4], [1.4, 2.2, 2.6, 1.1]])
    own = 12 / math.pi / (uneven**2).sum(axis=1)
    cv = own.std(ddof=1) / own.mean()
    assert cv > 0.5
    first = next(n for n in range(4, 999) if stats.t.ppf(0.975, n - 1) * cv / math.sqrt(n) <= 0.2)
    assert quarter_points(uneven).more_plots == first - 4


def test_limits_move_with_the_estimate_where_quarters_are_vacant() -> None:
    r = np.array(VACANT_M)
    known = r[np.isfinite(r)]
    # Mitchell, arXiv:1010.3303v2, Table 11: P(3/2, −ln f)/(1 − f) squared, and the estimate factor / mean²
    vacant = 3 / 20
    factor = (stats.gamma.cdf(-math.log(vacant), 1.5) / (1 - vacant)) ** 2
    per_m2 = factor / known.mean() ** 2
    got = quarter_points(r)
    assert got.stems_per_acre == pytest.approx(per_m2 * M2_PER_ACRE)
    plain = 4 * 16 / math.pi / (known**2).sum()
    assert (got.ci95_low, got.ci95_high) == pytest.approx(limits_by_hand(r, per_m2 / plain))


def test_one_measured_quarter_and_one_point() -> None:
    one = quarter_points([[2.0, NAN, NAN, NAN]])
    factor = (stats.gamma.cdf(-math.log(0.75), 1.5) / 0.25) ** 2
    assert one == Density(plots=1, stems_per_acre=pytest.approx(factor / 4 * M2_PER_ACRE))
    two = quarter_points([[2.0, NAN, 3.0, NAN]])
    assert two.ci95_low is not None and two.random_p is None
    r = np.array([POINTS_M[0]])
    point = quarter_points(r)
    assert (point.ci95_low, point.ci95_high) == pytest.approx(limits_by_hand(r, 1.0))


@pytest.mark.parametrize(("p", "has_limits"), [(0.1995, False), (0.2005, True)])
def test_limits_go_where_stems_at_random_are_so_uneven_once_in_five(p: float, has_limits: bool) -> None:
    r = np.array(POINTS_M)

    def with_one_point_off(factor: float) -> np.ndarray:
        return r * np.array([[factor], [1], [1], [1], [1]])

    found = optimize.brentq(lambda factor: chance(with_one_point_off(factor)) - p, 1, 9)
    got = quarter_points(with_one_point_off(found))
    assert got.random_p == pytest.approx(p) and (got.ci95_low is not None) is has_limits
    assert (got.limits_by, got.more_plots is not None) == (("quarter", True) if has_limits else (None, False))


def test_a_ratio_of_totals_by_hand() -> None:
    # R = 6/4; 2 − 1.5 and 4 − 4.5; √(2/1 · ½)/4
    assert ratio_of_totals([2, 4], [1, 3]) == Ratio(1.5, 0.25, 2)
    # R = 1; −1, 0, 1: √(3/2 · 2)/12
    assert ratio_of_totals([2, 4, 6], [3, 4, 5]) == Ratio(1.0, pytest.approx(math.sqrt(3) / 12), 3)
    assert ratio_of_totals([2], [4]) == Ratio(0.5, None, 1)
    # t(0.975, 2) = 4.302653 (NIST/SEMATECH e-Handbook, 1.3.6.7.2)
    assert t_limits(10.0, 0.5, 2) == pytest.approx((10 - 2.1513265, 10 + 2.1513265))
    assert t_limits(1.0, 0.5, 2) == (0.0, pytest.approx(3.1513265))


# --- fixed plots and strata ---------------------------------------------------------------------------------


def first_that_is_enough(cv: float, plots: int) -> int:
    """Return the first number of plots, none fewer than there are or than two, whose t·cv/√n is 0.2 at most."""
    return next(n for n in range(max(plots, 2), 9999) if stats.t.ppf(0.975, n - 1) * cv / math.sqrt(n) <= 0.2)


@pytest.mark.parametrize("plots", [1, 2, 3, 8, 30])
@pytest.mark.parametrize("cv", [0.005, 0.1, 0.12, 0.31, 0.5, 2.0])
def test_more_plots_are_counted_from_those_there_are(cv: float, plots: int) -> None:
    assert more_plots(0.7, sd=0.7 * cv, plots=plots) == first_that_is_enough(cv, plots) - plots


def test_more_plots_than_anybody_lays_out_are_not_told() -> None:
    assert more_plots(1.0, sd=40.0, plots=5) is None and more_plots(0.0, sd=0.0, plots=5) is None
    assert more_plots(1.0, sd=32.0, plots=5) == pytest.approx((1.96 * 32 / 0.2) ** 2, rel=1e-3)


def test_a_count_below_thirty_has_its_own_limits_and_no_standard_error() -> None:
    few, enough = fixed_plots([9, 10, 10], [0.1] * 3), fixed_plots([9, 10, 11], [0.1] * 3)
    assert (few.limits_by, few.se, few.df) == ("poisson", None, None)
    assert (enough.limits_by, enough.se, enough.df) == ("t", pytest.approx(10 / math.sqrt(3)), 2.0)
    low, high = stats.chi2.ppf(0.025, 58) / 2 / 0.3, stats.chi2.ppf(0.975, 60) / 2 / 0.3
    assert (few.ci95_low, few.ci95_high) == pytest.approx((low, high))
    # a count's variance is its mean: √(29/0.3 · 3/0.3) per acre where the plots themselves differ by less
    assert few.more_plots == first_that_is_enough(math.sqrt(29 / 0.3 * 3 / 0.3) / (29 / 0.3), 3) - 3
    # and as they do where they differ by more
    heaped = [14, 1, 2]
    assert (
        fixed_plots(heaped, [0.1] * 3).more_plots
        == first_that_is_enough(np.std(heaped, ddof=1) / np.mean(heaped), 3) - 3
    )


@pytest.mark.parametrize(("ground_acres", "narrow"), [(6.01, None), (5.99, 1 - 0.3 / 5.99), (0.6, 0.5), (0.25, 0.0)])
def test_plots_narrow_the_limits_by_what_they_cover_of_the_ground(ground_acres: float, narrow: float | None) -> None:
    for counts in ([18, 10, 12], [3, 4, 2]):
        plain, got = fixed_plots(counts, [0.1] * 3), fixed_plots(counts, [0.1] * 3, ground_acres=ground_acres)
        root = math.sqrt(1.0 if narrow is None else narrow)
        assert got.fpc_frac == (None if narrow is None else pytest.approx(0.3 / ground_acres))
        for limit, own in ((got.ci95_low, plain.ci95_low), (got.ci95_high, plain.ci95_high)):
            assert limit is not None and own is not None
            mean = got.stems_per_acre
            assert limit == pytest.approx(max(0.0, mean + (own - mean) * root))
        if plain.se is not None:
            assert got.se == pytest.approx(plain.se * root)


@pytest.mark.parametrize(("counts", "is_even"), [([2, 2, 6], True), ([1, 1, 1, 2, 5], False)])
def test_counts_that_random_stems_give_once_in_five_are_taken_as_such(counts: list[int], is_even: bool) -> None:
    """Fisher's index of dispersion by scipy: 20.2% of random counts differ as much as the first, 19.9% as the other."""
    assert (float(stats.chisquare(counts).pvalue) >= 0.2) is is_even
    acres, total = 0.1 * len(counts), sum(counts)
    got = fixed_plots(counts, [0.1] * len(counts))
    low, high = stats.chi2.ppf(0.025, 2 * total) / 2 / acres, stats.chi2.ppf(0.975, 2 * total + 2) / 2 / acres
    half = stats.t.ppf(0.975, len(counts) - 1) * stats.sem(counts) / 0.1
    assert half > high - total / acres
    if not is_even:
        low, high = min(low, max(0.0, total / acres - half)), max(high, total / acres + half)
    assert (got.ci95_low, got.ci95_high) == pytest.approx((low, high))


def test_strata_of_several_kinds_join_their_distances_side_by_side() -> None:
    known = fixed_plots([20, 24, 28], [0.1] * 3)
    skewed = Density(plots=4, stems_per_acre=100.0, ci95_low=80.0, ci95_high=160.0, limits_by="quarter")
    got = combine_strata([(known, 3.0), (skewed, 1.0)])
    assert known.ci95_low is not None and known.ci95_high is not None
    mean = 0.75 * 240 + 0.25 * 100
    down, up = math.hypot(0.75 * (240 - known.ci95_low), 5), math.hypot(0.75 * (known.ci95_high - 240), 15)
    assert (got.plots, got.stems_per_acre, got.limits_by) == (7, pytest.approx(mean), "several")
    assert (got.ci95_low, got.ci95_high) == pytest.approx((mean - down, mean + up))
    sd = (down + up) / 2 / stats.norm.ppf(0.975) * math.sqrt(7)
    assert got.more_plots == first_that_is_enough(sd / mean, 7) - 7 and (got.se, got.df) == (None, None)
    low = Density(plots=4, stems_per_acre=1.0, ci95_low=0.0, ci95_high=9.0, limits_by="quarter")
    sure = Density(plots=4, stems_per_acre=0.5, ci95_low=0.0, ci95_high=0.6, limits_by="quarter")
    assert combine_strata([(low, 1.0)]).ci95_low == 0
    assert combine_strata([(low, 1.0), (sure, 1.0)]).ci95_low == pytest.approx(0.75 - math.hypot(0.5, 0.25))


def test_strata_by_student_s_t_ask_for_more_plots_of_all_together() -> None:
    parts = [(fixed_plots([20, 24, 28], [0.1] * 3), 3.0), (fixed_plots([60, 10, 33, 25], [0.1] * 4), 1.0)]
    got = combine_strata(parts)
    assert got.limits_by == "t" and got.se is not None
    assert got.more_plots == first_that_is_enough(got.se * math.sqrt(7) / got.stems_per_acre, 7) - 7
    # all ground measured: nothing is left to be unsure of, and each stratum takes a degree of freedom
    sure = [
        (fixed_plots(counts, [1.0] * len(counts), ground_acres=len(counts)), 1.0) for counts in ([20, 24], [9, 30, 5])
    ]
    got = combine_strata(sure)
    assert (got.se, got.df) == (0.0, 3.0) and got.ci95_low == got.ci95_high == pytest.approx(got.stems_per_acre)


def test_a_single_stem_has_a_crown() -> None:
    assert mean_square_crown_ft([6.0, 12.0], [1, 1]) == pytest.approx(math.sqrt(90))
    assert mean_square_crown_ft([6.0, 12.0], [0.5, 0]) == pytest.approx(6)
