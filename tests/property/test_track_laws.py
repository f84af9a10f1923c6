"""Laws of walked ground that must hold for any walk."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from walk_makers import GRID, Floats, errors, segment, walk

from habmap.errors import InputError
from habmap.land.acreage import tellable
from habmap.land.swath import covered_ground
from habmap.land.track_error import FixError, area_variance_m2_2
from habmap.land.tracks import Segment
from habmap.land.walked import WalkedGround, walked_ground

ERROR = FixError(3, 60)
LAW = settings(max_examples=40, deadline=None)


@st.composite
def edges(draw: st.DrawFn) -> tuple[Floats, Floats]:
    """A noisy walk around a star-shaped stand of 1 to 60 acres, fixes every 4 s."""
    count = draw(st.integers(5, 12))
    radii_m = draw(st.lists(st.floats(60, 220), min_size=count, max_size=count))
    angle = 2 * math.pi * np.arange(count) / count
    corners = np.column_stack([np.cos(angle), np.sin(angle)]) * np.array(radii_m)[:, None]
    xy, times = walk(corners.tolist())
    seed = draw(st.integers(0, 2**31))
    return xy + errors(times, sigma_m=1.5, correlation_s=60, rng=np.random.default_rng(seed))[0], times


def ground(*segments: Segment, swath_m: float | None = None) -> WalkedGround:
    return walked_ground(segments, grid=GRID, error=ERROR, close_gap_m=15.24, swath_m=swath_m)


@LAW
@given(edges())
def test_the_result_is_valid_and_every_fix_is_accounted_for(edge: tuple[Floats, Floats]) -> None:
    walked = ground(segment(*edge))
    assert walked.ground.is_valid
    assert not walked.ground.is_empty
    assert walked.area_m2 == walked.ground.area
    assert 0 < walked.area_sd_m2 < walked.area_m2
    assert walked.fixes == len(edge[0])
    assert all(count > 0 for count in walked.dropped.values())
    assert sum(walked.dropped.values()) <= walked.fixes - 4


@LAW
@given(edges(), st.floats(-5000, 5000), st.floats(-5000, 5000))
def test_a_shift_of_the_whole_walk_changes_no_acre(edge: tuple[Floats, Floats], east_m: float, north_m: float) -> None:
    xy, times = edge
    one, other = ground(segment(xy, times)), ground(segment(xy + np.array([east_m, north_m]), times))
    assert other.area_m2 == pytest.approx(one.area_m2, rel=1e-6)
    assert other.area_sd_m2 == pytest.approx(one.area_sd_m2, rel=1e-6)


@LAW
@given(edges())
def test_walking_the_other_way_round_gives_the_same_ground(edge: tuple[Floats, Floats]) -> None:
    xy, times = edge
    one = ground(segment(xy, times))
    other = ground(segment(xy[::-1], times[-1] + times[0] - times[::-1]))
    # small loops and an overrun may be cut at another fix: within the GPS error, far below one standard deviation
    assert other.area_m2 == pytest.approx(one.area_m2, abs=0.5 * one.area_sd_m2)


@LAW
@given(edges(), st.integers(10, 60))
def test_cutting_a_walk_into_segments_changes_nothing(edge: tuple[Floats, Floats], at: int) -> None:
    xy, times = edge
    # where it is cut beside its own other side (within the gap that is closed), nobody can tell which end goes on
    beside_m = np.hypot(*(xy - xy[at]).T)
    beside_m[max(at - 8, 0) : at + 9] = np.inf
    assume(beside_m.min() > 1.5 * 15.24)
    one = ground(segment(xy, times))
    parts = [segment(xy[:at], times[:at]), segment(xy[at:], times[at:])]
    assert ground(*parts[::-1]).area_m2 == pytest.approx(one.area_m2, abs=0.5 * one.area_sd_m2)


@LAW
@given(edges(), st.lists(st.integers(0, 10_000), min_size=1, max_size=30))
def test_repeated_fixes_change_nothing(edge: tuple[Floats, Floats], repeats: list[int]) -> None:
    xy, times = edge
    order = np.sort(np.concatenate([np.arange(len(xy)), np.array(repeats) % len(xy)]))
    one, other = ground(segment(xy, times)), ground(segment(xy[order], times[order]))
    assert other.area_m2 == pytest.approx(one.area_m2, rel=1e-9)
    assert sum(other.dropped.values()) == sum(one.dropped.values()) + len(repeats)


@LAW
@given(edges(), st.floats(2, 15), st.floats(0.1, 5))
def test_a_broader_swath_covers_all_that_a_narrower_one_does(
    edge: tuple[Floats, Floats], swath_m: float, more_m: float
) -> None:
    narrow, broad = (covered_ground([edge[0]], swath_m=breadth_m)[0] for breadth_m in (swath_m, swath_m + more_m))
    assert broad.area > narrow.area
    # round ends are drawn with eight pieces a quarter: a hair of the narrow one may stick out
    assert narrow.difference(broad).area < 1e-3 * narrow.area


@LAW
@given(edges(), edges(), st.floats(-150, 150), st.floats(-150, 150))
def test_what_is_left_beside_another_outline_stays_valid_in_degrees(
    edge: tuple[Floats, Floats], other: tuple[Floats, Floats], east_m: float, north_m: float
) -> None:
    one = ground(segment(*edge)).ground
    two = GRID.to_grid(tellable(ground(segment(other[0] + np.array([east_m, north_m]), other[1])).ground, grid=GRID))
    left = one.difference(two)
    if left.area < 1:
        return
    told = tellable(left, grid=GRID)
    assert told.is_valid
    back = GRID.to_grid(told)
    assert back.is_valid
    # nothing but hairs is lost or won: necks and slots of a few cm
    assert back.symmetric_difference(left).area < 0.05 * left.length


@LAW
@given(edges(), st.floats(0.5, 8), st.floats(1, 600), st.floats(1.1, 4))
def test_variance_grows_with_sigma_and_ignores_a_shift(
    edge: tuple[Floats, Floats], sigma_m: float, correlation_s: float, factor: float
) -> None:
    xy, times = edge
    one = area_variance_m2_2([(xy, times)], error=FixError(sigma_m, correlation_s))
    assert one > 0
    assert area_variance_m2_2([(xy + 1000, times + 5)], error=FixError(sigma_m, correlation_s)) == pytest.approx(
        one, rel=1e-6
    )
    assert area_variance_m2_2([(xy, times)], error=FixError(factor * sigma_m, correlation_s)) > one


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-300, 300), st.floats(-300, 300)), min_size=1, max_size=40),
    st.sampled_from([None, 5.0]),
    st.sampled_from([1.0, 30.0, 600.0]),
)
def test_any_scatter_of_fixes_is_taken_or_refused_in_words(
    places: list[tuple[float, float]], swath_m: float | None, step_s: float
) -> None:
    xy = np.array(places)
    try:
        walked = ground(segment(xy, step_s * np.arange(len(xy))), swath_m=swath_m)
    except InputError as refused:
        assert refused.what
        assert refused.mend
    else:
        assert walked.ground.is_valid
        assert math.isfinite(walked.area_sd_m2)
