"""The burn sheet on paper: the map and room to write, then what was measured, then what people fill in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from habmap.show import words
from habmap.show.burn.chart import HoursChart, chart_height_pt, draw_chart
from habmap.show.burn.frame import burn_frame
from habmap.show.burn.legend import Legend
from habmap.show.burn.map import draw_burn_map
from habmap.show.burn.sheet import (
    CHART_TITLE,
    NOT_FOR_ALL,
    NOT_PERMISSION,
    WRITING_BOXES,
    BurnPaper,
    BurnSheet,
    Section,
)
from habmap.show.sheet.map import Frame
from habmap.show.sheet.margin import LONG_SCALE, draw_scale, scale_words, strip_pt
from habmap.show.sheet.paper import SIZES_PT
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, at_most, clipped, wrapped
from habmap.show.sheet.svg import svg_of

MARGIN_PT: Final = 25.0
_BOXES_PT: Final = 104.0
_GUTTER_PT: Final = 14.0
_LINE_PT: Final = LEADING * LEAST_PT
#: Least height of a line or row that is written on by hand [pt].
_WRITE_PT: Final = 14.5
_CELL_GAP_PT: Final = 4.0
_HEADING_PT: Final = 10.5
_BETWEEN_PT: Final = 4.0
#: Contours stand so much farther apart than on other sheets: lines are drawn between them by hand.
_OPENER: Final = 1.5


@dataclass(frozen=True, slots=True)
class BurnSheetDrawn:
    """A drawn burn sheet: the PDF, its page count, and the N of 1:N."""

    content: bytes
    pages: int
    scale: int


@dataclass(frozen=True, slots=True)
class SvgDrawn:
    """A picture as SVG and its size [pt]; of a map the N of 1:N."""

    svg: str
    width_pt: float
    height_pt: float
    scale: int = 0


def draw_burn_pdf(sheet: BurnSheet, *, paper: BurnPaper) -> BurnSheetDrawn:
    """Return the burn sheet as a vector PDF with its fonts embedded; parts that a page cannot hold follow overleaf.

    Raises
    ------
    InputError
        The block is too wide for any scale.
    """
    size = SIZES_PT[paper]
    first, scale = _first_page(sheet, size)
    pages = [first, *_lists(sheet, size)]
    return BurnSheetDrawn(pdf_of(pages, title=f"{sheet.place}: burn sheet"), len(pages), scale)


def burn_pages(sheet: BurnSheet, *, paper: BurnPaper) -> int:
    """Return how many pages the sheet takes, without drawing its map."""
    return 1 + len(_laid_out(sheet, SIZES_PT[paper]))


def draw_burn_svg(sheet: BurnSheet, *, paper: BurnPaper) -> SvgDrawn:
    """Return the map with its scale strip and legend as one SVG, as wide as the paper's ground."""
    width = SIZES_PT[paper][0] - 2 * MARGIN_PT
    height = 520.0 - _forecast_pt(sheet, width)
    pen = Pen((width, height))
    frame = _map(pen, sheet, left=1, bottom=1, width=width - 2, top=height - 1)
    return SvgDrawn(svg_of(pen), width, height, frame.scale)


def draw_chart_svg(chart: HoursChart, *, paper: BurnPaper) -> SvgDrawn:
    """Return the chart of a forecast's hours alone as SVG, as wide as the map."""
    width, height = SIZES_PT[paper][0] - 2 * MARGIN_PT, chart_height_pt() + 2
    pen = Pen((width, height))
    draw_chart(pen, chart, left=0, top=height - 1, width=width)
    return SvgDrawn(svg_of(pen), width, height)


def _map(pen: Pen, sheet: BurnSheet, *, left: float, bottom: float, width: float, top: float) -> Frame:
    """Draw the map with its scale and legend between two heights [pt]; return its frame."""
    legend_pt, middle = 0.0, shapely.centroid(shapely.MultiLineString([edge.line for edge in sheet.edges]))
    strip = strip_pt(_told(sheet, LONG_SCALE, (middle.x, middle.y)), width)
    while True:  # a higher legend leaves a smaller map, which shows no more than before: it ends
        floor = bottom + strip + legend_pt
        frame = burn_frame(sheet, left=left, bottom=floor, width=width, height=top - floor)
        if sheet.relief is not None:
            sheet = replace(sheet, relief=sheet.relief.at_scale(_OPENER * frame.scale))
        legend = Legend.of(frame, sheet)
        if legend.height_pt <= legend_pt:
            break
        legend_pt = legend.height_pt
    draw_burn_map(pen, frame, sheet)
    told = _told(sheet, frame.scale, frame.middle_lonlat)
    draw_scale(pen, frame, left=left, right=left + width, top=frame.bottom - 1, told=told, day=sheet.burn_day)
    legend.draw(pen, left=left, top=frame.bottom - strip - 1)
    return frame


def _told(sheet: BurnSheet, scale: int, lonlat: tuple[float, float]) -> str:
    return scale_words(scale, sheet.grid, lonlat, day=sheet.burn_day)


def _first_page(sheet: BurnSheet, size: tuple[float, float]) -> tuple[Pen, int]:
    pen, width, top = Pen(size, name="Map"), size[0] - 2 * MARGIN_PT, size[1] - MARGIN_PT
    y = pen.block(MARGIN_PT, top + 3, at_most(2, wrapped(sheet.headline, width, size_pt=17, is_bold=True)),
                  size_pt=17, is_bold=True)  # fmt: skip
    for line in sheet.lines:
        y = pen.block(MARGIN_PT, y, wrapped(line, width, size_pt=10), size_pt=10)
    y = pen.block(MARGIN_PT, y - 2, wrapped(NOT_PERMISSION, width, size_pt=10, is_bold=True), size_pt=10, is_bold=True)
    chart_top = MARGIN_PT + 12 + _BOXES_PT + _forecast_pt(sheet, width)
    if sheet.chart is not None:
        _forecast(pen, sheet, sheet.chart, top=chart_top, width=width)
    frame = _map(pen, sheet, left=MARGIN_PT, bottom=chart_top + 3, width=width, top=y - 6)
    step = (width - 2 * 8) / 3
    for number, title in enumerate(WRITING_BOXES):
        left = MARGIN_PT + number * (step + 8)
        pen.box(left, MARGIN_PT + 12, step, _BOXES_PT, edgecolor="black", linewidth=0.9)
        pen.text(left + 5, MARGIN_PT + 12 + _BOXES_PT - 11, title, size_pt=9.5, is_serif=True, is_bold=True)
    pen.text(MARGIN_PT, MARGIN_PT, _foot(sheet, 1), size_pt=LEAST_PT, is_serif=True)
    return pen, frame.scale


def _forecast(pen: Pen, sheet: BurnSheet, chart: HoursChart, *, top: float, width: float) -> None:
    y = pen.block(MARGIN_PT, top, [CHART_TITLE], size_pt=_HEADING_PT, is_bold=True)
    y = draw_chart(pen, chart, left=MARGIN_PT, top=y, width=width)
    pen.block(MARGIN_PT, y - 3, _chart_lines(sheet, width), size_pt=LEAST_PT)


def _forecast_pt(sheet: BurnSheet, width: float) -> float:
    """Return how much room the forecast takes on page one [pt]."""
    if sheet.chart is None:
        return 0.0
    return LEADING * _HEADING_PT + chart_height_pt() + 3 + len(_chart_lines(sheet, width)) * _LINE_PT + 6


def _chart_lines(sheet: BurnSheet, width: float) -> list[str]:
    return wrapped(sheet.chart_words, width, size_pt=LEAST_PT)


def _foot(sheet: BurnSheet, number: int) -> str:
    made = sheet.past_title or f"drawn {words.short_day(sheet.drawn_on)}"
    text = f"Burn sheet, page {number} · {NOT_FOR_ALL} · {made} · {sheet.place}"
    return clipped(text, 540, size_pt=LEAST_PT, is_serif=True)


# --- the lists --------------------------------------------------------------------------------------------------


def _lists(sheet: BurnSheet, size: tuple[float, float]) -> list[Pen]:
    """Set what was measured, then what is filled in, column by column; what has no room goes on overleaf, whole."""
    pens = []
    for number, page in enumerate(_laid_out(sheet, size), start=2):
        pens.append(_started(sheet, size, number))
        pens[-1].name = page[0][0].title
        for section, left, y in page:
            _draw(pens[-1], section, left, y, _column_pt(size))
    return pens


def _laid_out(sheet: BurnSheet, size: tuple[float, float]) -> list[list[tuple[Section, float, float]]]:
    """Return what stands on each page after the first: section, its left edge and its top [pt]."""
    return [*_columns(sheet.measured, size), *_columns(sheet.by_hand, size)]


def _columns(sections: Sequence[Section], size: tuple[float, float]) -> list[list[tuple[Section, float, float]]]:
    """Set sections in two columns a page, about equally long where one page holds them all."""
    width = _column_pt(size)
    heights = [(section, _height(section, width)) for section in sections]
    top, floor = size[1] - MARGIN_PT - 14, MARGIN_PT + 9
    pages = _set_down(heights, width, top, floor)
    if len(pages) > 1:
        return pages
    trials = np.arange(top - sum(height for _, height in heights) / 2, floor, -_LINE_PT).tolist()
    even = (_set_down(heights, width, top, trial) for trial in trials)
    return next((trial for trial in even if len(trial) == 1), pages)


def _set_down(
    sections: Sequence[tuple[Section, float]], width: float, top: float, floor: float
) -> list[list[tuple[Section, float, float]]]:
    """Set sections of known heights in their order, but for those that may fill a column's foot."""
    pages: list[list[tuple[Section, float, float]]] = [[]]
    column, y = 0, top
    left = list(sections)
    while left:
        fits = (at for at, (section, high) in enumerate(left) if y - high >= floor and (at == 0 or section.may_move))
        chosen = next(fits, 0 if y == top else None)
        if chosen is None:
            column, y = column + 1, top
            if column % 2 == 0:
                pages.append([])
            continue
        section, height = left.pop(chosen)
        pages[-1].append((section, MARGIN_PT + column % 2 * (width + _GUTTER_PT), y))
        y -= height + _BETWEEN_PT
    return pages


def _column_pt(size: tuple[float, float]) -> float:
    return (size[0] - 2 * MARGIN_PT - _GUTTER_PT) / 2


def _started(sheet: BurnSheet, size: tuple[float, float], number: int) -> Pen:
    pen, width = Pen(size), size[0] - 2 * MARGIN_PT
    head = at_most(1, wrapped(sheet.headline, width, size_pt=11, is_bold=True))
    pen.block(MARGIN_PT, size[1] - MARGIN_PT + 5, head, size_pt=11, is_bold=True)
    pen.rule([(MARGIN_PT, size[1] - MARGIN_PT - 10), (size[0] - MARGIN_PT, size[1] - MARGIN_PT - 10)], 0.8)
    pen.text(MARGIN_PT, MARGIN_PT - 2, _foot(sheet, number), is_serif=True)
    return pen


def _height(section: Section, width: float) -> float:
    """Return how high a section is [pt]: drawn on a page that nobody prints."""
    return -_draw(Pen((width, 0.0)), section, 0.0, 0.0, width)


def _draw(pen: Pen, section: Section, left: float, top: float, width: float) -> float:
    inset = 5.0 if section.is_framed else 0.0
    x, room = left + inset, width - 2 * inset
    y = pen.block(x, top - inset * 0.6, wrapped(section.title, room, size_pt=_HEADING_PT, is_bold=True),
                  size_pt=_HEADING_PT, is_bold=True)  # fmt: skip
    for text in section.sentences:
        y = pen.block(x, y, wrapped(text, room, size_pt=LEAST_PT), size_pt=LEAST_PT)
    if section.rows:
        y = _table(pen, section, x, y - 1, room)
    for text in section.boxes:
        pen.box(x + 0.5, y - 9.2, 7.6, 7.6, edgecolor="black", facecolor="white", linewidth=0.9)
        y = pen.block(x + 13, y, wrapped(text, room - 13, size_pt=LEAST_PT), size_pt=LEAST_PT) - 1.2
    for text in section.blanks:
        lines = wrapped(text, room * 0.6, size_pt=LEAST_PT)
        pen.block(x, y - (_WRITE_PT - _LINE_PT), lines, size_pt=LEAST_PT)
        y -= _WRITE_PT + (len(lines) - 1) * _LINE_PT
        pen.rule([(x + room * 0.42, y), (x + room, y)], 0.6, edgecolor="black")
    for text in section.after:
        y = pen.block(x, y - 1, wrapped(text, room, size_pt=LEAST_PT), size_pt=LEAST_PT)
    if section.is_framed:
        y -= inset
        pen.box(left, y, width, top - y, edgecolor="black", linewidth=1.1)
    return y


def _table(pen: Pen, section: Section, left: float, top: float, width: float) -> float:
    shares = section.shares or (1 / len(section.header),) * len(section.header)
    edges = [left + width * sum(shares[:number]) for number in range(len(shares))]
    rooms = [width * share - _CELL_GAP_PT for share in shares]
    y = _row(pen, section.header, edges, rooms, top, is_bold=True) - 1.5
    pen.rule([(left, y), (left + width, y)], 0.8, edgecolor="black")
    for row in section.rows:
        y = _row(pen, row, edges, rooms, y - 0.6)
        if "" in row:
            pen.rule([(left, y), (left + width, y)], 0.4, edgecolor="black")
            for edge in edges[1:]:
                pen.rule([(edge - _CELL_GAP_PT / 2, y), (edge - _CELL_GAP_PT / 2, y + _WRITE_PT - 2)], 0.4)
    return y - 1


def _row(
    pen: Pen, cells: Sequence[str], edges: list[float], rooms: list[float], top: float, *, is_bold: bool = False
) -> float:
    """Set one row, its cells broken within their columns, and return where it ends; rows to write on are higher."""
    broken = [wrapped(cell, room, size_pt=LEAST_PT, is_bold=is_bold) for cell, room in zip(cells, rooms, strict=True)]
    height = max(1, *(len(lines) for lines in broken)) * _LINE_PT
    if "" in cells and not is_bold:
        height = max(height + 1, _WRITE_PT)
    for lines, x in zip(broken, edges, strict=True):
        pen.block(x, top - max(0.0, height - len(lines) * _LINE_PT if "" in cells else 0.0) / 2, lines,
                  size_pt=LEAST_PT, is_bold=is_bold)  # fmt: skip
    return top - height
