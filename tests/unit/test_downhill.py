"""Steepest descent against surfaces whose way down is known in closed form."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from habmap.land.downhill import Surface, downhill_path, outlets, sample, sample_many


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


def test_between_cell_middles_heights_go_straight() -> None:
    tilted = np.add.outer(3.0 * np.arange(4), 5.0 * np.arange(5))  # bilinear is exact on a plane
    places = [(2.25, 3.5), (0.0, 0.0), (3.0, 4.0), (1.0, 0.75), (2.9, 0.1), (2.999, 3.999)]
    hand = [3 * row + 5 * col for row, col in places]
    assert [sample(tilted, row, col) for row, col in places] == pytest.approx(hand)
    row, col = np.array(places).T
    assert sample_many(tilted, row, col) == pytest.approx(hand)
    # a twisted cell: 0, 0 / 0, 8 has 8 · ¼ · ½ at a quarter up and half across
    twisted = np.array([[0.0, 0], [0, 8]])
    assert sample(twisted, 0.25, 0.5) == sample_many(twisted, np.array([0.25]), np.array([0.5]))[0] == 1.0
    outside = [(-0.01, 1.0), (3.01, 1.0), (1.0, -0.01), (1.0, 4.01)]
    assert np.isnan([sample(tilted, row, col) for row, col in outside]).all()
    assert np.isnan(sample_many(tilted, *np.array(outside).T)).all()
    one_row = np.array([[1.0, 2, 4]])
    assert np.isnan(sample_many(one_row, np.array([9.0, 0.0]), np.array([0.0, 9.0]))).all()
    assert sample(one_row, 0, 2) == sample_many(one_row, np.array([0.0]), np.array([2.0]))[0] == 4.0
    assert sample(one_row, 0, 1.5) == sample_many(one_row, np.array([0.0]), np.array([1.5]))[0] == 3.0
    tilted[2, 2] = np.nan
    assert sample(tilted, 1, 1.5) == 10.5  # the missing one has no weight
    assert math.isnan(sample(tilted, 1.1, 1.5))
    assert np.isnan(sample_many(tilted, np.array([1.0]), np.array([1.5])))[0]


def test_steps_are_half_a_cell_and_the_last_one_ends_where_it_should() -> None:
    path = downhill_path(surface(lambda x, y: -0.1 * x), (0.0, 0.0), longest_m=21)
    assert [x for x, _ in path.points] == pytest.approx([0, 2.5, 5, 7.5, 10, 12.5, 15, 17.5, 20, 21])
    assert (path.end, path.length_m) == ("length", pytest.approx(21))
    # what is left is a step from a millionth of half a cell on
    for rest_m, steps in ((2.49e-6, 8), (2.51e-6, 9)):
        path = downhill_path(surface(lambda x, y: -0.1 * x), (0.0, 0.0), longest_m=20 + rest_m)
        assert len(path.points) == steps + 1


@pytest.mark.parametrize(("rise", "second"), [(0.995e-6, (0.0, 0.0)), (1.005e-6, (3.5, 0.0))])
def test_ground_leads_on_from_a_millimeter_in_a_kilometer(rise: float, second: tuple[float, float]) -> None:
    """Flatter ground is looked at as a hollow, from cell to cell."""
    assert downhill_path(surface(lambda x, y: -rise * x), (1.0, 0.0), longest_m=20).points[1] == pytest.approx(second)
    fine = downhill_path(surface(lambda x, y: -5e-6 * x, cell_m=0.5), (0.1, 0.0), longest_m=2)
    assert fine.points[1] == pytest.approx((0.35, 0))


def channel(depth_m: float) -> Surface:
    """Make a pit at (50, 50) in a channel between walls: level for 20 m north of it, then far down."""
    heights = np.full((11, 11), 20.0)
    heights[5:, 5] = [10 - depth_m, 10, 10, 0, 0, 0]
    return Surface(heights, 0.0, 0.0, 10.0)


def test_a_pit_of_two_meters_is_left_over_its_rim_and_a_hair_more_is_not() -> None:
    passed = downhill_path(channel(2.0), (50.0, 50.0), longest_m=25)
    assert list(dict.fromkeys(passed.points)) == [(50, 50), (50, 60), (50, 70), (50, 80)]
    assert passed.end == "length"
    assert passed.length_m == 30
    stopped = downhill_path(channel(2.01), (50.0, 50.0), longest_m=25)
    assert (stopped.points, stopped.end) == (((50, 50),), "hollow")
    assert downhill_path(channel(2.01), (50.0, 50.0), longest_m=25, pool_depth_m=2.01).end == "length"


def test_ground_a_hair_below_a_pit_s_floor_is_beyond_it_in_small_cells_too() -> None:
    heights = np.full((11, 11), 20.0)
    heights[5:, 5] = [8, 10, 10, 8 - 1e-6, 8 - 3e-6, 8 - 5e-6]
    path = downhill_path(Surface(heights, 0.0, 0.0, 0.5), (2.5, 2.5), longest_m=1.2)
    assert path.points[-1] == (2.5, 4.0)


def test_a_pit_may_be_left_by_the_first_cell_of_all() -> None:
    heights = np.full((5, 5), 20.0)
    heights[[2, 1, 0], [2, 1, 0]] = [5, 6, 1]
    path = downhill_path(Surface(heights, 0.0, 0.0, 10.0), (20.0, 20.0), longest_m=500)
    assert (tuple(dict.fromkeys(path.points)), path.end) == (((20, 20), (10, 10), (0, 0)), "edge")


def test_a_pit_with_no_lower_ground_beyond_its_rim_leads_to_the_edge() -> None:
    heights = np.full((7, 7), 10.0)
    heights[3, 3] = 9.0
    path = downhill_path(Surface(heights, 0.0, 0.0, 10.0), (30.0, 30.0), longest_m=100)
    assert (path.points, path.end) == (((30, 30),), "edge")


def test_each_cell_s_way_out_is_over_the_lowest_rim() -> None:
    small = np.array([[9.0, 9, 9], [9, 5, 9], [9, 9, 3]])
    assert outlets(Surface(small, 0, 0, 1)).tolist() == [[-1] * 3, [-1, 8, -1], [-1] * 3]
    # from the 1 (cell 14) to the 6 and the 7; the 6 is flooded first and leads on to 4 and 5, and the 4 to 2 and 3
    heights = np.array([[9.0, 9, 9, 9, 9], [9, 2, 4, 6, 9], [9, 3, 5, 7, 1], [9, 9, 9, 9, 9]])
    assert outlets(Surface(heights, 0, 0, 1))[1:3, 1:4].tolist() == [[7, 8, 14], [7, 8, 14]]
    heights[0, 0] = np.nan
    assert outlets(Surface(heights, 0, 0, 1))[1, 1] == -1
    for shape in ((2, 9), (1, 9), (9, 2), (9, 1), (1, 1), (2, 2)):
        assert outlets(Surface(np.zeros(shape), 0, 0, 1)).tolist() == np.full(shape, -1).tolist()


@pytest.mark.parametrize("step", [(r, c) for r in (-1, 0, 1) for c in (-1, 0, 1) if (r, c) != (0, 0)])
def test_a_furrow_leads_out_whichever_way_it_runs(step: tuple[int, int]) -> None:
    """On a table 10 m high a furrow runs from the middle to the edge, one of eight ways, falling."""
    heights = np.full((9, 9), 10.0)
    cells = [(4 + step[0] * k, 4 + step[1] * k) for k in range(5)]
    for k, cell in enumerate(cells):
        heights[cell] = 5.0 - k
    ways_out = outlets(Surface(heights, 0.0, 0.0, 1.0))
    assert [ways_out[cell] for cell in cells] == [*(r * 9 + c for r, c in cells[1:]), -1]
    # where heights are not known beside a cell, the known ground ends there
    heights[4 - step[0], 4 - step[1]] = math.nan
    assert outlets(Surface(heights, 0.0, 0.0, 1.0))[4, 4] == -1


def test_many_places_are_read_as_each_by_itself_on_ground_that_is_no_plane() -> None:
    assert sample_many(np.array([[0.0, 0.0], [0.0, 4.0]]), np.array([0.5]), np.array([0.5])).tolist() == [1.0]
    random = np.random.default_rng(5)
    values = random.normal(size=(5, 6))
    row, col = random.uniform(-0.5, 4.5, 200), random.uniform(-0.5, 5.5, 200)
    each = [sample(values, r, c) for r, c in zip(row.tolist(), col.tolist(), strict=True)]
    assert sample_many(values, row, col) == pytest.approx(each, nan_ok=True)
    assert 20 < np.isnan(each).sum() < 100
