"""The standard deviation of walked acres against formulas, full matrices and simulation made elsewhere."""

from __future__ import annotations

import math

import numpy as np
import pytest
from walk_makers import SIDE_M, SQUARE, Floats, errors, walk

from habmap.land.track_error import (
    FixError,
    area_gradient_m,
    area_variance_m2_2,
    drawn_errors,
    gradient_variance,
    second_order_variance,
)
from habmap.measures import M2_PER_ACRE


def shoelace_m2(xy: Floats) -> Floats:
    """Area by the shoelace formula, written out here on its own; the last two axes are vertex and axis."""
    ahead = np.roll(xy, -1, axis=-2)
    doubled: Floats = (xy[..., 0] * ahead[..., 1] - ahead[..., 0] * xy[..., 1]).sum(axis=-1)
    return doubled / 2


def test_ten_acre_square_with_independent_corners() -> None:
    # Source: shared check values, section 3 (Chrisman & Yandell 1988, from memory; derived from the shoelace formula):
    # a 10-acre square, sigma 3 m, 4 vertices: 853.48 m² = 0.2109 acres, first order. Printed to two decimals.
    square = np.array(SQUARE)
    times = np.arange(4.0)
    first = gradient_variance(area_gradient_m(square), times, error=FixError(3, 0))
    assert math.sqrt(first) == pytest.approx(853.48, abs=0.005)
    assert math.sqrt(first) / M2_PER_ACRE == pytest.approx(0.2109, abs=5e-5)
    # n·sigma⁴/2 with n = 4: 162 m⁴, by hand
    assert second_order_variance(times, error=FixError(3, 0)) == pytest.approx(162)


@pytest.mark.parametrize("correlation_s", [1e-3, 1e-9, 0.0])
def test_independent_formula_as_correlation_goes_to_zero(correlation_s: float) -> None:
    # sigma²/4 · Σ|P(i+1) − P(i−1)|² + n·sigma⁴/2, written out here; e^(-4 s / 1 ms) is 0 in double precision.
    xy, times = walk(SQUARE)
    across = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    expected = 3**2 / 4 * (across**2).sum() + len(xy) * 3**4 / 2
    found = area_variance_m2_2([(xy, times)], error=FixError(3, correlation_s))
    assert found == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("correlation_s", [5.0, 60.0, 900.0])
@pytest.mark.parametrize("count", [3, 4, 5, 12, 61])
def test_recursion_equals_the_full_matrices(correlation_s: float, count: int) -> None:
    # gᵀΣg and tr(KCKᵀC) with the whole n × n covariance, by plain linear algebra; tolerance: rounding.
    rng = np.random.default_rng(count)
    angle = np.sort(rng.uniform(0, 2 * math.pi, count))
    xy = 80 * np.column_stack([np.cos(angle), np.sin(angle)])
    times = np.cumsum(rng.uniform(1, 20, count))
    covariance = 2.5**2 * np.exp(-np.abs(times[:, None] - times[None, :]) / correlation_s)
    turn = np.zeros((count, count))
    for i in range(count):
        turn[i, (i + 1) % count] += 0.5
        turn[(i + 1) % count, i] -= 0.5
    gradient = np.column_stack([turn @ xy[:, 1], -(turn @ xy[:, 0])])
    first = sum(gradient[:, axis] @ covariance @ gradient[:, axis] for axis in (0, 1))
    second = np.trace(turn @ covariance @ turn.T @ covariance)
    error = FixError(2.5, correlation_s)
    assert area_gradient_m(xy) == pytest.approx(gradient)
    assert gradient_variance(area_gradient_m(xy), times, error=error) == pytest.approx(first, rel=1e-9)
    assert second_order_variance(times, error=error) == pytest.approx(second, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize(("sigma_m", "correlation_s"), [(3.0, 0.0), (3.0, 60.0), (6.0, 20.0), (3.0, 600.0)])
def test_standard_deviation_against_simulated_walks(sigma_m: float, correlation_s: float) -> None:
    # 4,000 walks with the same covariance, drawn fix by fix: their standard deviation is known to
    # 1/√(2·4000) = 1.1%, so 4% is 3.6 of those.
    xy, times = walk(SQUARE, step_s=5.0)
    drawn = errors(times, sigma_m=sigma_m, correlation_s=correlation_s, rng=np.random.default_rng(20260314), walks=4000)
    areas_m2 = shoelace_m2(xy + drawn)
    sd_m2 = math.sqrt(area_variance_m2_2([(xy, times)], error=FixError(sigma_m, correlation_s)))
    assert sd_m2 == pytest.approx(float(areas_m2.std()), rel=0.04)
    assert float(areas_m2.mean()) == pytest.approx(SIDE_M**2, abs=4 * sd_m2 / math.sqrt(4000))


def test_small_ground_needs_the_second_order() -> None:
    # A plot of 10 m with sigma 3 m and independent fixes every meter: the quadratic term is a good part of the whole.
    xy, times = walk([(0, 0), (10, 0), (10, 10), (0, 10)], speed_mps=1, step_s=1)
    drawn = errors(times, sigma_m=3, correlation_s=0, rng=np.random.default_rng(7), walks=4000)
    whole = area_variance_m2_2([(xy, times)], error=FixError(3, 0))
    first = gradient_variance(area_gradient_m(xy), times, error=FixError(3, 0))
    assert first < 0.6 * whole
    assert math.sqrt(whole) == pytest.approx(float(shoelace_m2(xy + drawn).std()), rel=0.04)


def test_errors_that_shift_the_whole_walk_change_nothing() -> None:
    xy, times = walk(SQUARE)
    assert area_variance_m2_2([(xy, times)], error=FixError(3, math.inf)) == pytest.approx(0, abs=1e-6)
    assert second_order_variance(times, error=FixError(3, math.inf)) == 0
    assert gradient_variance(np.array([(1.0, 0), (-1, 0)]), np.zeros(2), error=FixError(3, math.inf)) == 0
    nearly = area_variance_m2_2([(xy, times)], error=FixError(3, 1e9))
    assert math.sqrt(nearly) < 1  # m², of 40,469


def test_two_rings_walked_at_once_err_together() -> None:
    # Two rings side by side whose fixes share their times err as one: one shift for both, so the variance is that of
    # the summed gradient (four times one ring's), not the sum of two.
    xy, times = walk(SQUARE)
    error = FixError(3, 60)
    one = gradient_variance(area_gradient_m(xy), times, error=error)
    both = gradient_variance(np.concatenate([area_gradient_m(xy)] * 2), np.concatenate([times, times]), error=error)
    assert both == pytest.approx(4 * one, rel=1e-9)


def test_what_has_no_area_has_no_error_of_it() -> None:
    assert second_order_variance(np.arange(2.0), error=FixError(3, 0)) == 0.0
    assert second_order_variance(np.arange(2.0), error=FixError(3, 60)) == 0.0
    # three fixes, independent: 3 · 3⁴ / 2
    assert second_order_variance(np.arange(3.0), error=FixError(3, 0)) == 121.5


def test_the_order_of_the_times_does_not_matter_to_the_full_matrices() -> None:
    """A ring whose fixes were taken in another order, two at once, by plain linear algebra."""
    times = np.array([40.0, 5, 5, 90, 61, 0, 17])
    correlation = np.exp(-np.abs(times[:, None] - times[None, :]) / 30)
    gradient = np.random.default_rng(2).normal(size=(7, 2))
    first = 4 * sum(gradient[:, axis] @ correlation @ gradient[:, axis] for axis in (0, 1))
    assert gradient_variance(gradient, times, error=FixError(2, 30)) == pytest.approx(first, rel=1e-12)
    turn = np.roll(np.eye(7), 1, axis=1) / 2
    turn -= turn.T
    second = 2**4 * np.trace(turn @ correlation @ turn.T @ correlation)
    assert second_order_variance(times, error=FixError(2, 30)) == pytest.approx(second, rel=1e-12)


@pytest.mark.parametrize("correlation_s", [0.0, 30.0, math.inf])
def test_drawn_errors_have_the_model_s_covariance(correlation_s: float) -> None:
    """Over 20,000 walks a covariance is known to σ²·√(2/20,000), 1% of it, so 4% are four of those."""
    times = np.array([40.0, 5, 65, 0, 17])
    drawn = drawn_errors(times, error=FixError(3, correlation_s), walks=20_000, rng=np.random.default_rng(6))
    assert drawn.shape == (20_000, 5, 2)
    apart_s = np.abs(times[:, None] - times[None, :])
    model = np.exp(-apart_s / correlation_s) if correlation_s else np.eye(5)
    for axis in (0, 1):
        found = drawn[:, :, axis].T @ drawn[:, :, axis] / 20_000
        assert found == pytest.approx(9 * model, abs=0.04 * 9)
    assert np.abs((drawn[:, :, 0] * drawn[:, :, 1]).mean(axis=0)).max() < 0.04 * 9  # the axes err apart
    assert np.abs((drawn[:-1, :, 0] * drawn[1:, :, 0]).mean(axis=0)).max() < 0.04 * 9  # and the walks
