"""Exact shares of grid cells inside outlines, by the signed areas that edges cut off.

Every edge adds to the cells that it crosses how much ground lies to its right; a running sum along each row then is
each cell's share. What is done for one edge costs as many steps as it crosses cells, so that the inside of an outline
costs next to nothing. `add_rings` is written in plain steps on numbers: it runs as it stands, and compiled
(`habmap.land.compiled`), with the same result to the last bit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Shares nearer to none or to all of a cell than this are none or all: what rounding leaves of a sum.
HAIR_SHARE: Final = 1e-9


def add_rings(
    x: Any,
    y: Any,
    ring_ends: Any,
    is_shell: Any,
    first_ring: int,
    end_ring: int,
    left: float,
    top: float,
    rows: int,
    cols: int,
    area: Any,
    reach: Any,
) -> None:
    """Add what every edge of some rings cuts off to the cells of a window.

    Parameters
    ----------
    x, y
        Vertices, rings one after another, each closed: columns, and rows counted downward [cells].
    ring_ends
        Where each ring ends among the vertices; it begins where the one before ends. One more stands in front: 0.
    is_shell
        Whether a ring is an outer line (its inside is added) or a hole (taken away), whichever way it is drawn.
    first_ring, end_ring
        Which rings.
    left, top, rows, cols
        The window [cells]. Ground to its left is counted to its first column; what lies elsewhere is left out.
    area
        Shape ``(rows, cols + 2)``, added to: the running sum along a row is the share of each cell.
    reach
        Shape ``(rows, 2)``, first and last column that was touched in each row, widened.
    """
    for ring in range(first_ring, end_ring):
        start, end = ring_ends[ring], ring_ends[ring + 1]
        twice = 0.0
        for i in range(start, end - 1):
            twice += (x[i] - x[start]) * (y[i + 1] - y[start]) - (x[i + 1] - x[start]) * (y[i] - y[start])
        # Rows count downward: ground lies to the right of an edge that runs down where the sum is negative.
        sign = 1.0 if (twice < 0.0) == bool(is_shell[ring]) else -1.0
        for i in range(start, end - 1):
            x0, y0, x1, y1 = x[i] - left, y[i] - top, x[i + 1] - left, y[i + 1] - top
            if y0 == y1:
                continue
            turn = sign
            if y0 > y1:
                x0, y0, x1, y1 = x1, y1, x0, y0
                turn = -sign
            if y1 <= 0.0 or y0 >= rows:
                continue
            slant = (x1 - x0) / (y1 - y0)
            first = math.floor(y0) if y0 > 0.0 else 0
            last = math.ceil(y1) if y1 < rows else rows
            for row in range(first, last):
                upper = y0 if y0 > row else float(row)
                lower = y1 if y1 < row + 1.0 else row + 1.0
                height = lower - upper
                if height <= 0.0:
                    continue
                xa = x0 + (upper - y0) * slant
                xb = x1 if lower == y1 else x0 + (lower - y0) * slant
                if xa > xb:
                    xa, xb = xb, xa
                if xa >= cols:
                    continue
                down = turn * height
                if xb <= 0.0:
                    area[row, 0] += down
                    reach[row, 0] = 0
                    continue
                if xa < 0.0:  # the part beyond the left side stands at the side
                    beyond = down * (-xa / (xb - xa))
                    area[row, 0] += beyond
                    reach[row, 0] = 0
                    down -= beyond
                    xa = 0.0
                if xb > cols:  # the part beyond the right side cuts nothing off
                    down -= down * ((xb - cols) / (xb - xa))
                    xb = float(cols)
                cell, far = math.floor(xa), math.ceil(xb)
                if cell < reach[row, 0]:
                    reach[row, 0] = cell
                if far > reach[row, 1]:
                    reach[row, 1] = far
                if far <= cell + 1:
                    middle = down * (0.5 * (xa + xb) - cell)
                    area[row, cell] += down - middle
                    area[row, cell + 1] += middle
                    continue
                # The edge lies over several cells: in each, its part of the height and how far right it lies there.
                per_cell = down / (xb - xa)
                for at in range(cell, far):
                    begin = xa if xa > at else float(at)
                    finish = xb if xb < at + 1.0 else at + 1.0
                    part = per_cell * (finish - begin)
                    middle = part * (0.5 * (begin + finish) - at)
                    area[row, at] += part - middle
                    area[row, at + 1] += middle


def shares_in(
    x: Floats, y: Floats, ring_ends: Sequence[int], is_shell: Sequence[bool], *, window: tuple[int, int, int, int]
) -> tuple[Ints, Ints, Floats]:
    """Return row, column and share of every cell of a window that lies inside an outline, whole or in part.

    Parameters
    ----------
    x, y, ring_ends, is_shell
        One outline's rings, as for `add_rings`.
    window
        First row, first column, end row and end column [cells].

    Notes
    -----
    Shares are rounded to float32, as exactextract gives them: the seventh digit of a cell at the edge.
    """
    first_row, first_col, end_row, end_col = window
    rows, cols = end_row - first_row, end_col - first_col
    area = np.zeros((rows, cols + 2))
    reach = np.empty((rows, 2), dtype=np.int64)
    add_rings(
        x.tolist(), y.tolist(), [int(end) for end in ring_ends], is_shell, 0, len(is_shell),
        float(first_col), float(first_row), rows, cols, area, reach,
    )  # fmt: skip
    share = np.cumsum(area[:, :cols], axis=1)
    share[share < HAIR_SHARE] = 0.0
    share[share > 1.0 - HAIR_SHARE] = 1.0
    at_row, at_col = np.nonzero(share)
    return at_row, at_col, share[at_row, at_col].astype(np.float32).astype(np.float64)
