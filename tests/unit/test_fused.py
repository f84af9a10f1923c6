"""What stands around the machine code: the room it gets, in which order pieces come, and which are summed plainly."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from habmap.land import fused
from habmap.land.facerules import FaceRules
from habmap.land.fused import FusedSums
from habmap.land.pieces import MOST_COLS, PLAIN_SUMS, Pieces, PieceSums

OUTLINES: Any = SimpleNamespace(x=0, y=0, ring_ends=0, is_shell=[0], polygon_ends=[0])
OUTLINES.x = np.zeros(4)


class Counting:
    """Sums pieces that have so many slope classes each, as far as there is room; some are too steep for it."""

    def __init__(self, classes: list[int], *, steep: tuple[int, ...] = ()) -> None:
        self.of_pieces, self.steep = classes, steep
        self.rooms: list[int] = []
        self.begun: list[int] = []
        self.areas: list[tuple[int, tuple[int, ...], int]] = []

    def __call__(self, *args: Any) -> None:
        done, plain, class_counts, classes, class_m2, room, area, _bits, reach, most_rows, *_scratch, told = args[-13:]
        self.rooms.append(room)
        self.begun.append(done)
        self.areas.append((len(area), reach.shape, most_rows))
        filled, too_steep = 0, -1
        while done < len(self.of_pieces):
            many = self.of_pieces[done]
            if done in self.steep:
                too_steep = done
                break
            if filled + many > room:
                break
            classes[filled : filled + many] = done
            class_m2[filled : filled + many] = done / 2
            plain[done], class_counts[done] = done + 1, many
            filled, done = filled + many, done + 1
        told[:] = done, filled, too_steep


def pieces(count: int, *, rows: int = 3, cols: int = 4) -> Pieces:
    windows = np.tile([10, 20, 10 + rows, 20 + cols], (count, 1))
    return Pieces(np.arange(count), windows, np.zeros((count, 2, 2, 4)), np.zeros((count, 5)))


def summed(counting: Counting, of: Pieces) -> PieceSums:
    sums = FusedSums({"sum_pieces": counting, "add_pieces": counting}, own=SimpleNamespace())
    return sums.sums(np.zeros((4, 4)), (0, 0), OUTLINES, of, rules=FaceRules())


def test_a_piece_that_does_not_fit_gets_twice_the_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fused, "_CLASSES_AT_ONCE", 0)
    counting = Counting([10, 5000, 7])
    found = summed(counting, pieces(3))
    assert found.class_counts.tolist() == [10, 5000, 7] and found.plain[:, 0].tolist() == [1, 2, 3]
    assert found.classes.tolist() == [0] * 10 + [1] * 5000 + [2] * 7
    assert found.class_m2.tolist() == [[one / 2] * 3 for one in found.classes.tolist()]
    first = counting.rooms[0]
    assert counting.begun == [0, 1, 1, 1] and counting.rooms == [first, first, 2 * first, 4 * first]


def test_pieces_too_steep_are_summed_plainly_in_their_place(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def plain_sums(_heights: Any, _corner: Any, _outlines: Any, of: Pieces, *, rules: FaceRules) -> PieceSums:
        (number,) = of.owners.tolist()
        asked.append(number)
        return PieceSums(
            np.full((1, len(PLAIN_SUMS)), 70.0 + number), np.array([2]), np.array([90, 91]), np.ones((2, 3))
        )

    monkeypatch.setattr("habmap.land.pieces.plain_sums", plain_sums)
    for steep, classes in (
        ((1,), [0, 0, 0, 90, 91, 2]),
        ((0, 2), [90, 91, 1, 90, 91]),
        ((2,), [0, 0, 0, 1, 90, 91]),
        ((), [0, 0, 0, 1, 2]),
    ):
        asked.clear()
        found = summed(Counting([3, 1, 1], steep=steep), pieces(3))
        assert found.classes.tolist() == classes and asked == list(steep)
        assert found.plain[:, -1].tolist() == [70.0 + k if k in steep else k + 1 for k in range(3)]
        assert found.class_counts.tolist() == [2 if k in steep else (3, 1, 1)[k] for k in range(3)]


def test_a_piece_has_room_up_to_the_widest_and_work_is_done_in_the_room_of_before() -> None:
    counting = Counting([1])
    sums = FusedSums({"sum_pieces": counting, "add_pieces": counting}, own=SimpleNamespace())
    for rows, cols in ((3, 4), (5, 40), (2, 2), (1, MOST_COLS)):
        sums.sums(np.zeros((4, 4)), (0, 0), OUTLINES, pieces(1, rows=rows, cols=cols), rules=FaceRules())
    # a spare column to either side of each row; what is large enough stays
    assert counting.areas == [
        (3 * 6, (3, 2), 3), (5 * 42, (5, 2), 5), (5 * 42, (2, 2), 2), (max(5 * 42, MOST_COLS + 2), (1, 2), 1),
    ]  # fmt: skip
    with pytest.raises(ValueError, match=f"a piece of {MOST_COLS + 1} columns"):
        sums.sums(np.zeros((4, 4)), (0, 0), OUTLINES, pieces(1, cols=MOST_COLS + 1), rules=FaceRules())
    # of the same room the next classes come behind the last ones
    first, second = (summed_on.classes for summed_on in (summed(Counting([2]), pieces(1)) for _ in range(2)))
    assert not np.shares_memory(first, second)
    one, other = (sums.sums(np.zeros((4, 4)), (0, 0), OUTLINES, pieces(1), rules=FaceRules()) for _ in range(2))
    assert one.classes.base is other.classes.base and not np.shares_memory(one.classes, other.classes)


def test_machine_code_is_told_whether_heights_are_single() -> None:
    told: list[tuple[Any, ...]] = []

    def taking(*args: Any) -> None:
        told.append(args[:8])
        args[-1][:] = 1, 0, -1

    sums = FusedSums({"sum_pieces": taking, "add_pieces": taking}, own=SimpleNamespace())
    for kind in (np.float32, np.float64):
        heights = np.zeros((6, 7), dtype=kind)
        sums.sums(heights, (8, 9), OUTLINES, pieces(1), rules=FaceRules())
        single, double, at, is_single, *shape = told[-1]
        assert (single is heights, double is heights) == (kind is np.float32, kind is np.float64)
        assert (single.dtype, double.dtype) == (np.float32, np.float64)
        assert is_single == (kind is np.float32) and shape == [6, 7, 8, 9]
        assert at == heights.ctypes.data
    with pytest.raises(TypeError, match="in order"):
        fused._addresses([np.zeros((3, 3)).T[:, 1:]])


def test_classes_are_added_up_in_room_for_those_of_the_outlines_that_are_asked_for() -> None:
    """Of pieces with 5, 4 and 11 classes the last two, of two outlines with classes from 2 to 7 and from 4 to 4."""
    told: list[tuple[Any, ...]] = []

    def adding(*args: Any) -> None:
        told.append(args)
        counts, classes, class_m2 = args[-4:-1]
        counts[:] = 3, 1
        classes[:4], class_m2[:4] = [2, 3, 7, 4], np.arange(12).reshape(4, 3)

    own = fused._Adding(adding, (), np.arange(3), np.arange(3), np.arange(3), np.arange(3), np.array([0, 5, 9, 20]))
    counts, classes, class_m2 = own(np.array([1, 2, 3]), np.array([2, 4]), np.array([7, 4]))
    assert (counts.tolist(), classes.tolist(), class_m2[:, 0].tolist()) == ([3, 1], [2, 3, 7, 4], [0, 3, 6, 9])
    *_before, zones, across, widest, _counts, all_classes, all_m2, most = told[0]
    assert (zones, across.shape, widest, len(all_classes), all_m2.shape, most) == (2, (6, 3), 6, 15, (15, 3), 15)
    assert not across.any()
