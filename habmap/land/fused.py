"""The sums of `habmap.land.pieces` by machine code: what it is called with, and what it gives.

The code itself is made from `habmap.land.compiled`; whoever holds it (`habmap.place.kernels`) hands it in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np

from habmap.land import pieces
from habmap.land.facerules import FaceRules
from habmap.land.pieces import DENSE_CLASSES, PLAIN_SUMS, Outlines, Pieces, PieceSums

#: Arguments of each function of `habmap.land.compiled.ENTRIES`, in order: arrays of float64 (d), int64 (q) or
#: booleans (?), each by its address, and whole numbers (n).
KINDS: Final = {
    "sum_pieces": "dnnnn" "ddnq?nqn" "qqddndqn" "dqqdn" "dqnddnddq",
    "add_pieces": "qqnqqdn" "qqndnqqd",
}  # fmt: skip

#: A function that is called with arrays and numbers of its kinds.
Entry = Callable[..., None]


class FusedSums:
    """Sums by machine code; they are those of the plain way to the last bit."""

    def __init__(self, entries: Mapping[str, Entry]) -> None:
        self._sum_pieces, self._add_pieces = (entries[name] for name in KINDS)

    def sums(
        self, heights: Any, corner: tuple[int, int], outlines: Outlines, pieces_: Pieces, *, rules: FaceRules
    ) -> PieceSums:
        """Sum the ground of pieces of one tile: what `habmap.land.pieces.plain_sums` gives."""
        count = len(pieces_.owners)
        windows = pieces_.windows
        spans = windows[:, 2:] - windows[:, :2]
        most_rows, most_cols = (int(most) for most in spans.max(axis=0))
        plain = np.zeros((count, len(PLAIN_SUMS)))
        class_counts = np.zeros(count, dtype=np.int64)
        classes = np.empty(256 * count + 1024, dtype=np.int64)
        class_m2 = np.empty((len(classes), 3))
        area = np.zeros(int((spans[:, 0] * (spans[:, 1] + 2)).max()))
        reach = np.empty((most_rows, 2), dtype=np.int64)
        rows_of = np.empty((8, most_cols + 16))
        by_col = np.empty((len(PLAIN_SUMS), rows_of.shape[1]))
        dense = np.zeros(8 * DENSE_CLASSES)
        scratch = np.empty(16)
        sector = rules.sun_sector
        numbers = np.array([rules.flat_below_pct, rules.machine_limit_pct, *sector[:4]], dtype=np.float64)
        cuts = np.array([rules.flat_limit.cut_class, rules.hand_limit.cut_class, int(sector[4])], dtype=np.int64)
        told = np.zeros(3, dtype=np.int64)
        written: list[tuple[Any, Any]] = []
        done = 0
        while done < count:
            self._sum_pieces(
                heights, *heights.shape, *corner,
                outlines.x, outlines.y, len(outlines.x), outlines.ring_ends, outlines.is_shell, len(outlines.is_shell),
                outlines.polygon_ends, len(outlines.polygon_ends) - 1,
                pieces_.owners, windows, pieces_.steps, pieces_.latitudes, count, numbers, cuts, done,
                plain, class_counts, classes, class_m2, len(classes),
                area, reach, most_rows, rows_of, by_col, rows_of.shape[1], dense, scratch, told,
            )  # fmt: skip
            done, filled, too_steep = told.tolist()
            if done == count and not written:  # as it nearly always is: nothing to put together
                return PieceSums(plain, class_counts, classes[:filled], class_m2[:filled])
            written.append((classes[:filled].copy(), class_m2[:filled].copy()))
            if too_steep >= 0:
                found = pieces.plain_sums(heights, corner, outlines, pieces_.only(too_steep), rules=rules)
                plain[too_steep] = found.plain[0]
                class_counts[too_steep] = found.class_counts[0]
                written.append((found.classes, found.class_m2))
                done += 1
            elif done < count and filled == 0:
                classes = np.empty(2 * len(classes), dtype=np.int64)
                class_m2 = np.empty((len(classes), 3))
        return PieceSums(
            plain,
            class_counts,
            np.concatenate([part for part, _ in written]),
            np.concatenate([part for _, part in written]),
        )

    def added(
        self, ends: Any, order: Any, by_owner: Any, classes: Any, class_m2: Any, low: Any, high: Any
    ) -> tuple[Any, Any, Any]:
        """Add up pieces' slope classes: what `habmap.land.zones` does one by one."""
        zones = len(by_owner) - 1
        counts = np.zeros(zones, dtype=np.int64)
        all_classes, all_m2 = np.empty_like(classes), np.empty_like(class_m2)
        widest = int((high - low).max(initial=0)) + 1
        self._add_pieces(
            ends, order, len(order), by_owner, classes, class_m2, len(classes), low, high, zones,
            np.zeros((widest, 3)), widest, counts, all_classes, all_m2,
        )  # fmt: skip
        written = int(counts.sum())
        return counts, all_classes[:written], all_m2[:written]
