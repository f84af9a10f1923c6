"""From a path to a ring, by paths of a few corners whose crossings and loops are known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from habmap.land import rings
from habmap.land.rings import closable_m, crossings, end_gap, ring_of, without_small_loops
from habmap.land.tracks import Path


def path(places: list[tuple[float, float]]) -> Path:
    xy = np.array(places, dtype=np.float64)
    return Path("walk", xy, np.arange(len(xy), dtype=np.float64), True)


def test_a_crossing_is_where_the_two_lines_meet() -> None:
    # y = x/2 and y = 4 − x meet at (8/3, 4/3); all moved by (10, 20)
    (found,) = crossings(np.array([(10.0, 20), (14, 22), (15, 19), (11, 23)]))
    assert found[:2] == (0, 2)
    assert found[2] == pytest.approx((10 + 8 / 3, 20 + 4 / 3))


def test_an_overrun_is_left_out_at_whichever_end_it_lies() -> None:
    # round a square of 100 m in steps of 10, from (0, 0) to (0, 10), and on to (20, 5): nearest at (0, 10), 10 m off
    square = [(float(x), 0.0) for x in range(0, 100, 10)] + [(100.0, float(y)) for y in range(0, 100, 10)]
    square += [(float(x), 100.0) for x in range(100, 0, -10)] + [(0.0, float(y)) for y in range(100, 0, -10)]
    over = [*square, (2.0, 2.0), (12.0, 22.0), (15.0, 35.0)]
    gap_m, stay = end_gap(path(over), sigma_m=1.0)
    assert (gap_m, stay) == (pytest.approx(8**0.5), slice(0, len(square) + 1))
    gap_m, stay = end_gap(path(over[::-1]), sigma_m=1.0)
    assert (gap_m, stay) == (pytest.approx(8**0.5), slice(2, len(over)))
    # an end within three sigmas is the end
    assert end_gap(path(square), sigma_m=4.0) == (10.0, slice(0, len(square)))


def test_only_the_last_seventh_of_the_way_can_be_an_overrun() -> None:
    # 99 m: back within 1 m of the start at 59 m, and then off for 40 m
    off = path([(0, 0), (10, 0), (20, 0), (20, 10), (10, 10), (0, 10), (0, 1), (0, 41)])
    assert end_gap(off, sigma_m=1.0) == (41.0, slice(0, 8))


def test_an_open_end_of_one_spacing_and_two_errors_is_closed() -> None:
    # steps of 10 m, nine in ten no longer; 4·√2 = 5.657 sigmas
    assert closable_m(path([(float(10 * i), 0.0) for i in range(20)]), sigma_m=3.0, close_gap_m=5.0) == pytest.approx(
        10 + 3 * 5.657, abs=1e-3
    )
    assert closable_m(path([(0.0, 0.0)]), sigma_m=3.0, close_gap_m=5.0) == 5.0
    assert closable_m(path([(0.0, 0.0), (1.0, 0.0)]), sigma_m=0.0, close_gap_m=5.0) == 5.0


def test_of_loops_within_one_another_the_shortest_is_cut_off_and_nothing_is_counted_twice() -> None:
    # A curl of three crossings by the way: from (−1, 0) round and back there are 10 m, and 12 m for the two others,
    # which are gone with it.
    curl = [(-100.0, 0.0), (2, 0), (2, 2), (-1, 2), (-1, -1), (1, -1), (1, 1), (100, 1), (100, 90), (-100, 90)]
    xy, times, cut = without_small_loops(np.array(curl), np.arange(10.0), small_m=2.0)
    assert cut == 1
    assert xy.tolist() == [[-100, 0], [-1, 0], [-1, -1], [1, -1], [1, 1], [100, 1], [100, 90], [-100, 90]]
    assert times.tolist() == [0, 0.5, 4, 5, 6, 7, 8, 9]  # a crossing lies between its fixes


@pytest.mark.parametrize("first", range(6))
def test_a_small_loop_is_cut_off_wherever_the_way_begins(first: int) -> None:
    # east along the north side, round a square of 2 m at its corner (2 · 4 / 8 = 1 m), and on south
    way = np.roll([(-100.0, 0.0), (2, 0), (2, 2), (0, 2), (0, -90), (-100, -90)], -first, axis=0)
    xy, _times, cut = without_small_loops(way, np.arange(6.0), small_m=1.0)
    assert cut == 1
    assert sorted(xy.tolist()) == [[-100, -90], [-100, 0], [0, -90], [0, 0]]
    assert without_small_loops(way, np.arange(6.0), small_m=0.99)[2] == 0


def test_a_loop_is_small_by_twice_its_area_over_its_edge() -> None:
    # a square of 4 m: 2 · 16 / 16 = 2 m, as for a circle of 2 m radius
    square = np.array([(0.0, 0), (4, 0), (4, 4), (0, 4)])
    assert rings._is_small(square, 2.0)
    assert not rings._is_small(square, 1.99)
    # two such squares that touch, walked as an eight: 2 · 32 / 32
    eight = np.array([(0.0, 0), (4, 0), (4, 4), (8, 4), (8, 8), (4, 8), (4, 4), (0, 4)])
    assert rings._is_small(eight, 2.0) and not rings._is_small(eight, 1.99)
    assert rings._is_small(square[:2], 0.0)


def test_a_spur_walked_back_over_the_same_places_is_one() -> None:
    there_and_back = np.array(
        [(0.0, 0), (10, 0), (10, 5), (10, 9), (10, 5), (10, 0), (20, 0), (20, 3), (20, 0), (30, 0)]
    )
    xy, times, spurs = rings._without_retraced(there_and_back, np.arange(10.0))
    assert spurs == 2
    assert xy.tolist() == [[0, 0], [10, 0], [20, 0], [30, 0]]
    assert times.tolist() == [0, 1, 6, 9]


@pytest.mark.parametrize("turn", [1, -1])
def test_how_often_a_path_goes_round_a_point_level_with_its_corners(turn: int) -> None:
    diamond = np.array([(0.0, -1), (1, 0), (0, 1), (-1, 0)])[::turn]
    assert rings._winding((0.0, 0.0), diamond) == turn
    assert rings._winding((0.0, 0.0), np.vstack([diamond, diamond])) == 2 * turn
    assert rings._winding((2.0, 0.0), diamond) == rings._winding((-2.0, 0.0), diamond) == 0


def test_a_ring_s_figures() -> None:
    # clockwise, closed on its first fix; a small square of 2 m hangs at a corner and is no lobe
    around = [(0.0, 0.0), (0, 60), (80, 60), (80, 0), (82, 0), (82, -2), (80, -2), (80, 0), (0, 0)]
    found = ring_of(path(around), sigma_m=1.0, close_gap_m=5.0)
    assert (found.polygon.area, found.gap_m, found.trimmed, found.laps) == (pytest.approx(4800), 0.0, 0, 1)
    assert found.polygon.exterior.is_ccw
    assert found.loops == 1
    times = {tuple(place): time_s for place, time_s in zip(found.xy.tolist(), found.time_s.tolist(), strict=True)}
    assert (times[0.0, 60.0], times[80.0, 60.0], times[0.0, 0.0]) == (1, 2, 0)
