"""What quarter points print on stems in clumps, by drawing whole stands and measuring them."""

from __future__ import annotations

import numpy as np
import pytest

from habmap.land.density import Density
from habmap.land.quarter import CLUMPED_TOO_LOW, quarter_points
from habmap.measures import M2_PER_ACRE

SIDE_M, EDGE_M = 260.0, 30.0


def thomas(rng: np.random.Generator, *, per_m2: float, in_a_clump: float, sigma_m: float) -> np.ndarray:
    """Draw a Thomas process (1949): clumps at random, Poisson stems in each, normal about its middle."""
    pad = 4 * sigma_m
    reach = SIDE_M + 2 * pad
    middles = rng.uniform(-pad, SIDE_M + pad, (rng.poisson(per_m2 / in_a_clump * reach**2), 2))
    around = np.repeat(middles, rng.poisson(in_a_clump, len(middles)), axis=0)
    return np.asarray(around + rng.normal(0, sigma_m, around.shape))


def measured(rng: np.random.Generator, stems: np.ndarray, points: int) -> Density:
    """Lay points at random and measure to the nearest stem of each quarter."""
    middles = rng.uniform(EDGE_M, SIDE_M - EDGE_M, (points, 2))
    apart = stems[None] - middles[:, None]
    reach = np.hypot(apart[..., 0], apart[..., 1])
    quarter = (apart[..., 0] > 0) * 2 + (apart[..., 1] > 0)
    return quarter_points(np.stack([np.where(quarter == q, reach, np.inf).min(axis=1) for q in range(4)], axis=1))


def true_per_acre(stems: np.ndarray) -> float:
    inside = np.all((stems > EDGE_M) & (stems < SIDE_M - EDGE_M), axis=1)
    return float(inside.sum() / (SIDE_M - 2 * EDGE_M) ** 2 * M2_PER_ACRE)


def draw(in_a_clump: float, sigma_m: float, points: int) -> tuple[float, float, float]:
    """Return how often what is printed is honest, how often limits are printed, and the mean estimate over truth."""
    rng = np.random.default_rng(round(in_a_clump * 1000 + sigma_m * 10 + points))
    honest, printed, ratio, stands, repeats = 0, 0, 0.0, 40, 5
    for _ in range(stands):
        if in_a_clump:
            stems = thomas(rng, per_m2=0.0741, in_a_clump=in_a_clump, sigma_m=sigma_m)
        else:
            stems = rng.uniform(0, SIDE_M, (rng.poisson(0.0741 * SIDE_M**2), 2))
        truth = true_per_acre(stems)
        for _ in range(repeats):
            got = measured(rng, stems, points)
            has_limits = got.ci95_low is not None and got.ci95_high is not None
            printed += has_limits
            honest += not has_limits or (got.ci95_low or 0) <= truth <= (got.ci95_high or 0)
            ratio += got.stems_per_acre / truth
    trials = stands * repeats
    return honest / trials, printed / trials, ratio / trials


@pytest.mark.parametrize("points", [8, 20])
@pytest.mark.parametrize(
    ("in_a_clump", "sigma_m"), [(3, 4), (5, 2), (5, 4), (5, 6), (10, 2), (10, 6), (10, 10), (20, 8)]
)
def test_on_clumped_stems_limits_hold_or_are_not_printed(in_a_clump: float, sigma_m: float, points: int) -> None:
    honest, _, ratio = draw(in_a_clump, sigma_m, points)
    assert ratio < 0.97  # the estimate itself is too low, as it is said to be
    # 90% is asked for; two standard deviations of 200 draws are 4%
    assert honest >= 0.86


@pytest.mark.parametrize("points", [8, 20])
def test_on_random_stems_limits_are_printed_mostly_and_hold(points: int) -> None:
    honest, printed, ratio = draw(0, 0, points)
    assert ratio == pytest.approx(1, abs=0.05)
    assert printed >= 0.75 and honest >= 0.92


def test_plainly_clumped_stems_get_no_limits() -> None:
    _, printed, ratio = draw(10, 2, 30)
    assert printed < 0.05
    assert ratio == pytest.approx(1 / CLUMPED_TOO_LOW, abs=0.03)


def test_clumps_far_smaller_than_their_spacing_do_not_show() -> None:
    """Why the words stand beside every quarter point: to distances alone, tight clumps are single stems at random."""
    honest, printed, ratio = draw(6, 0.05, 15)
    assert printed > 0.6 and honest < 0.5 and ratio < 0.3
