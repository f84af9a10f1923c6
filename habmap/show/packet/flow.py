"""Pages that fill from the top: every text is measured before it is set, and what has no room goes to the next page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from habmap.show.palette import INK, INK_SOFT
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, at_most, clipped, wrapped

MARGIN_PT: Final = 42.0
#: Room for the line at the foot of each page [pt].
_FOOT_PT: Final = 20.0
_CELL_GAP_PT: Final = 9.0
#: A cell holds no more lines than these: a name without end pushes nothing off the paper.
_MOST_LINES: Final = 12
Align = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: its heading, the share of the width it takes, and how its cells stand."""

    heading: str
    share: float
    align: Align = "left"


@dataclass(slots=True)
class Flow:
    """Pages of one size; ``y`` is where the next thing begins [pt]."""

    size: tuple[float, float]
    pages: list[Pen] = field(default_factory=list)
    y: float = 0.0

    def __post_init__(self) -> None:
        """Open the first page."""
        self.turn()

    @property
    def width(self) -> float:
        """Room from margin to margin [pt]."""
        return self.size[0] - 2 * MARGIN_PT

    @property
    def bottom(self) -> float:
        """Where the foot begins [pt]."""
        return MARGIN_PT + _FOOT_PT

    @property
    def pen(self) -> Pen:
        """The page being filled."""
        return self.pages[-1]

    def turn(self) -> None:
        """Begin a new page."""
        self.pages.append(Pen(self.size))
        self.y = self.size[1] - MARGIN_PT

    def need(self, height: float) -> None:
        """Begin a new page where this much has no room on this one [pt]."""
        if self.y - height < self.bottom and self.y < self.size[1] - MARGIN_PT:
            self.turn()

    def text(self, words: str, *, size_pt: float = 10.0, is_bold: bool = False, gap: float = 4.0) -> None:
        """Set a paragraph of the serif."""
        for line in wrapped(words, self.width, size_pt=size_pt, is_bold=is_bold):
            self.need(size_pt * LEADING)
            self.y = self.pen.block(MARGIN_PT, self.y, [line], size_pt=size_pt, is_bold=is_bold)
        self.y -= gap

    def heading(self, words: str, *, room: float = 60.0) -> None:
        """Set a heading, with at least so much room under it [pt]."""
        self.need(14 * LEADING + room)
        self.pen.name = self.pen.name or words
        self.y -= 6
        self.text(words, size_pt=13.0, is_bold=True)

    def listed(self, sentences: Sequence[str]) -> None:
        """Set sentences one under the other, each with its number."""
        for number, words in enumerate(sentences, start=1):
            lines = wrapped(words, self.width - 22, size_pt=10.0)
            self.need(len(lines[:3]) * 10.0 * LEADING)
            self.pen.text(MARGIN_PT + 14, self.y - 8.2, f"{number}.", size_pt=10.0, is_serif=True, align="right")
            for line in lines:
                self.need(10.0 * LEADING)
                self.y = self.pen.block(MARGIN_PT + 20, self.y, [line], size_pt=10.0)
            self.y -= 3

    def table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]], *, total: bool = False) -> None:
        """Set a table; its heading stands again on every page. ``total``: the last row adds up the others."""
        whole = sum(column.share for column in columns)
        widths = [self.width * column.share / whole for column in columns]
        self._row([column.heading for column in columns], columns, widths, is_bold=True)
        self._rule(0.9)
        for number, row in enumerate(rows):
            is_total = total and number == len(rows) - 1
            height = self._height(row, widths, is_bold=is_total)
            if self.y - height < self.bottom:
                self.turn()
                self._row([column.heading for column in columns], columns, widths, is_bold=True)
                self._rule(0.9)
            if is_total:
                self._rule(0.9)
            self._row(row, columns, widths, is_bold=is_total)
            self._rule(0.25)
        self.y -= 6

    def _cells(self, row: Sequence[str], widths: Sequence[float], *, is_bold: bool) -> list[list[str]]:
        return [
            at_most(_MOST_LINES, wrapped(cell, width - _CELL_GAP_PT, size_pt=LEAST_PT, is_serif=False, is_bold=is_bold))
            for cell, width in zip(row, widths, strict=True)
        ]

    def _height(self, row: Sequence[str], widths: Sequence[float], *, is_bold: bool) -> float:
        most = max((len(cell) for cell in self._cells(row, widths, is_bold=is_bold)), default=1)
        return max(1, most) * LEAST_PT * LEADING + 5

    def _row(self, row: Sequence[str], columns: Sequence[Column], widths: Sequence[float], *, is_bold: bool) -> None:
        cells = self._cells(row, widths, is_bold=is_bold)
        height = self._height(row, widths, is_bold=is_bold)
        self.need(height)
        x = MARGIN_PT
        for cell, column, width in zip(cells, columns, widths, strict=True):
            at = x + width - _CELL_GAP_PT if column.align == "right" else x
            y = self.y - LEAST_PT
            for line in cell:
                self.pen.text(at, y, line, align=column.align, is_bold=is_bold)
                y -= LEAST_PT * LEADING
            x += width
        self.y -= height

    def _rule(self, width: float) -> None:
        self.pen.rule([(MARGIN_PT, self.y + 2), (MARGIN_PT + self.width, self.y + 2)], width, edgecolor=INK_SOFT)

    def boxed(self, sentences: Sequence[str]) -> None:
        """Set whole sentences in a ruled box, as cautions stand everywhere."""
        lines = [line for words in sentences for line in wrapped(words, self.width - 16, size_pt=LEAST_PT)]
        height = len(lines) * LEAST_PT * LEADING + 12
        self.need(height + 4)
        self.pen.box(MARGIN_PT, self.y - height, self.width, height, edgecolor=INK, linewidth=1.1)
        self.pen.block(MARGIN_PT + 8, self.y - 5, lines, size_pt=LEAST_PT)
        self.y -= height + 6

    def signatures(self, names: Sequence[str]) -> None:
        """Draw a line to sign on for each, and one for the date beside it."""
        self.need(len(names) * 40.0 + 6)
        for name in names:
            self.y -= 26
            split = MARGIN_PT + 0.68 * self.width
            self.pen.rule([(MARGIN_PT, self.y), (split - 14, self.y)], 0.8)
            self.pen.rule([(split, self.y), (MARGIN_PT + self.width, self.y)], 0.8)
            self.pen.text(MARGIN_PT, self.y - 10, clipped(name, split - 20 - MARGIN_PT, size_pt=LEAST_PT))
            self.pen.text(split, self.y - 10, "Date")
            self.y -= 14

    def number_pages(self, words: str) -> None:
        """Set the same words and the page's number at the foot of every page."""
        for number, pen in enumerate(self.pages, start=1):
            place = f"page {number} of {len(self.pages)}"
            pen.rule([(MARGIN_PT, MARGIN_PT + 11), (MARGIN_PT + self.width, MARGIN_PT + 11)], 0.5, edgecolor=INK_SOFT)
            pen.text(MARGIN_PT, MARGIN_PT, clipped(words, self.width - 80, size_pt=LEAST_PT), ink=INK_SOFT)
            pen.text(MARGIN_PT + self.width, MARGIN_PT, place, align="right", ink=INK_SOFT)
