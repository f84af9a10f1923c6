"""From segments to ground: order, chains, joins and what is said, by a few fixes whose figures are plain."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from shapely import MultiPolygon, box
from walk_makers import GRID, MORNING_S, SQUARE, lanes, segment, walk

from habmap.errors import InputError
from habmap.land import walked
from habmap.land.rings import Ring
from habmap.land.swath import Covered
from habmap.land.track_error import FixError
from habmap.land.tracks import ALONE, STRAY, WAY_IN, WAY_OUT, Path, Segment, _pauses_drawn_together
from habmap.land.walk_kind import WalkSigns
from habmap.measures import M_PER_FT

Places = list[tuple[float, float]]


def ground(*segments: Segment, **options: Any) -> walked.WalkedGround:
    options = {"error": FixError(3, 60), "close_gap_m": 15.24, **options}
    return walked.walked_ground(segments, grid=GRID, **options)


def path(places: Places, *, begin_s: float = 0.0, step_s: float = 10.0, where: str = "w") -> Path:
    xy = np.array(places, dtype=np.float64)
    return Path(where, xy, begin_s + np.arange(len(xy)) * step_s, True)


def chains(*paths: Path, sigma_m: float = 1.0, close_gap_m: float = 10.0) -> tuple[list[list[int]], list[float], int]:
    """Return the first times [s] of what each chain was made of, the joins, and the fixes left out."""
    found, joins_m, stray = walked._chains(list(paths), sigma_m=sigma_m, close_gap_m=close_gap_m)
    return [one.xy[:, 0].astype(int).tolist() for one in found], joins_m, stray


# --- cleaned, in order ------------------------------------------------------------------------------------------------


def cleaned(*segments: Segment) -> list[tuple[str, float]]:
    clean = walked._all_cleaned(segments, grid=GRID, sigma_m=0.1, travel="foot", clock=str)
    return [(one.path.where, float(one.path.time_s[0])) for one in clean]


def straight(count: int, *, where: str, begin_s: float | None = None, east_m: float = 0.0) -> Segment:
    xy = np.column_stack([east_m + np.arange(count) * 2.0, np.zeros(count)])
    return segment(xy, None if begin_s is None else begin_s + np.arange(count) * 2.0, where=where)


def test_without_times_a_segment_begins_a_second_after_the_last() -> None:
    # ten fixes 2 m apart at a meter a second: 18 s
    first, second, third = (straight(10, where=where) for where in "abc")
    assert cleaned(first, second, third) == [
        ("a", 0), ("b", pytest.approx(19, abs=1e-6)), ("c", pytest.approx(38, abs=1e-6))
    ]  # fmt: skip
    # one with times moves no other's clock, and then nothing is put in order
    assert cleaned(straight(10, where="t", begin_s=500.0), first) == [("t", 500), ("a", 0)]
    assert cleaned(segment(np.empty((0, 2)), np.empty(0)), first) == [("a", 0)]


def test_segments_come_in_the_order_in_which_they_begin() -> None:
    long, short = straight(60, where="long", begin_s=1000.0), straight(5, where="short", begin_s=1010.0)
    assert [where for where, _ in cleaned(short, long)] == ["long", "short"]


# --- rings of their own, and what is open --------------------------------------------------------------------------


def test_what_comes_back_to_its_start_is_a_ring_of_its_own() -> None:
    around: Places = [(0, 0), (50, 0), (50, 50), (0, 50), (0, 8)]
    other: Places = [(200, 0), (250, 0), (250, 50), (200, 50), (200, 8)]
    assert chains(path(around), path(other))[0] == [[0, 50, 50, 0, 0], [200, 250, 250, 200, 200]]


@pytest.mark.parametrize(("sigma_m", "away_m", "is_ring"), [(1.0, 15.9, False), (1.0, 16.1, True), (4.05, 16.1, False)])
def test_a_ring_is_longer_than_four_gaps_and_four_sigmas(sigma_m: float, away_m: float, is_ring: bool) -> None:
    # out, 8 m aside, and home to 8 m from the start: twice as far and 8 m, or four times 8 m of gap
    short: Places = [(0, 0), (away_m - 4, 0), (away_m - 4, 8), (0, 8)]
    length_m = 2 * (away_m - 4) + 8
    assert (length_m > 32) is (away_m > 16)
    found, joins_m, _ = chains(path(short), path([(900, 0), (950, 0)]), sigma_m=sigma_m / (1 if sigma_m < 2 else 0.5))
    assert (len(found) == 2) is is_ring and len(joins_m) == (0 if is_ring else 1)


def test_three_fixes_are_no_ring() -> None:
    three: Places = [(0, 0), (50, 0), (1, 1)]
    assert len(chains(path(three), path([(500, 0), (600, 0)]))[0]) == 1
    four: Places = [(0, 0), (50, 0), (50, 50), (1, 1)]
    assert len(chains(path(four), path([(500, 0), (600, 0)]))[0]) == 2


def test_an_open_rest_is_stray_beside_a_ring_if_it_is_under_fifteen_hundredths_of_it() -> None:
    ring: Places = [(0, 0), (50, 0), (50, 50), (0, 50), (0, 0)]
    for length_m, stray in ((29.9, 2), (30.0, 0), (30.1, 0)):
        found, joins_m, left_out = chains(path(ring), path([(100, 0), (100 + length_m, 0)]))
        assert (len(found), joins_m, left_out) == (1 if stray else 2, [], stray)
    # of several rings the longest counts
    large: Places = [(2 * x, 2 * y) for x, y in ring]
    assert chains(path(ring), path(large), path([(500, 0), (559, 0)]))[2] == 2
    assert chains(path([(500, 0), (501, 0)]))[2] == 0


def test_open_pieces_are_joined_as_they_come_or_end_to_end() -> None:
    first, second = path([(0, 0), (50, 0)], where="a"), path([(57, 0), (90, 0)], where="b")
    found, joins_m, _ = walked._chains([first, second], sigma_m=1.0, close_gap_m=7.0)
    assert (found[0].where, joins_m, len(found[0].xy)) == ("a to b", [7], 4)
    assert walked._chains([first], sigma_m=1.0, close_gap_m=7.0)[0][0].where == "a"
    # in the other direction it is joined at its end, and so turned
    turned = path([(90, 0), (57, 0)], begin_s=100.0)
    assert chains(first, turned, close_gap_m=7.0) == ([[0, 50, 57, 90]], [7], 0)
    # where that does not help either the order stays
    assert chains(first, turned, close_gap_m=6.9) == ([[0, 50, 90, 57]], [40], 0)
    mixed = Path("m", second.xy, second.time_s, False)
    assert not walked._chains([first, mixed], sigma_m=1.0, close_gap_m=7.0)[0][0].has_times


def test_each_path_goes_on_where_the_last_one_ends() -> None:
    # 7 m from its end and 5 m from its start
    first, on, back = path([(0, 0), (50, 0)]), path([(57, 0), (90, 0)]), path([(-5, 0), (-30, 0)])
    assert [one.xy[0, 0] for one in walked._end_to_end([first, back, on])] == [0, 57, -5]


def test_two_receivers_clocks_are_set_apart() -> None:
    first = path([(0, 0), (50, 0)], begin_s=0.0)
    at_once, later = path([(90, 0), (55, 0)], begin_s=10.0), path([(95, 0), (150, 0)], begin_s=50.0)
    one, other, third = walked._end_to_end([first, at_once, later])
    assert (one.time_s.tolist(), other.xy[:, 0].tolist()) == ([0, 10], [55, 90])
    assert other.time_s.tolist() == [20 + 1e8, 10 + 1e8]
    # every one after that too, so that times do not fall from one receiver to the other
    assert third.time_s.tolist() == [50 + 1e8, 60 + 1e8]
    apart = walked._end_to_end([first, path([(55, 0), (90, 0)], begin_s=10.1)])
    assert apart[1].time_s.tolist() == [10.1, 20.1]
    assert walked._end_to_end([first, path([(55, 0), (90, 0)], begin_s=-10.0)])[1].time_s[0] == -10 + 1e8
    assert walked._end_to_end([first, path([(55, 0), (90, 0)], begin_s=-10.1)])[1].time_s[0] == -10.1


def test_a_join_at_the_limit_is_taken_and_a_wider_one_told_in_feet() -> None:
    walked._refuse_wide_joins([3.0, 15.24], close_gap_m=15.24, where="w")
    walked._refuse_wide_joins([], close_gap_m=15.24, where="w")
    with pytest.raises(InputError, match="lie 52 ft apart") as refused:
        walked._refuse_wide_joins([15.85, 3.0], close_gap_m=15.24, where="w")
    assert refused.value.value == "52 ft" and "up to 50 ft" in str(refused.value.allowed)


# --- fixes alone, ways, kinds --------------------------------------------------------------------------------------


def test_lone_fixes_beside_a_walk_are_left_out_and_a_walk_of_lone_fixes_is_one() -> None:
    xy, times = walk(SQUARE)
    whole = ground(segment(xy, times))
    lone = [segment(np.array([(400.0 * k, 7.0)]), np.array([times[-1] + 60 * k])) for k in (1, 2)]
    beside = ground(segment(xy, times), *lone)
    assert beside.dropped == {ALONE: 2} and beside.area_m2 == whole.area_m2
    few = slice(None, None, 3)  # 15 m apart
    flickering = [segment(xy[i : i + 1], times[i : i + 1]) for i in range(len(xy))[few]]
    assert not ground(*flickering).dropped
    assert ground(*flickering).area_m2 == pytest.approx(ground(segment(xy[few], times[few])).area_m2)


def test_the_fewest_fixes_are_four() -> None:
    corners = np.array([(0.0, 0), (60, 0), (60, 60), (0, 60)])
    assert ground(segment(corners), close_gap_m=60.0).area_m2 == pytest.approx(3600)
    with pytest.raises(InputError, match="too few usable fixes") as refused:
        ground(segment(corners[:3]), segment(corners[:0]))
    assert refused.value.value == "3 of 3 fixes"


def test_with_a_swath_ways_and_strays_count_as_covered() -> None:
    xy, times = walk([(-160, -20), *SQUARE, (0, 0), (-160, -20)], closed=False)
    stray = segment(np.array([(3.0, 3.0), (6.0, 1.0), (9.0, 4.0)]), times[-1] + 60 + np.array([0.0, 5, 10]))
    edge = ground(segment(xy, times), stray, error=FixError(1, 60))
    assert edge.dropped[WAY_IN] > 20 and edge.dropped[WAY_OUT] > 20
    strip = ground(segment(xy, times), stray, swath_m=12.0, error=FixError(0, 60))
    assert not strip.dropped
    assert [note for note in strip.notes if "breadth is taken as given" in note]
    ring, ring_s = walk(SQUARE)
    assert ground(segment(ring, ring_s), stray).dropped == {STRAY: 3}
    assert not ground(segment(ring, ring_s), stray, swath_m=12.0, error=FixError(0, 60)).dropped


def test_a_working_track_is_not_told_to_look_like_a_walk_around() -> None:
    xy, times = walk(lanes(6), closed=False)
    worked = ground(segment(xy, times), swath_m=8.0, error=FixError(0, 60))
    assert worked.kind == "working track"
    assert not [note for note in worked.notes if "looks like a walk around" in note]
    assert [note for note in worked.notes if "breadth is taken as given" in note]
    assert (worked.closed_gap_m, worked.loops_dissolved) == (0, 0)
    assert (worked.started_s, worked.ended_s) == (times[0], times[-1])


def signs(**changed: Any) -> WalkSigns:
    first = {"kind": "working track", "inside_frac": 0.0, "gap_m": 61.0, "roundness_frac": 0.0, "one_way_frac": 1.0,
             "crossings": 0}  # fmt: skip
    return WalkSigns(**(first | changed))


@pytest.mark.parametrize(
    ("changed", "is_along"),
    [({}, True), ({"inside_frac": 0.4}, False), ({"inside_frac": 0.39}, True), ({"crossings": 3}, False),
     ({"crossings": 2}, True), ({"one_way_frac": 0.34}, False), ({"one_way_frac": 0.35}, True)],
)  # fmt: skip
def test_what_runs_along_a_way_is_told_from_what_wanders(changed: dict[str, Any], is_along: bool) -> None:
    edge, work = path([(0, 0), (1, 0)], where="edge"), path([(0, 0), (1, 0)], where="work")
    said = walked._looks_like_work([edge, work], [signs(kind="edge walk"), signs(**changed)])
    words = str(said)
    assert said.where == "work"
    # 61 m are 200 ft
    assert ("runs along a way and ends 200 ft from its start" in words) is is_along
    assert ("wanders over the ground" in words) is not is_along
    inside, crossed = changed.get("inside_frac", 0), changed.get("crossings", 0)
    assert (
        said.value
        == f"{100 * inside:.0f}% of the way inside its outer line, {crossed} large crossings, 200 ft open at the end"
    )


# --- what is said --------------------------------------------------------------------------------------------------


def swathed(**changed: Any) -> list[str]:
    first = {"ground": MultiPolygon(), "area_sd_m2": 1.0, "holes_closed": 0, "is_closed": True, "moved_out_m": 0.61,
             "runs_m2": 0.0}  # fmt: skip
    return walked._swath_notes(Covered(**(first | changed)))


def test_what_is_said_of_a_swath() -> None:
    (out,) = swathed()
    assert "the edge was moved out by 2.0 ft" in out
    assert "moved in by 2.0 ft" in swathed(moved_out_m=-0.61)[0]
    assert "lie apart" in swathed(is_closed=False)[0]
    runs = swathed(runs_m2=4046.86)
    assert len(runs) == 2 and runs[1].startswith("1.00 acres are single runs")
    assert len(swathed(runs_m2=0.5)) == 2


def ring(west: float, *, laps: int = 1) -> Ring:
    ground_m = box(west, 0, west + 100, 100)
    xy = np.array(ground_m.exterior.coords)[:-1]
    return Ring(ground_m, xy, np.arange(4.0), 0.0, 0, 0, laps)


def test_ground_inside_two_rings_is_told() -> None:
    (said,) = walked._overlap_notes([ring(0), ring(60)])
    assert said.startswith("0.99 acres lie inside more than one ring")  # 4,000 m²
    assert walked._overlap_notes([ring(0), ring(100)]) == []
    assert walked._overlap_notes([ring(0), ring(100 - 0.9e-5)]) == []  # 9 cm² are rounding
    assert len(walked._overlap_notes([ring(0), ring(100 - 1.1e-5)])) == 1


def test_the_ways_are_told_with_their_lengths_and_times(monkeypatch: pytest.MonkeyPatch) -> None:
    around = path([(float(x), 0.0) for x in range(20)], begin_s=MORNING_S)

    def said(
        start: int, stop: int, in_m: float, out_m: float, *, one: Path = around
    ) -> tuple[list[str], dict[str, int]]:
        parts = walked.parts_of(around, sigma_m=1.0, close_gap_m=1.0)
        found = type(parts)(slice(start, stop), in_m, out_m)
        monkeypatch.setattr(walked, "parts_of", lambda *_args, **_more: found)
        dropped = walked.Counter[str]()
        edges, notes = walked._edges_only(
            [one], dropped, error=FixError(1, 60), close_gap_m=1.0, clock=lambda s: f"{s - MORNING_S:.0f} s"
        )
        monkeypatch.undo()
        assert edges[0].xy[:, 0].tolist() == list(range(start, stop)) and len(edges[0].time_s) == stop - start
        return notes, dict(+dropped)

    # 100 m are 328 ft, 50 m 164 ft; a fix each 10 s
    assert said(3, 18, 100.0, 50.0) == (
        ["the way in (328 ft, until 30 s) and the way out (164 ft, from 170 s) were left out: the ground is what the "
         "edge between goes round"],
        {WAY_IN: 3, WAY_OUT: 2},
    )  # fmt: skip
    assert said(0, 18, 0.0, 50.0)[0][0].startswith("the way out (164 ft, from 170 s) was left out")
    assert said(0, 20, 0.0, 0.0) == ([], {})
    untimed = Path("w", around.xy, around.time_s, False)
    assert said(3, 20, 100.0, 0.0, one=untimed)[0][0].startswith("the way in (328 ft) was left out")


def test_a_walk_s_figures_are_sums_of_its_rings() -> None:
    """Two squares open by 4 m each, of fixes that err apart; a walk without times has no day."""
    around: Places = [(float(x), 0.0) for x in range(0, 60, 5)] + [(60.0, float(y)) for y in range(0, 60, 5)]
    around += [(float(x), 60.0) for x in range(60, 0, -5)] + [(0.0, float(y)) for y in (60, 55, 50, 40, 30, 20, 10, 4)]
    one = np.array(around)
    apart = FixError(3, 0)
    found = ground(segment(one), segment(one + np.array([300.0, 0.0])), error=apart)
    assert found.area_m2 == pytest.approx(2 * 3600) and found.closed_gap_m == pytest.approx(8)
    assert found.perimeter_m == pytest.approx(480) and found.fixes == 2 * len(one)
    assert (found.started_s, found.ended_s) == (None, None)
    single = ground(segment(one), error=apart)
    times = MORNING_S + np.arange(len(one)) * 4.0
    both = ground(segment(one, times), segment(one + np.array([300.0, 0.0])), error=apart)
    assert walked.ASSUMED_TIMES in found.notes and walked.ASSUMED_TIMES in both.notes
    assert walked.ASSUMED_TIMES not in ground(segment(one, times), error=apart).notes
    assert (both.started_s, both.ended_s) == (times[0], times[-1])
    assert found.area_sd_m2 == pytest.approx(math.sqrt(2) * single.area_sd_m2, rel=1e-3)
    assert ground(segment(one), error=apart, close_gap_m=50 * M_PER_FT).notes == single.notes


def test_a_piece_walked_toward_the_others_end_is_turned_round_and_each_is_taken_once() -> None:
    """Both pieces end at the gate (10, 0): the second is followed from there back to where it began."""
    first, second = path([(0, 0), (5, 0), (10, 0)]), path([(10, 40), (10, 20), (10, 1)], begin_s=1000.0)
    one, other = walked._end_to_end([first, second])
    assert one is first
    assert other.xy.tolist() == [[10, 1], [10, 20], [10, 40]]
    assert other.time_s.tolist() == [1020.0, 1010.0, 1000.0]


def test_a_slow_start_of_three_fixes_is_left_as_it_was_walked() -> None:
    """40 s apart and half a meter on each time: two minutes within the ball, but on the way."""
    slow = path([(0.0, 0.0), (0.5, 0.0), (1.0, 0.0), (50.0, 0.0)], step_s=40.0)
    drawn = _pauses_drawn_together(slow, radius_m=2.0, drift_m=0.6)
    assert drawn.xy.tolist() == slow.xy.tolist() and drawn.time_s.tolist() == slow.time_s.tolist()
    # where that drift is within the fixes' error it was a pause: one place in its middle
    still = _pauses_drawn_together(slow, radius_m=2.0, drift_m=0.8)
    assert still.xy.tolist() == [[0.5, 0.0], [50.0, 0.0]]
