"""The outline of a block against squares and circles worked by hand."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise

import pytest
from shapely import LineString, Point, Polygon, box

from habmap.land.edges import (
    EdgePiece,
    downwind_ground,
    first_met,
    grid_bearing_deg,
    merged_runs,
    outline_pieces,
    side_of_wind,
)

SQUARE = box(0, 0, 100, 100)


def lengths(block: Polygon, wind_from_deg: float) -> Counter[str]:
    total: Counter[str] = Counter()
    for piece in outline_pieces(block):
        total[side_of_wind(piece.outward_deg, wind_from_deg)] += piece.length_m  # type: ignore[assignment]
    return total


@pytest.mark.parametrize(
    ("wind_from_deg", "downwind", "side", "upwind"),
    [
        # By hand: the four normals of a square are 0, 90, 180, 270; downwind is wind_from + 180.
        (180, 100, 200, 100), (0, 100, 200, 100), (90, 100, 200, 100), (360, 100, 200, 100),
        (225, 200, 200, 0),  # 45° from two normals, 135° from the other two
        (202.4, 100, 200, 100),  # angles 22.4, 67.6, 112.4, 157.6
        (202.5, 200, 100, 100),  # exactly 22.5, 67.5, 112.5 and 157.5: both limits count as inside
        (202.6, 200, 200, 0),  # 22.6, 67.4, 112.6, 157.4
        (247.4, 200, 200, 0), (247.6, 100, 200, 100),
    ],
)  # fmt: skip
def test_square(wind_from_deg: float, downwind: float, side: float, upwind: float) -> None:
    found = lengths(SQUARE, wind_from_deg)
    assert (found["downwind"], found["side"], found["upwind"]) == pytest.approx((downwind, side, upwind), abs=1e-9)


@pytest.mark.parametrize("wind_from_deg", range(0, 360, 15))
def test_circle_shares_are_those_of_the_angles(wind_from_deg: int) -> None:
    # Normals go once round: 135 of 360 degrees downwind, 45 upwind, 180 side. With 1440 corners one chord spans 0.25°,
    # so that each limit can be off by one chord.
    circle = Polygon([(100 * math.cos(a / 720 * math.pi), 100 * math.sin(a / 720 * math.pi)) for a in range(1440)])
    found = lengths(circle, wind_from_deg)
    chord_m = circle.length / 1440
    assert found["downwind"] == pytest.approx(circle.length * 135 / 360, abs=2.01 * chord_m)
    assert found["upwind"] == pytest.approx(circle.length * 45 / 360, abs=2.01 * chord_m)
    assert sum(found.values()) == pytest.approx(circle.length, rel=1e-12)


def test_a_hole_faces_inward() -> None:
    ring = box(0, 0, 100, 100).difference(box(40, 40, 60, 60))
    # South wind: the block's north edge is downwind, and so is the hole's southern edge, whose fire runs into the hole.
    assert lengths(ring, 180) == pytest.approx({"downwind": 120, "upwind": 120, "side": 240})


@pytest.mark.parametrize(
    ("outward_deg", "wind_from_deg", "expected"),
    [
        (67.5, 180, "downwind"),
        (67.6, 180, "side"),
        # a twentieth of a degree is none
        (67.5499, 180, "downwind"),
        (67.5501, 180, "side"),
        (157.4499, 180, "side"),
        (157.4501, 180, "upwind"),
        (157.4, 180, "side"),
        (157.5, 180, "upwind"),
        (292.5, 180, "downwind"),
    ],
)
def test_limits(outward_deg: float, wind_from_deg: float, expected: str) -> None:
    assert side_of_wind(outward_deg, wind_from_deg) == expected


def test_the_nearest_thing_outward_is_found() -> None:
    east = [piece for piece in outline_pieces(SQUARE) if piece.outward_deg == 90]
    far, near = box(120, -50, 130, 150), LineString([(110, 50), (110, 200)])
    found = first_met(east, [far, near], within_m=30)
    assert len(east) == 20
    # The line covers the upper half, the box the rest; nothing lies beyond at 15 m.
    assert Counter(found) == {(1, 10.0): 10, (0, 20.0): 10}
    assert {number for number, _ in first_met(east, [far], within_m=15)} == {None}
    assert Counter(first_met(east, [near, far], within_m=30)) == {(0, 10.0): 10, (1, 20.0): 10}
    rows = [LineString([(100 + off, -50), (100 + off, 150)]) for off in (25, 7, 16, 4, 28)]
    assert set(first_met(east, rows, within_m=30)) == {(3, 4.0)}


def test_a_break_drawn_just_inside_is_still_on_the_edge() -> None:
    north = [piece for piece in outline_pieces(SQUARE) if piece.outward_deg == 0]
    inside = LineString([(-10, 98), (110, 98)])
    assert {number for number, _ in first_met(north, [inside], within_m=30)} == {None}
    assert set(first_met(north, [inside], within_m=30, from_m=-3)) == {(0, 0.0)}


def test_bits_of_an_outline_are_no_longer_than_five_meters() -> None:
    for side_m, count in ((100.0, 20), (100.1, 21), (4.9, 1), (5.01, 2)):
        assert len(outline_pieces(box(0, 0, side_m, side_m))) == 4 * count


def test_runs_pass_over_the_start_of_a_ring() -> None:
    pieces = outline_pieces(SQUARE, longest_m=50)
    # South wind; the ring starts somewhere: whatever its start, three kinds make four runs.
    labels = [side_of_wind(piece.outward_deg, 180) for piece in pieces]
    for start in range(len(pieces)):
        turned, words = pieces[start:] + pieces[:start], labels[start:] + labels[:start]
        runs = merged_runs(turned, words)
        assert sorted(len(run) for run in runs) == [2, 2, 2, 2]
        for run in runs:
            for before, after in pairwise(run):
                assert turned[before].end == pytest.approx(turned[after].start)


@pytest.mark.parametrize(
    ("labels", "runs"),
    [
        ("aabba", [(4, 0, 1), (2, 3)]),
        ("abbaa", [(3, 4, 0), (1, 2)]),
        ("abba", [(3, 0), (1, 2)]),
        ("aba", [(2, 0), (1,)]),
        ("aab", [(0, 1), (2,)]),
        ("ab", [(0,), (1,)]),
        ("abab", [(0,), (1,), (2,), (3,)]),
        ("a", [(0,)]),
        ("", []),
    ],
)
def test_runs_of_labels_round_a_ring(labels: str, runs: list[tuple[int, ...]]) -> None:
    pieces = [EdgePiece((0.0, 0.0), (1.0, 0.0), 180.0, 0)] * len(labels)
    assert merged_runs(pieces, labels) == runs


def test_no_run_passes_from_one_ring_to_another() -> None:
    ring = SQUARE.difference(box(40, 40, 60, 60))
    pieces = outline_pieces(ring, longest_m=50)
    assert sorted(map(len, merged_runs(pieces, ["same"] * len(pieces)))) == [4, 8]
    mixed = [*pieces[8:10], *pieces[:8], *pieces[10:]]  # wherever they stand in the list
    assert sorted(merged_runs(mixed, ["same"] * 12)) == [(0, 1, 10, 11), (2, 3, 4, 5, 6, 7, 8, 9)]


def test_one_label_all_round_is_one_run() -> None:
    pieces = outline_pieces(SQUARE)
    assert [len(run) for run in merged_runs(pieces, ["same"] * len(pieces))] == [len(pieces)]


def test_downwind_ground_of_a_point_is_a_sector() -> None:
    sector = downwind_ground(Point(0, 0), wind_from_deg=180, within_m=1000, half_angle_deg=45)
    # A quarter of a circle; 90 chords to it, widened to cover the arc, err by less than 0.02%.
    assert sector.area == pytest.approx(math.pi * 1000**2 / 4, rel=2e-4)
    for bearing_deg, is_inside in [(0, True), (44.9, True), (315.1, True), (45.1, False), (180, False)]:
        a = math.radians(bearing_deg)
        assert sector.intersects(Point(999 * math.sin(a), 999 * math.cos(a))) == is_inside


def test_downwind_ground_of_a_block_begins_at_its_sides() -> None:
    ground = downwind_ground(SQUARE, wind_from_deg=180, within_m=1000, half_angle_deg=45)
    assert ground.covers(SQUARE)
    # North-east of the east edge's southern end, by 44°: reached; by 46°: not.
    assert ground.intersects(Point(100 + 500 * math.sin(math.radians(44)), 500 * math.cos(math.radians(44))))
    assert not ground.intersects(Point(100 + 500 * math.sin(math.radians(46)), 500 * math.cos(math.radians(46))))


def test_bearings() -> None:
    assert [grid_bearing_deg((0, 0), end) for end in [(0, 1), (1, 1), (1, 0), (0, -1), (-1, 0)]] == [
        0,
        45,
        90,
        180,
        270,
    ]


def test_a_bearing_is_counted_from_where_it_begins() -> None:
    assert grid_bearing_deg((3, -7), (7, -3)) == pytest.approx(45)
    assert grid_bearing_deg((3, -7), (-3, -7)) == 270


def test_bits_are_five_meters_at_most_and_even_along_a_side() -> None:
    pieces = [piece for piece in outline_pieces(box(0, 0, 101, 5)) if piece.outward_deg == 180]
    assert [piece.length_m for piece in pieces] == pytest.approx([101 / 21] * 21)  # 20 would be 5.05 m each
    assert len([piece for piece in outline_pieces(box(0, 0, 101, 5)) if piece.outward_deg == 90]) == 1
    doubled = Polygon([(0, 0), (4, 0), (4, 0), (4, 4), (0, 4)])
    assert [piece.length_m for piece in outline_pieces(doubled)] == [4.0] * 4


def test_a_point_out_from_a_bit_lies_off_its_middle() -> None:
    piece = EdgePiece((0.0, 0.0), (10.0, 4.0), 60.0, 0)
    assert piece.point(8.0) == pytest.approx((5 + 8 * math.sqrt(3) / 2, 2 + 4))


def test_nothing_beyond_is_nothing_met() -> None:
    pieces = outline_pieces(SQUARE)
    assert first_met(pieces, [], within_m=30) == [(None, math.inf)] * len(pieces)
    assert first_met([], [SQUARE], within_m=30) == []


def test_the_chords_of_a_sector_touch_its_arc() -> None:
    # 90 chords of 1° each: the middle of each lies on the circle, its ends 1 / cos 0.5° out
    sector = downwind_ground(Point(0, 0), wind_from_deg=180, within_m=1000, half_angle_deg=45)
    out = sorted(math.hypot(*corner) for corner in sector.exterior.coords)[2:]
    assert out == pytest.approx([1000 / math.cos(math.radians(0.5))] * 91, rel=1e-12)
    arc = LineString([corner for corner in sector.exterior.coords if corner != (0, 0)])
    assert arc.distance(Point(0, 0)) == pytest.approx(1000, abs=1e-6)
