"""Walks made up here: what is dropped, which kind is seen, and what ground comes of it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from shapely import Polygon
from walk_makers import GRID, MORNING_S, SIDE_M, SQUARE, errors, lanes, segment, walk

from habmap.errors import InputError
from habmap.land.swath import covered_ground
from habmap.land.track_error import FixError
from habmap.land.tracks import JUMP, OUT_OF_ORDER, OVERRUN, PAUSE, REPEAT, STRAY, Segment
from habmap.land.walked import WalkedGround, walked_ground
from habmap.measures import M_PER_FT, acres


def ground(*segments: Segment, **options: Any) -> WalkedGround:
    options = {"error": FixError(3, 60), "close_gap_m": 50 * M_PER_FT, **options}
    return walked_ground(segments, grid=GRID, **options)


def test_a_clean_square_is_ten_acres() -> None:
    walked = ground(segment(*walk(SQUARE)))
    assert walked.kind == "edge walk"
    # the corner fixes are not all hit at one fix every 5 m: each misses a triangle of at most 5 × 5 / 2 m²
    assert acres(walked.area_m2) == pytest.approx(10, abs=4 * 12.5 / 4046.86)
    assert walked.perimeter_m == pytest.approx(4 * SIDE_M, abs=10)
    assert not walked.dropped
    assert walked.started_s == MORNING_S
    assert any("own error only" in note for note in walked.notes)


@pytest.mark.parametrize(
    "corners",
    [
        [(0, 0), (200, 0), (200, 60), (80, 60), (80, 200), (0, 200)],
        [(0, 0), (600, 0), (600, 25), (0, 25)],
        [(0, 0), (200, 0), (200, 200), (140, 200), (140, 60), (60, 60), (60, 200), (0, 200)],
        [(0, 0), (30, 0), (30, 30), (0, 30)],
    ],
    ids=["L", "strip", "U", "small"],
)
@pytest.mark.parametrize("correlation_s", [0.0, 60.0])
def test_edge_walks_of_many_shapes_are_seen_and_right_within_their_error(
    corners: list[tuple[float, float]], correlation_s: float
) -> None:
    xy, times = walk(corners)
    rng = np.random.default_rng(11)
    truth_m2 = Polygon(corners).area
    misses = []
    for noise in errors(times, sigma_m=3, correlation_s=correlation_s, rng=rng, walks=12):
        walked = ground(segment(xy + noise, times), error=FixError(3, correlation_s))
        assert walked.kind == "edge walk"
        assert walked.ground.is_valid
        misses.append((walked.area_m2 - truth_m2) / walked.area_sd_m2)
    # Twelve standardized misses: none beyond 4, their root mean square within the 99.9% range of chi-square(12)/12
    # widened for the cut corners (0.3 to 2).
    assert max(map(abs, misses)) < 4
    assert 0.3 < math.sqrt(np.mean(np.square(misses))) < 2


def test_fixes_out_of_time_order_cost_only_themselves() -> None:
    xy, times = walk(SQUARE)
    times[50] += 3600  # one wrong clock reading, far ahead
    times[90] = times[20]
    walked = ground(segment(xy, times))
    assert walked.dropped == {OUT_OF_ORDER: 2}
    assert acres(walked.area_m2) == pytest.approx(10, abs=0.02)


def test_a_reversed_clock_is_refused() -> None:
    xy, times = walk(SQUARE)
    with pytest.raises(InputError, match="out of time order"):
        ground(segment(xy, times[::-1]))


def test_repeats_are_dropped() -> None:
    xy, times = walk(SQUARE)
    walked = ground(segment(np.repeat(xy, 3, axis=0), np.repeat(times, 3)))
    assert walked.dropped == {REPEAT: 2 * len(xy)}


def test_spikes_are_dropped_and_a_lasting_jump_is_told() -> None:
    xy, times = walk(SQUARE)
    spiked = xy.copy()
    spiked[40] += (300, 0)
    spiked[80:82] += (0, -250)
    walked = ground(segment(spiked, times))
    assert walked.dropped == {JUMP: 3}
    assert acres(walked.area_m2) == pytest.approx(10, abs=0.05)

    shifted = xy.copy()
    shifted[60:90] += (0, 70)
    told = ground(segment(shifted, times))
    assert not told.dropped
    assert sum("jumps" in note for note in told.notes) == 2


def test_a_cold_start_and_a_wild_end_are_dropped() -> None:
    xy, times = walk(SQUARE)
    wild = xy.copy()
    wild[:2] += (900, 900)
    wild[-1] -= (900, 900)
    assert ground(segment(wild, times)).dropped == {JUMP: 3}


def test_a_drive_is_not_a_walk() -> None:
    driven = segment(*walk([(x * 5, y * 5) for x, y in SQUARE], speed_mps=8, step_s=1))
    with pytest.raises(InputError, match="faster than travel by foot") as refused:
        ground(driven)
    assert "--travel vehicle" in str(refused.value) and "--from HH:MM --to HH:MM" in str(refused.value)
    assert acres(ground(driven, travel="vehicle").area_m2) == pytest.approx(250, abs=1)


@pytest.mark.parametrize(("sigma_m", "correlation_s"), [(1.5, 60.0), (3.0, 60.0), (3.0, 0.0)])
def test_a_pause_is_drawn_together(sigma_m: float, correlation_s: float) -> None:
    xy, times = walk(SQUARE)
    rng = np.random.default_rng(5)
    wander = errors(np.arange(200.0), sigma_m=sigma_m, correlation_s=correlation_s, rng=rng)[0]
    ball = xy[60] + wander - wander[0]
    fixes = np.concatenate([xy[:60], ball, xy[60:]])
    clock = np.concatenate([times[:60], times[60] + np.arange(200.0), times[60:] + 200])
    walked = ground(segment(fixes, clock))
    assert 150 <= walked.dropped[PAUSE] <= 215
    assert acres(walked.area_m2) == pytest.approx(10, abs=0.06)


def test_slow_walking_is_no_pause() -> None:
    # 0.3 m/s, a person who pushes through a thicket: every fix stays
    assert not ground(segment(*walk(SQUARE, speed_mps=0.3, step_s=5))).dropped


@pytest.mark.parametrize(("open_m", "is_taken"), [(14.0, True), (20.0, False), (120.0, False)])
def test_an_open_end_is_closed_up_to_the_limit_and_refused_beyond_in_feet(open_m: float, is_taken: bool) -> None:
    xy, times = walk(SQUARE, speed_mps=1, step_s=1)
    stay = np.hypot(*(xy - xy[0]).T) >= 0
    stay[xy[:, 0] == 0] = xy[xy[:, 0] == 0, 1] >= open_m
    stay[0] = True
    shown = segment(xy[stay], times[stay])
    if is_taken:
        assert ground(shown).closed_gap_m == pytest.approx(open_m, abs=1.01)
    else:
        with pytest.raises(InputError, match="ft are open") as refused:
            ground(shown)
        gap_ft = float(str(refused.value.value).split()[0])
        assert gap_ft == pytest.approx(open_m / M_PER_FT, abs=1.01 / M_PER_FT)


def test_walking_on_past_the_start_adds_no_ground() -> None:
    xy, times = walk([*SQUARE, SQUARE[0], (30.0, 2.0)], closed=False)
    walked = ground(segment(xy, times))
    assert 5 <= walked.dropped[OVERRUN] <= 7  # 30 m at a fix every 5 m
    assert walked.closed_gap_m < 5
    assert acres(walked.area_m2) == pytest.approx(10, abs=0.05)


@pytest.mark.parametrize("outward", [True, False])
def test_a_small_loop_dissolves(outward: bool) -> None:
    y = -4.0 if outward else 4.0
    curl = [(100.0, 0.0), (104.0, y), (100.0, 2 * y), (96.0, y), (100.5, -0.2 * y)]
    xy, times = walk([(0, 0), *curl, *SQUARE[1:]], speed_mps=0.8, step_s=1)
    walked = ground(segment(xy, times))
    assert walked.loops_dissolved >= 1
    assert acres(walked.area_m2) == pytest.approx(10, abs=0.02)


def test_a_figure_eight_is_refused_with_both_lobes() -> None:
    eight = segment(*walk([(0, 0), (100, 50), (200, 100), (200, 0), (0, 100)]))
    with pytest.raises(InputError, match=r"figure-eight: lobes of 1\.2\d and 1\.2\d acres"):  # 100 × 100 / 2 m² each
        ground(eight)


def test_two_laps_are_one_ground() -> None:
    xy, times = walk([*SQUARE, *SQUARE], speed_mps=1, step_s=2)
    noise = errors(times, sigma_m=2, correlation_s=60, rng=np.random.default_rng(8))[0]
    walked = ground(segment(xy + noise, times))
    assert acres(walked.area_m2) == pytest.approx(10, abs=0.7)
    assert any("more than once" in note for note in walked.notes)


def test_segments_join_in_the_order_of_their_times() -> None:
    xy, times = walk(SQUARE)
    first, second = segment(xy[:70], times[:70]), segment(xy[70:], times[70:])
    one, other = ground(first, second), ground(second, first)
    assert one.area_m2 == other.area_m2 == pytest.approx(ground(segment(xy, times)).area_m2, rel=1e-9)
    assert one.closed_gap_m == pytest.approx(5 + 1.25 * 4, abs=3)


def test_two_people_who_set_out_both_ways_walk_one_edge() -> None:
    xy, times = walk(SQUARE)
    half = len(xy) // 2
    left, right = segment(xy[:half], times[:half]), segment(xy[half:][::-1], times[: len(xy) - half])
    walked = ground(left, right)
    assert walked.kind == "edge walk"
    assert walked.area_m2 == pytest.approx(ground(segment(xy, times)).area_m2, rel=1e-9)
    # two receivers err apart: the one walk's error is of the same size, not none
    assert walked.area_sd_m2 == pytest.approx(ground(segment(xy, times)).area_sd_m2, rel=0.1)
    assert walked.ended_s is not None
    assert walked.ended_s < times[-1]


def test_segments_without_times_join_end_to_end() -> None:
    xy, times = walk(SQUARE)
    thirds = [segment(xy[100:]), segment(xy[:50]), segment(xy[50:100][::-1])]
    assert ground(*thirds).area_m2 == pytest.approx(ground(segment(xy, times)).area_m2, rel=1e-9)


def test_a_hole_in_the_reception_is_refused_in_feet() -> None:
    xy, times = walk(SQUARE)
    with pytest.raises(InputError, match="segments of the walk lie 115 ft apart"):  # 7 steps of 5 m = 114.8 ft
        ground(segment(xy[:70], times[:70]), segment(xy[76:], times[76:]))


def test_rings_apart_add_up_and_a_ring_inside_adds_nothing() -> None:
    xy, times = walk(SQUARE)
    apart = ground(segment(xy, times), segment(xy + np.array([500, 0]), times + 5000))
    assert acres(apart.area_m2) == pytest.approx(20, abs=0.05)
    inside = ground(segment(xy, times), segment(xy / 2 + 50, times + 5000))
    assert acres(inside.area_m2) == pytest.approx(10, abs=0.02)
    assert any("more than one ring" in note for note in inside.notes)


def test_a_short_stray_segment_beside_a_ring_is_left_out() -> None:
    xy, times = walk(SQUARE)
    stray = segment(np.array([(3.0, 3.0), (6.0, 1.0), (9.0, 4.0)]), times[-1] + 60 + np.array([0.0, 5, 10]))
    assert ground(segment(xy, times), stray).dropped == {STRAY: 3}


@pytest.mark.parametrize("count", [4, 6, 10, 20])
def test_a_working_track_is_refused_without_a_swath_and_covers_with_one(count: int) -> None:
    xy, times = walk(lanes(count), closed=False)
    noise = errors(times, sigma_m=1, correlation_s=120, rng=np.random.default_rng(count))[0]
    track = segment(xy + noise, times)
    with pytest.raises(InputError, match="instead of going around") as refused:
        ground(track)
    assert "--swath-ft" in str(refused.value)
    covered = ground(track, swath_m=4.0)
    assert covered.kind == "working track"
    assert covered.area_sd_m2 > 0
    # lanes do not touch at 4 m: breadth times way, a few round ends and corners
    assert covered.area_m2 == pytest.approx(4.0 * (count + 1) * 200, rel=0.05)


def test_a_swath_on_an_edge_walk_is_told() -> None:
    walked = ground(segment(*walk(SQUARE)), swath_m=4.0)
    assert walked.kind == "edge walk"
    assert any("only the strip along the path" in note for note in walked.notes)
    assert walked.area_m2 == pytest.approx(4 * SIDE_M * 4, rel=0.02)


def test_holes_up_to_one_swath_square_close() -> None:
    # Two lanes of 10 m breadth, 12 m apart between their middles, tied at both ends: a slot of 2 m × 40 m = 80 m².
    loop = np.array([(0.0, 0.0), (50.0, 0.0), (50.0, 12.0), (0.0, 12.0), (0.0, 0.0)])
    closed, holes = covered_ground([loop], swath_m=10.0)
    assert holes == 1
    assert closed.area == pytest.approx(50 * 12 + 2 * 5 * (50 + 12) + math.pi * 25, rel=0.002)
    # 20 m apart the slot is 10 m × 40 m = 400 m² and stays open
    wide = loop * np.array([1, 20 / 12])
    left, none = covered_ground([wide], swath_m=10.0)
    assert none == 0
    assert left.area == pytest.approx(50 * 20 + 10 * (50 + 20) + math.pi * 25 - 400, rel=0.002)


def test_the_error_of_covered_ground_against_simulated_tracks() -> None:
    # 300 tracks with known errors: their standard deviation is known to 4%; 20% leaves room for the bends the
    # first-order model does not have.
    xy, times = walk([(0, 0), (150, 0), (150, 90), (0, 90)], closed=False, speed_mps=1, step_s=20)
    error = FixError(2, 60)
    sd_m2 = ground(segment(xy, times), swath_m=30.0, error=error).area_sd_m2
    drawn = errors(times, sigma_m=2, correlation_s=60, rng=np.random.default_rng(3), walks=300)
    areas_m2 = [covered_ground([xy + noise], swath_m=30.0)[0].area for noise in drawn]
    assert sd_m2 == pytest.approx(np.std(areas_m2), rel=0.2)


def test_a_walk_without_times_is_taken_and_says_what_it_assumed() -> None:
    xy, times = walk(SQUARE)
    walked = ground(segment(xy))
    assert walked.started_s is None
    assert walked.area_m2 == pytest.approx(ground(segment(xy, times)).area_m2, rel=1e-9)
    assert any("1 m/s was assumed" in note for note in walked.notes)
    spiked = xy.copy()
    spiked[30] += (4000, 0)
    assert ground(segment(spiked)).dropped == {JUMP: 1}
    alike = ground(segment(xy, np.full(len(xy), MORNING_S)))
    assert any("all alike" in note for note in alike.notes)


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ([(0, 0), (50, 0), (50, 50)], "too few usable fixes"),
        ([(0, 0)] * 30, "too few usable fixes"),
        ([(i, 0) for i in range(200)], "runs along a way"),
        ([(i, 0) for i in (*range(200), *range(199, -1, -1))], "encloses no ground"),
    ],
    ids=["three", "one place", "a line", "out and back"],
)
def test_what_makes_no_ground_is_refused(places: list[tuple[float, float]], words: str) -> None:
    xy = np.array(places, dtype=np.float64)
    with pytest.raises(InputError, match=words):
        ground(segment(xy, MORNING_S + np.arange(len(xy))))


def test_nothing_at_all_is_refused() -> None:
    with pytest.raises(InputError, match="no track"):
        ground()
