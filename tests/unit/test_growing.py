"""Boxes that grow from an edge: their corners, and which shares of edges lie in them, by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from habmap.land import growing
from habmap.land.growing import ALL, BoxedGround, Boxes, parts_at


def test_each_shape_of_box_has_its_mirror_image_and_plain_proportions() -> None:
    """Which boxes are tried does not depend on which way round the edge is looked along."""
    speeds = np.array([(back, forward, 0.0, away) for back, forward, away in growing.SPEEDS])
    tries = Boxes(np.zeros((len(speeds), 2)), np.tile([1.0, 0.0], (len(speeds), 1)), speeds)
    laid = {tuple(one.bounds) for one in tries.boxes(np.full(len(speeds), 10.0), reach_m=500.0)}
    assert {(-east, south, -west, north) for west, south, east, north in laid} == laid
    assert len(set(growing.SPEEDS)) == len(growing.SPEEDS)
    for shape in growing.SPEEDS:
        back, forward, away = shape
        grow = [speed for speed in shape if speed < ALL]
        assert grow and 1.0 in shape  # one side at least grows by the size itself
        if len(grow) == 3:
            assert (back + forward) / away in {1, 2}
        else:
            assert max(grow) / min(grow) in {1, 2}


def boxes() -> Boxes:
    """One along the first axis from (10, 20), and one up it from (0, 0), whose ground lies to the west."""
    return Boxes(
        np.array([(10.0, 20.0), (0.0, 0.0)]),
        np.array([(1.0, 0.0), (0.0, 1.0)]),
        np.array([(2.0, 0.5, ALL, 1.0), (ALL, 1.0, 0.0, 3.0)]),
    )


def test_the_sides_of_boxes_lie_where_their_speeds_say() -> None:
    size_m = np.array([4.0, 6.0])
    assert boxes().sides_m(size_m, reach_m=100.0).tolist() == [[8, 2, 100, 4], [100, 6, 0, 18]]
    first, second = boxes().boxes(size_m, reach_m=100.0)
    assert (first.bounds, first.area) == ((2, -80, 12, 24), 10 * 104)
    assert (second.bounds, second.area) == ((-18, -100, 0, 6), 18 * 106)
    assert shapely.get_coordinates(boxes().inside) == pytest.approx(
        np.array([(10, 20.001), (-0.001, 0)]), abs=1e-9, rel=0
    )
    assert len(boxes()) == 2 and boxes()[np.array([1])].at.tolist() == [[0, 0]]


@pytest.mark.parametrize(
    ("start", "end", "share"),
    [
        # between 2 and 6
        (0.0, 8.0, (0.25, 0.75)), (8.0, 0.0, (0.25, 0.75)), (0.0, 4.0, (0.5, 1.0)), (4.0, 12.0, (0.0, 0.25)),
        (3.0, 5.0, (0.0, 1.0)), (2.0, 6.0, (0.0, 1.0)),
        # level: wholly within, the limits too, or nowhere
        (4.0, 4.0, (0.0, 1.0)), (2.0, 2.0, (0.0, 1.0)), (6.0, 6.0, (0.0, 1.0)), (1.9, 1.9, (1.0, 0.0)),
        (6.1, 6.1, (1.0, 0.0)),
    ],
)  # fmt: skip
def test_which_share_of_an_edge_lies_between_limits(start: float, end: float, share: tuple[float, float]) -> None:
    first, last = growing._within(np.array([[start]]), np.array([[end]]), np.array([[2.0]]), np.array([[6.0]]))
    assert (first.item(), last.item()) == share


@pytest.mark.parametrize(("start", "end"), [(0.0, 1.0), (7.0, 9.0), (-5.0, 1.9)])
def test_an_edge_beyond_the_limits_has_no_share_in_them(start: float, end: float) -> None:
    first, last = growing._within(np.array([[start]]), np.array([[end]]), np.array([[2.0]]), np.array([[6.0]]))
    assert 1 >= first.item() >= last.item() >= 0


@pytest.mark.parametrize(
    ("y", "y_end", "across", "expected"),
    [
        # heights above 2, held to 6
        (4.0, 4.0, (0.0, 1.0), 2.0),
        (0.0, 0.0, (0.0, 1.0), 0.0),
        (9.0, 9.0, (0.25, 0.75), 2.0),
        (2.0, 6.0, (0.0, 1.0), 2.0),
        (2.0, 6.0, (0.5, 1.0), 1.5),
        # up from 0 to 8: nothing for a quarter, a slope to 4, and 4 for a quarter
        (0.0, 8.0, (0.0, 1.0), 0.5 * 2 + 0.25 * 4),
        (8.0, 0.0, (0.0, 1.0), 0.5 * 2 + 0.25 * 4),
        (8.0, 0.0, (0.0, 0.5), 0.25 * 4 + 0.25 * 3),
        (4.0, 4.0, (1.0, 0.0), 0.0),
    ],
)
def test_the_height_of_an_edge_between_limits(
    y: float, y_end: float, across: tuple[float, float], expected: float
) -> None:
    shares = (np.array([[across[0]]]), np.array([[across[1]]]))
    found = growing._below(np.array([[y]]), np.array([[y_end]]), shares, low=np.array([[2.0]]), high=np.array([[6.0]]))
    assert found.item() == pytest.approx(expected)


def test_the_part_that_holds_a_place_or_lies_nearest_is_told() -> None:
    west, east, line = box(0, 0, 1, 1), box(5, 0, 7, 1), LineString([(3, 0), (3, 9)])
    shapes = np.array(
        [MultiPolygon([west, east]), GeometryCollection([line, west, east]), line, east, MultiPolygon()], dtype=object
    )
    places = np.array([Point(6, 0.5), Point(2, 0.5), Point(3, 3), Point(0, 0), Point(0, 0)], dtype=object)
    assert [part.bounds[::2] if part.area else None for part in parts_at(shapes, places)] == [
        (5, 7), (0, 1), None, (5, 7), None,
    ]  # fmt: skip
    assert all(isinstance(part, Polygon) for part in shapes)


SPIKES = Polygon([(0, 0), (120, 0), (120, 10), (100, 60), (80, 10), (60, 60), (40, 10), (20, 60), (0, 10)])
NOTCHED = Polygon([(0, 0), (100, 0), (100, 90), (50, 30), (0, 90)])
CORNER = ((0, 0), (1, 0), (ALL, 1, ALL, 1))


@pytest.mark.parametrize(
    ("ground", "start", "size_m", "held_m2", "is_cut"),
    [
        # once into the box and out of it, around the corner that lies in it
        (box(0, 0, 100, 100), CORNER, 30, 900, False),
        (box(0, 0, 100, 100) - box(5, 5, 10, 10), CORNER, 30, 900 - 25, False),
        # a corner of a notch lies on the limit of the box
        (NOTCHED, ((50, 0), (1, 0), (ALL, ALL, ALL, 1)), 30, 3000, False),
        # all of it in the box
        (box(0, 0, 100, 100), CORNER, 500, 10_000, False),
        # across: in and out on two sides, and one piece nevertheless
        (box(0, 0, 100, 100), ((50, 0), (1, 0), (1, 1, ALL, ALL)), 10, 2000, True),
        # one of two teeth
        (box(0, 0, 70, 30) - box(10, 5, 60, 30), ((65, 30), (-1, 0), (ALL, ALL, ALL, 1)), 20, 200, True),
        # one of three spikes, from 24 to 12 m broad between 30 and 45 m; their tips lie beyond the box
        (SPIKES, ((60, 30), (1, 0), (ALL, ALL, 0, 1)), 15, 270, True),
    ],
)  # fmt: skip
def test_ground_is_cut_out_only_where_its_outline_enters_a_box_more_than_once(
    ground: Polygon, start: tuple[tuple[float, ...], ...], size_m: float, held_m2: float, is_cut: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    asked: list[int] = []
    cut = BoxedGround._one_of_several

    def counted(self: BoxedGround, tries: Boxes, *args: np.ndarray, **more: object) -> np.ndarray:
        asked.append(len(tries))
        return cut(self, tries, *args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(BoxedGround, "_one_of_several", counted)
    at, along, speeds = (np.array([one], dtype=np.float64) for one in start)
    # wherever its ring begins
    places = list(ground.exterior.coords)[:-1]
    for first in range(len(places)):
        turned = Polygon(places[first:] + places[:first], ground.interiors)
        found = BoxedGround(turned).areas_m2(Boxes(at, along, speeds), np.array([float(size_m)]), reach_m=500.0)
        assert found.tolist() == pytest.approx([held_m2])
    assert asked == [1] * (len(places) if is_cut else 0)


def test_a_box_holds_the_piece_of_ground_that_it_began_on() -> None:
    """A comb of three teeth, 10 m broad and 30 m high, on a back of 5 m with a hole in it."""
    comb = shapely.union_all([box(0, 0, 70, 5), box(0, 0, 10, 30), box(30, 0, 40, 30), box(60, 0, 70, 30)])
    holed = comb.difference(box(32, 1, 38, 4))
    assert isinstance(holed, Polygon)
    ground = BoxedGround(holed)
    tip = Boxes(np.array([(35.0, 30.0)]), np.array([(-1.0, 0.0)]), np.array([(1.0, 1.0, ALL, 0.5)]))

    def held_m2(size_m: float) -> float:
        return float(ground.areas_m2(tip, np.array([size_m]), reach_m=500.0)[0])

    # from the middle tooth's tip down: 10 m broad, 20 m deep; no tooth beside it is of its piece
    assert held_m2(4.0) == pytest.approx(8 * 2)
    assert held_m2(40.0) == pytest.approx(10 * 20)
    # through the back, whole: all but its hole
    assert held_m2(70.0) == pytest.approx(70 * 5 + 3 * 250 - 18)
    # 26 m deep, a meter into the back, by which the teeth hang together
    assert held_m2(52.0) == pytest.approx(70 * 1 + 3 * 250)
