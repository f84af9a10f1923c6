"""Ground along working tracks: each step of it by a line or two whose figures are known by hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import norm
from shapely import MultiPolygon, Polygon, box

from habmap.errors import InputError
from habmap.land import swath
from habmap.land.swath import covered, covered_ground
from habmap.land.track_error import FixError
from habmap.land.tracks import Path


def counted(line: list[tuple[float, float]], *, swath_m: float) -> np.ndarray:
    """Return the passes over cells of 1 m, their middles at 0.5, 1.5, … east and −4.5 to 4.5 north."""
    east, north = np.arange(60) + 0.5, np.arange(-5, 5) + 0.5
    return swath._passes([np.array(line, dtype=np.float64)], east, north, swath_m=swath_m, cell_m=1.0)


def test_a_pass_reaches_half_a_swath_to_either_side() -> None:
    once = counted([(10, 0), (50, 0)], swath_m=4.0)
    assert once.max() == 1
    assert once[:, 30].tolist() == [0, 0, 0, 1, 1, 1, 1, 0, 0, 0]
    # round ends: at 8.5 east, 1.5 m before it begins, only the cells 0.5 m off lie within 2 m of it
    assert once[:, 8].tolist() == [0, 0, 0, 0, 1, 1, 0, 0, 0, 0]
    assert once[:, 7].sum() == once[:, 52].sum() == 0


def test_going_back_counts_again_after_three_swaths_of_way() -> None:
    back = counted([(0, 0), (50, 0), (0, 0)], swath_m=4.0)
    # a place at x is passed after x and after 100 − x meters: 12 m apart at 44
    assert back[4, [10, 42, 43, 44, 45, 49]].tolist() == [2, 2, 2, 1, 1, 1]
    # 12.06 m apart, at 44.5 of 50.53: over three swaths by half a hundredth
    assert counted([(0, 0), (50.53, 0), (0, 0)], swath_m=4.0)[4, 44] == 2
    many = counted([(0, 0), (50, 0)] * 5, swath_m=4.0)
    assert many[4, 10] == 3  # more are a machine that stood
    assert counted([(20, 0)], swath_m=4.0).sum() == 12  # one fix: cells within 2 m


def test_lanes_that_lie_apart_by_a_hair_and_holes_up_to_a_swath_square() -> None:
    ring = np.array([(0.0, 0), (14, 0), (14, 14), (0, 14), (0, 0)])
    # 4 m broad along a square of 14 m: a hole of 10 m, whose corners inside are square
    ground, closed = covered_ground([ring], swath_m=4.0)
    assert (closed, len(ground.geoms[0].interiors)) == (0, 1)
    assert ground.area == pytest.approx(18 * 18 - 100 - (4 - math.pi) * 4, abs=0.1)
    filled, closed = covered_ground([ring * 8 / 14], swath_m=4.0)  # a hole of 4 m × 4 m, the very square
    assert (closed, len(filled.geoms[0].interiors)) == (1, 0)
    lone, _ = covered_ground([np.array([(0.0, 0)])], swath_m=4.0)
    assert lone.area == pytest.approx(4 * math.pi, rel=0.01)


def test_a_gap_is_explained_by_the_error_of_two_fixes() -> None:
    # 3·√2 = 4.243 sigmas
    assert swath._explained(np.array(box(0, 0, 50, 4.2).exterior.coords), 1.0)
    assert not swath._explained(np.array(box(0, 0, 50, 4.3).exterior.coords), 1.0)


def test_lanes_that_adjoin_are_one_ground_without_holes() -> None:
    # six lanes of 60 m, 5 m apart and 5 m broad: 30 m × 60 m, and what reaches over the ends
    lanes = [np.array([(0.0, 5.0 * k), (60, 5.0 * k)]) for k in range(6)]
    found = swath._closed(lanes, swath_m=5.0, sigma_m=1.0)
    assert found.block.area == pytest.approx(30 * 60 + 6 * math.pi * 2.5**2, rel=0.02)
    assert (found.holes, found.runs.is_empty, found.passes) == (0, True, pytest.approx(1, abs=0.02))
    # 15 m apart there are gaps that no error explains: three in a frame of lanes
    frame = np.array([(0.0, 0), (60, 0), (60, 45), (0, 45), (0, 0)])
    wide = swath._closed(
        [frame, *lanes[:1], *(lanes[0] + np.array([0, y]) for y in (15, 30))], swath_m=5.0, sigma_m=1.0
    )
    assert wide.holes == 0 and sum(len(part.interiors) for part in shapely.get_parts(wide.ground)) == 3


def test_what_leads_far_off_closed_ground_is_a_run() -> None:
    block = box(0, 0, 100, 100)
    # near is 2.5 sigmas and half a swath: 5 m; a run is longer than four times that
    long, short = np.array([(50.0, 50), (121, 50)]), np.array([(50.0, 50), (119, 50)])
    assert swath._runs([short], block, swath_m=5.0, sigma_m=1.0).is_empty
    run = swath._runs([short, long], block, swath_m=5.0, sigma_m=1.0)
    assert run.area == pytest.approx(21 * 5 + math.pi * 2.5**2, rel=0.01)
    within = np.array([(50.0, -4.9), (500, -4.9)])
    assert swath._runs([within[:1], within * [0.2, 1]], block, swath_m=5.0, sigma_m=1.0).is_empty


def test_an_outline_is_moved_until_its_area_fits() -> None:
    square = MultiPolygon([box(0, 0, 100, 100)])
    inward, by_m = swath._moved_out(square, -390.0)
    assert inward.area == pytest.approx(9610, abs=0.01)
    assert by_m == pytest.approx((math.sqrt(9610) - 100) / 2, abs=1e-4)
    out, by_m = swath._moved_out(square, 410.0)
    assert out.area == pytest.approx(10410, abs=0.01)
    # 400 m · d and four quarter circles (of 8 chords: 2% less)
    assert 400 * by_m + math.pi * by_m**2 == pytest.approx(410, abs=0.05)


def test_a_third_of_an_area_is_put_on_or_taken_off_to_a_thousandth_of_a_square_meter() -> None:
    strip = MultiPolygon([box(0, 0, 100, 40)])
    for wanted_m2 in (-1390.0, 1410.0):
        assert swath._moved_out(strip, wanted_m2)[0].area == pytest.approx(4000 + wanted_m2, abs=1e-3)


def test_breadth() -> None:
    assert swath._breadth_m(box(0, 0, 10, 40)) == 8  # 2 · 400 / 100


def turned(*, speed_mps: float = 1.0) -> Path:
    """Go 50 m east, across 2 m and back, at a fix each 5 s: the turn falls between (50, 0) and (50, 2)."""
    east = [(float(x), 0.0) for x in range(0, 55, 5)]
    xy = np.array([*east, *[(x, 2.0) for x, _ in east[::-1]]])
    return Path("walk", xy, np.arange(len(xy)) * 5.0 / speed_mps, True)


@pytest.mark.parametrize("speed_mps", [1.0, 2.0])
def test_a_turn_between_two_fixes_is_put_back(speed_mps: float) -> None:
    # 5 m of way from fix to fix: 2 m across, and so 1.5 m out and 1.5 m home
    xy, times = swath._with_turns(turned(speed_mps=speed_mps))
    assert len(xy) == 24
    assert xy[10:14] == pytest.approx(np.array([(50, 0), (51.5, 0), (51.5, 2), (50, 2)]))
    assert times[10:14] * speed_mps == pytest.approx([50, 51.5, 53.5, 55])


def test_a_turn_lies_farther_from_the_fix_after_which_less_was_walked() -> None:
    # the way back begins at (49, 2): of 5 m, 2 m across and 1 m less home than out; 1 m out and 2 m home meet at 51
    path = turned()
    path.xy[11:, 0] -= 1
    xy, times = swath._with_turns(path)
    assert xy[10:14] == pytest.approx(np.array([(50, 0), (51, 0), (51, 2), (49, 2)]))
    assert times[10:14] == pytest.approx([50, 51, 53, 55])


def test_no_turn_is_made_up() -> None:
    straight = Path("walk", np.column_stack([np.arange(22) * 5.0, np.zeros(22)]), np.arange(22) * 5.0, True)
    assert len(swath._with_turns(straight)[0]) == 22
    path = turned()
    few = Path("walk", path.xy[7:14], path.time_s[7:14], True)
    assert len(swath._with_turns(few)[0]) == 7  # too few fixes to tell a lane
    # round a corner, which lies between two fixes: no way back
    corner = np.array([*((2.5 + 5 * k, 0.0) for k in range(10)), *((50.0, 2.5 + 5 * k) for k in range(10))])
    assert len(swath._with_turns(Path("walk", corner, np.arange(20) * 5.0, True))[0]) == 20
    late = Path("walk", path.xy, np.where(np.arange(22) > 10, path.time_s + 6, path.time_s), True)
    assert len(swath._with_turns(late)[0]) == 22  # 11 s are more than twice the usual 5: a rest, no turn


def test_without_an_error_the_swath_is_the_ground() -> None:
    path = Path("walk", np.array([(0.0, 0), (50, 0)]), np.array([0.0, 50]), True)
    found = covered([path], swath_m=4.0, error=FixError(0, 60), where="walk")
    assert (found.area_sd_m2, found.is_closed, found.moved_out_m, found.runs_m2) == (0, False, 0, 0)
    assert found.ground.area == pytest.approx(200 + 4 * math.pi, abs=0.1)


def unclear(ground: Polygon, line: list[tuple[float, float]], *, swath_m: float, block: Polygon | None = None) -> None:
    swath._refuse_unclear(
        MultiPolygon([ground]), [np.array(line, dtype=np.float64)], swath_m=swath_m, sigma_m=3.0, where="w", block=block
    )


def test_lanes_are_refused_where_the_error_could_have_made_their_overlap() -> None:
    # 100 m of way, 5 m broad: 500 m²; of 485.1 m² 2.98% were passed twice, of 484.9 m² 3.02%
    unclear(box(0, 0, 100, 4.851), [(0, 0), (100, 0)], swath_m=5.0)
    with pytest.raises(InputError, match="neither close enough") as refused:
        unclear(box(0, 0, 100, 4.849), [(0, 0), (100, 0)], swath_m=5.0)
    assert "a swath of 16.4 ft, a GPS error of 9.8 ft, 3% of the swath" in str(refused.value.value)
    # a swath as broad as the error will do, a narrower one will not
    unclear(box(0, 0, 100, 3.0), [(0, 0), (100, 0)], swath_m=3.0)
    with pytest.raises(InputError, match="neither close enough"):
        unclear(box(0, 0, 100, 2.9), [(0, 0), (100, 0)], swath_m=2.9)
    # ground broader than a lane and a half is no lane: 2 · 800 / 216 is 7.4 m
    unclear(box(0, 0, 100, 5), [(0, 0), (100, 0)], swath_m=5.0, block=box(0, 0, 100, 8.0))
    with pytest.raises(InputError, match="hardly wider than the GPS error") as narrow:
        unclear(box(0, 0, 100, 5), [(0, 0), (100, 0)], swath_m=5.0, block=box(0, 0, 100, 8.2))  # 7.58 m
    assert narrow.value.value == "about 25 ft wide, a GPS error of 9.8 ft"
    assert narrow.value.allowed == "69 ft or wider"  # seven sigmas of 3 m


def test_fixes_on_their_line_are_thinned_out() -> None:
    line = np.array([(0.0, 0), (10, 0.2), (20, 0), (30, 0.4), (40, 0)])
    assert swath._thinned(line, 0.3).tolist() == [[0, 0], [30, 0.4], [40, 0]]  # (10, 0.2) lies 0.07 m off, (20, 0) 0.27
    assert len(swath._thinned(line, 0.25)) == 4
    assert len(swath._thinned(line[:2], 9.0)) == 2


def test_a_run_keeps_off_the_ground_by_two_and_a_half_sigmas_and_half_a_swath() -> None:
    """Sigma 2 m and a swath of 4 m: 7 m off, and four times as long as that."""

    def run_m2(off_m: float, length_m: float) -> float:
        line = np.array([(0.0, 100 + off_m), (length_m, 100 + off_m)])
        return float(swath._runs([line], box(-50, 0, 150, 100), swath_m=4.0, sigma_m=2.0).area)

    assert (run_m2(6.99, 60), run_m2(7.01, 27.9), run_m2(7.01, 28.0)) == (0, 0, 0)
    assert run_m2(7.01, 60) == pytest.approx(4 * 60 + 4 * math.pi, abs=0.1)
    assert run_m2(7.01, 28.1) == pytest.approx(4 * 28.1 + 4 * math.pi, abs=0.1)


AROUND = Path("walk", np.array([(0.0, 0), (50, 0), (50, 50)]), np.array([0.0, 50, 100]), True)


def of_areas(monkeypatch: pytest.MonkeyPatch, sides_m: list[float], *, passes: float) -> swath.Covered:
    """Return what is made of ground found to be squares of such sides: as walked first, then with errors added."""
    found = iter([swath._Closed(box(0, 0, side, side), Polygon(), passes, 2) for side in sides_m])
    monkeypatch.setattr(swath, "_closed", lambda *_args, **_more: next(found))
    return covered([AROUND], swath_m=6.0, error=FixError(3.0, 60.0), where="walk")


def test_bias_is_taken_off_and_the_scatter_of_the_repeats_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hectare of lanes, ten repeats: bias, variance and the shares left open, reckoned by the book's formulas."""
    areas_m2 = [10_000 + 100.0 * k for k in range(10)]
    found = of_areas(monkeypatch, [100.0, *(area**0.5 for area in areas_m2)], passes=0.95)
    bias_m2 = 450.0  # the mean of 0, 100, … 900
    assert found.ground.area == pytest.approx(10_000 - bias_m2, abs=1)
    assert found.moved_out_m == pytest.approx(-(100 - (10_000 - bias_m2) ** 0.5) / 2, abs=0.01)
    assert (found.is_closed, found.holes_closed, found.runs_m2) == (True, 2, 0)
    # variance of 0, 100, … 900 is 100² · 110/12; a tenth more for a mean of ten, and a fifth more scatter squared;
    # half the bias; a uniform share of what falls short of one pass; 2% of the acres, where sigma is half the swath
    variance = 1.2**2 * 100**2 * 110 / 12 * 1.1 + (bias_m2 / 2) ** 2
    variance += (0.05 * found.ground.area) ** 2 / 3 + (0.02 * found.ground.area) ** 2
    assert found.area_sd_m2 == pytest.approx(variance**0.5, rel=1e-9)


def test_more_than_a_tenth_of_bias_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    assert of_areas(monkeypatch, [100.0, *[1.0999**0.5 * 100] * 10], passes=1.0).is_closed
    assert of_areas(monkeypatch, [100.0, *[0.9001**0.5 * 100] * 10], passes=1.0).moved_out_m > 0
    with pytest.raises(InputError, match="blurs this ground") as refused:
        of_areas(monkeypatch, [100.0, *[1.1001**0.5 * 100] * 10], passes=1.0)
    assert (refused.value.value, refused.value.allowed) == ("10% of the acres would be the error's own", "up to 10%")


@pytest.mark.parametrize(
    ("side_m", "passes", "is_closed"),
    [(100.0, 0.9, True), (100.0, 0.8999, False), (42.001, 1.0, True), (41.999, 1.0, False)],
)
def test_lanes_adjoin_from_nine_tenths_of_a_pass_on_ground_seven_sigmas_broad(
    side_m: float, passes: float, is_closed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A square is half its side broad by this measure (twice its area over its outline): 42 m are 21, 7 times 3 m."""
    plain = MultiPolygon([box(0, 0, 100, 5.9)])
    monkeypatch.setattr(swath, "covered_ground", lambda *_args, **_more: (plain, 0))
    monkeypatch.setattr(swath, "_refuse_unclear", lambda *_args, **_more: None)
    assert of_areas(monkeypatch, [side_m] * 11, passes=passes).is_closed is is_closed


def test_of_lanes_apart_half_the_bias_is_taken_off_and_a_25th_of_it_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def apart(*areas_m2: float) -> swath.Covered:
        found = iter([(MultiPolygon([box(0, 0, area**0.5, area**0.5)]), 3) for area in areas_m2])
        monkeypatch.setattr(swath, "covered_ground", lambda *_args, **_more: next(found))
        monkeypatch.setattr(swath, "_refuse_unclear", lambda *_args, **_more: None)
        return of_areas(monkeypatch, [100.0] * 11, passes=0.5)

    found = apart(10_000, *[10_000 + 50.0 * k for k in range(10)])  # 225 m² of bias
    assert found.ground.area == pytest.approx(10_000 - 225 / 2, abs=1)
    assert (found.is_closed, found.holes_closed, found.runs_m2) == (False, 3, 0.0)
    assert found.area_sd_m2 == pytest.approx((1.2**2 * 50**2 * 110 / 12 * 1.1 + (225 / 2) ** 2) ** 0.5, rel=1e-9)
    assert apart(10_000, *[10_399] * 10).area_sd_m2 == pytest.approx(399 / 2)
    with pytest.raises(InputError, match="blurs this ground"):
        apart(10_000, *[10_401] * 10)


def test_where_the_ground_lies_changes_nothing() -> None:
    """Three kilometers north and one west of it."""
    by = np.array([-1_000.0, 3_000.0])
    path = turned()
    xy, times = swath._with_turns(path)
    there, same_times = swath._with_turns(Path("walk", path.xy + by, path.time_s, True))
    assert there == pytest.approx(xy + by) and same_times == pytest.approx(times)
    lanes = np.array([(x, y) for k in range(8) for x, y in [(4.0 * k, 0.0), (4.0 * k, 60.0)][:: 1 if k % 2 else -1]])
    here, moved = (swath._closed([line], swath_m=4.0, sigma_m=1.0) for line in (lanes, lanes + by))
    assert moved.ground.area == pytest.approx(here.ground.area, rel=1e-6)
    assert moved.passes == pytest.approx(here.passes, abs=1e-6)


# --- the raster: which cells a pass reaches, how fine they are ---------------------------------------------------


@pytest.mark.parametrize(
    "line",
    [
        [(-3.0, 2.0), (1.0, -1.0)],
        [(7.0, 3.0), (12.0, 9.0), (15.0, 9.0)],
        [(0.2, 0.1), (0.2, 5.8)],
        [(9.9, 0.0), (9.9, 0.0), (4.0, 6.2)],
        [(2.0, 2.0), (3.0, 2.0), (4.0, 2.0), (5.0, 2.0)],
        [(1.0, 5.75)],
    ],
    ids=["over a corner", "out at another", "along the first column", "a fix twice", "steps of 1 m", "one fix"],
)
def test_a_pass_counts_in_just_the_cells_whose_middles_lie_within_reach(line: list[tuple[float, float]]) -> None:
    east, north = (np.arange(20) + 0.5) / 2, (np.arange(12) + 0.5) / 2
    count = swath._passes([np.array(line)], east, north, swath_m=2.5, cell_m=0.5)
    middles = shapely.points(*np.meshgrid(east, north))
    way = shapely.LineString(line) if len(line) > 1 else shapely.Point(line[0])
    assert count.tolist() == (shapely.distance(middles, way) <= 1.25).astype(float).tolist()
    assert 0 < count.sum() < count.size


def test_the_edge_of_a_pass_is_passed_and_three_swaths_of_way_are_still_the_same_pass() -> None:
    # rows at 0.5 and 1.5 m to either side: a swath of 3 m ends in the middle of the second
    assert counted([(10, 0), (50, 0)], swath_m=3.0)[:, 30].tolist() == [0, 0, 0, 1, 1, 1, 1, 0, 0, 0]
    # 44.5 on the way out, 101 − 44.5 on the way home: 12 m
    assert counted([(0, 0), (50.5, 0), (0, 0)], swath_m=4.0)[4, 44] == 1


@pytest.mark.parametrize(
    ("sigma_m", "swath_m", "length_m", "cell_m"),
    [
        (3.0, 10.0, 100.0, 2.0),  # a third of a blur of two sigmas
        (3.0, 3.0, 100.0, 1.5),  # half a swath
        (0.3, 5.0, 100.0, 0.3),  # no finer than 0.3 m
        (3.0, 3.0, 99_940.1664, 10**0.5 * 0.951),  # 100 km by 36 m in 4 million cells: see below
    ],
)
def test_cells_are_as_fine_as_the_blur_and_the_swath_ask(
    sigma_m: float, swath_m: float, length_m: float, cell_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[float] = []

    def passes(_lines: list[np.ndarray], east: np.ndarray, north: np.ndarray, *, swath_m: float, cell_m: float) -> Any:
        asked.append(cell_m)
        assert np.diff(east)[0] == pytest.approx(cell_m) and np.diff(north)[0] == pytest.approx(cell_m)
        return np.zeros((len(north), len(east)))

    monkeypatch.setattr(swath, "_passes", passes)
    found = swath._closed([np.array([(0.0, 0.0), (length_m, length_m)])], swath_m=swath_m, sigma_m=sigma_m)
    assert (found.passes, found.holes, found.ground.is_empty) == (0.0, 0, True)
    # a blur of √5 sigmas around in all, four times, and a swath, on either side
    side_m = length_m + 2 * (4 * 5**0.5 * sigma_m + swath_m)
    assert asked[0] == pytest.approx(cell_m if length_m < 1000 else side_m / 2000, rel=1e-9)


# --- the edge of closed ground, by the error function instead of a raster ---------------------------------------


def closed_block(
    monkeypatch: pytest.MonkeyPatch, *, passes: float, half_m: tuple[float, float], sigma_m: float = 1.0
) -> swath._Closed:
    """Return what is made of a rectangle passed so often, each cell by the share of it that lies inside."""

    def share(middles: np.ndarray, cell_m: float, half_m: float) -> np.ndarray:
        return np.clip((half_m + cell_m / 2 - np.abs(middles)) / cell_m, 0, 1)

    def drawn(_lines: Any, east: np.ndarray, north: np.ndarray, *, swath_m: float, cell_m: float) -> np.ndarray:
        return passes * share(north, cell_m, half_m[1])[:, None] * share(east, cell_m, half_m[0])[None, :]

    monkeypatch.setattr(swath, "_passes", drawn)
    return swath._closed([np.array([(-half_m[0], -half_m[1]), half_m])], swath_m=0.6, sigma_m=sigma_m)


def crossed_m(block: shapely.Geometry, to: tuple[float, float]) -> float:
    """Return the length of a straight way through the middle, from side to side."""
    return float(block.intersection(shapely.LineString([to, (-to[0], -to[1])])).length)


def stripe(at_m: float, half_m: float, blur_m: float) -> float:
    """Return how much of a normal blur around a place falls on a stripe about zero."""
    return float(ndtr((at_m + half_m) / blur_m) - ndtr((at_m - half_m) / blur_m))


def test_a_narrow_block_keeps_its_edge_up_to_its_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """A blur of two sigmas, and a second of √(4 + 5) in all taken off twice the first: half a pass is the edge."""
    half_m = (30.0, 4.0)
    found = closed_block(monkeypatch, passes=1.0, half_m=half_m)

    def sharp(x: float, y: float) -> float:
        return 2 * stripe(x, 30, 2) * stripe(y, 4, 2) - stripe(x, 30, 3) * stripe(y, 4, 3)

    side_m = brentq(lambda y: sharp(0, y) - 0.5, 1, 8)
    end_m = brentq(lambda x: sharp(x, 0) - 0.5, 20, 40)
    assert crossed_m(found.block, (0, 99)) == pytest.approx(2 * side_m, abs=0.01)
    assert crossed_m(found.block, (99, 0)) == pytest.approx(2 * end_m, abs=0.01)
    # from the middle into a corner: a third of the way off the diagonal, where the blur rounds most
    ray = shapely.LineString([(26, 0), (26 + 8, 8)])
    corner_m = brentq(lambda t: sharp(26 + t, t) - 0.5, 0, 8)
    assert found.block.intersection(ray).length == pytest.approx(corner_m * 2**0.5, abs=0.01)
    assert (found.passes, found.holes) == (pytest.approx(1.0, abs=0.05), 0)


@pytest.mark.parametrize("passes", [1.15, 1.6, 2.5])
def test_the_edge_of_ground_passed_more_than_once_lies_at_half_of_its_passes(
    passes: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where passes overlap by a quarter or less the edge is at half a pass; beyond, at half of what is passed inside.

    How often it is passed inside is a mean over ground √5 sigmas within its first edge, about a place, by a blur twice
    as wide; a tenth of the ground itself, passed once, steadies it.
    """
    found = closed_block(monkeypatch, passes=passes, half_m=(40.0, 40.0))
    wide_m = 2 * 5**0.5

    def profile(at_m: float, blur_m: float) -> float:
        """Return the share of a half plane that begins at 0, at a place so far within it, under a blur."""
        return float(ndtr(at_m / blur_m))

    def sharp(at_m: float) -> float:
        return passes * (2 * profile(at_m, 2) - profile(at_m, 3))

    first_m = brentq(lambda at: sharp(at) - 0.5, -8, 8)
    inner_m = first_m + 5**0.5

    def edge(at_m: float) -> float:
        # of the passes' own blur (two sigmas) only what lies within the inner ground counts
        inside_m = np.linspace(inner_m, inner_m + 60, 60_001)
        weight = norm.pdf(inside_m, at_m, wide_m)
        deep = float(ndtr((at_m - inner_m) / wide_m))
        passed = passes * float(np.trapezoid(ndtr(inside_m / 2) * weight, inside_m))
        steady = 0.1 * profile(at_m - first_m, wide_m)
        level = max((passed + steady) / (deep + steady) - 0.25, 1.0)
        return sharp(at_m) - 0.5 * level

    side_m = 40 - brentq(edge, -8, 8)
    assert crossed_m(found.block, (99, 0)) == pytest.approx(2 * side_m, abs=0.01)
    assert crossed_m(found.block, (0, 99)) == pytest.approx(2 * side_m, abs=0.01)


def test_one_broad_lane_is_as_broad_as_it_was_worked() -> None:
    """Twelve meters under an error of half a meter: the ground around the fixes that is looked at reaches beyond."""
    lane = swath._closed([np.array([(0.0, 0.0), (90, 0)])], swath_m=12.0, sigma_m=0.5)
    assert lane.block.bounds == pytest.approx((-6, -6, 96, 6), abs=0.15)
    assert lane.block.area == pytest.approx(90 * 12 + math.pi * 36, rel=0.01)


# --- turns that fell between two fixes -------------------------------------------------------------------------


def to_and_fro(
    turn: tuple[float, float], *, out: int = 11, home: int = 11, step_m: float = 5.0, back_deg: float = 180.0,
    turn_s: float = 5.0,
) -> int:  # fmt: skip
    """Go so many fixes east, by a step so far out and across, and so many on at an angle; count the places put in."""
    east = np.column_stack([np.arange(out) * step_m, np.zeros(out)])
    turned = math.radians(180 - back_deg)
    way = np.array([-math.cos(turned), math.sin(turned)]) * step_m
    xy = np.concatenate([east, east[-1] + np.array(turn) + np.arange(home)[:, None] * way])
    time_s = np.arange(len(xy)) * step_m
    time_s[out:] += turn_s - step_m
    return len(swath._with_turns(Path("walk", xy, time_s, True))[0]) - len(xy)


@pytest.mark.parametrize(
    ("put_in", "turn", "how"),
    [
        # less than four fifths of the 5 m walked were made good
        (2, (0.0, 3.99), {}),
        (0, (0.0, 4.0), {}),
        (0, (0.0, 4.03), {}),
        # of 5 m 3 m go across: 2 m are left to go out and come home, so the next fix is not farther on than that
        (2, (1.9, 3.0), {}),
        (0, (2.0, 3.0), {}),
        (0, (2.5, 3.0), {}),
        (2, (-1.9, 3.0), {}),
        (0, (-2.0, 3.0), {}),
        (0, (-2.5, 3.0), {}),
        # less than twice as long as from fix to fix elsewhere
        (2, (0.0, 2.0), {"turn_s": 9.95}),
        (0, (0.0, 2.0), {"turn_s": 10.0}),
        (0, (0.0, 2.0), {"turn_s": 10.05}),
        # lanes that run against each other, by 134.4° (a cosine of 0.7) or more
        (2, (0.0, 2.0), {"back_deg": 134.7}),
        (0, (0.0, 2.0), {"back_deg": 134.2}),
        (0, (0.0, 2.0), {"back_deg": 100.0}),
        # a heading needs 10 m of lane: two steps of 5 m or of 6 m, on either side
        (2, (0.0, 2.0), {"out": 3}),
        (2, (0.0, 2.0), {"home": 3}),
        (0, (0.0, 2.0), {"out": 2}),
        (0, (0.0, 2.0), {"home": 2}),
        (2, (0.0, 2.0), {"out": 3, "step_m": 6.0, "turn_s": 6.0}),
        (0, (0.0, 2.0), {"out": 2, "step_m": 6.0, "turn_s": 6.0}),
        (0, (0.0, 2.0), {"home": 2, "step_m": 6.0, "turn_s": 6.0}),
        # eight fixes or more
        (2, (0.0, 2.0), {"out": 4, "home": 4}),
        (0, (0.0, 2.0), {"out": 4, "home": 3}),
    ],
)
def test_what_makes_a_turn(put_in: int, turn: tuple[float, float], how: dict[str, Any]) -> None:
    assert to_and_fro(turn, **how) == put_in


def test_lanes_of_two_fixes_each_get_all_their_turns_back() -> None:
    # 20 m from fix to fix in 20 s, and 3 m across in as long: 8.5 m out and home
    xy = np.array([(20.0 * ((k + 1) // 2 % 2), 3.0 * (k // 2)) for k in range(8)])
    found, _times = swath._with_turns(Path("walk", xy, np.arange(8) * 20.0, True))
    assert found.tolist() == [
        [0, 0], [20, 0], [28.5, 0], [28.5, 3], [20, 3], [0, 3], [-8.5, 3], [-8.5, 6], [0, 6], [20, 6], [28.5, 6],
        [28.5, 9], [20, 9], [0, 9],
    ]  # fmt: skip


# --- what is asked of the ground before it is taken --------------------------------------------------------------


class Asked:
    """What `covered` asks of the steps below it: the lines they get and how many repeats."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *, runs_m2: float = 0.0, passes: float = 1.0) -> None:
        self.lines: list[list[np.ndarray]] = []
        self.walks: list[int] = []
        runs = box(500, 0, 501, runs_m2)

        def closed(lines: list[np.ndarray], **_more: Any) -> swath._Closed:
            self.lines.append(lines)
            return swath._Closed(box(0, 0, 100, 100), runs, passes, 2)

        def noise(time_s: np.ndarray, *, walks: int, **_more: Any) -> np.ndarray:
            self.walks.append(walks)
            return np.arange(walks)[:, None, None] * 1000 + np.arange(len(time_s))[:, None] * np.array([1.0, 0])

        monkeypatch.setattr(swath, "_closed", closed)
        monkeypatch.setattr(swath, "drawn_errors", noise)


def along(*places: tuple[float, float]) -> Path:
    xy = np.array(places, dtype=np.float64).reshape(-1, 2)
    return Path("walk", xy, np.arange(len(xy)) * 10.0, True)


@pytest.mark.parametrize(
    ("sigma_m", "swath_m", "kept_m", "left_out_m"),
    [(1.0, 10.0, 0.302, 0.299), (1.0, 1.0, 0.2015, 0.1995)],
    ids=["three tenths of sigma", "a tenth of swath and sigma"],
)
def test_fixes_are_thinned_out_by_the_smaller_of_two_limits(
    sigma_m: float, swath_m: float, kept_m: float, left_out_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = Asked(monkeypatch)
    for off_m, count in ((kept_m, 3), (left_out_m, 2)):
        covered([along((0, 0), (50, off_m), (100, 0))], swath_m=swath_m, error=FixError(sigma_m, 60), where="w")
        assert len(asked.lines[0][0]) == count
        asked.lines.clear()


def test_each_path_is_moved_by_the_errors_of_its_own_fixes(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = Asked(monkeypatch)
    paths = [along((0, 0), (0, 50)), along(), along((30, 0), (30, 50), (70, 90)), along((60, 0), (60, 50))]
    found = covered(paths, swath_m=6.0, error=FixError(3, 60), where="w")
    assert asked.walks == [10] and len(asked.lines) == 11
    first, second = asked.lines[1:3]
    assert [line[:, 0].tolist() for line in first] == [[0, 1], [32, 33, 74], [65, 66]]
    assert [line[:, 0].tolist() for line in second] == [[1000, 1001], [1032, 1033, 1074], [1065, 1066]]
    # no bias and no scatter: what is left is 2% of a hectare
    assert found.area_sd_m2 == pytest.approx(200, abs=1e-6)


@pytest.mark.parametrize(("fixes", "walks"), [(1499, 10), (1500, 4)])
def test_long_tracks_are_repeated_less_often(fixes: int, walks: int, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = Asked(monkeypatch)
    zigzag = [(2.0 * i, 9.0 * (i % 2)) for i in range(fixes - 700)], [(2.0 * i, 9.0 * (i % 2)) for i in range(700)]
    covered([along(*part) for part in zigzag], swath_m=6.0, error=FixError(3, 60), where="w")
    assert asked.walks == [walks]


def test_ground_of_runs_alone_is_not_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = MultiPolygon([box(0, 0, 100, 5.9)])
    monkeypatch.setattr(swath, "covered_ground", lambda *_args, **_more: (plain, 0))
    monkeypatch.setattr(swath, "_refuse_unclear", lambda *_args, **_more: None)
    for runs_m2, is_closed in ((10_000, True), (10_001, False)):
        Asked(monkeypatch, runs_m2=runs_m2)
        found = covered([AROUND], swath_m=6.0, error=FixError(3, 60), where="w")
        assert (found.is_closed, found.runs_m2) == (is_closed, 10_000 if is_closed else 0)


@pytest.mark.parametrize(("passes", "is_block"), [(0.95, True), (0.85, False)])
def test_ground_too_narrow_is_refused_as_what_it_is(
    passes: float, is_block: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hectare is narrower than seven errors of 8 m; it is lanes apart only where its passes are few."""
    asked: list[Any] = []

    def refuse(*_args: Any, block: Any, **_more: Any) -> None:
        asked.append(block)
        raise InputError("asked", where="w", mend="none")

    Asked(monkeypatch, passes=passes)
    monkeypatch.setattr(swath, "_refuse_unclear", refuse)
    with pytest.raises(InputError, match="asked"):
        covered([AROUND], swath_m=9.0, error=FixError(8, 60), where="w")
    assert [block is not None and block.area for block in asked] == [10_000 if is_block else False]


def test_what_the_correction_leaves_fades_with_the_square_of_the_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sigma a tenth of the swath, half of the fifth where it is full: a quarter of 2% of a hectare."""
    Asked(monkeypatch)
    found = covered([AROUND], swath_m=10.0, error=FixError(1, 60), where="w")
    assert found.area_sd_m2 == pytest.approx(50, abs=1e-6)
    Asked(monkeypatch, passes=1.3)  # more than one pass leaves no gaps
    assert covered([AROUND], swath_m=10.0, error=FixError(1, 60), where="w").area_sd_m2 == pytest.approx(50, abs=1e-6)


@pytest.mark.parametrize("fixes", [50, 51, 52, 101, 102])
def test_a_long_path_is_covered_whole(fixes: int) -> None:
    way = np.column_stack([np.arange(fixes) * 5.0, np.zeros(fixes)])
    ground, _holes = covered_ground([way], swath_m=1.0)
    # round ends of eight chords a quarter: a polygon of 32 corners
    assert ground.area == pytest.approx((fixes - 1) * 5 + 16 * 0.25 * math.sin(2 * math.pi / 32), rel=1e-9)
    assert len(ground.geoms) == 1


def test_a_lone_fix_has_no_way_and_a_block_of_a_lane_and_a_half_is_a_lane() -> None:
    unclear(box(0, 0, 100, 5), [(0, 0), (100, 0)], swath_m=5.0, block=box(0, 0, 15, 15))  # 2 · 225 / 60: the very 7.5
    with pytest.raises(InputError, match="hardly wider"):
        unclear(box(0, 0, 100, 5), [(0, 0), (100, 0)], swath_m=5.0, block=box(0, 0, 100, 8.13))  # 7.519 m
    lines = [np.array([(7.0, 7.0)]), np.array([(0.0, 0), (100, 0)])]
    swath._refuse_unclear(MultiPolygon([box(0, 0, 100, 5)]), lines, swath_m=5.0, sigma_m=3.0, where="w", block=None)


def test_three_fixes_can_be_thinned() -> None:
    assert len(swath._thinned(np.array([(0.0, 0), (1, 0.1), (2, 0)]), 0.2)) == 2


def test_out_and_back_to_the_very_fix_is_a_place() -> None:
    """A track cut off and switched on again: three fixes, of which receivers that round give the first one twice."""
    lanes = [(x, y) for k in range(8) for x, y in [(6.0 * k, 0.0), (6.0 * k, 90.0)][:: 1 if k % 2 else -1]]
    again = along((20, 40), (20.4, 40), (20, 40))
    assert swath._thinned(again.xy, 0.9).tolist() == swath._thinned(again.xy[:1], 0.9).tolist() == [[20, 40]]
    alone, both = (
        covered(paths, swath_m=6.0, error=FixError(3, 60), where="w")
        for paths in ([along(*lanes)], [along(*lanes), again])
    )
    assert both.ground.area == pytest.approx(alone.ground.area, rel=0.02)
