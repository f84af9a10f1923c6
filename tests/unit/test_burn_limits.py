"""What a burn sheet tells of the ground around and of what was said, each rule just under and just over its limit.

Places stand in a grid that is the plane itself, so that a distance can be the limit to the last digit.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from habmap.land.downhill import DownhillPath
from habmap.land.edges import Side
from habmap.measures import M2_PER_ACRE
from habmap.records import Feature
from habmap.work.burn.block import _cut
from habmap.work.burn.block_edges import Edge
from habmap.work.burn.breaks import published_breaks
from habmap.work.burn.surroundings import (
    cold_air,
    downwind_places,
    inside_places,
    kept_from_fire,
    near_hazards,
    nearby_places,
    sensitive_features,
)
from habmap.work.burn.winds import HourWind
from habmap.work.ground import GroundPiece
from habmap.work.stages import GroundState

AT = datetime(2026, 3, 20, 14)
NOW = datetime(2026, 3, 1, tzinfo=UTC)
BLOCK = box(0, 0, 100, 100)
#: Grid and lon/lat are one, and north is north.
PLANE: Any = SimpleNamespace(
    to_grid=lambda shape: shape, to_lonlat=lambda shape: shape, convergence_deg=lambda lon, lat: 0.0
)


def feature(kind: str, shape: BaseGeometry, name: str = "", *, sensitive: bool = False) -> Feature:
    return Feature(uuid=f"{kind}{name}", kind=kind, name=name, geometry=shape, sensitive=sensitive, recorded_at=NOW)


def winds(*from_deg: float | None) -> list[HourWind]:
    return [HourWind(AT + timedelta(hours=n), deg) for n, deg in enumerate(from_deg)]


def test_lines_tanks_stacks_and_fences_are_named_up_to_a_hundred_meters() -> None:
    there = [
        feature("fence", LineString([(200, 0), (200, 100)]), "at the limit"),
        feature("fence", LineString([(200.5, 0), (200.5, 100)]), "beyond it"),
        feature("tank", Point(150, 50), "b"), feature("tank", Point(150, 60), "a"), feature("hay", Point(50, 150), "c"),
        feature("gas_line", LineString([(-10, 90), (30, 90), (30, 95)]), "in and out"),
        feature("well", Point(50, 50), "no hazard"),
    ]  # fmt: skip
    assert [(one.name, one.distance_m, one.inside, one.inside_m) for one in near_hazards(BLOCK, there, grid=PLANE)] == [
        ("in and out", 0.0, True, 35.0), ("c", 50.0, False, 0.0), ("a", 50.0, False, 0.0), ("b", 50.0, False, 0.0),
        ("at the limit", 100.0, False, 0.0),
    ]  # fmt: skip


def test_sensitive_is_what_the_map_marks_and_where_people_live_learn_or_travel_but_no_nest_or_grave() -> None:
    kinds = ["house", "school", "airport", "road", "building", "well", "nest", "grave"]
    plain = [feature(kind, Point(0, 0)) for kind in kinds]
    marked = [feature(kind, Point(0, 0), sensitive=True) for kind in kinds]
    assert [one.kind for one in sensitive_features(plain)] == ["house", "school", "airport", "road"]
    assert [one.kind for one in sensitive_features(marked)] == kinds[:6]
    kept = ["house", "building", "school", "tank", "hay", "well", "power_line", "gas_line", "nest", "grave"]
    rows = [feature(kind, Point(0, 0)) for kind in (*kept, "road", "fence", "airport")]
    assert [one.kind for one in kept_from_fire(rows)] == kept


def test_places_all_round_are_told_up_to_the_distance_and_the_nearest_stands_first() -> None:
    there = [
        feature("school", Point(50, 300), "b"), feature("house", Point(50, -200), "c"),
        feature("house", Point(-200, 50), "a"), feature("house", Point(301, 50), "too far"),
        feature("house", Point(150, 150), "near"),
    ]  # fmt: skip
    found = nearby_places(BLOCK, there, grid=PLANE, within_m=200.0)
    # from the nearest edge the distance, from the middle (50, 50) the bearing
    assert [(one.name, one.distance_m, one.bearing_deg, one.nearest) for one in found] == [
        ("near", pytest.approx(math.hypot(50, 50)), pytest.approx(45.0), (150.0, 150.0)),
        ("a", 200.0, pytest.approx(270.0), (-200.0, 50.0)), ("c", 200.0, pytest.approx(180.0), (50.0, -200.0)),
        ("b", 200.0, pytest.approx(0.0), (50.0, 300.0)),
    ]  # fmt: skip


def test_bearings_are_true_ones_where_the_grid_s_north_is_turned() -> None:
    for turn_deg, east_m, bearing_deg in ((10.0, -10.0, 8.8542), (-10.0, 10.0, 351.1458), (10.0, 10.0, 11.1458)):
        turned: Any = SimpleNamespace(**vars(PLANE) | {"convergence_deg": lambda lon, lat, by=turn_deg: by})
        # from the middle (50, 50) so far east and 500 m north: atan(10 / 500) is 1.1458°
        house = feature("house", Point(50 + east_m, 550))
        (found,) = nearby_places(BLOCK, [house], grid=turned, within_m=900)
        assert found.bearing_deg == pytest.approx(bearing_deg, abs=1e-4)
    # smoke of a true south wind drifts to true north, which is 10° west of the grid's
    turned = SimpleNamespace(**vars(PLANE) | {"convergence_deg": lambda lon, lat: 10.0})
    spot = box(-0.01, -0.01, 0.01, 0.01)
    for grid_deg, is_downwind in ((-54.8, True), (-55.2, False), (34.8, True), (35.2, False)):
        out = math.radians(grid_deg)
        house = feature("house", Point(900 * math.sin(out), 900 * math.cos(out)))
        assert bool(downwind_places(spot, [house], grid=turned, winds=winds(180.0), within_m=950)) is is_downwind


def test_downwind_is_up_to_forty_five_degrees_and_the_figures_are_of_the_spell_s_own_hours() -> None:
    spot = box(-0.01, -0.01, 0.01, 0.01)

    def at(bearing_deg: float) -> Feature:
        out = math.radians(bearing_deg)
        return feature("house", Point(5000 * math.sin(out), 5000 * math.cos(out)), str(bearing_deg))

    ring = [at(44.9), at(45.2), at(-44.9), at(-45.2)]
    found = downwind_places(spot, ring, grid=PLANE, winds=winds(180.0), within_m=6000)
    assert {one.name for one in found} == {"44.9", "-44.9"}
    assert {(one.from_time, one.to_time) for one in found} == {("2026-03-20T14:00", None)}
    # A road 100 m north begins due north of the block: in the south wind's cone its nearest part lies 100 m off, in
    # that of 240° (15° to 105°) where it crosses 15°: 100 / cos 15°. Of a north wind it lies upwind.
    road = feature("road", LineString([(0, 100.01), (1000, 100.01)]), "R")
    far = 100.01 / math.cos(math.radians(15))
    for told, spells in (
        ((180.0, 240.0, 0.0, 240.0), [(100.0, "14:00", "15:00"), (far, "17:00", "17:00")]),
        ((240.0, 180.0, None, 0.0, 240.0), [(100.0, "14:00", "15:00"), (far, "18:00", "18:00")]),
        ((240.0, 0.0, 180.0), [(100.0, "16:00", "16:00"), (far, "14:00", "14:00")]),
    ):
        found = downwind_places(spot, [road], grid=PLANE, winds=winds(*told), within_m=6000)
        assert [(one.from_time[-5:], (one.to_time or "")[-5:]) for one in found] == [spell[1:] for spell in spells]
        assert [one.distance_m for one in found] == pytest.approx([spell[0] for spell in spells], abs=0.1)
    # of as near places by kind, name and hour
    alike = [feature("house", Point(0, 200), name) for name in ("b", "a")] + [feature("airport", Point(0, 200), "c")]
    found = downwind_places(spot, alike, grid=PLANE, winds=winds(180.0, 0.0, 180.0), within_m=6000)
    assert [(one.name, one.from_time[-5:]) for one in found] == [
        ("c", "14:00"), ("c", "16:00"), ("a", "14:00"), ("a", "16:00"), ("b", "14:00"), ("b", "16:00"),
    ]  # fmt: skip


def test_what_must_not_be_harmed_stands_first_inside_then_what_is_marked_then_by_kind_and_name() -> None:
    there = [
        feature("well", Point(1, 1), "b"), feature("well", Point(2, 2), "a"), feature("house", Point(3, 3), "c"),
        feature("well", Point(4, 4), "marked", sensitive=True), feature("nest", Point(5, 5), "owl"),
        feature("nest", Point(6, 6), "hawk", sensitive=True), feature("grave", Point(7, 7), "old"),
    ]  # fmt: skip
    assert [one.name for one in inside_places(BLOCK, there, grid=PLANE)] == [
        "hawk", "old", "owl", "marked", "c", "a", "b",
    ]  # fmt: skip


def test_the_way_of_cold_air_names_what_lies_within_a_hundred_meters_of_it() -> None:
    paths = [
        DownhillPath(((50.0, 0.0), (50.0, -200.0), (48.996, -300.0), (50.0, -400.0)), 400.0, "hollow"),
        DownhillPath(((100.0, 50.0), (500.0, 50.0)), 500.0, "edge"),
    ]
    there = [
        feature("house", Point(150, -200), "at the limit"), feature("house", Point(150.5, -200), "beyond it"),
        feature("house", Point(500, 140), "of the other way"), feature("house", Point(60, -50), "b"),
        feature("house", Point(40, -50), "a"), feature("house", Point(40, -20), "nearer to the block"),
        feature("tank", Point(50, -50), "no place"),
    ]  # fmt: skip
    found = cold_air(BLOCK, paths, there, grid=PLANE)
    assert found is not None and (found.length_m, found.ends) == (400.0, "hollow")
    assert [(one.name, one.from_path_m, round(one.from_block_m, 2)) for one in found.places] == [
        ("nearer to the block", 10.0, 20.0), ("a", 10.0, 50.0), ("b", 10.0, 50.0),
        ("of the other way", 90.0, round(math.hypot(400, 40), 2)),
        ("at the limit", 100.0, round(math.hypot(50, 200), 2)),
    ]  # fmt: skip
    # a bend of a meter and more is drawn
    assert found.paths == (
        ((50.0, 0.0), (48.996, -300.0), (50.0, -400.0)), ((100.0, 50.0), (500.0, 50.0)),
    )  # fmt: skip
    straight = [DownhillPath(((50.0, 0.0), (50.99, -200.0), (50.0, -400.0)), 400.0, "hollow")]
    drawn = cold_air(BLOCK, straight, [], grid=PLANE)
    assert drawn is not None and drawn.paths == (((50.0, 0.0), (50.0, -400.0)),)
    assert cold_air(BLOCK, [], there, grid=PLANE) is None


def test_published_minimums_take_their_width_along_the_outline_that_they_are_for() -> None:
    def edge(side: Side, length_m: float) -> Edge:
        return Edge(
            side=side, length_m=length_m, outward_deg=0.0, beyond="X", beyond_stage=None, beyond_words="X",
            mapped_break=False, break_name=None, boss_checked=False, upslope=None, coordinates=(),
        )  # fmt: skip

    edges = (edge("downwind", 100.0), edge("side", 60.0), edge("upwind", 40.0))

    def told(
        *, wind_mph: float | None = 12.0, tallest_ft: float | None = None, has_cedar: bool = False
    ) -> list[tuple[float, float, float]]:
        found = published_breaks(edges, wind_mph=wind_mph, has_cedar=has_cedar, tallest_ft=tallest_ft)
        for one in found:
            # width in feet of 0.3048 m, times length
            low, high = (width * 0.3048 * one.length_m / M2_PER_ACRE for width in (one.width_low_ft, one.width_high_ft))
            assert (one.acres_low, one.acres_high) == pytest.approx((low, high), rel=1e-12)
        return [(one.width_low_ft, one.width_high_ft, one.length_m) for one in found]

    # 8 ft and 1 ft for each of 12 mph; twice the height, 4 ft at the least
    assert told() == [(40, 100, 100), (20, 20, 200), (4, 4, 200)]
    assert told(tallest_ft=1.9)[-1] == (4, 4, 200) and told(tallest_ft=2.1)[-1] == (4.2, 4.2, 200)
    # by the most that is named, and where that is the same, by the least
    assert told(wind_mph=92.0) == [(100, 100, 200), (40, 100, 100), (4, 4, 200)]
    assert told(wind_mph=30.0, tallest_ft=20.0) == [(40, 100, 100), (40, 40, 200), (38, 38, 200)]
    assert told(wind_mph=42.0) == [(40, 100, 100), (50, 50, 200), (4, 4, 200)]
    # however little of the outline lies beside cedar
    short = published_breaks((edge("downwind", 0.5), edge("side", 7.0)), wind_mph=None, has_cedar=True, tallest_ft=None)
    assert [(one.width_low_ft, one.length_m) for one in short] == [(500, 0.5), (300, 0.5), (4, 7.5)]
    assert told(has_cedar=True) == [(500, 700, 100), (300, 500, 100), (20, 20, 200), (4, 4, 200)]
    assert told(wind_mph=0.0)[1] == (8, 8, 200) and told(wind_mph=None) == [(40, 100, 100), (4, 4, 200)]


def test_slivers_left_by_cutting_are_ground_from_two_hundredths_of_a_meter_on() -> None:
    state = GroundState(stage="down")
    whole = GroundPiece("A", "down", state, (), BLOCK, 1e4, 1e4 / M2_PER_ACRE)
    assert _cut(whole, box(0, 0, 0.01995, 100)) is None
    left = _cut(whole, box(0, 0, 0.02005, 100))
    assert left is not None and left.area_m2 == pytest.approx(2.005) and left.acres == left.area_m2 / M2_PER_ACRE
    both = box(0, 0, 0.019, 100).union(box(50, 0, 60, 100)).union(box(80, 0, 90, 100))
    kept = _cut(whole, both)
    assert kept is not None and kept.area_m2 == pytest.approx(2000) and len(kept.geometry.geoms) == 2  # type: ignore[union-attr]
    assert _cut(whole, LineString([(0, 0), (9, 9)])) is None and (left.unit_id, left.state) == ("A", state)
