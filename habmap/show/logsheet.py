"""A blank log sheet for the truck: lines to fill in by hand, in the order of the table that reads them back.

The front holds the lines of work and the cautions, the back what was seen at burns and check-ups, the words to use and
every unit; units without room there go on overleaf.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from habmap.records import BurnRecord, Entry, Fact, Look, cell_facts, facts
from habmap.vocabulary import NOT_PERMISSION, PRACTICE_WORDS, PRACTICES, cautions_of

LogPaper = Literal["letter", "a4"]
#: What was done when and where, and then the facts of a line that the sheet asks for: columns of the table that reads
#: it back.
SHEET_COLUMNS: Final = (
    "date", "practice", "unit_id", "whole", *(one.cell for one in cell_facts(Entry) if one.is_on_sheet),
)  # fmt: skip
MARGIN_PT: Final = 28.0
_TEXT_PT: Final = 9.0
_LINE_PT: Final = 1.17 * _TEXT_PT
#: Height of a line that is written on by hand [pt].
_WRITE_PT: Final = 22.0
_BURN_LINES: Final = 5
_LOOK_LINES: Final = 5
_UNIT_COLUMNS: Final = 3
_GUTTER_PT: Final = 12.0
_FOOT_PT: Final = 14.0
HOW_WORDS: Final = (
    "One line for each piece of work. Draw the ground on the map sheet if it is part of a unit; write yes under "
    "whole unit only if all of it was worked."
)
SURE_WORDS: Final = "Acres are sure: yes if the reported acres are right though the map measures the ground otherwise."


@dataclass(frozen=True, slots=True)
class Column:
    """A column to write in: its heading, and how much of the width that is left over it takes."""

    head: str
    weight: float


def _column(one: Fact) -> Column:
    unit = f", {one.unit}" if one.unit else ""
    choices = f" ({' / '.join(one.choices).replace('_', ' ')})" if one.choices else ""
    words = "acres are sure" if one.name == "is_sure" else one.words
    weight = 5.0 if one.is_long else 1.0 if one.is_number or one.kind is bool or one.choices else 2.5
    return Column(f"{words}{unit}{choices}", weight)


_WHERE: Final = (Column("date", 1.2), Column("unit", 1.2))
#: Tables of the sheet, each column from the fact of a log line, a burn record or a check-up.
WORK_TABLE: Final = (
    Column("date", 1.2), Column("what was done", 1.8), Column("unit", 1.2), Column("whole unit", 0.6),
    *(_column(one) for one in cell_facts(Entry) if one.is_on_sheet),
)  # fmt: skip
BURN_TABLE: Final = (*_WHERE, *(_column(one) for one in facts(BurnRecord).values() if one.help is not None))
LOOK_TABLE: Final = (*_WHERE, *(_column(one) for one in facts(Look).values()))


def log_sheet_pdf(*, place: str, units: Sequence[tuple[str, str]], paper: LogPaper = "letter") -> bytes:
    """Return the sheet as a PDF, vector, fonts embedded, landscape: a front, a back, and all units whole.

    Parameters
    ----------
    units
        (unit_id, name) of every unit, printed so that nobody has to remember them.
    """
    from habmap.show.sheet.paper import SIZES_PT
    from habmap.show.sheet.pdf import pdf_of
    from habmap.show.sheet.pen import Pen, clipped

    high, wide = SIZES_PT[paper]
    page = _Page(wide, high, Pen)
    _front(page, place)
    _back(page, units)
    for number, pen in enumerate(page.pens, start=1):
        foot = f"Log sheet, page {number} of {len(page.pens)} · {NOT_PERMISSION} · {place}"
        pen.text(MARGIN_PT, MARGIN_PT - 8, clipped(foot, page.width, size_pt=_TEXT_PT, is_serif=True), is_serif=True)
    return pdf_of(page.pens, title=f"Work log: {place}")


class _Page:
    """Where the pen stands: the pages so far, and the height on the last of them [pt]."""

    def __init__(self, wide: float, high: float, pen: type) -> None:
        self._size, self._new = (wide, high), pen
        self.pens: list = []  # type: ignore[type-arg]
        self.width = wide - 2 * MARGIN_PT
        self.floor = MARGIN_PT + _FOOT_PT
        self.turn()

    def turn(self) -> None:
        """Begin the next page."""
        self.pens.append(self._new(self._size))
        self.y = self._size[1] - MARGIN_PT

    @property
    def pen(self):  # type: ignore[no-untyped-def]
        return self.pens[-1]

    def tell(self, text: str, *, size_pt: float = _TEXT_PT, is_bold: bool = False) -> None:
        """Set a text over the whole width, on the next page where this one has no room for all of it."""
        from habmap.show.sheet.pen import wrapped

        lines = wrapped(text, self.width, size_pt=size_pt, is_bold=is_bold)
        if self.y - len(lines) * 1.17 * size_pt < self.floor:
            self.turn()
        self.pen.name = self.pen.name or (text if is_bold else "")
        self.y = self.pen.block(MARGIN_PT, self.y, lines, size_pt=size_pt, is_bold=is_bold) - 2

    def table(self, columns: Sequence[Column], rows: int) -> None:
        """Rule a table to write in; every heading stands whole above its column."""
        from habmap.show.sheet.pen import wrapped

        widths = column_widths(columns, self.width)
        heads = [
            wrapped(column.head, width - 5, size_pt=_TEXT_PT, is_bold=True)
            for column, width in zip(columns, widths, strict=True)
        ]
        top, high = self.y, max(map(len, heads)) * _LINE_PT + 4
        x = MARGIN_PT
        for lines, width in zip(heads, widths, strict=True):
            self.pen.block(x + 3, top - 2, lines, size_pt=_TEXT_PT, is_bold=True)
            x += width
        bottom = top - high - rows * _WRITE_PT
        edges = [MARGIN_PT + sum(widths[:number]) for number in range(len(widths) + 1)]
        for edge in edges:
            self.pen.rule([(edge, top), (edge, bottom)], 0.4, edgecolor="black")
        for number, y in enumerate([top, *(top - high - row * _WRITE_PT for row in range(rows + 1))]):
            self.pen.rule([(edges[0], y), (edges[-1], y)], 1.0 if number < 2 else 0.4, edgecolor="black")
        self.y = bottom - 6


def column_widths(columns: Sequence[Column], width_pt: float) -> list[float]:
    """Return widths [pt] that hold the longest word of each heading; what is left goes by weight."""
    from habmap.show.sheet.pen import text_width_pt

    least = [
        max(text_width_pt(word, size_pt=_TEXT_PT, is_serif=True, is_bold=True) for word in column.head.split()) + 6
        for column in columns
    ]
    left = max(0.0, width_pt - sum(least))
    weights = sum(column.weight for column in columns)
    widths = [low + left * column.weight / weights for low, column in zip(least, columns, strict=True)]
    return [width * width_pt / sum(widths) for width in widths]


def _front(page: _Page, place: str) -> None:
    from habmap.show.sheet.pen import wrapped

    page.tell(f"Work log: {place}", size_pt=15, is_bold=True)
    page.tell(HOW_WORDS)
    page.tell(SURE_WORDS)
    cautions = cautions_of(PRACTICES, has_snags=True, is_steep=True, audience="public")
    boxed = [line for text in cautions for line in wrapped(text, page.width - 14, size_pt=_TEXT_PT)]
    high = len(boxed) * _LINE_PT + 10
    heads = max(
        len(wrapped(column.head, width - 5, size_pt=_TEXT_PT, is_bold=True))
        for column, width in zip(WORK_TABLE, column_widths(WORK_TABLE, page.width), strict=True)
    )
    rows = int((page.y - page.floor - high - heads * _LINE_PT - 14) / _WRITE_PT)
    page.table(WORK_TABLE, max(rows, 3))
    if page.y - high < page.floor:
        page.turn()
    page.pen.box(MARGIN_PT, page.y - high, page.width, high, edgecolor="black", linewidth=1.1)
    page.pen.block(MARGIN_PT + 7, page.y - 5, boxed, size_pt=_TEXT_PT)
    page.turn()


def _back(page: _Page, units: Sequence[tuple[str, str]]) -> None:
    page.tell("Burns: what was observed, and who was notified", size_pt=10.5, is_bold=True)
    page.table(BURN_TABLE, _BURN_LINES)
    page.tell("Check-ups: what stood there", size_pt=10.5, is_bold=True)
    page.table(LOOK_TABLE, _LOOK_LINES)
    done = "; ".join(words if key == words else f"{words} ({key})" for key, words in PRACTICE_WORDS.items())
    page.tell(f"What was done: {done}.")
    page.tell("Units", size_pt=10.5, is_bold=True)
    _units(page, [f"{unit_id} {name}".strip() for unit_id, name in units])


def _units(page: _Page, named: Iterable[str]) -> None:
    """List every unit whole, down the columns of a page and on overleaf."""
    from habmap.show.sheet.pen import wrapped

    width = (page.width - (_UNIT_COLUMNS - 1) * _GUTTER_PT) / _UNIT_COLUMNS
    listed = [wrapped(text, width, size_pt=_TEXT_PT) for text in named]
    column, top = 0, page.y
    y = top
    lines_left = sum(map(len, listed))
    share = _share(lines_left, top, page.floor)
    used = 0
    for lines in listed:
        high = len(lines) * _LINE_PT
        if y < top and (y - high < page.floor or used + len(lines) > share):
            column, y, used = column + 1, top, 0
            if column == _UNIT_COLUMNS:
                page.turn()
                column, top = 0, page.y
                y, share = top, _share(lines_left, top, page.floor)
        page.pen.block(MARGIN_PT + column * (width + _GUTTER_PT), y, lines, size_pt=_TEXT_PT)
        y -= high
        used += len(lines)
        lines_left -= len(lines)


def _share(lines: int, top: float, floor: float) -> int:
    """Return how many lines a column takes where the columns are to be about equally long."""
    room = max(1, int((top - floor) / _LINE_PT))
    return room if lines > room * _UNIT_COLUMNS else -(-lines // _UNIT_COLUMNS) + 1
