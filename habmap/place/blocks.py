"""A raster's own blocks, each decoded once for all who read near it at the same time, in bounded memory."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Cells = NDArray[np.floating[Any]]

#: Side that small blocks are read up to at once, and most cells of one reading.
SIDE_CELLS: Final = 512
READ_CELLS: Final = 1_500_000
#: Decoded blocks that are kept for the neighbors [bytes].
KEPT_BYTES: Final = 96_000_000


class Blocks:
    """Reads any window of a raster from whole blocks, and keeps those that were asked for last.

    Several threads may ask at once; a block that one of them is decoding is waited for by the others.
    """

    def __init__(self, *, height: int, width: int, block: tuple[int, int]) -> None:
        self.height, self.width = height, width
        self.rows, self.cols = unit_of(block, height=height, width=width)
        self._lock = threading.Lock()
        self._held = 0
        self._kept: OrderedDict[tuple[int, int], Future[Cells]] = OrderedDict()

    def band_cols(self, rows: int) -> int:
        """Return how many columns may be gone through side by side, that many rows high, before blocks are dropped."""
        high = (rows // self.rows + 2) * self.rows
        return max(self.cols, KEPT_BYTES // (2 * high * np.dtype(np.float32).itemsize))

    def read(
        self, window: tuple[int, int, int, int], decode: Callable[[tuple[int, int, int, int]], Cells], *, out: Cells
    ) -> None:
        """Fill an array with the cells of a window.

        Parameters
        ----------
        window
            First row, first column, end row and end column, inside the raster.
        decode
            Reads a window from the file, for whoever is the first to need it.
        out
            Shape of the window.
        """
        first_row, first_col, end_row, end_col = window
        for row in range(first_row // self.rows, (end_row - 1) // self.rows + 1):
            top, bottom = row * self.rows, min((row + 1) * self.rows, self.height)
            high = slice(max(first_row, top), min(end_row, bottom))
            for col in range(first_col // self.cols, (end_col - 1) // self.cols + 1):
                left, right = col * self.cols, min((col + 1) * self.cols, self.width)
                wide = slice(max(first_col, left), min(end_col, right))
                cells = self._block((row, col), (top, left, bottom, right), decode)
                out[high.start - first_row : high.stop - first_row, wide.start - first_col : wide.stop - first_col] = (
                    cells[high.start - top : high.stop - top, wide.start - left : wide.stop - left]
                )

    def _block(
        self,
        key: tuple[int, int],
        window: tuple[int, int, int, int],
        decode: Callable[[tuple[int, int, int, int]], Cells],
    ) -> Cells:
        with self._lock:
            there = self._kept.get(key)
            if there is None:
                own: Future[Cells] = Future()
                self._kept[key] = own
            else:
                self._kept.move_to_end(key)
        if there is not None:
            return there.result()
        try:
            cells = decode(window)
        except BaseException as error:
            with self._lock:
                self._kept.pop(key, None)
            own.set_exception(error)
            raise
        own.set_result(cells)
        with self._lock:
            self._held += cells.nbytes
            while self._held > KEPT_BYTES and len(self._kept) > 1:
                oldest, block = next(iter(self._kept.items()))
                if not block.done() or oldest == key:
                    break
                self._held -= block.result().nbytes
                del self._kept[oldest]
        return cells


def unit_of(block: tuple[int, int], *, height: int, width: int) -> tuple[int, int]:
    """Return rows and columns that are read at once: whole blocks of the file, several where they are small."""
    block_rows, block_cols = min(block[0], height), min(block[1], width)
    if block_cols >= width:
        rows = block_rows * max(1, min(SIDE_CELLS, READ_CELLS // width) // block_rows)
        return min(rows, height), width
    rows = block_rows * max(1, SIDE_CELLS // block_rows)
    cols = block_cols * max(1, SIDE_CELLS // block_cols)
    return min(rows, height), min(cols, width)
