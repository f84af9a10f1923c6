"""Quarter points and ratios by formulas of scipy and of hand, one by one and together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from habmap.land.density import Density
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
