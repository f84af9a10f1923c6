"""Acres of working tracks and of walked edges over many seeds, against ground known beforehand.

The truth is the swath of the way really driven (a union of buffers), or the polygon really walked; the errors are
drawn fix by fix by `walk_makers.errors` (Gauss-Markov, 60 s), not by habmap. Both are outside what is tested.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon
from walk_makers import GRID, MORNING_S, Floats, errors, segment, walk

from habmap.errors import InputError
from habmap.land.track_error import FixError
from habmap.land.walked import WalkedGround, walked_ground


def adjoining(
    shape: str, swath_m: float, *, overlap_frac: float = 0.0, apart_m: float = 0.0
) -> list[tuple[float, float]]:
    """Return corners of lanes to and fro over a block, square turns at its ends."""
    step_m = swath_m * (1 - overlap_frac) + apart_m
    breadth_m = {"rectangle": 100, "L": 100, "strip": 45}[shape]
    count = round((breadth_m - swath_m) / step_m) + 1
    corners: list[tuple[float, float]] = []
    for i in range(count):
        far_m = {"rectangle": 100, "L": 110 if i < count / 2 else 60, "strip": 180}[shape] - swath_m / 2
        lane = [(swath_m / 2 + i * step_m, swath_m / 2), (swath_m / 2 + i * step_m, far_m)]
        corners += lane if i % 2 == 0 else lane[::-1]
    return corners


def covered(xy: Floats, times: Floats, *, swath_m: float, sigma_m: float) -> WalkedGround:
    return walked_ground(
        [segment(xy, times)], grid=GRID, error=FixError(sigma_m, 60), close_gap_m=15.24, swath_m=swath_m
    )


@pytest.mark.parametrize(
    ("shape", "swath_m", "overlap_frac", "sigma_m", "step_s"),
    [
        ("rectangle", 10.0, 0.0, 3.0, 2.0),  # this row and the next two: 0.93, 0.82, 0.74 of the truth before
        ("rectangle", 5.0, 0.0, 3.0, 2.0),
        ("rectangle", 3.0, 0.0, 3.0, 4.0),
        ("rectangle", 2.1336, 0.07, 3.0, 4.0),  # a mulcher: 7 ft, passes every 6.5 ft
        ("L", 7.0, 0.1, 3.0, 4.0),
        ("strip", 5.0, 0.05, 3.0, 2.0),
        ("rectangle", 10.0, 0.0, 1.0, 10.0),
        ("rectangle", 7.0, 0.05, 5.0, 4.0),
    ],
)
def test_lanes_that_adjoin(shape: str, swath_m: float, overlap_frac: float, sigma_m: float, step_s: float) -> None:
    corners = adjoining(shape, swath_m, overlap_frac=overlap_frac)
    truth_m2 = LineString(corners).buffer(swath_m / 2).area
    xy, times = walk(corners, step_s=step_s, closed=False)
    rng = np.random.default_rng(int(100 * swath_m + sigma_m))
    seeds = 8
    found = [
        covered(xy + noise, times, swath_m=swath_m, sigma_m=sigma_m)
        for noise in errors(times, sigma_m=sigma_m, correlation_s=60, rng=rng, walks=seeds)
    ]
    ratio = np.array([one.area_m2 for one in found]) / truth_m2
    sd = np.array([one.area_sd_m2 for one in found]) / truth_m2
    # 3% and one printed sd for the mean, and what eight seeds leave open (two standard errors).
    open_frac = 2 * ratio.std(ddof=1) / math.sqrt(seeds)
    assert abs(ratio.mean() - 1) < min(0.03, sd.mean()) + open_frac
    # 87% of a normal lie within one and a half sd; fewer than four of eight has a chance of 1 in 1,000.
    assert np.sum(np.abs(ratio - 1) <= 1.5 * sd) >= 4
    # No strips of standing cedar: what is left inside the outer line is less than 1 in 200.
    hulls = [sum(Polygon(part.exterior).area for part in one.ground.geoms) for one in found]
    assert max(hull / one.area_m2 for hull, one in zip(hulls, found, strict=True)) < 1.005


def test_lanes_apart_stay_apart() -> None:
    # Lanes of 4 m with 10 m between them, and GPS error of 1.5 m: nothing explains the gaps. Truth: 4 m along the way.
    corners = adjoining("rectangle", 4.0, apart_m=10.0)
    truth_m2 = LineString(corners).buffer(2).area
    xy, times = walk(corners, closed=False)
    drawn = errors(times, sigma_m=1.5, correlation_s=60, rng=np.random.default_rng(4), walks=6)
    found = [covered(xy + noise, times, swath_m=4.0, sigma_m=1.5) for noise in drawn]
    assert np.mean([one.area_m2 for one in found]) == pytest.approx(truth_m2, rel=0.03)


@pytest.mark.parametrize(
    ("corners", "swath_m", "sigma_m"),
    [
        (adjoining("rectangle", 3.0, apart_m=1.5), 3.0, 3.0),  # a third left between, all within the error
        (adjoining("rectangle", 5.0, apart_m=2.0), 5.0, 3.0),
        ([(0.0, 0.0), (300.0, 0.0)], 2.0, 5.0),  # one line through the brush, narrower than the error
        (adjoining("strip", 3.0), 3.0, 10.0),  # hardly wider than the error
    ],
    ids=["thinning", "gaps of 2 m", "one line", "narrow"],
)
def test_what_the_track_cannot_tell_is_refused(
    corners: list[tuple[float, float]], swath_m: float, sigma_m: float
) -> None:
    xy, times = walk(corners, closed=False)
    for noise in errors(times, sigma_m=sigma_m, correlation_s=60, rng=np.random.default_rng(9), walks=3):
        with pytest.raises(InputError) as refused:
            covered(xy + noise, times, swath_m=swath_m, sigma_m=sigma_m)
        assert "walk the edge" in str(refused.value)


@pytest.mark.parametrize("step_s", [1.0, 5.0])
@pytest.mark.parametrize(
    "corners",
    [
        [(0, 0), (150, 0), (150, 110), (0, 110)],
        [(0, 0), (160, 0), (160, 60), (70, 60), (70, 150), (0, 150)],
        [(0, 0), (300, 0), (300, 40), (0, 40)],
    ],
    ids=["rectangle", "L", "strip"],
)
def test_walked_edges_are_without_bias_and_their_sd_is_honest(
    corners: list[tuple[float, float]], step_s: float
) -> None:
    truth_m2 = Polygon(corners).area
    xy, times = walk(corners, step_s=step_s)
    drawn = errors(times, sigma_m=3, correlation_s=60, rng=np.random.default_rng(int(step_s) + len(corners)), walks=120)
    found = [
        walked_ground([segment(xy + noise, times)], grid=GRID, error=FixError(3, 60), close_gap_m=15.24)
        for noise in drawn
    ]
    misses = np.array([one.area_m2 - truth_m2 for one in found])
    sd = np.array([one.area_sd_m2 for one in found])
    # The mean of 120 is known to sd/11: four of those, and the corners cut by fixes some meters apart (¼·(v·dt)² each).
    assert abs(misses.mean()) < 4 * misses.std() / math.sqrt(120) + len(corners) * (1.25 * step_s) ** 2 / 4
    # 68% of 120 within one sd, give or take three binomial sds (13%).
    assert 0.55 <= np.mean(np.abs(misses) <= sd) <= 0.81
    assert shapely.is_valid([one.ground for one in found]).all()
    assert times[0] >= MORNING_S
