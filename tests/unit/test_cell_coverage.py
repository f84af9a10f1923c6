"""Shares of cells inside outlines beside shapely's overlay, cell by cell, and where each row of cells was touched."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LinearRing, LineString, Polygon, box

from habmap.land.coverage import add_rings, shares_in


def rings_of(polygon: Any, *, turned: bool = False) -> tuple[np.ndarray, np.ndarray, list[int], list[bool]]:
    """Return vertices, ends and kinds of a shape's rings, each turned the other way round where asked."""
    x, y, ends, kinds = [], [], [0], []
    for part in shapely.get_parts(polygon):
        for number, ring in enumerate((part.exterior, *part.interiors)):
            coords = list(ring.coords)[:: -1 if turned else 1]
            x += [at[0] for at in coords]
            y += [at[1] for at in coords]
            ends.append(len(x))
            kinds.append(number == 0)
    return np.array(x), np.array(y), ends, kinds


def overlaid(polygon: Any, window: tuple[int, int, int, int]) -> dict[tuple[int, int], float]:
    """Return the share of each cell, from the overlay with its square; rows count downward like y."""
    first_row, first_col, end_row, end_col = window
    found = {
        (row - first_row, col - first_col): float(polygon.intersection(box(col, row, col + 1, row + 1)).area)
        for row in range(first_row, end_row)
        for col in range(first_col, end_col)
    }
    return {cell: share for cell, share in found.items() if share > 1e-9}


def a_star(seed: int) -> Polygon:
    """Return rough ground with a hole."""
    rng = np.random.default_rng(seed)
    turns = np.sort(rng.uniform(0, 2 * math.pi, 11))
    reach = rng.uniform(3, 7, 11)
    rim = Polygon(np.column_stack([10 + reach * np.cos(turns), 20 + reach * np.sin(turns)]))
    return rim.difference(box(9.3, 19.2, 10.9, 21.7)) if rim.is_valid else a_star(seed + 100)


SHAPES = [
    *(a_star(seed) for seed in range(4)),
    box(5, 15, 12, 22),  # along the lines
    box(5.25, 15.5, 5.75, 15.75),  # within a cell
    Polygon([(2, 14), (18, 14.25), (2, 14.5)]),  # flat, over many cells
    shapely.MultiPolygon([box(4, 14, 8.5, 17.5), Polygon([(11, 18), (16, 26), (9, 24)])]),
    Polygon([(3, 20), (10, 13), (17, 20), (10, 27)]),
    Polygon([(5, 18), (15, 19), (6, 17)]),  # slanting, so that the way it runs round shows in its area alone
    Polygon([(9, 15), (10, 25), (8, 16)]),
]
WINDOWS = [(12, 2, 28, 18), (12, 7, 28, 13), (17, 2, 21, 18), (16, 8, 22, 12), (18, 0, 19, 1), (12, 14, 15, 20)]


@pytest.mark.parametrize("window", WINDOWS)
@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("turned", [False, True])
def test_shares_are_those_of_an_overlay(shape: Any, window: tuple[int, int, int, int], turned: bool) -> None:
    x, y, ends, kinds = rings_of(shape, turned=turned)
    rows, cols, shares = shares_in(x, y, ends, kinds, window=window)
    found = dict(zip(zip(rows.tolist(), cols.tolist(), strict=True), shares.tolist(), strict=True))
    wanted = overlaid(shape, window)
    assert found.keys() == wanted.keys()
    assert [found[cell] for cell in wanted] == pytest.approx(list(wanted.values()), abs=1e-7)  # float32


def test_a_hair_of_a_cell_is_none_and_all_but_a_hair_is_all() -> None:
    for high, share in ((0.99e-9, None), (1.005e-9, 1.005e-9), (1 - 0.99e-9, 1.0), (1 - 1.005e-9, 1.0)):
        x, y, ends, kinds = rings_of(box(0, 0, 1, high))
        _, _, shares = shares_in(x, y, ends, kinds, window=(0, 0, 1, 1))
        assert shares.tolist() == ([] if share is None else [pytest.approx(share, rel=1e-6)])


@pytest.mark.parametrize("window", WINDOWS)
@pytest.mark.parametrize("shape", SHAPES)
def test_where_each_row_was_touched(shape: Any, window: tuple[int, int, int, int]) -> None:
    first_row, first_col, end_row, end_col = window
    rows, cols = end_row - first_row, end_col - first_col
    area, reach = np.zeros((rows, cols + 2)), np.tile([cols + 9, -9], (rows, 1))
    x, y, ends, kinds = rings_of(shape)
    add_rings(x, y, ends, kinds, 0, len(kinds), float(first_col), float(first_row), rows, cols, area, reach)
    sides = [
        LineString([a, b])
        for part in shapely.get_parts(shape)
        for ring in (part.exterior, *part.interiors)
        for a, b in zip(ring.coords[:-1], ring.coords[1:], strict=True)
        if a[1] != b[1]
    ]
    for row in range(rows):
        strip = box(-99, first_row + row, 99, first_row + row + 1)
        bits = [side.intersection(strip).bounds for side in sides]
        bits = [(bit[0] - first_col, bit[2] - first_col) for bit in bits if bit and bit[3] > bit[1]]
        bits = [(max(0.0, west), max(0.0, east)) for west, east in bits if west < cols]
        within = [(west, east) for west, east in bits if east > 0]
        first = min([cols + 9, *(math.floor(west + 1e-12) for west, _ in bits)])
        last = max([-9, *(math.ceil(min(east, cols) - 1e-12) for _, east in within)])
        assert (reach[row, 0], reach[row, 1]) == (first, last)


def test_rings_are_added_to_what_is_there_and_only_those_asked_for() -> None:
    x, y, ends, kinds = rings_of(shapely.MultiPolygon([box(0, 0, 2, 1), box(3, 0, 4.5, 1), box(5, 0, 6, 1)]))
    area, reach = np.full((1, 8), 0.125), np.array([[6, 0]])
    add_rings(x, y, ends, kinds, 1, 2, 0.0, 0.0, 1, 6, area, reach)
    assert (area - 0.125).cumsum(axis=1)[0].tolist() == [0, 0, 0, 1, 0.5, 0, 0, 0]
    assert reach.tolist() == [[3, 5]] and LinearRing(list(zip(x[5:10], y[5:10], strict=True))).length == 5


@pytest.mark.parametrize("reach", [0.004, 0.0001])
@pytest.mark.parametrize(
    ("outline", "cells"),
    [
        (lambda by: box(0, 10, 5, 12 + by), {(0, 0), (0, 1), (0, 2)}),
        (lambda by: box(0, 16 - by, 5, 18), {(3, 0), (3, 1), (3, 2)}),
        (lambda by: box(0, 10, 2 + by, 18), {(0, 0), (1, 0), (2, 0), (3, 0)}),
        (lambda by: box(7 - by, 10, 9, 18), {(0, 4), (1, 4), (2, 4), (3, 4)}),
        (lambda by: box(3, 13, 4, 13 + by), {(1, 1)}),
        (lambda by: box(3, 13, 3 + by, 14), {(1, 1)}),
    ],
    ids=["top", "bottom", "left", "right", "low", "narrow"],
)
def test_a_hair_within_a_window_counts_as_what_it_is(outline: Any, cells: set[tuple[int, int]], reach: float) -> None:
    """Rows 12 to 15 and columns 2 to 6."""
    x, y, ends, kinds = rings_of(outline(reach))
    rows, cols, shares = shares_in(x, y, ends, kinds, window=(12, 2, 16, 7))
    assert set(zip(rows.tolist(), cols.tolist(), strict=True)) == cells
    assert shares == pytest.approx(np.full(len(cells), reach), rel=1e-6)
