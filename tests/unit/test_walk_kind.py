"""Which signs make a walk a working track: each limit by figures on either side of it, worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely.affinity
from shapely import LineString, MultiPolygon, Polygon, box

from habmap.land import walk_kind
from habmap.land.tracks import Path
from habmap.land.walk_kind import kind_of_walk
from habmap.land.walk_parts import spikes


def path(places: list[tuple[float, float]]) -> Path:
    xy = np.array(places, dtype=np.float64)
    return Path("walk", xy, np.arange(len(xy), dtype=np.float64), True)


SQUARE = [(0.0, 0.0), (100, 0), (100, 100), (0, 100)]
OPEN_M = 100.0  # what SQUARE leaves open, as it has fewer than eight places


def told(
    monkeypatch: pytest.MonkeyPatch,
    *,
    inside: float,
    one_way: float,
    crossed: int,
    widest_m: float,
    places: object = SQUARE,
) -> str:
    monkeypatch.setattr(walk_kind, "_inside_frac", lambda line, *, sigma_m: inside)
    monkeypatch.setattr(walk_kind, "_one_way_frac", lambda line, *, sigma_m: one_way)
    monkeypatch.setattr(walk_kind, "crossings", lambda ring: [()] * crossed)
    monkeypatch.setattr(walk_kind, "closable_m", lambda path, *, sigma_m, close_gap_m: widest_m)
    return kind_of_walk(path(places), sigma_m=0.1, close_gap_m=0.0).kind  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("inside", "one_way", "crossed", "widest_m", "is_work"),
    [
        # one sign alone is not enough
        (0.9, 1.0, 0, OPEN_M, False), (0.0, 0.0, 0, OPEN_M, False), (0.0, 1.0, 9, OPEN_M, False),
        (0.0, 1.0, 0, 99, False),
        # two are: inside its own line and open, to and fro, or crossing
        (0.4, 1.0, 0, 99, True), (0.4, 0.34, 0, OPEN_M, True), (0.4, 1.0, 3, OPEN_M, True),
        (0.39, 1.0, 0, 99, False), (0.39, 0.34, 0, OPEN_M, False), (0.39, 1.0, 3, OPEN_M, False),
        # open, and to and fro or crossing
        (0.0, 0.34, 0, 99, True), (0.0, 1.0, 3, 99, True), (0.0, 0.35, 0, 99, False), (0.0, 1.0, 2, 99, False),
        # crossing to and fro
        (0.0, 0.34, 3, OPEN_M, True), (0.0, 0.35, 3, OPEN_M, False), (0.0, 0.34, 2, OPEN_M, False),
    ],
)  # fmt: skip
def test_signs_come_in_pairs(
    monkeypatch: pytest.MonkeyPatch, inside: float, one_way: float, crossed: int, widest_m: float, is_work: bool
) -> None:
    kind = told(monkeypatch, inside=inside, one_way=one_way, crossed=crossed, widest_m=widest_m)
    assert (kind == "working track") is is_work


@pytest.mark.parametrize(("length_m", "is_work"), [(300.0, True), (293.0, False)])
def test_an_open_way_thirty_times_as_long_as_broad_goes_round_nothing(
    monkeypatch: pytest.MonkeyPatch, length_m: float, is_work: bool
) -> None:
    # 4π · 30 / 62² is 0.098, 4π · 29.3 / 60.6² is 0.1003
    strip = [(0.0, 0.0), (length_m, 0), (length_m, 10), (0, 10)]
    assert (told(monkeypatch, inside=0, one_way=1, crossed=0, widest_m=9, places=strip) == "working track") is is_work


def test_a_walk_s_signs_are_told() -> None:
    # a side of the square is open; a circle would have 1
    signs = kind_of_walk(path(SQUARE), sigma_m=0.1, close_gap_m=0.0)
    assert (signs.gap_m, signs.crossings, signs.one_way_frac) == (100, 0, 1)
    assert signs.roundness_frac == pytest.approx(math.pi / 4)
    star = [(math.cos(a), math.sin(a)) for a in (k * 4 * math.pi / 5 for k in range(5))]
    assert kind_of_walk(path([(100 * x, 100 * y) for x, y in star]), sigma_m=0.1, close_gap_m=0).crossings == 5


@pytest.mark.parametrize(
    ("dent_m", "sigma_m", "expected"),
    [
        # bends narrower than 5% of the breadth of 100 m, or than two sigmas, do not count; else one turns by
        # 2·atan(h/50) the other way, and the corner after it by half as much more
        (4.98, 0.1, 1.0), (5.02, 0.1, None), (5.02, 2.6, 1.0), (5.3, 2.6, None),
    ],
)  # fmt: skip
def test_how_much_a_way_turns_one_way(dent_m: float, sigma_m: float, expected: float | None) -> None:
    line = LineString([(0, 0), (50, dent_m), (100, 0), (100, 100), (0, 100)])
    dent_deg = math.degrees(math.atan(dent_m / 50))
    by_hand = (180 - dent_deg) / (180 + 3 * dent_deg) if expected is None else expected
    assert walk_kind._one_way_frac(line, sigma_m=sigma_m) == pytest.approx(by_hand)


def test_a_bend_too_small_to_count_is_left_out_though_the_way_comes_into_it() -> None:
    """A dent of 4 m about a breadth of some 98 m, and the end of the way within it: left by a quarter all along."""
    line = LineString([(0, 0), (50, 4), (100, 0), (100, 50), (-20, 50), (-20, -30), (50, -30), (50, 2)])
    assert walk_kind._one_way_frac(line, sigma_m=0.1) == pytest.approx(1)


def test_a_way_to_and_fro_turns_as_much_left_as_right() -> None:
    lanes = LineString([(0, 0), (100, 0), (100, 50), (0, 50), (0, 100), (100, 100)])
    assert walk_kind._one_way_frac(lanes, sigma_m=1.0) == pytest.approx(0)
    spiral = LineString([(0, 0), (100, 0), (100, 100), (0, 100), (0, 50), (50, 50)])
    assert walk_kind._one_way_frac(spiral, sigma_m=1.0) == pytest.approx(1)
    assert walk_kind._one_way_frac(LineString([(0, 0), (100, 0), (0, 50)]), sigma_m=1.0) == 1
    # right all the way round, past west, where bearings jump
    assert walk_kind._one_way_frac(LineString([(0, 0), (-100, 0), (-100, 100), (0, 100), (0, 10)]), sigma_m=1.0) == 1
    past_west = LineString([(0, 0), (100, -100), (0, -200), (-100, -100), (-20, -20)])
    assert walk_kind._one_way_frac(past_west, sigma_m=1.0) == pytest.approx(1)
    # a Z: as much to the left as to the right
    assert walk_kind._one_way_frac(LineString([(0, 0), (100, 0), (0, 50), (100, 50)]), sigma_m=1.0) == pytest.approx(0)


def test_how_much_of_a_way_lies_inside_its_own_line() -> None:
    assert walk_kind._inside_frac(LineString([*SQUARE, SQUARE[0]]), sigma_m=0.1) == 0
    # round a square of 100 m and once across its middle: lanes of 15 m close, so the edge is at the line; of the way
    # across what is farther than 7.5 m from the edge counts: 85 of 500 m
    across = LineString([(0, 50), (0, 0), (100, 0), (100, 100), (0, 100), (0, 50), (100, 50)])
    assert walk_kind._inside_frac(across, sigma_m=0.1) == pytest.approx(85 / 500, abs=0.004)
    # with an error of 10 m what is closer than 12.2 m does not count
    assert walk_kind._inside_frac(across, sigma_m=10) == pytest.approx(75.5 / 500, abs=0.004)


@pytest.mark.parametrize(("apart_m", "is_inside"), [(17.85, True), (18.15, False)])
def test_lanes_close_up_to_fifteen_hundredths_of_the_breadth_to_either_side(apart_m: float, is_inside: bool) -> None:
    """Three lanes of 100 m, d apart: their breadth is √(200 d), and 0.15 of it reaches d/2 where d is 18 m."""
    lanes = LineString([(0, 0), (100, 0), (100, apart_m), (0, apart_m), (0, 2 * apart_m), (100, 2 * apart_m)])
    # closed, the lane in the middle lies inside, but for its ends: of 336 m some 80 m
    inside = walk_kind._inside_frac(lanes, sigma_m=0.1)
    assert (inside > 0.2) if is_inside else (inside < 0.01)


def test_the_smallest_walks_have_signs() -> None:
    # from place to place and no farther: no ground
    two = kind_of_walk(path([(0.0, 0.0), (50.0, 0.0)]), sigma_m=0.1, close_gap_m=0.0)
    assert (two.gap_m, two.roundness_frac, two.one_way_frac, two.crossings, two.inside_frac) == (50, 0, 1, 0, 0)
    # a triangle of sides 3, 4 and 5: 4π · 6 / 12²
    three = kind_of_walk(path([(0.0, 0.0), (40.0, 0.0), (40.0, 30.0)]), sigma_m=0.1, close_gap_m=0.0)
    assert (three.crossings, three.roundness_frac) == (0, pytest.approx(math.pi / 6))
    bow = kind_of_walk(path([(0.0, 0.0), (40.0, 30.0), (40.0, 0.0), (0.0, 30.0)]), sigma_m=0.1, close_gap_m=0.0)
    assert bow.crossings == 1


def test_a_line_is_smoothed_by_two_sigmas_and_an_overrun_left_out() -> None:
    # bends of 1.9 m or 2.1 m about a chord, sigma 1 m: a square of 100 m has 4 corners, and one more
    for off_m, area_m2 in ((1.9, 10_000), (2.1, 10_000 + 50 * 2.1)):
        dented = path([(0.0, 0.0), (50.0, -off_m), (100, 0), (100, 100), (0, 100)])
        signs = kind_of_walk(dented, sigma_m=1.0, close_gap_m=0.0)
        around_m = 400 if off_m < 2 else 300 + 2 * math.hypot(50, off_m)
        assert signs.roundness_frac == pytest.approx(4 * math.pi * area_m2 / around_m**2, rel=1e-9)


# --- spikes of an outline -----------------------------------------------------------------------------------


def spiked(length_m: float, breadth_m: float) -> MultiPolygon:
    return MultiPolygon([Polygon(box(0, 0, 100, 100).union(box(99, 50, 100 + length_m, 50 + breadth_m)).exterior)])


@pytest.mark.parametrize(
    ("length_m", "breadth_m", "is_told"),
    [
        # sigma 1 m; a tenth of a meter of it counts with the ground. Longer than ten breadths …
        (20.0, 2.0, True), (19.8, 2.0, False),
        # … and than 8 m …
        (8.15, 0.5, True), (7.9, 0.5, False),
        # … and narrower than 4 m
        (60.0, 3.98, True), (60.0, 4.02, False),
    ],
)  # fmt: skip
def test_what_sticks_out_is_a_spike(length_m: float, breadth_m: float, is_told: bool) -> None:
    found = spikes(spiked(length_m, breadth_m), sigma_m=1.0)
    assert len(found) == is_told == len(spikes(shapely.affinity.scale(spiked(length_m, breadth_m), 3, 3), sigma_m=3.0))
    if found:
        assert found[0].length_m == pytest.approx(length_m - 0.1, abs=0.4)  # the wider ground bulges into it
        assert found[0].breadth_m == pytest.approx(breadth_m, rel=0.03)
        assert found[0].at == (pytest.approx(100 + length_m / 2, abs=1), pytest.approx(50 + breadth_m / 2, abs=1))


def test_a_hair_of_a_spike_begins_a_twentieth_of_its_limit_off_the_ground() -> None:
    (hair,) = spikes(spiked(30.0, 0.1), sigma_m=1.0)  # narrower than 4 m: 2 m to either side, and 0.1 m of it
    assert hair.length_m == pytest.approx(29.9, abs=0.002)
    sloped = shapely.affinity.rotate(spiked(30.0, 0.1), 30, origin=(0, 0))
    (turned,) = spikes(sloped, sigma_m=1.0)
    assert turned.length_m == pytest.approx(29.9, abs=0.002)


def test_ground_that_is_all_narrow_has_no_spikes_nor_has_any_without_an_error() -> None:
    assert spikes(MultiPolygon([box(0, 0, 100, 3.9)]), sigma_m=1.0) == []
    assert spikes(spiked(60, 1), sigma_m=0.0) == []
