"""From a path to a ring, by paths of a few corners whose crossings and loops are known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from habmap.errors import InputError
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
    # and from the first fix on
    xy, times, spurs = rings._without_retraced(np.array([(0.0, 0), (9, 0), (0, 0), (0, 5), (5, 5)]), np.arange(5.0))
    assert (xy.tolist(), times.tolist(), spurs) == ([[0, 0], [0, 5], [5, 5]], [0, 3, 4], 1)


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


# --- where a walk ends, to a hundredth ---------------------------------------------------------------------------


@pytest.mark.parametrize(("end_m", "gap_m"), [(150, 0.0), (151, 1.0)])
def test_an_overrun_is_at_most_fifteen_hundredths_of_the_way(end_m: int, gap_m: float) -> None:
    """A kilometer: 300 m east with a fix each meter, round a block, and back to the fix of 150 m or the one after."""
    up_m = (1000 - 300 - (300 - end_m)) / 2
    way = [*((float(x), 0.0) for x in range(301)), (300.0, up_m), (float(end_m), up_m), (float(end_m), 0.0)]
    assert end_gap(path(way), sigma_m=1.0) == (gap_m, slice(150, 304))
    assert end_gap(path(way[::-1]), sigma_m=1.0) == (gap_m, slice(0, 154))


@pytest.mark.parametrize(("beside_m", "is_overrun"), [(17.2, True), (17.5, False)])
def test_an_overrun_comes_at_least_twice_as_near_as_the_ends_lie(beside_m: float, is_overrun: bool) -> None:
    # the second fix is 30 m on, the last one so far beside it: √(30² + d²) from the first, twice d where d is 30/√3
    way = [(0.0, 0.0), (0, 30), (300, 30), (300, -300), (0, -300), (-300, -300), (-300, 30), (-beside_m, 30)]
    direct_m = (30**2 + beside_m**2) ** 0.5
    gap_m = beside_m if is_overrun else direct_m
    assert end_gap(path(way), sigma_m=1.0) == (pytest.approx(gap_m), slice(1 if is_overrun else 0, 8))
    assert end_gap(path(way[::-1]), sigma_m=1.0) == (pytest.approx(gap_m), slice(0, 7 if is_overrun else 8))
    assert end_gap(path(way[:3] + way[4:]), sigma_m=1.0) == (pytest.approx(direct_m), slice(0, 7))  # too few fixes
    # ends within three sigmas are the ends
    assert end_gap(path(way), sigma_m=direct_m / 3 + 0.01) == (pytest.approx(direct_m), slice(0, 8))
    assert end_gap(path(way), sigma_m=direct_m / 3 - 0.01)[1].start == is_overrun


def test_of_two_overruns_alike_the_one_at_the_start_is_left_out() -> None:
    # the second fix is 20 m from the last, the last but one 20 m from the first: half of the 40 m between the ends
    way = [(0.0, 0.0), (0, 20), (400, 20), (400, 400), (400, 900), (0, 900), (-400, 900), (-400, 20), (-20, 0), (0, 40)]
    assert end_gap(path(way), sigma_m=1.0) == (20, slice(1, 10))


def test_the_spacing_of_fixes_is_what_nine_in_ten_steps_keep_to() -> None:
    way = [(float(x), 0.0) for x in np.cumsum(np.arange(101))]
    assert closable_m(path(way), sigma_m=0.0, close_gap_m=5.0) == pytest.approx(90.1)  # 1, 2, … 100 m: 1 + 0.9 · 99
    assert closable_m(path(way[:2]), sigma_m=0.0, close_gap_m=0.5) == 1.0


def refused(places: list[tuple[float, float]], *, sigma_m: float = 1.0, close_gap_m: float = 5.0) -> tuple[str, str]:
    with pytest.raises(InputError) as error:
        ring_of(path(places), sigma_m=sigma_m, close_gap_m=close_gap_m)
    return str(error.value).splitlines()[0], str(error.value.value)


def test_too_few_places_are_counted() -> None:
    assert refused([(0, 0)])[1] == "1"
    assert refused([(0, 0), (0, 0)])[1] == "1"
    assert refused([(0, 0), (40, 0), (0, 0)])[1] == "2"
    assert ring_of(path([(0, 0), (40, 0), (0, 40), (0, 0)]), sigma_m=1.0, close_gap_m=5.0).polygon.area == 800


@pytest.mark.parametrize(("breadth_m", "is_ground"), [(0.502, False), (0.504, True)])
def test_ground_is_half_a_sigma_broad(breadth_m: float, is_ground: bool) -> None:
    # 100 m long: twice its area over its outline is 100 b / (100 + b), half a sigma of 1 m where b is 0.5025 m
    strip = [(0.0, 0.0), (100, 0), (100, breadth_m), (0, breadth_m), (0, 0)]
    if is_ground:
        assert ring_of(path(strip), sigma_m=1.0, close_gap_m=5.0).polygon.area == pytest.approx(100 * breadth_m)
    else:
        # 50.2 m² are 0.0124 acres; 201 m are 659 ft
        words, value = refused(strip)
        assert "encloses no ground" in words and value == "0.012 acres along 659 ft"


def test_an_open_end_is_told_in_feet() -> None:
    # 60 m are 196.9 ft; 50 m, nine tenths of the steps, and 4·√2 sigmas of 1 m are 182.6 ft
    words, value = refused([(0, 0), (50, 0), (50, 50), (0, 50), (0, 60)])
    assert "197 ft are open" in words and value == "197 ft"
    with pytest.raises(InputError, match="up to 183 ft is closed"):
        ring_of(path([(0, 0), (50, 0), (50, 50), (0, 50), (0, 60)]), sigma_m=1.0, close_gap_m=5.0)


def test_a_lap_and_more_is_told_and_its_outer_edge_counts() -> None:
    once = [(0.0, 0.0), (80, 0), (80, 60), (0, 60)]
    wider = [(-3.0, -3.0), (83, -3), (83, 63), (-3, 63)]
    both = ring_of(path([*once, *wider, (0, 0)]), sigma_m=0.1, close_gap_m=5.0)
    assert both.laps == 2
    assert both.polygon.area == pytest.approx(86 * 66, abs=3 * 66)
    assert ring_of(path([*once[::-1], *wider[::-1], once[-1]]), sigma_m=0.1, close_gap_m=5.0).laps == 2
    assert ring_of(path([*once, (0, 0)]), sigma_m=0.1, close_gap_m=5.0).laps == 1


@pytest.mark.parametrize(("lobe_m", "is_taken"), [(2.44, True), (2.46, False)])
def test_a_lobe_smaller_than_the_error_is_dropped_and_a_larger_one_refused(lobe_m: float, is_taken: bool) -> None:
    """An eight, whose lesser square is as broad by twice its area over its outline as half its side: 2.448 sigmas."""
    side_m = 2 * lobe_m
    # along the diagonal of a square of 80 m, round the little one beyond its corner
    eight = [(0.0, 0.0), (80, 0), (80, 80), (80, 80 + side_m), (80 + side_m, 80 + side_m), (80 + side_m, 80)]
    eight += [(80.0, 80.0), (0.0, 80.0), (0.0, 0.0)]
    if is_taken:
        found = ring_of(path(eight), sigma_m=1.0, close_gap_m=5.0)
        assert (found.polygon.area, found.loops) == (pytest.approx(6400), 1)
    else:
        # 6,400 m² are 1.58 acres, 24.2 m² are 0.006
        words, value = refused(eight)
        assert "figure-eight: lobes of 1.58 and 0.01 acres" in words and value == "2 lobes"


def test_two_grounds_apart_on_one_way_are_told() -> None:
    # the way from the one to the other is walked back over the same places
    way = [(0.0, 0.0), (80, 0), (80, 80), (0, 80), (0, 0), (-50, 0), (-50, -80), (-130, -80), (-130, 0), (-50, 0)]
    words, value = refused([*way, (0, 0)])
    assert "goes round two grounds: lobes of 1.58 and 1.58 acres" in words and value == "2 lobes"


def test_crossings_of_neighbors_and_ends_do_not_count() -> None:
    square = np.array([(0.0, 0.0), (10, 0), (10, 10), (0, 10)])
    assert crossings(square) == crossings(square[:3]) == crossings(square[:2]) == []
    # the last segment over the second one, seven on: all six others meet their neighbors only
    (found,) = crossings(np.array([(0.0, 0.0), (10, 0), (10, 10), (20, 10), (20, 20), (5, 20), (5, -5)])[::-1])
    assert found[2].tolist() == [5, 0]
    # where one ends on another, and where both lie on one line: a point, and none
    touch = crossings(np.array([(0.0, 0.0), (10, 0), (10, 10), (5, 10), (5, 0), (4, 10), (0, 10)]))
    assert {(i, j, *point) for i, j, point in touch} == {(0, 3, 5.0, 0.0), (0, 4, 5.0, 0.0)}
    along = crossings(np.array([(0.0, 0.0), (10, 0), (10, 10), (8, 0), (2, 0), (0, 10)]))
    assert all(point[1] == 0 for _i, _j, point in along) and (0, 3) not in {(i, j) for i, j, _point in along}


def test_a_loop_over_the_first_fix_and_one_elsewhere_are_both_cut_off() -> None:
    around = [(-100.0, 0.0), (2, 0), (2, 2), (0, 2), (0, -90), (-98, -90), (-98, 2), (-100, 2)]
    for first in range(8):
        way = np.roll(around, -first, axis=0)
        xy, _times, cut = without_small_loops(way, np.arange(8.0), small_m=1.0)
        assert cut == 2
        assert sorted(xy.tolist()) == [[-98, -90], [-98, 0], [0, -90], [0, 0]]


def test_a_cut_off_loop_leaves_the_time_between_its_fixes() -> None:
    xy, times = rings._cut_off(
        np.array([(0.0, 0.0), (4, 0), (5, 1), (4, 2), (4, -9)]), np.array([0.0, 10, 20, 30, 50]),
        {1: (3, np.array([4.0, 0.0])), 4: (4, np.array([2.0, -4.5]))},
    )  # fmt: skip
    # the crossing lies on the fix before it, which stays once; the last segment has no next fix
    assert xy.tolist() == [[0, 0], [4, 0], [4, -9], [2, -4.5]]
    assert times.tolist() == [0, 10, 50, 50]


def test_places_on_one_line_make_no_ground() -> None:
    words, _value = refused([(0, 0), (100, 0), (60, 0), (30, 0), (2, 0)])
    assert "encloses no ground" in words


def test_ends_three_sigmas_apart_are_the_ends() -> None:
    # the last fix 9 m beside the second, and √(9² + 40²) = 41 m from the first
    way = [(0.0, 0.0), (0, 40), (400, 40), (400, -400), (0, -400), (-400, -400), (-400, 40), (-9, 40)]
    assert end_gap(path(way), sigma_m=41 / 3) == (41, slice(0, 8))
    assert end_gap(path(way), sigma_m=13.66) == (9, slice(1, 8))


def test_ground_within_arms_that_lap_over_each_other_is_of_the_one_ring() -> None:
    """A walk round a horseshoe whose ends lie over each other: what they close in lies in no lobe of its own."""
    way = [(-5.0, 60.0), (-5, 0), (100, 0), (100, 100), (0, 100), (0, 40), (20, 40), (20, 80), (80, 80), (80, 20)]
    around = np.array([*way, (15.0, 20.0), (15.0, 60.0)])
    for turned in (around, around[::-1]):
        polygon, small, laps = rings._ground(turned, where="w", small_m=1.0)
        assert (polygon.area, small, laps) == (100 * 100 + 5 * 60, 0, 1)


@pytest.mark.parametrize("turn", [1, -1])
def test_of_two_lobes_a_small_one_is_dropped_and_counted(turn: int) -> None:
    # squares of 80 m and of 6 m, which is 3 m broad by twice its area over its outline
    eight = np.array([(0.0, 0), (80, 0), (80, 80), (80, 86), (86, 86), (86, 80), (80, 80), (0, 80)])[::turn]
    polygon, small, laps = rings._ground(eight, where="w", small_m=3.0)
    assert (polygon.area, small, laps) == (6400, 1, 1)
    with pytest.raises(InputError, match=r"lobes of 1\.58 and 0\.01 acres"):
        rings._ground(eight, where="w", small_m=2.99)


def test_of_five_lobes_the_sizes_of_four_are_told() -> None:
    # a stair of squares of 80 m, corner to corner, up along their south and east and home along their north and west
    up = [place for k in range(5) for place in ((80.0 * k, 80.0 * k), (80.0 * (k + 1), 80.0 * k))]
    home = [place for k in range(4, 0, -1) for place in ((80.0 * k, 80.0 * (k + 1)), (80.0 * k, 80.0 * k))]
    with pytest.raises(InputError, match=r"figure-eight: lobes of 1\.58( and 1\.58){3} acres") as error:
        rings._ground(np.array([*up, (400.0, 400.0), *home, (0.0, 80.0)]), where="w", small_m=1.0)
    assert error.value.value == "5 lobes"


def test_a_small_loop_that_begins_on_the_step_after_another_is_cut_off_with_it() -> None:
    """The second is less than half of the way as walked, and more than half of what is left without the first."""
    first, second = [(4.0, 0.0), (4, 7), (3, 7), (3, -1)], [(9.0, -1.0), (9, 20), (8, 20), (8, -2)]
    way = np.array([(0.0, 0.0), *first, *second, (10, -2), (10, -6), (0, -6)])
    xy, _, dissolved = without_small_loops(way, np.arange(12.0), small_m=1.0)
    assert dissolved == 2
    assert xy.tolist() == [[0, 0], [3, 0], [3, -1], [8, -1], [8, -2], [10, -2], [10, -6], [0, -6]]
