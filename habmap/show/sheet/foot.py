"""The foot of a sheet: the cautions in a ruled box, and beside it how the numbers were made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from habmap.show.palette import INK
from habmap.show.sheet.pen import LEADING, Pen, wrapped

GAP_PT: Final = 9.0
_INSET_PT: Final = 7.0


@dataclass(frozen=True, slots=True)
class Foot:
    """What stands at the foot, broken into lines of one size, and how the width is shared [pt]."""

    cautions: tuple[str, ...]
    how: tuple[str, ...]
    cautions_width: float
    height: float
    size_pt: float

    @classmethod
    def of(cls, cautions: Sequence[str], how: Sequence[str], width: float, *, size_pt: float) -> Foot:
        """Break both texts so that their columns are about equally high."""
        leading = size_pt * LEADING
        trials = []
        for share in (0.4, 0.44, 0.48, 0.52, 0.56, 0.6, 0.66, 0.72, 0.78) if cautions else (0.0,):
            box = share * width
            boxed = [line for text in cautions for line in wrapped(text, box - 2 * _INSET_PT, size_pt=size_pt)]
            beside = wrapped(" ".join(how), width - box - (GAP_PT if box else 0.0), size_pt=size_pt)
            height = max(len(boxed) * leading + 10, (len(beside) + 1) * leading)
            trials.append(cls(tuple(boxed), tuple(beside), box, height, size_pt))
        return min(trials, key=lambda foot: foot.height)

    def draw(self, pen: Pen, left: float, bottom: float) -> None:
        """Set it with its lower left corner there [pt]."""
        top = bottom + self.height
        if self.cautions:
            height = len(self.cautions) * self.size_pt * LEADING + 10
            pen.box(left, top - height, self.cautions_width, height, edgecolor=INK, linewidth=1.1)
            pen.block(left + _INSET_PT, top - 5, self.cautions, size_pt=self.size_pt)
            left += self.cautions_width + GAP_PT
        y = pen.block(left, top + 1, ["How these numbers were made"], size_pt=self.size_pt, is_bold=True)
        pen.block(left, y, self.how, size_pt=self.size_pt)
