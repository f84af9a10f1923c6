"""Ground along working tracks: each step of it by a line or two whose figures are known by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
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

    assert (run_m2(6.99, 60), run_m2(7.01, 27.9)) == (0, 0)
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
