"""Outlines side by side, on squares whose figures can be done by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from fakes import GRID
from shapely import MultiPolygon, Point, box

from habmap.land.neighbors import cut_back, gaps, hair_overlaps, overlaps, settled


def test_an_overlap_knows_its_ground_its_width_and_its_place() -> None:
    # 1 km of 4 cm beside 12 m² of 3 m by 4 m; a wedge 100 m long and up to 2 m wide
    (wide,) = overlaps([box(0, 0, 1000, 1000), box(997, 10, 1500, 14)])
    assert (wide.first, wide.second) == (0, 1)
    assert wide.area_m2 == pytest.approx(12) and wide.width_m == pytest.approx(3, abs=0.02)
    assert wide.spot == pytest.approx((998.5, 12), abs=0.51)
    wedge = shapely.Polygon([(0, 0), (100, 0), (100, -2)])
    (one,) = overlaps([box(0, -50, 200, 0), wedge])
    # the circle in a right triangle: r = (a + b - c) / 2
    assert one.width_m == pytest.approx(100 + 2 - math.hypot(100, 2), abs=0.0012)
    # of a corner of two strips of 2 m the circle at the bend: 2 · 2·√2 / (1 + √2)
    strips = shapely.union(box(0, 0, 100, 2), box(0, 0, 2, 100))
    (bend,) = overlaps([box(-50, -50, 200, 200), strips])
    assert bend.width_m == pytest.approx(4 * math.sqrt(2) / (1 + math.sqrt(2)), abs=0.002)
    assert bend.spot == pytest.approx((1.1716, 1.1716), abs=0.05)
    # they touch along a line as well
    (both,) = overlaps([box(0, 0, 10, 10), shapely.union(box(9, 0, 20, 2), box(10, 2, 20, 10))])
    assert both.area_m2 == pytest.approx(2) and both.width_m == pytest.approx(1, abs=0.002)
    assert one.spot[0] == pytest.approx(99, abs=0.05)


def test_a_hair_is_no_overlap_and_its_ground_is_told() -> None:
    pair = [box(0, 0, 100, 1000), box(99.96, 0, 200, 1000)]
    assert overlaps(pair) == ()
    ((first, second, area_m2),) = hair_overlaps(pair)
    assert (first, second) == (0, 1) and area_m2 == pytest.approx(40)  # 4 cm by 1 km: 0.0099 acre


def test_gaps_lie_between_two_and_lanes_and_notches_are_none() -> None:
    left, right = box(0, 0, 100, 500), box(101.5, 0, 200, 500)
    (gap,) = gaps([left, right])
    assert gap.between == (0, 1)
    assert gap.area_m2 == pytest.approx(750, abs=0.01) and gap.width_m == pytest.approx(1.5, abs=0.02)
    assert 100 < gap.spot[0] < 101.5
    assert gaps([left, box(104, 0, 200, 500)]) == ()  # a lane of 4 m
    assert gaps([left, box(100.02, 0, 200, 500)]) == ()  # a hair
    notched = left.difference(box(40, 100, 42, 500))
    assert gaps([notched, box(300, 0, 400, 500)]) == ()
    assert gaps([left, box(100, 0, 200, 500)]) == ()


def test_cutting_back_takes_off_what_is_shared_neighbor_by_neighbor() -> None:
    new = box(0, 0, 100, 100)
    left, cuts = cut_back(new, [box(90, 0, 200, 100), box(500, 0, 600, 100), box(0, 95, 200, 200)])
    assert left.area == pytest.approx(90 * 95)
    # the corner under both is told once, for the first of them
    assert [(cut.neighbor, pytest.approx(cut.area_m2)) for cut in cuts] == [(0, 1000), (2, 450)]
    nothing, _cuts = cut_back(new, [box(-1, -1, 101, 101)])
    assert nothing.is_empty


def test_ground_that_is_turned_back_keeps_its_own_corners_and_is_valid() -> None:
    rng = np.random.default_rng(3)
    for _trial in range(40):
        blob = Point(0, 0).buffer(200, quad_segs=9)
        other = Point(*rng.uniform(-150, 150, 2)).buffer(float(rng.uniform(50, 250)), quad_segs=7)
        drawn = [GRID.to_lonlat(MultiPolygon([shape])) for shape in (blob, other)]
        shapes = [GRID.to_grid(shape) for shape in drawn]
        left, cuts = cut_back(shapes[0], [shapes[1]])
        if left.is_empty or not cuts:
            continue
        back = settled(left, grid=GRID, drawn=drawn)
        assert back.is_valid and GRID.to_grid(back).is_valid
        assert GRID.to_grid(back).area == pytest.approx(left.area, abs=1e-5)
        own = {tuple(corner) for shape in drawn for corner in shapely.get_coordinates(shape).tolist()}
        kept = [tuple(corner) in own for corner in shapely.get_coordinates(back).tolist()]
        assert sum(not one for one in kept) <= 6  # only where the two cross
        assert overlaps([GRID.to_grid(back), shapes[1]]) == ()


@pytest.mark.parametrize(("width_m", "count"), [(1.004e-4, 1), (0.99e-4, 0)])
def test_shared_ground_of_a_ten_thousandth_of_a_square_meter_is_of_rounding(width_m: float, count: int) -> None:
    assert len(hair_overlaps([box(0, 0, 1, 1), box(1 - width_m, 0, 2, 1)])) == count


@pytest.mark.parametrize(("width_m", "is_hair"), [(0.0499, True), (0.0502, False), (0.09, False)])
def test_five_centimeters_are_a_hair(width_m: float, is_hair: bool) -> None:
    shared = [box(0, 0, 10, 100), box(10 - width_m, 0, 20, 100)]
    assert (len(overlaps(shared)), len(hair_overlaps(shared))) == ((0, 1) if is_hair else (1, 0))
    assert len(gaps([box(0, 0, 10, 100), box(10 + width_m, 0, 20, 100)])) == (0 if is_hair else 1)


def test_limits_of_width_may_be_given() -> None:
    shared = [box(0, 0, 10, 100), box(9, 0, 20, 100)]
    assert len(overlaps(shared, wider_than_m=0.99)) == len(hair_overlaps(shared, up_to_m=1.01)) == 1
    assert len(overlaps(shared, wider_than_m=1.01)) == len(hair_overlaps(shared, up_to_m=0.99)) == 0
    apart = [box(0, 0, 10, 100), box(11, 0, 20, 100)]
    assert (len(gaps(apart, narrower_than_m=1.01)), len(gaps(apart, narrower_than_m=0.99))) == (1, 0)


def test_open_ground_is_a_gap_up_to_three_meters() -> None:
    def beside(width_m: float) -> list[shapely.Polygon]:
        return [box(0, 0, 50, 100), box(50 + width_m, 0, 99, 100), box(300, 0, 400, 100)]

    assert gaps(beside(3.01)) == gaps([box(0, 0, 1, 1)]) == gaps([]) == ()
    (gap,) = gaps(beside(2.99))
    assert gap.between == (0, 1) and gap.area_m2 == pytest.approx(299) and gap.width_m == pytest.approx(2.99, abs=0.01)


def test_pairs_stand_in_order_and_those_far_apart_are_none() -> None:
    rows = [box(40, 0, 60, 10), box(0, 0, 10, 10), box(55, 0, 99, 10), box(5, 0, 45, 10)]
    assert [(one.first, one.second) for one in overlaps(rows)] == [(0, 2), (0, 3), (1, 3)]
    assert overlaps([]) == overlaps(rows[:1]) == hair_overlaps([]) == ()


def test_cutting_back_leaves_what_comes_of_rounding() -> None:
    for width_m, count in ((0.99e-5, 0), (1.005e-5, 1)):  # along 10 m
        left, cuts = cut_back(box(0, 0, 10, 10), [box(10 - width_m, 0, 20, 10)])
        assert len(cuts) == count and (left.area == 100) is (count == 0)


@pytest.mark.parametrize(("thin_m", "beside"), [(0.00498, (0, 1, 2)), (0.00502, (0, 1)), (0.3, (0, 1))])
def test_what_lies_within_five_millimeters_of_a_gap_is_beside_it(thin_m: float, beside: tuple[int, ...]) -> None:
    (gap,) = gaps([box(0, 0, thin_m, 500), box(1.3, 0, 9, 500), box(-100, 0, 0, 500)])
    assert gap.between == beside


@pytest.mark.parametrize(
    ("ground", "expected"),
    [
        # valid both ways: corners stay to the last bit
        (box(0, 0, 10, 1 / 3), box(0, 0, 10, 1 / 3)),
        # two triangles that cross: not valid as it is drawn
        (shapely.Polygon([(0, 0), (10, 10 + 1e-7), (10, 0), (0, 10)]), None),
        # a notch narrower than a rounding, closed by the turning: not valid in the grid
        (shapely.Polygon([(0, 0), (10, 0), (10, 10), (5 + 4e-7, 10), (5, 1), (5, 10), (0, 10)]),
         shapely.Polygon([(0, 0), (10, 0), (10, 10), (5, 10), (0, 10)])),
    ],
    ids=["valid", "crossing", "crossing once turned"],
)  # fmt: skip
def test_ground_is_settled_as_little_changed_as_will_do(
    ground: shapely.Polygon, expected: shapely.Polygon | None
) -> None:
    """A grid that keeps degrees as they are and rounds to a millionth on the way back."""

    def rounded(shape: shapely.Geometry) -> shapely.Geometry:
        return shapely.transform(shape, lambda xy: np.round(xy, 6))

    grid = SimpleNamespace(to_lonlat=lambda shape: shape, to_grid=rounded)
    back = settled(ground, grid=grid, drawn=[])  # type: ignore[arg-type]
    assert back.is_valid and rounded(back).is_valid
    if expected is None:
        assert back.area == pytest.approx(50, abs=1e-5) and len(back.geoms) == 2
        assert 10 + 1e-7 in shapely.get_coordinates(back)[:, 1]
    else:
        assert back.normalize() == MultiPolygon([expected]).normalize()


def test_of_ground_worked_out_only_what_is_ground_is_kept() -> None:
    ground = [box(0, 0, 10, 10), box(20, 0, 20.5, 1)]
    others = [shapely.LineString([(0, 0), (90, 90)]), shapely.Polygon([(30, 0), (31, 0), (32, 0)])]
    back = settled(shapely.GeometryCollection([*ground, *others]), grid=GRID, drawn=[])
    assert back.is_valid and GRID.to_grid(back).symmetric_difference(MultiPolygon(ground)).area < 1e-5


@pytest.mark.parametrize(("side_m", "within_m"), [(1000.0, 0.125), (8.0, 0.001), (4.2, 0.000525), (3.9, 0.0005)])
def test_the_width_of_an_overlap_is_found_to_a_two_thousandth_of_its_breadth_or_half_a_millimeter(
    side_m: float, within_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A square has a quarter of its side of area to each meter of its outline."""
    asked: list[float] = []
    find = shapely.maximum_inscribed_circle

    def spied(shape: shapely.Geometry, tolerance: float) -> shapely.Geometry:
        asked.append(tolerance)
        return find(shape, tolerance)

    monkeypatch.setattr(shapely, "maximum_inscribed_circle", spied)
    square = box(0, 0, side_m, side_m)
    overlaps([square, square.buffer(1.0, join_style="mitre")])
    assert asked == pytest.approx([within_m])
