"""Shares of cells and canopy inside polygons, by squares that can be counted, and when cells are too coarse."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from habmap.land.cover import CoverSums, cover_sums
from habmap.land.shares import are_too_coarse, cell_shares, is_too_coarse

#: Of three rows of four cells, whose first is row 2 and column 5 of the raster: half a column from the west, all of
#: the next two; two rows and half of the third.
PART = box(5.5, -4.5, 8, -2).wkb
#: One cell and what lies outside of the tile.
BEYOND = box(8, -3, 99, 9).wkb


def test_cells_count_by_their_share_and_those_not_known_do_not() -> None:
    values = np.arange(12.0).reshape(3, 4)
    values[0, 1], values[2, 2] = np.nan, np.inf
    cells, shares, owners = cell_shares(values, [PART, BEYOND], first_row=2, first_col=5)
    found = {(int(owner), int(cell)): float(share) for owner, cell, share in zip(owners, cells, shares, strict=True)}
    own = {0: 0.5, 2: 1, 4: 0.5, 5: 1, 6: 1, 8: 0.25, 9: 0.5}
    assert found == {**{(0, cell): share for cell, share in own.items()}, (1, 3): 1.0}


def test_canopy_is_summed_by_rows_of_their_own_size() -> None:
    limit_m = 2.0
    heights = np.full((3, 4), 9.0)
    heights[0] = [1, 2 * (1 - 0.995e-6), np.nan, 9]
    heights[1] = [2.0, 2 * (1 - 1.005e-6), 0, 9]
    part, beyond, none = cover_sums(
        heights, [PART, BEYOND, box(0, 0, 1, 1).wkb], first_row=2, first_col=5,
        cell_m2=[1.0, 10.0, 100.0], limit_m=limit_m,
    )  # fmt: skip
    assert part == CoverSums(covered_m2=1.5 + 25 + 125, tall_m2=1 + 5 + 125)
    assert beyond == CoverSums(covered_m2=1, tall_m2=1) and none == CoverSums(covered_m2=0.0, tall_m2=0.0)
    assert part + beyond == CoverSums(covered_m2=152.5, tall_m2=132)
    (alike,) = cover_sums(heights, [PART], first_row=2, first_col=5, cell_m2=10.0, limit_m=limit_m)
    assert alike == CoverSums(covered_m2=15 + 25 + 12.5, tall_m2=10 + 5 + 12.5)


def test_canopy_and_coverage_in_percent() -> None:
    assert CoverSums(covered_m2=0.5, tall_m2=0.125).canopy_pct == 25
    assert CoverSums(covered_m2=4, tall_m2=4.000001).canopy_pct == 100
    assert CoverSums().canopy_pct is None and CoverSums() == CoverSums(covered_m2=0, tall_m2=0)
    assert CoverSums(covered_m2=1).coverage_pct(unit_m2=4) == 25
    assert CoverSums(covered_m2=0.25).coverage_pct(unit_m2=0.5) == 50
    assert CoverSums(covered_m2=99.9985).coverage_pct(unit_m2=100) == pytest.approx(99.9985)
    assert CoverSums(covered_m2=99.9995).coverage_pct(unit_m2=100) == 100
    assert CoverSums(covered_m2=101).coverage_pct(unit_m2=100) == 100
    assert CoverSums(covered_m2=1).coverage_pct(unit_m2=0) == 0


def a_horseshoe(breadth: float) -> Polygon:
    """Return three sides of a square of 60, as broad as given: its middle is not on it."""
    return box(0, 0, 60, 60).difference(box(breadth, -1, 60 - breadth, 60 - breadth))


def a_comb(breadth: float) -> Polygon:
    """Return a back as broad as given with many thin teeth: a long edge, and one place that is broad."""
    teeth = [box(x, 0, x + 0.2, 30) for x in range(0, 60, 2)]
    return shapely.union_all([box(0, -breadth, 60, 0), *teeth])


@pytest.mark.parametrize(
    ("outline", "is_coarse"),
    [
        (box(0, 0, 5.47, 5.47), True),  # 29.92 cells
        (box(0, 0, 5.48, 5.48), False),  # 30.03
        (box(0, 0, 100, 3.97), True),  # a cell is more than a quarter of its breadth
        (box(0, 0, 100, 3.99), True),
        (box(0, 0, 100, 4.03), False),
        (box(0, 0, 100, 40), False),
        (a_horseshoe(3.95), False),  # in its corner a circle of 4.63 fits: 2·3.95·√2/(1 + √2)
        (a_horseshoe(3.35), True),  # and here 3.93
        (a_horseshoe(20), False),
        (a_comb(3.9), True),
        (a_comb(4.1), False),
        (shapely.Point(0, 0).buffer(3.08), True),  # 29.8 cells of a circle
        (shapely.Point(0, 0).buffer(3.12), False),
    ],
)
@pytest.mark.parametrize("cell_m", [1.0, 10.0])
def test_cells_are_too_coarse_where_few_fit_in_number_or_across(
    outline: Polygon, is_coarse: bool, cell_m: float
) -> None:
    scaled = shapely.transform(outline, lambda xy: xy * cell_m)
    assert is_too_coarse(scaled, cell_m=cell_m) is is_coarse


def test_each_of_many_is_told_as_by_itself() -> None:
    shapes = np.array([box(0, 0, 100, 3.9), box(0, 0, 9, 9), a_horseshoe(5), box(0, 0, 2, 2), a_comb(3)], dtype=object)
    assert are_too_coarse(shapes, cell_m=1).tolist() == [True, False, False, True, True]
