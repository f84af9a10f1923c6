"""One page of the handout: its margins, its sentence, its foot, and how large its type is on the paper at hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from habmap.show import words
from habmap.show.copy_words import COPY_WORDS
from habmap.show.handout.records import Handout
from habmap.show.sheet.margin import Foot
from habmap.show.sheet.paper import SIZES_PT, Paper
from habmap.show.sheet.pen import LEADING, Pen, at_most, clipped, text_width_pt, wrapped

#: What a room reads, the sentence above it, and what only those who come close read [pt].
ROOM_PT: Final = 24.0
_HEAD_PT: Final = 28.0
NEAR_PT: Final = 12.0
_MARGIN_PT: Final = 30.0
_GAP_PT: Final = 12.0
_MOST_REMARKS: Final = 3
#: Which page has the cautions, once and in full.
CAUTIONS_PAGE: Final = 2


@dataclass(frozen=True, slots=True)
class HandoutPage:
    """One page, and how much larger than Letter it is drawn; never smaller."""

    pen: Pen
    k: float

    @classmethod
    def of(cls, paper: Paper) -> HandoutPage:
        short, long = SIZES_PT[paper]
        letter_short, letter_long = SIZES_PT["letter"]
        return cls(Pen((long, short)), max(1.0, min(long / letter_long, short / letter_short)))

    @property
    def left(self) -> float:
        return _MARGIN_PT * self.k

    @property
    def width(self) -> float:
        return self.pen.size_pt[0] - 2 * self.left

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def gap(self) -> float:
        return _GAP_PT * self.k

    @property
    def room_pt(self) -> float:
        return ROOM_PT * self.k

    @property
    def line(self) -> float:
        return self.room_pt * LEADING

    @property
    def near_pt(self) -> float:
        return NEAR_PT * self.k

    def _head_lines(self, text: str) -> list[str]:
        return at_most(3, wrapped(text, self.width, size_pt=_HEAD_PT * self.k, is_bold=True))

    def below_head(self, text: str) -> float:
        """Return where the place's name and a sentence under it will end."""
        lines = len(self._head_lines(text)) * _HEAD_PT * self.k * LEADING
        return self.pen.size_pt[1] - self.left + 4 * self.k - self.line - lines - self.gap / 2

    def head(self, handout: Handout, text: str) -> float:
        """Set the place's name and day, and the page's sentence in three lines at most; return where it ends."""
        page, self.pen.name = handout.page, text
        day = "" if page.on is None else f", {words.short_day(page.on)}"
        room = self.width - text_width_pt(day, size_pt=self.room_pt, is_serif=True)
        name = clipped(page.place, room, size_pt=self.room_pt, is_serif=True)
        top = self.pen.size_pt[1] - self.left + 4 * self.k
        top = self.pen.block(self.left, top, [f"{name}{day}"], size_pt=self.room_pt)
        self.pen.block(self.left, top, self._head_lines(text), size_pt=_HEAD_PT * self.k, is_bold=True)
        return self.below_head(text)

    def foot(self, handout: Handout, number: int, *, boxed: Sequence[str] = (), more: Sequence[str] = ()) -> Foot:
        """Return date and how the numbers were made, ready for the foot; with every caution, whole, on one page."""
        has_cautions = number == CAUTIONS_PAGE
        page = handout.page
        state = "before any logged work" if page.on is None else f"work up to {words.day_words(page.on)}"
        how = [
            f"{clipped(page.place, self.width / 2, size_pt=self.near_pt)}: {state}, "
            f"drawn {words.day_words(page.drawn_on)}, {COPY_WORDS[page.audience]}, page {number} of {handout.pages}.",
            *more,
            *(() if has_cautions else (f"The cautions on page {CAUTIONS_PAGE} belong to this page too.",)),
        ]
        return Foot.of((*boxed, *(page.cautions if has_cautions else ())), how, self.width, size_pt=self.near_pt)

    def stand(self, foot: Foot) -> float:
        """Draw the foot; return where it begins."""
        foot.draw(self.pen, self.left, self.left - 4 * self.k)
        return self.over(foot)

    def over(self, foot: Foot) -> float:
        """Return the height above which the page is free."""
        return self.left + foot.height + self.gap

    def tell(
        self, texts: Sequence[str], left: float, top: float, width: float, floor: float, *, mark: str = "",
        size_pt: float | None = None,
    ) -> float:  # fmt: skip
        """Set sentences as far as they have room, whole ones only, in the room's size if not told; return the end."""
        size_pt = size_pt or self.room_pt
        line = size_pt * LEADING
        indent = text_width_pt(f"{mark} ", size_pt=size_pt, is_serif=True) + 5 * self.k if mark else 0.0
        for index, text in enumerate(texts):
            lines = wrapped(text, width - indent, size_pt=size_pt)
            rest = len(texts) - index
            keep = line if rest > 1 else 0.0
            if top - len(lines) * line < floor + keep - 1:
                room = int((top - floor + 1) / line)
                if index and room >= 1:
                    self.pen.block(left, top, [f"And {rest} more."], size_pt=size_pt)
                elif room >= 1:
                    self.pen.block(left + indent, top, at_most(room, lines), size_pt=size_pt)
                return top - min(room, 1) * line
            if mark:
                self.pen.block(left, top, [mark], size_pt=size_pt)
            top = self.pen.block(left + indent, top, lines, size_pt=size_pt) - 5 * self.k
        return top


def few(texts: Sequence[str]) -> list[str]:
    """Return the first remarks, and how many more there are."""
    shown = list(texts[:_MOST_REMARKS])
    return shown if len(texts) == len(shown) else [*shown, f"{len(texts) - len(shown)} more remarks stand on the map."]
