"""Ground that hangs together, by squares and necks of a few millimeters."""

from __future__ import annotations

import pytest
import shapely
from shapely import MultiPolygon, Polygon, box

from habmap.land.contiguous import contiguous, place_of, spared, widened, without_hairs


@pytest.mark.parametrize(("neck_m", "count"), [(0.00996, 2), (0.01004, 1)])
def test_ground_hangs_together_by_more_than_a_hair_on_either_side(neck_m: float, count: int) -> None:
    ground = shapely.union_all([box(0, 0, 10, 10), box(9, 5, 21, 5 + neck_m), box(20, 0, 40, 10)])
    found = contiguous(ground)
    assert len(found) == count
    assert found[0].area == pytest.approx(300 if count == 1 else 200, abs=0.2)  # the largest first
    assert sum(piece.area for piece in found) == pytest.approx(300, abs=0.2)


def test_equals_come_from_west_to_east_and_a_sliver_is_a_piece() -> None:
    west, east, south = box(0, 5, 10, 15), box(20, 0, 30, 10), box(0, -20, 10, -10)
    assert [place_of(piece) for piece in contiguous(MultiPolygon([east, west, south]))] == [(0, -20), (0, 5), (20, 0)]
    sliver = box(0, 0, 10, 0.009)
    assert contiguous(sliver) == (sliver,)


def test_hairs_and_specks_go() -> None:
    ragged = box(0, 0, 10, 10).union(box(10, 5, 15, 5.0098)).difference(box(-1, 3, 5, 3.0098)).union(box(50, 0, 51, 1))
    clean = without_hairs(ragged, least_m2=1.01)
    assert clean.area == pytest.approx(100, abs=1e-6) and clean.bounds == pytest.approx((0, 0, 10, 10))
    assert without_hairs(ragged, least_m2=0.99).area == pytest.approx(101, abs=1e-6)


def test_a_diagonal_of_cells_has_no_steps_once_widened() -> None:
    cells = [box(10 * k, 10 * k, 10 * k + 10, 10 * k + 10) for k in range(6)]
    ground = widened(cells, cell_m=10.0, within=box(0, 0, 60, 60))
    # 8 m out all round; the corners of the steps inside lie 7.07 m off the line along those outside
    assert ground.equals(Polygon([(-8, -8), (18, -8), (68, 42), (68, 68), (42, 68), (-8, 18)]))
    assert widened(cells, cell_m=10.0, within=box(0, 0, 10, 10)).bounds == pytest.approx((-8, -8, 18, 18))


def test_what_is_spared_leaves_ground_ten_meters_broad() -> None:
    ground = box(0, 0, 100, 100)
    for left_m, area_m2 in ((9.95, 0.0), (10.05, 1005.0)):
        assert spared(ground, box(left_m, -1, 101, 101), least_m2=1).area == pytest.approx(area_m2, abs=1e-6)
    spot = box(40, 40, 50, 50)
    assert spared(ground, spot, least_m2=100.0).area == pytest.approx(9900, abs=1e-6)  # the very limit
    assert spared(ground, spot, least_m2=100.1).area == 10_000
    assert spared(ground, box(200, 200, 300, 300), least_m2=0).equals(ground)


def test_a_place_is_told_to_the_millimeter() -> None:
    assert place_of(box(0.0004, 2.0006, 5, 5)) == (0.0, 2.001)


@pytest.mark.parametrize(("dent_m", "is_kept"), [(7.47, False), (7.53, True)])
def test_a_dent_of_three_quarters_of_a_cell_is_straightened(dent_m: float, is_kept: bool) -> None:
    # 8 m farther out all round, a dent over 116 m instead of 100 m is 1.16 times as deep
    ground = Polygon([(0, 0), (100, 0), (100, 60), (50, 60 - dent_m / 1.16), (0, 60)])
    found = widened([ground], cell_m=10.0, within=box(-1, -1, 101, 101))
    assert isinstance(found, Polygon) and len(found.exterior.coords) == (6 if is_kept else 5)


def test_the_pieces_of_a_neck_keep_their_corners() -> None:
    """Three rooms on two necks of half a hair: each comes back to its own corners, and nothing of the necks is one."""
    rooms = [box(0, 0, 10, 10), box(20, 0, 31, 10), box(40, 0, 52, 10)]
    ground = shapely.union_all([*rooms, box(5, 5, 45, 5.005)])
    found = contiguous(ground)
    assert [piece.area for piece in found] == pytest.approx([120, 110, 100], abs=0.001)
    assert [place_of(piece)[0] for piece in found] == pytest.approx([40, 20, 0], abs=0.006)
    assert contiguous(MultiPolygon()) == ()
