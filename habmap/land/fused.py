"""The sums of `habmap.land.pieces` by machine code: what it is called with, and what it gives.

The code itself is made from `habmap.land.compiled`; whoever holds it (`habmap.place.kernels`) hands it in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from habmap.land import pieces
from habmap.land.facerules import FaceRules
from habmap.land.pieces import DENSE_CLASSES, MOST_COLS, PLAIN_SUMS, Outlines, Pieces, PieceSums

#: Columns that the compiled sums have room for in one line, and numbers in all their lines, classes and one row's own.
ROOM: Final = MOST_COLS + 24
SCRATCH: Final = (11 + len(PLAIN_SUMS)) * ROOM + 6 * DENSE_CLASSES + 16
#: Arguments of each function of `habmap.land.compiled.ENTRIES`, in order: arrays of float64 (d), float32 (f), int64 (q)
#: or booleans (?), each by its address, and whole numbers (n).
KINDS: Final = {
    "sum_pieces": "fdnnnnnn" "ddnq?nqn" "qqddndqn" "dqqdn" "dqqndqq",
    "add_pieces": "qqqqnqqqndnqqdn",
}  # fmt: skip

#: A function that is called with arrays and numbers of its kinds.
Entry = Callable[..., None]


_NO_HEIGHTS: Final = np.empty((0, 0))
#: Slope classes that room is made for at once.
_CLASSES_AT_ONCE: Final = 524_288


class _Room:
    """One thread's room to work in, taken once: a machine asked for fresh memory for each tile spends a third on that.

    `scratch` and `area` stand as zeros whenever nobody works in them.
    """

    def __init__(self) -> None:
        self.scratch = np.zeros(SCRATCH)
        self.keys = np.empty(ROOM, dtype=np.int64)
        self.area = np.zeros(0)
        self._classes = np.empty(0, dtype=np.int64)
        self._class_m2 = np.empty((0, 3))

    def for_area(self, cells: int) -> Any:
        """Return room for so many cells."""
        if len(self.area) < cells:
            self.area = np.zeros(cells)
        return self.area

    def for_classes(self, count: int) -> tuple[Any, Any]:
        """Return room for at least so many slope classes and their ground."""
        if len(self._classes) < count:
            self._classes = np.empty(max(count, _CLASSES_AT_ONCE), dtype=np.int64)
            self._class_m2 = np.empty((len(self._classes), 3))
        return self._classes, self._class_m2

    def keep(self, count: int) -> tuple[Any, Any]:
        """Return the first classes of that room and their ground, and leave them to whoever asked."""
        kept = self._classes[:count], self._class_m2[:count]
        self._classes, self._class_m2 = self._classes[count:], self._class_m2[count:]
        return kept


class FusedSums:
    """Sums by machine code; they are those of the plain way to the last bit.

    Parameters
    ----------
    entries
        The functions.
    own
        An object whose attributes are each thread's own: what a thread works in is kept there.
    """

    def __init__(self, entries: Mapping[str, Entry], *, own: Any) -> None:
        self._sum_pieces, self._add_pieces = (entries[name] for name in KINDS)
        self._own = own

    def sums(
        self, heights: Any, corner: tuple[int, int], outlines: Outlines, pieces_: Pieces, *, rules: FaceRules
    ) -> PieceSums:
        """Sum the ground of pieces of one tile: what `habmap.land.pieces.plain_sums` gives."""
        if not hasattr(self._own, "room"):
            self._own.room = _Room()
        count, room = len(pieces_.owners), self._own.room
        windows = pieces_.windows
        spans = windows[:, 2:] - windows[:, :2]
        most_rows, most_cols = (int(most) for most in spans.max(axis=0))
        if most_cols > MOST_COLS:
            raise ValueError(f"a piece of {most_cols} columns is wider than the compiled sums have room for")
        plain = np.zeros((count, len(PLAIN_SUMS)))
        class_counts = np.zeros(count, dtype=np.int64)
        area = room.for_area(int((spans[:, 0] * (spans[:, 1] + 2)).max()))
        reach = np.empty((most_rows, 2), dtype=np.int64)
        is_single = heights.dtype == np.float32
        of_kinds = (heights, _NO_HEIGHTS) if is_single else (_NO_HEIGHTS.astype(np.float32), heights)
        sector = rules.sun_sector
        numbers = np.array([rules.flat_below_pct, rules.machine_limit_pct, *sector[:4]], dtype=np.float64)
        cuts = np.array([rules.flat_limit.cut_class, rules.hand_limit.cut_class, int(sector[4])], dtype=np.int64)
        told = np.zeros(3, dtype=np.int64)
        written: list[tuple[Any, Any]] = []
        done, wanted = 0, 256 * count + 1024
        while done < count:
            classes, class_m2 = room.for_classes(wanted)
            self._sum_pieces(
                *of_kinds, *_addresses([heights]), int(is_single), *heights.shape, *corner,
                outlines.x, outlines.y, len(outlines.x), outlines.ring_ends, outlines.is_shell, len(outlines.is_shell),
                outlines.polygon_ends, len(outlines.polygon_ends) - 1,
                pieces_.owners, windows, pieces_.steps, pieces_.latitudes, count, numbers, cuts, done,
                plain, class_counts, classes, class_m2, len(classes),
                area, area.view(np.int64), reach, most_rows, room.scratch, room.keys, told,
            )  # fmt: skip
            done, filled, too_steep = told.tolist()
            written.append(room.keep(filled))
            if too_steep >= 0:
                found = pieces.plain_sums(heights, corner, outlines, pieces_.only(too_steep), rules=rules)
                plain[too_steep] = found.plain[0]
                class_counts[too_steep] = found.class_counts[0]
                written.append((found.classes, found.class_m2))
                done += 1
            elif done < count and filled == 0:
                wanted *= 2
        if len(written) == 1:  # as it nearly always is: nothing to put together
            return PieceSums(plain, class_counts, *written[0])
        return PieceSums(
            plain,
            class_counts,
            np.concatenate([part for part, _ in written]),
            np.concatenate([part for _, part in written]),
        )

    def adding(self, parts: Sequence[PieceSums], starts: Any, lengths: Any, order: Any) -> _Adding:
        """Return what adds up pieces' slope classes."""
        part = np.repeat(np.arange(len(parts)), [len(one.class_counts) for one in parts])
        return _Adding(
            self._add_pieces,
            parts,
            _addresses([one.classes for one in parts])[part] + 8 * starts,
            _addresses([one.class_m2 for one in parts])[part] + 24 * starts,
            lengths,
            order,
            np.concatenate([[0], np.cumsum(lengths[order])]),
        )


@dataclass(frozen=True, slots=True)
class _Adding:
    """A `habmap.land.zones.AddClasses` by machine code.

    Attributes
    ----------
    parts
        Held, since they are read at their addresses.
    classes_at, m2_at, lengths
        Where each piece's classes and their ground lie, and how many it has.
    order, ends
        The pieces outline by outline, and where their classes end in that order, a 0 in front.
    """

    add_pieces: Entry
    parts: Sequence[PieceSums]
    classes_at: Any
    m2_at: Any
    lengths: Any
    order: Any
    ends: Any

    def __call__(self, by_owner: Any, low: Any, high: Any) -> tuple[Any, Any, Any]:
        zones, most = len(low), int(self.ends[by_owner[-1]] - self.ends[by_owner[0]])
        counts = np.zeros(zones, dtype=np.int64)
        all_classes, all_m2 = np.empty(most, dtype=np.int64), np.empty((most, 3))
        widest = int((high - low).max(initial=0)) + 1
        self.add_pieces(
            self.classes_at, self.m2_at, self.lengths, self.order, len(self.order), by_owner, low, high, zones,
            np.zeros((widest, 3)), widest, counts, all_classes, all_m2, most,
        )  # fmt: skip
        written = int(counts.sum())
        return counts, all_classes[:written], all_m2[:written]


def _addresses(arrays: Sequence[Any]) -> Any:
    """Return where arrays lie: nobody then needs to put them together first."""
    if any(not one.flags.c_contiguous for one in arrays):
        raise TypeError("arrays in order are wanted")
    return np.array([one.__array_interface__["data"][0] for one in arrays], dtype=np.int64)
