"""Steepest descent against surfaces whose way down is known in closed form."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from habmap.land.downhill import Surface, downhill_path


def surface(formula, *, cell_m: float = 5.0, half: int = 60) -> Surface:  # type: ignore[no-untyped-def]
    at = np.arange(-half, half + 1) * cell_m
    x, y = np.meshgrid(at, at)
    return Surface(np.asarray(formula(x, y), dtype=np.float64), float(at[0]), float(at[0]), cell_m)


@pytest.mark.parametrize("bearing_deg", [0, 37, 90, 153.4, 200, 315])
def test_a_plane_leads_straight_down(bearing_deg: float) -> None:
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    path = downhill_path(surface(lambda x, y: 100 - 0.1 * (east * x + north * y)), (3.0, -2.0), longest_m=200)
    x, y = path.points[-1]
    assert path.end == "length"
    assert path.length_m == pytest.approx(200, abs=1e-9)
    assert (x, y) == pytest.approx((3 + 200 * east, -2 + 200 * north), abs=1e-6)  # exact but for rounding


def test_a_round_bowl_leads_to_its_middle_and_ends_there() -> None:
    path = downhill_path(surface(lambda x, y: (x**2 + y**2) / 1000), (150.0, 80.0), longest_m=1000)
    assert path.end == "hollow"
    assert math.hypot(*path.points[-1]) < 5  # the middle to within a cell
    # Straight in: every point on the line from the start to the middle.
    assert max(abs(150 * y - 80 * x) / 170 for x, y in path.points) < 1e-6


def test_a_trough_bends_as_the_equation_says() -> None:
    # z = x²/2a + y²/2b: dx/dt = −x/a, dy/dt = −y/b, so y = y0 (x/x0)^(a/b). Midpoint steps of half a cell on gradients
    # that are exact for quadratics: within a tenth of a cell.
    a, b, x0, y0 = 2000.0, 1000.0, 200.0, 200.0
    path = downhill_path(surface(lambda x, y: x**2 / (2 * a) + y**2 / (2 * b)), (x0, y0), longest_m=200)
    assert len(path.points) > 50
    for x, y in path.points:
        assert y == pytest.approx(y0 * (x / x0) ** (a / b), abs=0.5)


def test_every_step_goes_down_on_ground_without_hollows() -> None:
    ground = surface(lambda x, y: 50 + 0.05 * x + 1.5 * np.sin(x / 40) * np.cos(y / 30))
    path = downhill_path(ground, (200.0, 30.0), longest_m=2000)
    heights = [ground.height_m(*point) for point in path.points]
    assert len(heights) > 10
    assert all(after < before for before, after in pairwise(heights))


def test_a_shallow_hollow_is_filled_and_passed_over_but_not_a_deep_one() -> None:
    def dented(depth_m: float) -> Surface:
        return surface(lambda x, y: 100 - 0.05 * y - depth_m * np.exp(-(x**2 + (y - 50) ** 2) / 15**2))

    passed = downhill_path(dented(2), (0.0, -100.0), longest_m=300)
    assert passed.end == "length"
    assert passed.points[-1][1] > 100
    stopped = downhill_path(dented(6), (0.0, -100.0), longest_m=300)
    assert stopped.end == "hollow"
    assert math.dist(stopped.points[-1], (0, 50)) < 10


def test_the_edge_of_the_known_heights_ends_it() -> None:
    path = downhill_path(surface(lambda x, y: -0.1 * x), (0.0, 0.0), longest_m=5000)
    assert path.end == "edge"
    assert path.points[-1][0] > 280  # the grid ends at 300 m, its gradients one cell before
    holed = surface(lambda x, y: np.where(x > 100, np.nan, -0.1 * x))
    assert downhill_path(holed, (0.0, 0.0), longest_m=5000).end == "edge"


def test_level_ground_leads_nowhere() -> None:
    path = downhill_path(surface(lambda x, y: 0 * x + 7), (0.0, 0.0), longest_m=500)
    assert path.end == "hollow"
    assert path.points == ((0.0, 0.0),)


def test_a_narrow_valley_is_followed_along_its_floor() -> None:
    # A V with sides of 30% whose floor, the line x = 0.3 y, falls northward by 1%: the way runs down the side and
    # then along the floor, never far from it.
    lean = math.hypot(1, 0.3)
    valley = surface(lambda x, y: 50 + 0.3 * np.abs(x - 0.3 * y) / lean - 0.01 * y)
    path = downhill_path(valley, (60.0, -200.0), longest_m=450)
    assert path.end == "length"
    off_floor_m = [abs(x - 0.3 * y) / lean for x, y in path.points]
    reached = next(i for i, off_m in enumerate(off_floor_m) if off_m < 5)
    assert max(off_floor_m[reached:]) <= 7.5  # a cell and a half: it may go from cell middle to cell middle
    assert path.points[-1][1] > 80
