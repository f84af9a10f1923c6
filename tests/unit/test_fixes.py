"""The limits of what is dropped from a walk, each by a few fixes at round places and times: figures by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from walk_makers import GRID, MORNING_S, SQUARE, lanes, segment, walk

from habmap.errors import InputError
from habmap.land import tracks
from habmap.land.track_error import FixError
from habmap.land.tracks import CIRCLE_95, Path, Segment, centre_grid, cleaned, utc_clock, within
from habmap.land.walked import walked_ground


def jumps(places: list[tuple[float, float]], *, sigma_m: float, step_s: float = 1.0) -> tuple[list[int], list[str]]:
    """Return which fixes are dropped on foot, and what is said of those that stay."""
    xy, times = np.array(places, dtype=np.float64), np.arange(len(places)) * step_s
    keep, told = tracks._without_jumps(
        xy, times, "walk", sigma_m=sigma_m, travel="foot", clock=lambda time_s: f"{time_s:g} s"
    )
    return np.flatnonzero(~keep).tolist(), told


def along(count: int, *, step_m: float = 3.0) -> list[tuple[float, float]]:
    return [(i * step_m, 0.0) for i in range(count)]


def test_a_grid_s_center_is_the_middle_of_the_fixes_to_a_millionth_of_a_degree() -> None:
    lonlat = np.array([(-98.12345649, 38.76543251)] * 3 + [(0.0, 0.0)])
    grid = centre_grid([Segment("walk", lonlat[:2], np.zeros(2)), Segment("walk", lonlat[2:], np.zeros(2))])
    assert (grid.lon, grid.lat) == (-98.123456, 38.765433)  # the receiver's place at 0°, 0° does not count
    across = centre_grid([Segment("walk", np.array([(179.9, 52.0), (-179.9, 52.0), (180.0, 52.0)]), np.zeros(3))])
    assert abs(across.lon) == pytest.approx(180, abs=1e-6)


def test_a_step_at_the_limit_is_believed_and_a_spike_is_come_back_from_at_it() -> None:
    # 3 m each second is the limit on foot itself; no error allowed for
    places = along(40)
    places[20] = (60.0, 300.0)
    assert jumps(places, sigma_m=0.0) == ([20], [])


@pytest.mark.parametrize(("bad", "dropped"), [(5, [20, 21, 22, 23, 24]), (6, [])])
def test_five_bad_fixes_are_a_spike_and_six_a_jump_that_lasts(bad: int, dropped: list[int]) -> None:
    places = along(80, step_m=1.0)
    places[20 : 20 + bad] = [(x, 300.0) for x, _ in places[20 : 20 + bad]]
    found, told = jumps(places, sigma_m=1.0)
    assert found == dropped
    # there and back: from (19, 0) to (20, 300) and from (25, 300) to (26, 0), √(300² + 1²) m = 984.3 ft
    said = [f"walk: the track jumps 984 ft at {at} s and goes on from there" for at in (20, 26)]
    assert told == ([] if dropped else said)


def test_of_a_short_walk_a_tenth_of_the_fixes_can_be_a_spike() -> None:
    places = along(29, step_m=1.0)
    places[10:13] = [(x, 300.0) for x, _ in places[10:13]]
    assert len(jumps(places, sigma_m=1.0)[1]) == 2  # two of 29
    assert jumps(along(30, step_m=1.0)[:10] + places[10:13] + along(30, step_m=1.0)[13:], sigma_m=1.0)[0] == [
        10,
        11,
        12,
    ]


def test_up_to_five_bad_fixes_at_either_end_are_dropped_and_six_are_a_jump() -> None:
    def wild(first: int, last: int) -> tuple[list[int], int]:
        places = [(x, 300.0 * (i < first or i >= 80 - last)) for i, (x, _) in enumerate(along(80, step_m=1.0))]
        dropped, told = jumps(places, sigma_m=1.0)
        return dropped, len(told)

    assert wild(5, 0) == ([0, 1, 2, 3, 4], 0)
    assert wild(6, 0) == ([], 1)
    assert wild(0, 5) == ([75, 76, 77, 78, 79], 0)
    assert wild(0, 6) == ([], 1)


def test_of_eight_fixes_one_can_be_a_spike() -> None:
    places = along(8, step_m=1.0)
    places[4] = (4.0, 300.0)
    assert jumps(places, sigma_m=1.0) == ([4], [])


def test_a_walk_is_doubted_where_more_than_two_steps_in_five_are_too_fast() -> None:
    # over 3 + 3·√2 m a second: out 10 m and back, then three steps of a meter; in half a minute nobody gets far
    fives = [(float(3 * n + max(0, at - 2)), 10.0 * (at == 1)) for n in range(100) for at in range(5)]
    assert len(jumps([*fives, (300.0, 0.0)], sigma_m=1.0)[0]) == 100  # 200 of 500 steps
    with pytest.raises(InputError, match="again and again") as refused:
        jumps([*fives, (300.0, 0.0), (300.0, 10.0)], sigma_m=1.0)  # 201 of 501
    assert refused.value.value == "a tenth of it above 22 mph"  # 10 m/s


def test_more_than_three_jumps_are_told_together_and_more_than_a_twentieth_of_the_fixes_refused() -> None:
    def leaping(count: int, times: int) -> list[tuple[float, float]]:
        """Move to another line ``times`` times, ten fixes on each, each time 10 m farther than the last."""
        at = np.minimum(np.arange(count) // 10, times)
        return [(float(i), float(200 * n + 5 * n * (n - 1))) for i, n in enumerate(at)]

    # a fix each 20 s: at most 60 m from one to the next
    assert len(jumps(leaping(100, 3), sigma_m=1.0, step_s=20)[1]) == 3
    assert len(jumps(leaping(100, 4), sigma_m=1.0, step_s=20)[1]) == 1
    dropped, told = jumps(leaping(100, 5), sigma_m=1.0, step_s=20)  # 5 of 100 is the share itself
    # the last is 200 + 40 m up and 1 m on: 787.4 ft
    assert (dropped, told) == ([], ["walk: the track jumps 5 times, by up to 787 ft, and goes on"])
    with pytest.raises(InputError, match="again and again"):
        jumps(leaping(100, 6), sigma_m=1.0, step_s=20)


@pytest.mark.parametrize(("timed", "is_used"), [(8, True), (7, False)])
def test_times_are_used_where_four_in_five_fixes_have_one(timed: int, is_used: bool) -> None:
    times = np.arange(10.0)
    times[timed:] = np.nan
    assert tracks._is_timed(times) is is_used


def test_times_are_used_where_a_tenth_of_them_and_two_at_least_differ() -> None:
    assert tracks._is_timed(np.array([5.0, 6.0]))
    assert not tracks._is_timed(np.array([5.0]))
    assert tracks._is_timed(np.repeat([1.0, 2.0, 3.0], 10))
    assert not tracks._is_timed(np.repeat([1.0, 2.0], [15, 15]))


def test_one_wrong_clock_reading_costs_one_fix_and_equal_times_none() -> None:
    kept = tracks._in_time_order(np.array([0.0, 5, 5, np.nan, 90, 10, 15, 15]))
    assert kept.tolist() == [True, True, True, True, False, True, True, True]
    assert tracks._in_time_order(np.array([np.nan, np.nan])).all()


def test_a_walk_without_times_takes_a_second_for_a_meter() -> None:
    path = cleaned(
        segment(np.array([(0.0, 0), (3, 4), (3, 16), (0, 20)])), grid=GRID, sigma_m=3, travel="foot", after_s=100.0
    ).path
    assert path.time_s == pytest.approx([100, 105, 117, 122], abs=1e-6)
    assert (path.has_times, path.length_m) == (False, pytest.approx(22, abs=1e-6))


@pytest.mark.parametrize(
    ("step_m", "off_m", "is_dropped"),
    [(5.0, 101, True), (5.0, 99, False), (30.0, 590, False), (30.0, 612, True)],
    ids=["100 m", "less", "under twenty steps", "over twenty steps"],
)
def test_without_times_a_fix_far_off_both_neighbors_is_dropped(step_m: float, off_m: float, is_dropped: bool) -> None:
    xy = np.array(along(11, step_m=step_m))
    xy[5, 1] = off_m
    assert np.flatnonzero(~tracks._without_spikes(xy)).tolist() == ([5] if is_dropped else [])


def test_without_times_the_nearer_neighbor_decides_and_a_corner_stays() -> None:
    xy = np.array(along(11, step_m=5.0))
    xy[5] = (25.0, 98.0)
    xy[6:] += (0.0, -30.0)  # 98.1 m from the one, 128.1 m from the other, which lie 31.6 m apart
    assert tracks._without_spikes(xy).all()
    far = np.array([*along(6, step_m=5.0), (25.0, 150.0), (120.0, 0.0), *((120.0 + 5 * i, 0.0) for i in range(1, 6))])
    assert tracks._without_spikes(far).all()  # 150 m off, but its neighbors lie 95 m apart: more than half of it
    assert tracks._without_spikes(np.array([(0.0, 0), (0, 500), (1, 0), (2, 0)])).all()  # four fixes show no usual step


def paused(places: list[tuple[float, float]], times: list[float]) -> tuple[list[list[float]], list[float]]:
    path = Path("walk", np.array(places, dtype=np.float64), np.array(times, dtype=np.float64), True)
    drawn = tracks._pauses_drawn_together(path, radius_m=10.0, drift_m=6.0)
    return drawn.xy.tolist(), drawn.time_s.tolist()


def test_a_minute_in_one_ball_becomes_its_middle_and_less_stays() -> None:
    ball = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)]
    on = [(100.0, 0.0), (200.0, 0.0)]
    assert paused([*ball, *on], [0, 20, 40, 60, 100, 200]) == ([[0.5, 0.5], [100, 0], [200, 0]], [30, 100, 200])
    assert paused([*ball, *on], [0, 20, 40, 59, 100, 200])[1] == [0, 20, 40, 59, 100, 200]
    assert len(paused([(0, 0), (1, 0), *on], [0, 90, 200, 300])[1]) == 4  # two fixes are no ball


def test_who_moves_on_slowly_does_not_pause() -> None:
    # the means of the halves lie 7 m apart, over the 6 m of an error: (0 + 2)/2 and (7 + 9)/2
    slow = [(0.0, 0.0), (2.0, 0.0), (7.0, 0.0), (9.0, 0.0), (60.0, 0.0)]
    assert paused(slow, [0, 20, 40, 60, 120])[1] == [0, 20, 40, 60, 120]
    # and 6 m apart: a pause
    still = [(0.0, 0.0), (2.0, 0.0), (6.0, 0.0), (8.0, 0.0), (60.0, 0.0)]
    assert paused(still, [0, 20, 40, 60, 120]) == ([[4, 0], [60, 0]], [30, 120])


def test_a_stretch_of_a_minute_that_is_too_fast_is_refused_and_a_shorter_one_not() -> None:
    """On foot to a truck, 4 m/s in it, on foot again."""

    def clean(seconds: int) -> None:
        steps_m = [1.0] * 400 + [4.0] * seconds + [1.0] * 400
        xy = np.column_stack([np.concatenate([[0.0], np.cumsum(steps_m)]), np.zeros(len(steps_m) + 1)])
        cleaned(segment(xy, MORNING_S + np.arange(len(xy))), grid=GRID, sigma_m=3.0, travel="foot")

    # Half a minute with k seconds of it is 30 + 3k m long, and too fast over 30 · 3 + 3 · 4.243 = 102.7 m: from k = 25
    # on. So what is too fast begins 5 s before the ride and ends 5 s after it.
    clean(49)
    with pytest.raises(InputError, match="part of this walk is faster") as refused:
        clean(50)
    assert refused.value.value == "9 mph from 15:06:35 UTC to 15:07:35 UTC"  # 4 m/s; from 395 s to 455 s
    assert refused.value.allowed == "7 mph by foot"  # 3 m/s
    assert "--travel vehicle" in str(refused.value.mend)


def test_a_window_keeps_what_lies_in_it_and_says_from_when_to_when_the_walk_runs() -> None:
    xy, times = walk(SQUARE)
    timed = segment(xy, times)
    times = times.copy()
    untimed = Segment("b", timed.lonlat[:2], np.array([np.nan, times[0]]))
    first, last = times[10], times[19]
    (kept,) = within([timed, untimed], keeps=lambda s: first <= s <= last, clock=utc_clock, window="w")
    assert kept.time_s.tolist() == times[10:20].tolist()
    with pytest.raises(InputError, match="no fix of this walk") as refused:
        within([timed], keeps=lambda s: False, clock=utc_clock, window="w")
    assert refused.value.allowed == f"the walk runs from 15:00:00 UTC to {utc_clock(times[-1])}"
    with pytest.raises(InputError, match="no times to cut by"):
        within([segment(xy)], keeps=lambda s: True, clock=utc_clock, window="w")


def test_the_radii_of_the_errors_are_those_of_the_normal_distribution() -> None:
    # Rayleigh distribution, from memory: 1 − e^(−r²/2) of two axes lie within r sigmas
    assert 1 - math.exp(-(CIRCLE_95**2) / 2) == pytest.approx(0.95)
    assert 1 - math.exp(-(tracks.BALL_SIGMAS**2) / 2) == pytest.approx(0.998, abs=5e-4)


def test_one_chain_that_is_work_makes_the_whole_a_working_track() -> None:
    ring_xy, ring_s = walk(SQUARE)
    work_xy, work_s = walk(lanes(6), closed=False)
    both = [segment(ring_xy, ring_s), segment(work_xy + np.array([600.0, 0.0]), ring_s[-1] + 60 + work_s - work_s[0])]
    covered = walked_ground(both, grid=GRID, error=FixError(3, 60), close_gap_m=15.24, swath_m=4.0)
    assert covered.kind == "working track"
    with pytest.raises(InputError, match="instead of going around"):
        walked_ground(both, grid=GRID, error=FixError(3, 60), close_gap_m=15.24)


def dropped_at(off_m: float, *, travel: tracks.Travel, sigma_m: float = 0.0) -> bool:
    """Stand still with a fix each half minute, the 50th so far off: is it dropped?"""
    xy = np.zeros((100, 2))
    xy[50, 1] = off_m
    keep, _told = tracks._without_jumps(
        xy, np.arange(100) * 30.0, "walk", sigma_m=sigma_m, travel=travel, clock=utc_clock
    )
    assert keep.sum() >= 99
    return not keep[50]


@pytest.mark.parametrize(
    ("travel", "sigma_m", "limit_m"), [("foot", 0.0, 90.0), ("vehicle", 0.0, 360.0), ("foot", 10.0, 90 + 42.426)]
)
def test_how_far_one_gets_in_half_a_minute(travel: tracks.Travel, sigma_m: float, limit_m: float) -> None:
    """3 m/s on foot and 12 m/s by vehicle, and 3·√2 sigmas for the errors of two fixes."""
    assert not dropped_at(limit_m - 0.01, travel=travel, sigma_m=sigma_m)
    assert dropped_at(limit_m + 0.1, travel=travel, sigma_m=sigma_m)


def test_two_fifths_and_a_twentieth_to_a_thousandth() -> None:
    def spikes(*, last_m: float) -> None:
        xy = np.zeros((1001, 2))
        xy[2::5, 1] = 500.0
        xy[-1, 1] = last_m
        tracks._without_jumps(xy, np.arange(1001) * 40.0, "walk", sigma_m=1.0, travel="foot", clock=utc_clock)

    spikes(last_m=0.0)  # 400 of 1,000 steps
    with pytest.raises(InputError, match="again and again"):
        spikes(last_m=500.0)  # and one

    def leaps(count: int, fixes: int) -> None:
        # to another line each fifteen fixes
        xy = np.column_stack([np.zeros(fixes), 500.0 * np.minimum(np.arange(fixes) // 15, count)])
        tracks._without_jumps(xy, np.arange(fixes) * 40.0, "walk", sigma_m=1.0, travel="foot", clock=utc_clock)

    leaps(20, 400)  # a twentieth itself
    with pytest.raises(InputError, match="again and again"):
        leaps(20, 399)
    leaps(3, 58)  # three are always taken
    with pytest.raises(InputError, match="again and again"):
        leaps(4, 79)


def test_eight_fixes_are_too_few_to_doubt_the_way_of_travel_and_nine_are_not() -> None:
    driven = [(0.0, 0.0)] + [(1000.0 * (i % 2), 0.0) for i in range(8)]
    assert jumps(driven[:8], sigma_m=1.0)[1] == []
    with pytest.raises(InputError, match="again and again"):
        jumps(driven, sigma_m=1.0)


def test_of_speeds_from_0_to_100_a_tenth_lies_above_90() -> None:
    said = tracks._travel_doubt(np.arange(101.0), np.ones(101), where="walk", travel="vehicle")
    assert said.value == "a tenth of it above 201 mph"  # 90 m/s at 2.23694
    assert said.allowed == "27 mph by vehicle"  # 12 m/s
    assert said.mend == "cut the drive off with --from HH:MM --to HH:MM"


def test_a_spike_ends_with_a_leap_back() -> None:
    # off by 300 m, and slowly home: from 300 m back to within reach, a step at a time
    places = along(80, step_m=1.0)
    for at, off_m in zip(range(40, 44), (8.0, 6.0, 4.0, 2.0), strict=True):
        places[at] = (places[at][0], off_m)
    # 8 m and 1 m on are more than 3 + 3·√2 m; the next three come back smoothly, and the first of them within reach
    dropped, told = jumps(places, sigma_m=1.0)
    assert (dropped, len(told)) == ([], 1)
    places[41:44] = along(80, step_m=1.0)[41:44]
    assert jumps(places, sigma_m=1.0) == ([40], [])


def test_a_lasting_speed_is_that_over_half_a_minute() -> None:
    xy, time_s = np.column_stack([np.arange(6) * 100.0, np.zeros(6)]), np.arange(6) * 30.0
    start, end, is_fast = tracks._fast_stretches(xy, time_s, 3.0, 0.0)
    assert (start.tolist(), end.tolist(), is_fast.tolist()) == ([0, 1, 2, 3, 4], [1, 2, 3, 4, 5], [True] * 5)
    assert tracks._sustained_frac(xy, time_s, 3.0, 0.0) == 1.0
    assert not tracks._fast_stretches(xy * 0.9, time_s, 3.0, 0.0)[2].any()  # 90 m in 30 s is the limit itself
    # and 3·√2 sigmas more for the errors of its two ends: 90 m + 10 m at 2.357 m
    assert tracks._fast_stretches(xy, time_s, 3.0, 2.355)[2].all()
    assert not tracks._fast_stretches(xy, time_s, 3.0, 2.359)[2].any()
    assert tracks._sustained_frac(xy[:1], time_s[:1], 3.0, 0.0) == 0.0


@pytest.mark.parametrize(("fast", "step_m", "is_refused"), [(2, 91.0, True), (1, 91.0, False), (2, 90.0, False)])
def test_a_minute_itself_of_speeds_over_the_limit_is_a_drive(fast: int, step_m: float, is_refused: bool) -> None:
    steps_m = np.array([10.0] * 5 + [step_m] * fast + [10.0] * 5)
    xy = np.column_stack([np.concatenate([[0.0], np.cumsum(steps_m)]), np.zeros(len(steps_m) + 1)])

    def look() -> None:
        tracks._refuse_fast(
            xy, np.arange(len(xy)) * 30.0, "walk", sigma_m=0.0, travel="foot", clock=lambda s: f"{s:05.0f}"
        )

    if is_refused:
        with pytest.raises(InputError) as refused:
            look()
        assert refused.value.value == "7 mph from 00150 to 00210"  # 3.03 m/s
        # what is left is the same before and after; the first, with half a stretch of the drive
        assert "--from 00000 --to 00165" in str(refused.value.mend)
    else:
        look()


def test_of_several_drives_the_window_lies_around_the_longest_rest() -> None:
    def window(*drives: tuple[float, float]) -> str:
        return tracks._longest_rest([(a, b, 9.0) for a, b in drives], 100.0, 1000.0, lambda s: f"{s:05.0f} UTC")

    assert window((200, 300), (400, 500)) == "--from 00485 --to 01000"
    assert window((200, 300), (800, 900)) == "--from 00285 --to 00815"
    assert (
        window(
            (700, 800),
        )
        == "--from 00100 --to 00715"
    )
    assert window((105, 110), (900, 990)) == "--from 00100 --to 00915"  # never before the walk begins, or after its end
    assert window((110, 120), (995, 999)) == "--from 00105 --to 01000"


def test_fixes_in_order_are_as_many_as_can_be() -> None:
    """Against all subsets."""
    rng = np.random.default_rng(4)
    for _ in range(40):
        times = rng.integers(0, 6, size=8).astype(float)
        times[rng.random(8) < 0.2] = np.nan
        kept = tracks._in_time_order(times)
        assert kept[np.isnan(times)].all()
        chosen = times[kept & ~np.isnan(times)]
        assert (np.diff(chosen) >= 0).all()
        timed = times[~np.isnan(times)]
        subsets = (timed[[bool(which >> i & 1) for i in range(len(timed))]] for which in range(2 ** len(timed)))
        assert len(chosen) == max(len(some) for some in subsets if (np.diff(some) >= 0).all())


def made(times: list[float], *, off: list[tuple[float, float]] | None = None, after_s: float = 0.0) -> tracks.Cleaned:
    """Clean fixes a meter apart along a line, or the places given, with such times."""
    xy = np.array(off if off else [(float(i), 0.0) for i in range(len(times))])
    return cleaned(segment(xy, np.array(times)), grid=GRID, sigma_m=3, travel="foot", after_s=after_s)


def test_half_of_the_fixes_may_be_out_of_order_and_no_more() -> None:
    assert made([6, 7, 8, 9, 10, 1, 2, 3, 4, 5]).dropped == {tracks.OUT_OF_ORDER: 5}
    with pytest.raises(InputError, match="most fixes are out of time order") as refused:
        made([7, 8, 9, 10, 4, 5, 6, 1, 2, 3])
    assert refused.value.value == "6 of 10 fixes"


def test_times_not_used_are_told_and_none_at_all_are_not() -> None:
    nan = math.nan
    assert made([nan] * 10, after_s=7.0).notes == ()
    assert cleaned(segment(np.eye(2) * 9), grid=GRID, sigma_m=3, travel="foot").path.time_s[0] == 0.0
    assert made([nan] * 10, after_s=7.0).path.time_s[:2].tolist() == [7.0, pytest.approx(8.0, abs=1e-6)]
    some = made([5.0, 6.0, *[nan] * 8], after_s=7.0)
    assert len(some.notes) == 1 and "missing or all alike" in some.notes[0]
    assert some.path.time_s[0] == 7.0 and not some.path.has_times
    # a fix without a time lies between its neighbors'
    assert made([0.0, 1, 2, 3, nan, 5, 6, 7, 8, 9]).path.time_s.tolist() == list(range(10))


def test_without_times_nobody_pauses() -> None:
    """Round and round on 5 m: within one ball for minutes, at a meter a second."""
    turns = [(5 * math.cos(i / 5), 5 * math.sin(i / 5)) for i in range(200)]
    assert not made([math.nan] * 200, off=turns).dropped
    assert made([float(i) for i in range(200)], off=turns).dropped[tracks.PAUSE] == 199


@pytest.mark.parametrize(("differing", "known", "is_used"), [(10, 100, True), (9, 100, False), (2, 4, True)])
def test_a_tenth_of_the_times_differ(differing: int, known: int, is_used: bool) -> None:
    assert tracks._is_timed(np.arange(known) % differing + 0.0) is is_used


def test_without_times_the_limits_to_a_hundredth() -> None:
    def is_dropped(places: list[tuple[float, float]]) -> bool:
        here, elsewhere = (tracks._without_spikes(np.array(places) + by)[2] for by in (0, np.array([3000, -7000])))
        assert here == elsewhere
        return not here

    for off_m, wanted in ((100.4, True), (100.0, False), (99.9, False)):
        assert is_dropped([(0, 0), (1, 0), (1, off_m), (2, 0), (3, 0), (4, 0)]) is wanted
    for off_m, wanted in ((201.0, True), (199.0, False)):  # twenty steps of 10 m
        assert is_dropped([(0, 0), (10, 0), (15, off_m), *((10.0 * i, 0.0) for i in range(2, 9))]) is wanted
    # out and back 300 m to places 149 m or 151 m apart
    for apart_m, wanted in ((149.0, True), (151.0, False)):
        out = (apart_m / 2, (300**2 - apart_m**2 / 4) ** 0.5)
        assert is_dropped([(-10, 0), (0, 0), out, (apart_m, 0), *((apart_m + i, 0.0) for i in range(1, 9))]) is wanted


def test_a_pause_begins_within_a_quarter_of_a_ball() -> None:
    """Ten seconds a meter, a fix a second, to (20, 0), and there for 200 s; balls of 3.52 m that lead 2 m or more on.

    A ball holds 70 fixes on the way: the next would lie (70 + 1)/2 steps of 0.1 m off their mean. It leads on by 3.5 m,
    and the next is begun 17 fixes on, a quarter of 70: at 0, 17, … 119, which reaches to 188. That of 136 has 65 fixes
    on the way, 3.2 m off at most, and stays for the rest: a first half (132 fixes) about 18.4, a second at 20.
    """
    xy = np.column_stack([np.minimum(np.arange(401) * 0.1, 20), np.zeros(401)])
    drawn = tracks._pauses_drawn_together(Path("walk", xy, np.arange(401.0), True), radius_m=3.52, drift_m=2.0)
    assert len(drawn.xy) == 137
    assert drawn.time_s[-2:].tolist() == [135, (136 + 400) / 2]
    assert drawn.xy[-1] == pytest.approx(((65 * 16.8 + 200 * 20) / 265, 0))


def test_a_ball_of_three_fixes_is_looked_past_by_one() -> None:
    # 2 m each half minute, and still from the third on: the first three lead on, the next is drawn with the pause
    xy = np.array([(0.0, 0), (2, 0), (4, 0), *[(4.0, 0.0)] * 4])
    xy[2] = (5.0, 0.0)
    drawn = tracks._pauses_drawn_together(Path("w", xy, np.arange(7) * 30.0, True), radius_m=3.5, drift_m=2.0)
    assert drawn.xy[0].tolist() == [0, 0]


def test_cleaning_measures_pauses_by_its_sigma() -> None:
    """Four fixes in a minute: balls of 3.5 sigmas, whose halves lie within two."""

    def drawn(*east_m: float) -> int:
        places = [(x, 0.0) for x in (*east_m, 100.0, 150.0, 200.0)]
        return made([0.0, 20, 40, 60, 120, 180, 240], off=places).dropped[tracks.PAUSE]

    # the last is 10.4 m or 10.6 m off the mean of the others (sigma 3 m: 10.5 m), which goes to and fro about 0
    assert (drawn(0, 3, -3, 10.4), drawn(0, 3, -3, 10.6)) == (3, 0)
    # halves 5.9 m or 6.1 m apart
    assert (drawn(0, 0.1, 5.9, 6.0), drawn(0, 0.1, 6.05, 6.15)) == (3, 0)
