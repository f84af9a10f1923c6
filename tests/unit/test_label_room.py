"""Rooms for words on ground whose circles are known by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

from habmap.land.label_room import LEAST_SHARE, label_rooms, lying_on, spots, widest_spot


def test_the_least_share_is_what_of_the_square_lies_in_its_circle() -> None:
    square, circle = box(-0.95, -0.95, 0.95, 0.95), Point(0, 0).buffer(1.0, quad_segs=4000)
    assert pytest.approx(circle.intersection(square).area / square.area, abs=1e-6) == LEAST_SHARE


@pytest.mark.parametrize(
    ("aspect", "radius", "middle"),
    [
        (6.0, 5.0, (30.0, 5.0)),  # pressed to a square of 10
        (2.0, 5.0, (None, 5.0)),  # anywhere along
        (0.6, 5.0, (None, 5.0)),
        (12.0, 2.5, (30.0, None)),  # pressed to 5 by 10
    ],
)
def test_a_room_holds_words_of_its_aspect_in_the_largest_circle_of_the_pressed_ground(
    aspect: float, radius: float, middle: tuple[float | None, float | None]
) -> None:
    ground = box(100, -50, 160, -40)
    ((x, y, half_width, half_height),) = label_rooms([ground], aspects=[aspect])[0]
    assert 0.98 * 0.95 * radius < half_height <= 0.95 * radius + 1e-9
    assert half_width == pytest.approx(half_height * aspect)
    for found, wanted in ((x - 100, middle[0]), (y + 50, middle[1])):
        assert wanted is None or found == pytest.approx(wanted, abs=0.1)
    assert ground.buffer(0.02).contains(Point(x, y).buffer(0.95 * radius * min(1.0, aspect)))


def test_the_circle_is_found_where_the_middle_of_the_ground_is_not_in_it() -> None:
    """A corner of two arms 100 long and 10 broad: its largest circle touches the outer sides and the inner corner."""
    largest = 10 * math.sqrt(2) / (1 + math.sqrt(2))  # (10 − r)·√2 = r
    for east, north in ((1000, 2000), (2000, 1000)):
        corner = Polygon(
            [(east + x, north + y) for x, y in ((0, 0), (100, 0), (100, 10), (10, 10), (10, 100), (0, 100))]
        )
        ((x, y, _, half_height),) = label_rooms([corner], aspects=[1.0])[0]
        assert largest * 0.95 - 100 / 120 < half_height <= largest * 0.95 + 1e-9
        assert math.dist((x, y), (east + largest, north + largest)) < 2


@pytest.mark.parametrize("aspect", [6.0, 3.5, 2.0, 1.2, 0.6])
def test_ground_as_broad_as_a_room_holds_words_of_its_own_shape(aspect: float) -> None:
    (rooms,) = label_rooms([box(0, 0, 10 * aspect, 10)])
    assert list(spots(rooms, 9.48 * aspect, 9.48))
    assert not list(spots(rooms, 9.52 * aspect, 9.52))


def test_only_areas_have_rooms_and_each_has_its_own() -> None:
    small = box(0, 0, 0.9, 1)
    crossing = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])  # two triangles
    spiked = Polygon([(0, 0), (10, 0), (10, 10), (30, 10), (10, 10), (0, 10)])
    apart = MultiPolygon([box(0, 0, 1, 1), box(20, 20, 24, 24)])
    two_and_line = Polygon([(0, 0), (10, 10), (10, 0), (0, 10), (0, 30), (0, 10)])
    shapes = [LineString([(0, 0), (9, 9)]), small, Point(3, 3), crossing, spiked, Polygon(), apart, two_and_line]
    rooms = label_rooms(shapes, aspects=[1.0, 2.0])
    assert rooms.shape == (8, 2, 4)
    assert np.isnan(rooms).all(axis=(1, 2)).tolist() == [True, False, True, False, False, True, False, False]
    halves = dict(enumerate(rooms[:, 0, 3] / 0.95))
    assert halves[1] == pytest.approx(0.45, rel=0.02)
    # the circle in a right isosceles triangle with a base of 10: legs 7.071, r = (2 · 7.071 − 10) / 2
    assert halves[3] == halves[7] == pytest.approx(2.071, abs=0.1)
    assert halves[4] == pytest.approx(5, rel=0.02) and halves[6] == pytest.approx(2, rel=0.03)
    assert np.isnan(label_rooms([Point(0, 0)])).all() and label_rooms([]).shape == (0, 5, 4)


def test_words_move_as_far_as_their_corners_stay_in_the_circle() -> None:
    """In a circle pressed to an ellipse about (10, 20): 4 / 0.95 across and 2 / 0.95 up."""
    wide, high = 4 / 0.95, 2 / 0.95
    first, *others = spots(np.array([[10.0, 20.0, 4.0, 2.0]]), 3.0, 1.6)
    assert first == (10, 20) and len(others) == 8

    def farthest(x: float, y: float) -> float:
        corners = [(x + dx - 10, y + dy - 20) for dx in (-1.5, 1.5) for dy in (-0.8, 0.8)]
        return max((dx / wide) ** 2 + (dy / high) ** 2 for dx, dy in corners)

    moves = [(x - 10, y - 20) for x, y in others]
    assert [farthest(x, y) for x, y in others[:4]] == pytest.approx([1.0] * 4)
    assert max(farthest(x, y) for x, y in others[4:]) < 1
    up, down, east, west, *both = moves
    assert up[0] == down[0] == east[1] == west[1] == 0 and up[1] > 0 > down[1] and east[0] > 0 > west[0]
    assert both == [(pytest.approx(x * east[0] / 2), pytest.approx(y * up[1] / 2))
                    for x, y in ((1, 1), (-1, 1), (1, -1), (-1, -1))]  # fmt: skip


def test_words_that_fill_a_room_stay_in_its_middle_and_the_roomiest_comes_first() -> None:
    rooms = np.array(
        [[0.0, 0, 4, 2], [1, 1, 6, 3], [2, 2, 3.9, 9], [3, 3, 9, 1.9], [4, 4, 5, 2.5], [5, 5, 7, 2.1], [np.nan] * 4]
    )
    assert list(spots(rooms[:1], 8.0, 4.0)) == [(0, 0)]
    found = list(spots(rooms, 8.0, 4.0))
    # a meter, half of one, a tenth and none to spare; two are too narrow or low
    assert found[:4] == [(1, 1), (4, 4), (5, 5), (0, 0)]
    assert len(found) == 4 + 8 and all(math.dist(one, (1, 1)) < 2 for one in found[4:])
    assert list(spots(rooms, 30.0, 1.0)) == list(spots(rooms, 1.0, 30.0)) == []


def test_a_box_lies_on_ground_with_the_least_share_of_it() -> None:
    ground = box(0, 0, 10, 6)  # of a box of 2 by 1, what reaches beyond is a share of its breadth or height
    within = [(9.3, 3.0), (0.7, 3.0), (5.0, 5.651), (5.0, 0.349)]
    beyond = [(9.32, 3.0), (0.68, 3.0), (5.0, 5.655), (5.0, 0.345), (20.0, 3.0)]
    assert lying_on(ground, [within[0], *beyond, *within[1:]], 2.0, 1.0) == within
    assert lying_on(ground, [], 2.0, 1.0) == []


def test_the_widest_spot_is_where_the_smaller_side_is_largest() -> None:
    rooms = np.array([[np.nan] * 4, [0.0, 1, 5, 1], [7, 8, 3, 2], [4, 5, 1.5, 9]])
    assert widest_spot(rooms) == (7, 8)
    assert widest_spot(rooms[1:]) == (7, 8)
    assert widest_spot(rooms[:1]) is None


@pytest.mark.parametrize(("aspect", "larger_m"), [(6.0, 10.0), (3.0, 20.0), (12.0, 10.0), (0.5, 120.0)])
def test_the_circle_is_found_to_a_120th_of_the_larger_side_of_the_pressed_ground(
    aspect: float, larger_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[float] = []
    find = shapely.maximum_inscribed_circle

    def spied(shapes: np.ndarray, tolerance: np.ndarray) -> object:
        asked.extend(tolerance.ravel().tolist())
        return find(shapes, tolerance=tolerance)

    monkeypatch.setattr(shapely, "maximum_inscribed_circle", spied)
    label_rooms([box(100, -50, 160, -40)], aspects=[aspect])
    assert asked == pytest.approx([larger_m / 120])
