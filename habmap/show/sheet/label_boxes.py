"""The boxes that words on a map take: new words are set only where they cover no others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from habmap.show.palette import INK
from habmap.show.sheet.map import Frame
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, text_width_pt


class Labels:
    """The boxes that words already take; new words go only where they cover none of them."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame.box
        self._taken = np.empty((0, 4))
        self._kept = np.empty((0, 4))

    def keep_for_others(self, boxes: Sequence[tuple[float, float, float, float]]) -> None:
        """Keep these boxes, and no others, free until it is said anew: words to come have no other place."""
        self._kept = np.array(boxes, dtype=np.float64).reshape(-1, 4)

    def take_all(self, boxes: Sequence[tuple[float, float, float, float]]) -> bool:
        """Take several boxes if all of them are free and within the frame."""
        if not all(self.is_free(box) for box in boxes):
            return False
        self._taken = np.vstack([self._taken, *boxes])
        return True

    def take(self, box: tuple[float, float, float, float], *, anyway: bool = False) -> bool:
        """Take a box (left, bottom, right, top) if it is free and within the frame."""
        if not anyway and not self.is_free(box):
            return False
        self._taken = np.vstack([self._taken, box])
        return True

    def is_free(self, box: tuple[float, float, float, float]) -> bool:
        """Tell whether a box (left, bottom, right, top) is free and within the frame."""
        left, bottom, right, top = box
        frame, taken = self._frame, np.vstack([self._taken, self._kept])
        is_inside = left > frame[0] + 2 and bottom > frame[1] + 2 and right < frame[2] - 2 and top < frame[3] - 2
        hits = (taken[:, 0] < right) & (taken[:, 2] > left) & (taken[:, 1] < top) & (taken[:, 3] > bottom)
        return is_inside and not bool(hits.any())

    def covered_pt2(self, box: tuple[float, float, float, float]) -> float:
        """Return how much of a box (left, bottom, right, top) others take; far more where it leaves the frame [pt²]."""
        left, bottom, right, top = box
        frame, taken = self._frame, self._taken
        if left <= frame[0] or bottom <= frame[1] or right >= frame[2] or top >= frame[3]:
            return (right - left) * (top - bottom) + 1e6
        wide = np.minimum(taken[:, 2], right) - np.maximum(taken[:, 0], left)
        high = np.minimum(taken[:, 3], top) - np.maximum(taken[:, 1], bottom)
        return float(np.sum(np.clip(wide, 0, None) * np.clip(high, 0, None)))


@dataclass(frozen=True, slots=True)
class Line:
    """One line of words and its face."""

    words: str
    size_pt: float = LEAST_PT
    is_serif: bool = False
    is_bold: bool = False

    @property
    def width_pt(self) -> float:
        return text_width_pt(self.words, size_pt=self.size_pt, is_serif=self.is_serif, is_bold=self.is_bold)


def box_of(at: tuple[float, float], lines: Sequence[Line]) -> tuple[float, float, float, float]:
    """Return the box (left, bottom, right, top) of lines centered about a point."""
    height = sum(line.size_pt * (0.95 if line.size_pt > LEAST_PT else LEADING) for line in lines)
    width = max(line.width_pt for line in lines)
    return at[0] - width / 2 - 1, at[1] - height / 2 - 1, at[0] + width / 2 + 1, at[1] + height / 2 + 1


def set_lines(
    pen: Pen, labels: Labels, at: tuple[float, float], lines: Sequence[Line], *, ink: str = INK, anyway: bool = False
) -> bool:
    """Set lines centered about a point if their box is free."""
    box = box_of(at, lines)
    if not labels.take(box, anyway=anyway):
        return False
    y = box[3] - 1
    for line in lines:
        y -= line.size_pt * 0.82
        pen.text(
            at[0], y, line.words, size_pt=line.size_pt, is_serif=line.is_serif, is_bold=line.is_bold, align="center",
            ink=ink, halo_pt=1.3,
        )  # fmt: skip
        y -= line.size_pt * (0.13 if line.size_pt > LEAST_PT else LEADING - 0.82)
    return True
