"""A raster's own blocks, each decoded once for all who read near it at the same time, in bounded memory."""

from __future__ import annotations

import threading
from collections import Counter, OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Cells = NDArray[np.floating[Any]]
#: First row, first column, end row and end column, inside the raster.
Window: TypeAlias = tuple[int, int, int, int]
#: Reads a window of a file; what it is given beside may hold it.
Decode: TypeAlias = "Callable[[Window, Cells | None], Cells]"

#: Side that small blocks are read up to at once, and most cells of one reading.
SIDE_CELLS: Final = 512
READ_CELLS: Final = 1_500_000
#: Decoded blocks that are kept for the neighbors [bytes].
KEPT_BYTES: Final = 96_000_000


@dataclass(eq=False, slots=True)
class _Block:
    """A block that is being decoded or was; how many read from it now, and the room that it lies in, if in any."""

    cells: Future[Cells]
    readers: int = 0
    room: Cells | None = None


class Blocks:
    """Reads windows of a raster from whole blocks, each kept until the last window that was told of it is read.

    Several threads may ask at once; a block that one of them is decoding is waited for by the others. The room of a
    block that is dropped is used again for the next: fresh memory costs as much as a third of the decoding. Where so
    many are wanted that they would fill the memory, those go that were asked for longest ago, and are decoded again.
    """

    def __init__(self, *, height: int, width: int, block: tuple[int, int], dtype: np.dtype[Any]) -> None:
        self.height, self.width = height, width
        self.rows, self.cols = unit_of(block, height=height, width=width)
        self._lock = threading.Lock()
        self._held = 0
        self._kept: OrderedDict[tuple[int, int], _Block] = OrderedDict()
        self._dtype = dtype
        self._rooms: list[Cells] = []
        self._wanted: Counter[tuple[int, int]] = Counter()

    def band_cols(self, rows: int) -> int:
        """Return how many columns may be gone through side by side, that many rows high, before blocks are dropped."""
        high = (rows // self.rows + 2) * self.rows
        return max(self.cols, KEPT_BYTES // (high * self._dtype.itemsize))

    def expect(self, window: Window) -> None:
        """Be told that a window will be read, once for each time."""
        self._wanted.update(self._keys(window))

    def _keys(self, window: Window) -> list[tuple[int, int]]:
        first_row, first_col, end_row, end_col = window
        return [
            (row, col)
            for row in range(first_row // self.rows, (end_row - 1) // self.rows + 1)
            for col in range(first_col // self.cols, (end_col - 1) // self.cols + 1)
        ]

    def read(self, window: Window, decode: Decode, *, out: Cells) -> None:
        """Fill an array with the cells of a window.

        Parameters
        ----------
        window
            First row, first column, end row and end column, inside the raster.
        decode
            Reads a window from the file, for whoever is the first to need it: into the room that it is given, or into
            room of its own; returns where it lies.
        out
            Shape of the window.
        """
        first_row, first_col, end_row, end_col = window
        keys = deque((key, False) for key in self._keys(window))
        while keys:
            key, waits = keys.popleft()
            top, left = key[0] * self.rows, key[1] * self.cols
            own = (top, left, min(top + self.rows, self.height), min(left + self.cols, self.width))
            block = self._taken(key, own, decode, waits=waits)
            if block is None:  # another thread is decoding it: by the time the rest is read, it is mostly there
                keys.append((key, True))
                continue
            high = slice(max(first_row, top), min(end_row, own[2]))
            wide = slice(max(first_col, left), min(end_col, own[3]))
            try:
                out[high.start - first_row : high.stop - first_row, wide.start - first_col : wide.stop - first_col] = (
                    block.cells.result()[high.start - top : high.stop - top, wide.start - left : wide.stop - left]
                )
            finally:
                self._give_back(key, block)

    def _taken(self, key: tuple[int, int], window: Window, decode: Decode, *, waits: bool) -> _Block | None:
        """Return a block to read from, decoded now where nobody did; ``None``: another is at it, and it need not be."""
        with self._lock:
            block = self._kept.get(key)
            is_new = block is None
            if block is None:
                block = self._kept[key] = _Block(Future(), room=self._room_for(window))
            elif waits or block.cells.done():
                self._kept.move_to_end(key)
            else:
                return None
            block.readers += 1
        if is_new:
            self._decode(key, block, window, decode)
        return block

    def _give_back(self, key: tuple[int, int], block: _Block) -> None:
        with self._lock:
            block.readers -= 1
            self._wanted[key] -= 1
            if not block.readers and self._wanted[key] <= 0 and self._kept.get(key) is block:
                self._drop(key)

    def _decode(self, key: tuple[int, int], block: _Block, window: Window, decode: Decode) -> None:
        try:
            cells = decode(window, block.room)
        except BaseException as error:
            with self._lock:
                self._kept.pop(key, None)
            block.cells.set_exception(error)
            raise
        with self._lock:
            if cells is not block.room and block.room is not None:
                self._rooms.append(block.room)
                block.room = None
            self._held += cells.nbytes
            block.cells.set_result(cells)
            while self._held > KEPT_BYTES:
                oldest, dropped = next(iter(self._kept.items()))
                if dropped.readers:
                    break
                self._drop(oldest)

    def _drop(self, key: tuple[int, int]) -> None:
        block = self._kept.pop(key)
        self._held -= block.cells.result().nbytes
        if block.room is not None:
            self._rooms.append(block.room)

    def _room_for(self, window: Window) -> Cells | None:
        """Return room for a whole block, used before if there is any."""
        if (window[2] - window[0], window[3] - window[1]) != (self.rows, self.cols):
            return None
        return self._rooms.pop() if self._rooms else np.empty((self.rows, self.cols), dtype=self._dtype)


def unit_of(block: tuple[int, int], *, height: int, width: int) -> tuple[int, int]:
    """Return rows and columns that are read at once: whole blocks of the file, several where they are small."""
    block_rows, block_cols = min(block[0], height), min(block[1], width)
    if block_cols >= width:
        rows = block_rows * max(1, min(SIDE_CELLS, READ_CELLS // width) // block_rows)
        return min(rows, height), width
    rows = block_rows * max(1, SIDE_CELLS // block_rows)
    cols = block_cols * max(1, SIDE_CELLS // block_cols)
    return min(rows, height), min(cols, width)
