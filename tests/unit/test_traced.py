"""What is said of a walk, what units leave of it and which day it gives the work, on a square of ten acres."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta, timezone

import numpy as np
import pytest
import shapely
from fakes import unit
from shapely import MultiPolygon, Polygon, box
from walk_makers import GRID, MORNING_S, SIDE_M, SQUARE, segment, walk

from habmap.errors import InputError, UsageError
from habmap.land.track_error import FixError
from habmap.land.tracks import Segment
from habmap.land.walked import WalkedGround
from habmap.measures import M2_PER_ACRE
from habmap.work.traced import (
    DroppedFixes,
    TracedGround,
    Window,
    _place_notes,
    _result,
    checked_swath_ft,
    ground_of_walk,
    known_travel,
    refuse_clash,
    walk_on,
    without_neighbors,
)

#: Morning of March 14 in Kansas.
KANSAS = timezone(timedelta(hours=-5))


def square_walk() -> Segment:
    return segment(*walk(SQUARE))


def traced(*segments: Segment, **fields: object) -> TracedGround:
    content: dict[str, object] = {
        "grid": GRID, "error": FixError(3.0, 60.0), "close_gap_m": 30.0, "swath_ft": None, "travel": "foot",
        "window": None, "zone": KANSAS,
    }  # fmt: skip
    return ground_of_walk(segments or (square_walk(),), **(content | fields))  # type: ignore[arg-type]


def drawn(shape: Polygon) -> TracedGround:
    """Return ground as if it had been walked, its outline drawn in grid meters."""
    return replace(traced(), patch=MultiPolygon([GRID.to_lonlat(shape)]))


def test_a_walk_round_ten_acres_says_so() -> None:
    found = traced()
    said = found.result
    # The fixes stand on the edge; the last of them some meters short of the start, which a straight line closes.
    assert said.acres == pytest.approx(10.0, rel=2e-3)
    assert said.geodesic_acres == pytest.approx(said.acres, rel=1e-6)
    assert said.perimeter_m == pytest.approx(4 * SIDE_M, rel=5e-3)
    assert (said.fixes, said.kept_fixes, said.dropped_fixes, said.dropped) == (len(square_walk().lonlat),) * 2 + (0, ())
    assert (said.unit_id, said.is_added, said.swath_ft, said.travel) == (None, False, None, "foot")
    assert said.started_at == datetime(2026, 3, 14, 15, tzinfo=UTC)
    assert said.ended_at == said.started_at + timedelta(seconds=4 * (said.fixes - 1))
    assert said.geometry["type"] == "Polygon"
    assert not any("weak" in note or "miles" in note for note in said.notes)
    outline = shapely.geometry.shape(said.geometry)
    assert GRID.to_grid(outline).area / M2_PER_ACRE == pytest.approx(said.acres, rel=1e-9)


def test_two_rings_apart_are_a_multipolygon() -> None:
    xy, times = walk(SQUARE)
    found = traced(segment(xy, times), segment(xy + 1000.0, times + 4000.0))
    assert found.result.geometry["type"] == "MultiPolygon" and len(found.patch.geoms) == 2
    assert found.result.acres == pytest.approx(20.0, rel=2e-3)
    assert (found.result.started_at, found.result.ended_at) == tuple(
        datetime.fromtimestamp(at, UTC) for at in (times[0], times[-1] + 4000)
    )


def test_fixes_without_times_have_no_moments() -> None:
    said = traced(segment(walk(SQUARE)[0])).result
    assert (said.started_at, said.ended_at) == (None, None)


def test_weak_acres_and_a_walk_far_from_the_property_are_pointed_out() -> None:
    little = [(x / 20, y / 20) for x, y in SQUARE]  # 10 m a side with fixes that err by 3 m
    small = traced(segment(*walk(little, speed_mps=0.25)), error=FixError(3.0, 60.0)).result
    assert small.acres_sd is not None and small.acres_sd > small.acres / 10
    assert "the acres are weak: the fixes' error is more than a tenth of them" in small.notes
    xy, times = walk(SQUARE)
    mile_m = 1609.344
    notes = [traced(segment(xy + np.array([miles * mile_m, 0.0]), times)).result.notes for miles in (29.9, 30.1)]
    told = "this walk begins 30 miles from the middle of the property: is it the right file?"
    assert [told in some for some in notes] == [False, True]


def test_only_fixes_in_the_window_of_the_local_day_count() -> None:
    xy, times = walk(SQUARE)
    early = segment(xy[:20] + 500.0, times[:20] - 3600.0)
    both = (early, segment(xy, times))
    found = traced(*both, window=Window(start=time(10)))
    assert found.result.acres == pytest.approx(10.0, rel=2e-3)
    assert found.result.started_at == datetime.fromtimestamp(MORNING_S, UTC)
    assert found.result.fixes == len(xy)
    with pytest.raises(InputError, match="from 11:00"):
        traced(*both, window=Window(start=time(11)))
    assert traced(square_walk(), window=Window()).result == traced().result


@pytest.mark.parametrize(
    ("start", "end", "inside", "words"),
    [
        (time(9), time(11), [False, True, True, True, False, False], "from 09:00 to 11:00"),
        (time(9), None, [False, True, True, True, True, True], "from 09:00"),
        (None, time(11), [True, True, True, True, False, False], "to 11:00"),
        (time(23), time(9), [True, True, False, False, False, True], "from 23:00 to 09:00"),
    ],
)
def test_windows_hold_both_their_minutes(start: time | None, end: time | None, inside: list[bool], words: str) -> None:
    window = Window(start, end)
    moments = [time(8, 59, 59), time(9), time(10), time(11, 0, 59), time(11, 1), time(23)]
    assert [window.holds(moment) for moment in moments] == inside
    assert str(window) == words


def test_swaths_and_ways_of_travel_that_cannot_be_are_refused() -> None:
    assert [checked_swath_ft(one) for one in (None, 0.5, 1000.0)] == [None, 0.5, 1000.0]
    for wrong in (0.0, -1.0, 1000.1, float("nan")):
        with pytest.raises(UsageError, match="a swath is a breadth in feet"):
            checked_swath_ft(wrong)
    assert [known_travel(one) for one in ("foot", "vehicle")] == ["foot", "vehicle"]
    with pytest.raises(UsageError, match="no way of travel"):
        known_travel("horse")


def test_a_walk_along_a_neighbor_is_cut_at_its_edge_and_strips_are_dropped() -> None:
    ground = drawn(box(0, 0, 200, 200))
    # The neighbor holds the western 50 m but for a strip 2 m wide on the walk's own edge, which 3 m of error can make.
    neighbor, away = unit("N", box(2, -10, 50, 210), grid=GRID), unit("F", box(900, 0, 950, 50), grid=GRID)
    left = without_neighbors(ground, [neighbor, away], grid=GRID, strip_m=3.0)
    assert GRID.to_grid(left.patch).area == pytest.approx(150 * 200, abs=0.01)
    assert left.result.acres == pytest.approx(150 * 200 / M2_PER_ACRE, rel=1e-6)
    assert left.result.geodesic_acres == pytest.approx(left.result.acres, rel=1e-6)
    assert left.result.perimeter_m == pytest.approx(700, abs=0.01)
    assert left.result.geometry["type"] == "Polygon"
    assert left.result.notes[len(ground.result.notes) :] == (
        f"{48 * 200 / M2_PER_ACRE:.2f} acres that neighboring units hold were cut off",
        "1 strips along them, narrower than the GPS error and together "
        f"{2 * 200 / M2_PER_ACRE:.3f} acres, were dropped",
    )
    wide = without_neighbors(ground, [neighbor], grid=GRID, strip_m=1.9)
    assert wide.result.geometry["type"] == "MultiPolygon"
    assert len(wide.result.notes) == len(ground.result.notes) + 1
    assert without_neighbors(ground, [away], grid=GRID, strip_m=3.0) is ground


@pytest.mark.parametrize(("held_m", "fits"), [(99.0, True), (101.0, False)])
def test_at_least_half_of_the_walk_must_be_left(held_m: float, fits: bool) -> None:
    ground, neighbor = drawn(box(0, 0, 200, 200)), unit("N", box(-10, -10, held_m, 210), grid=GRID)
    if fits:
        assert without_neighbors(ground, [neighbor], grid=GRID, strip_m=3.0).result.acres == pytest.approx(
            101 * 200 / M2_PER_ACRE, rel=1e-5
        )
        return
    with pytest.raises(InputError) as refused:
        without_neighbors(ground, [neighbor], grid=GRID, strip_m=3.0)
    assert refused.value.value == f"{101 * 200 / M2_PER_ACRE:.2f} of {200 * 200 / M2_PER_ACRE:.2f} acres"


def test_a_walked_unit_on_another_s_name_or_ground_is_refused() -> None:
    new = unit("A", box(0, 0, 100, 100), grid=GRID)
    beside, other = unit("B", box(100, 0, 200, 100), grid=GRID), unit("C", box(500, 0, 600, 100), grid=GRID)
    over = unit("D", box(-50, 80, 150, 300), grid=GRID)
    refuse_clash(new, [beside, other], grid=GRID)
    refuse_clash(new, [], grid=GRID)
    refuse_clash(new, [over], grid=None)
    with pytest.raises(InputError, match="a unit of this name"):
        refuse_clash(new, [other, unit("A", box(700, 0, 800, 100), grid=GRID)], grid=None)
    with pytest.raises(InputError, match="overlaps units") as refused:
        refuse_clash(new, [beside, other, over], grid=GRID)
    assert refused.value.value == f"D by {2000 / M2_PER_ACRE:.2f} acres"
    # two that were there before and lie over each other are not the walk's doing
    refuse_clash(new, [beside, unit("E", box(99.99, 50, 200, 90), grid=GRID)], grid=GRID)


def test_a_neighbor_s_edge_of_ten_kilometers_is_straight_where_acres_are_measured() -> None:
    """In lon/lat it would run 1.5 m farther south halfway, off the walk that lies 40 cm over it."""
    neighbor, shape = unit("N", box(-5000, 0, 5000, 100), grid=GRID), box(-50, 99.6, 50, 200)
    new = unit("A", shape, grid=GRID)
    assert not new.geometry.intersects(neighbor.geometry)
    with pytest.raises(InputError, match="overlaps units") as refused:
        refuse_clash(new, [neighbor], grid=GRID)
    assert refused.value.value == "N by 0.01 acres"
    left = without_neighbors(drawn(shape), [neighbor], grid=GRID, strip_m=0.1)
    assert left.result.acres == pytest.approx(100 * 100 / M2_PER_ACRE, rel=1e-5)


def on(ground: TracedGround, day: date | None) -> Sequence[object]:
    found = walk_on(ground, day=day, unit_ids=("A",), zone=KANSAS)
    assert (found.patch, found.unit_ids, found.acres_sd) == (ground.patch, ("A",), ground.result.acres_sd)
    return found.day, found.notes


def test_the_work_has_the_walk_s_own_local_day_or_the_one_given() -> None:
    ground = traced()
    bare = replace(ground, result=replace(ground.result, notes=("n",)))
    day = date(2026, 3, 14)
    said = ("the walk looks like an edge walk", "n")
    assert on(bare, None) == (day, (*said, "the work is dated 2026-03-14, the day of the walk"))
    assert on(bare, day) == (day, said)
    later = date(2026, 3, 15)
    assert on(bare, later) == (later, (*said, "the walk was recorded on 2026-03-14, the work is dated 2026-03-15"))
    earlier = date(2026, 3, 13)
    assert on(bare, earlier)[1][-1] == "the walk was recorded on 2026-03-14, the work is dated 2026-03-13"  # type: ignore[index]


def test_a_walk_over_two_local_days_or_without_times_leaves_the_day_to_the_person() -> None:
    dropped = (DroppedFixes(reason="alone", count=1), DroppedFixes(reason="stray", count=2))
    result = replace(traced().result, kind="working track", notes=(), dropped_fixes=3, fixes=40, dropped=dropped)
    # 23:00 to 01:00 in Kansas: one day of UTC, two of the place
    night = replace(
        result, started_at=datetime(2026, 3, 15, 4, tzinfo=UTC), ended_at=datetime(2026, 3, 15, 6, tzinfo=UTC)
    )
    ground = replace(traced(), result=night)
    with pytest.raises(InputError, match="more than one day") as refused:
        on(ground, None)
    assert refused.value.value == "2026-03-14 to 2026-03-15"
    said = ("the walk looks like a working track", "3 of 40 fixes were left out: 1 alone, 2 stray")
    for day in (date(2026, 3, 14), date(2026, 3, 15)):
        assert on(ground, day) == (day, said)
    without = replace(ground, result=replace(result, started_at=None, ended_at=None))
    with pytest.raises(InputError, match="no times"):
        on(without, None)
    assert on(without, date(2020, 1, 1)) == (date(2020, 1, 1), said)


def test_fixes_that_were_left_out_are_counted_by_reason() -> None:
    xy, times = walk(SQUARE)
    far = np.vstack([xy[:30], [[5000.0, 5000.0]], xy[30:]])
    said = traced(segment(far, np.concatenate([times[:30], [times[30] - 2.0], times[30:]]))).result
    assert (said.fixes, said.kept_fixes, said.dropped_fixes) == (len(xy) + 1, len(xy), 1)
    assert Counter({one.reason: one.count for one in said.dropped}).total() == 1


def test_a_walk_twice_round_says_so_and_one_round_does_not() -> None:
    twice = traced(segment(*walk([*SQUARE, *SQUARE]))).result
    assert twice.acres == pytest.approx(10.0, rel=5e-3)
    said = "the walk goes round more than once: the outer edge counts"
    assert said in twice.notes and said not in traced().result.notes


def test_pauses_are_left_out_of_an_edge_and_not_of_a_swath() -> None:
    """Ten minutes in one place in the middle of the first side, or of a lane."""

    def paused(corners: list[tuple[float, float]], *, closed: bool) -> Segment:
        xy, times = walk(corners, closed=closed)
        stand = np.repeat(xy[20:21], 150, axis=0) + np.random.default_rng(3).normal(0, 0.3, (150, 2))
        later = times[20] + 4.0 * np.arange(1, 151)
        return segment(np.vstack([xy[:21], stand, xy[21:]]), np.concatenate([times[:21], later, times[21:] + 600.0]))

    edge = traced(paused(list(SQUARE), closed=True)).result
    assert edge.acres == pytest.approx(10.0, rel=5e-3) and edge.dropped_fixes > 100
    lane = [(0.0, 0.0), (400.0, 0.0)]
    swath = traced(paused(lane, closed=False), swath_ft=30.0, error=FixError(1.0, 60.0)).result
    assert swath.acres == pytest.approx(9.144 * (400 + 9.144 * 0.785) / M2_PER_ACRE, rel=0.03)
    assert swath.dropped_fixes < 5


def test_a_window_of_one_minute_holds_that_minute_alone() -> None:
    one = Window(time(10), time(10))
    assert [one.holds(moment) for moment in (time(9, 59), time(10), time(10, 0, 59), time(10, 1))] == [
        False, True, True, False,
    ]  # fmt: skip


def test_a_walk_is_far_from_thirty_miles_on_whichever_way() -> None:
    limit_m = 30 * 1609.344
    for way in ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)):
        for over_m in (-0.4, 0.4):
            walk_there = segment(np.array([way, way]) * (limit_m + over_m))
            assert len(_place_notes([walk_there], GRID)) == (over_m > 0)


def test_acres_are_weak_above_a_tenth() -> None:
    patch = traced().patch
    walked = WalkedGround(
        ground=patch, area_m2=1000.0, area_sd_m2=0.0, perimeter_m=1.0, fixes=9, dropped=Counter(b=2, a=1),
        closed_gap_m=2.0, kind="edge walk", loops_dissolved=3, holes_closed=4, started_s=None, ended_s=0.0,
        notes=("n",),
    )  # fmt: skip
    for sd_m2, weak in ((100.0, False), (100.01, True)):
        said = _result(replace(walked, area_sd_m2=sd_m2), patch, swath_ft=9.0, travel="foot", notes=("far",))
        assert said.notes[:2] == ("n", "far") and len(said.notes) == 2 + weak
    assert (said.fixes, said.kept_fixes, said.dropped_fixes) == (9, 6, 3)
    assert [(one.reason, one.count) for one in said.dropped] == [("a", 1), ("b", 2)]
    assert (said.perimeter_m, said.closed_gap_m, said.loops_dissolved, said.holes_closed) == (1.0, 2.0, 3, 4)
    assert (said.started_at, said.ended_at) == (None, datetime(1970, 1, 1, tzinfo=UTC))


def test_a_walk_is_far_away_where_it_begins() -> None:
    """Two stretches, the first of them near at its first fix alone, or far at that alone."""
    far_m, near = 31 * 1609.344, np.zeros((1, 2))
    far = near + np.array([far_m, 0.0])
    begins_far = [segment(np.concatenate([far, near])), segment(np.concatenate([near, near]))]
    begins_near = [segment(np.concatenate([near, far])), segment(np.concatenate([far, far]))]
    assert (len(_place_notes(begins_far, GRID)), _place_notes(begins_near, GRID)) == (1, ())
