"""The account on the sheet: one row to a unit, the legend, and the work told unit by unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import shapely

from habmap.show import symbols, words
from habmap.show.page.account import Row, sheet_parts
from habmap.show.palette import INK, INK_SOFT, STAGE_FILLS
from habmap.show.patterns import COVER_WORDS
from habmap.show.records import Page, PageUnit
from habmap.show.shares import SHARE_WORDS
from habmap.show.sheet.map import (
    draw_contour_sample,
    draw_edge,
    draw_feature,
    is_drawn_to_shape,
    pattern_area,
    stage_area,
)
from habmap.show.sheet.marks import Pattern, cover_pattern, over_pattern, stage_pattern
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, clipped, wrapped
from habmap.vocabulary import FEATURE_WORDS, PRIVATE_FEATURE_KINDS, STAGE_WORDS, STAGES

_ROW_PT: Final = 11.0
_LEGEND_ROW_PT: Final = 12.6
_SWATCH_PT: Final = (24.0, 10.0)
#: Width of the columns right of the name [pt]: acres, treated, remaining, stages.
_ACRES_PT, _TREATED_PT, _LEFT_PT, _BAR_PT = 32.0, 46.0, 44.0, 56.0
#: Room for the uncertainty beside the acres, where any is known [pt].
_PM_PT = 34.0


@dataclass(frozen=True, slots=True)
class _Item:
    """One line of the table: a heading, or a unit."""

    heading: str
    row: Row | None


@dataclass(frozen=True, slots=True)
class Account:
    """The rows of a page's account, ready for paper."""

    page: Page
    items: tuple[_Item, ...]

    @classmethod
    def of(cls, page: Page) -> Account:
        """Take the groups and rows that the page shows, so that screen and paper agree."""
        items: list[_Item] = []
        for group in sheet_parts(page)["groups"]:
            items.append(_Item(group.heading, None))
            items += [_Item("", row) for row in group.rows]
        return cls(page, tuple(items))

    def height_pt(self) -> float:
        """Return how high the whole table is [pt]."""
        return (len(self.items) + 1) * _ROW_PT + 4

    def draw(self, pen: Pen, box: tuple[float, float, float, float], *, is_one_unit: bool) -> list[tuple[str, bool]]:
        """Draw table and legend in a box (left, bottom, width, height [pt]); return what must follow overleaf.

        Parameters
        ----------
        is_one_unit
            Tell the one unit's state, lie and work under its row.
        """
        left, bottom, width, height = box
        legend_pt = legend_height_pt(self.page, width)
        room = height - legend_pt
        shown = len(self.items)
        if self.height_pt() > room:
            shown = max(0, int((room - 12) / _ROW_PT) - 2)
            while shown and self.items[shown - 1].row is None:  # no heading without a row under it
                shown -= 1
        has_told_all = False
        y = self._table(pen, left, bottom + height, width, self.items[:shown])
        if shown < len(self.items):
            rest = sum(item.row is not None for item in self.items[shown:])
            pen.text(left, y - 9, f"{rest} more units overleaf.", is_serif=True)
        if is_one_unit and shown == len(self.items):
            has_told_all = self._tell_in_full(pen, left, y - 4, width, bottom + legend_pt)
        draw_legend(pen, self.page, left, bottom + legend_pt, width)
        overleaf = [] if has_told_all else self._overleaf(shown, is_one_unit=is_one_unit)
        return (
            []
            if not is_one_unit and self._fits_here(pen, overleaf, (left, bottom + legend_pt, width, y - 4))
            else overleaf
        )

    @staticmethod
    def _fits_here(pen: Pen, lines: Sequence[tuple[str, bool]], box: tuple[float, float, float, float]) -> bool:
        """Set the work under the table if all of it has room there (left, bottom, width, top [pt]); say whether."""
        left, bottom, width, top = box
        broken = [
            (wrapped(text, width, size_pt=LEAST_PT, is_bold=is_heading), is_heading) for text, is_heading in lines
        ]
        height = sum(len(part) * LEADING * LEAST_PT + 4 * is_heading for part, is_heading in broken)
        if height > top - bottom - 6:
            return False
        for part, is_heading in broken:
            top = pen.block(left, top - 4 * is_heading, part, size_pt=LEAST_PT, is_bold=is_heading)
        return True

    def _table(self, pen: Pen, left: float, top: float, width: float, items: Sequence[_Item]) -> float:
        right = left + width
        bar_left = right - _BAR_PT
        remain_right = bar_left - 8
        treated_right = remain_right - _LEFT_PT
        acres_right = treated_right - _TREATED_PT
        pm_pt = _PM_PT if any(item.row and item.row.acres_pm for item in self.items) else 0.0
        y = top - 9
        pen.text(left, y, "Unit", is_bold=True)
        for x, title in ((acres_right, "acres"), (treated_right, "treated"), (remain_right, "remain")):
            pen.text(x, y, title, align="right", is_bold=True)
        pen.text(bar_left, y, "stages", is_bold=True)
        y -= 3
        pen.rule([(left, y), (right, y)], 0.9)
        largest = max((item.row.unit.acres for item in self.items if item.row), default=1.0)
        for item in items:
            y -= _ROW_PT
            if item.row is None:
                pen.text(left, y + 2.4, item.heading, is_serif=True, size_pt=9.5, is_bold=True)
                continue
            unit = item.row.unit
            self._name(pen, unit, left, y + 2.4, acres_right - pm_pt - _ACRES_PT - left)
            pen.text(acres_right - pm_pt, y + 2.4, words.tenths(unit.acres), align="right")
            pen.text(acres_right, y + 2.4, item.row.acres_pm, align="right", ink=INK_SOFT)
            if item.row.is_cedar:
                pen.text(treated_right, y + 2.4, words.tenths(unit.treated_acres), align="right")
                pen.text(remain_right, y + 2.4, words.tenths(unit.remaining_acres), align="right")
            _bar(pen, unit, bar_left, y + 1.4, largest)
            pen.rule([(left, y - 0.4), (right, y - 0.4)], 0.25, edgecolor=INK_SOFT)
        return y

    @staticmethod
    def _name(pen: Pen, unit: PageUnit, left: float, y: float, width: float) -> None:
        if unit.order is not None:
            pen.text(left + 13, y, str(unit.order), is_serif=True, is_bold=True, size_pt=10.5, align="right")
        title = unit.unit_id if words.unit_title(unit) == unit.unit_id else f"{unit.unit_id} {words.unit_title(unit)}"
        pen.text(left + 18, y, clipped(title, width - 20, size_pt=LEAST_PT))

    def _tell_in_full(self, pen: Pen, left: float, top: float, width: float, bottom: float) -> bool:
        """Tell the units' state, lie and work; say whether all of it had room."""
        for item in self.items:
            if item.row is None:
                continue
            lines = [line for text in _sentences(item.row) for line in wrapped(text, width, size_pt=10.0)]
            room = int((top - bottom - 6) / (10.0 * LEADING))
            if len(lines) > room:
                pen.block(left, top, [*lines[: max(room - 1, 0)], "The whole story is overleaf."], size_pt=10.0)
                return False
            top = pen.block(left, top, lines, size_pt=10.0)
        return True

    def _overleaf(self, first: int, *, is_one_unit: bool) -> list[tuple[str, bool]]:
        """Return (text, is it a heading) of what follows overleaf: units left over, and all work, unit by unit."""
        lines: list[tuple[str, bool]] = []
        for index, item in enumerate(self.items):
            if item.row is None:
                continue
            unit = item.row.unit
            is_left_over = index >= first
            if not (is_left_over or is_one_unit or item.row.history):
                continue
            number = "" if unit.order is None else f"{unit.order}. "
            pm = f" {item.row.acres_pm}" if item.row.acres_pm else ""
            title = f"{words.unit_title(unit)} ({unit.unit_id})"
            lines.append((f"{number}{title}, {words.tenths(unit.acres)}{pm} acres", True))
            if is_one_unit:
                lines += [(text, False) for text in _sentences(item.row)]
                continue
            if is_left_over:
                lines.append((item.row.state, False))
            lines += [(sentence, False) for sentence in item.row.history]
        return lines


def _sentences(row: Row) -> list[str]:
    """Return all that the sheet of one unit tells: state, lie, place in the order, notes and the work."""
    unit = row.unit
    texts = [row.state, row.terrain]
    if unit.reasons:
        why = "Why here in the order" if unit.order is not None else "Why it has no number"
        texts.append(f"{why}: {'; '.join(unit.reasons)}.")
    if unit.notes:
        texts.append(f"“{unit.notes}”")
    return [*texts, *row.history]


def _bar(pen: Pen, unit: PageUnit, left: float, bottom: float, largest_acres: float) -> None:
    """Draw a unit's acres by stage, done ground first, as long as its acres are beside the largest unit's."""
    length = max(3.0, _BAR_PT * unit.acres / max(largest_acres, 1e-9))
    x = left
    for stage in reversed(STAGES):
        share = unit.stage_acres.get(stage, 0.0) / unit.acres if unit.acres > 0 else 0.0
        if share > 0:
            stage_area(pen, shapely.box(x, bottom, x + share * length, bottom + 7.6), stage)
            x += share * length
    pen.box(left, bottom, length, 7.6, edgecolor=INK, linewidth=0.5)


# --- legend -------------------------------------------------------------------------------------------------


def _grounds(page: Page) -> list[tuple[Pattern, str, float]]:
    """Return how each kind of ground is drawn, what it is called, and its acres: the stages, and dead among slash."""
    acres = {stage: sum(unit.stage_acres.get(stage, 0.0) for unit in page.units) for stage in STAGES}
    found = [(stage_pattern(stage), STAGE_WORDS[stage], total) for stage, total in acres.items() if total > 0]
    for cover, called in COVER_WORDS.items():
        if total := sum(unit.acres for unit in page.units if unit.cover == cover):
            found.append((cover_pattern(cover), f"of it {called}", total))
    if mixed := sum(share.acres for share in page.shares if share.kind == "both"):
        found.append((over_pattern("both"), SHARE_WORDS["both"], mixed))
    return found


@dataclass(frozen=True, slots=True)
class _Sample:
    """One line of the legend below the stages: its words, and what is drawn."""

    words: str
    kind: str
    shape: str


def _samples(page: Page, *, has_contours: bool) -> list[_Sample]:
    """Return the samples of what the map shows; a kind drawn as a mark and as a line stands there twice."""
    shown = {
        (
            feature.kind,
            symbols.POINT_MARKS.get(feature.kind) is not None and not is_drawn_to_shape(feature.geometry, feature.kind),
        )
        for feature in page.features
    }
    samples = []
    for kind, title in FEATURE_WORDS.items():
        private = " (private)" if kind in PRIVATE_FEATURE_KINDS else ""
        samples += [
            _Sample(title + private, kind, "mark" if is_mark else "line")
            for is_mark in (False, True)
            if (kind, is_mark) in shown
        ]
    there = {"boundary": page.boundary is not None, "unit": page.units, "patch": page.work}
    samples += [_Sample(called, "", kind) for kind, called in symbols.EDGE_WORDS.items() if there[kind]]
    if page.relief is not None and has_contours:
        samples.append(_Sample(f"{page.relief.contour_step_ft} ft contours", "", "contour"))
    return samples


def _feature_columns(width: float) -> int:
    return max(2, int(width / 106))


def _stage_columns(width: float) -> int:
    return max(1, int(width / 155))


def legend_height_pt(page: Page, width: float) -> float:
    """Return how high the legend will be [pt]."""
    stages = math.ceil(len(_grounds(page)) / _stage_columns(width))
    # no line is traced yet: the scale, and with it their step, follows from the room that the legend leaves
    samples = _samples(page, has_contours=page.relief is not None and page.relief.may_have_contours)
    rows = stages + math.ceil(len(samples) / _feature_columns(width))
    return rows * _LEGEND_ROW_PT + 8


def draw_legend(pen: Pen, page: Page, left: float, top: float, width: float) -> None:
    """Draw the legend downward from ``top``: stages with their acres, then the features and edges."""
    y = top - 4
    columns = _stage_columns(width)
    column_pt = width / columns
    grounds = _grounds(page)
    rows = math.ceil(len(grounds) / columns)
    for index, (pattern, called, acres) in enumerate(grounds):
        x, row_y = left + index // rows * column_pt, y - (index % rows + 1) * _LEGEND_ROW_PT
        pattern_area(pen, shapely.box(x, row_y, x + _SWATCH_PT[0], row_y + _SWATCH_PT[1]), pattern)
        pen.box(x, row_y, *_SWATCH_PT, edgecolor=INK)
        pen.text(x + _SWATCH_PT[0] + 5, row_y + 1.8, f"{called} {words.tenths(acres)}")
    y -= rows * _LEGEND_ROW_PT + 2
    columns = _feature_columns(width)
    column_pt = width / columns
    for index, sample in enumerate(_samples(page, has_contours=page.relief is not None and bool(page.relief.contours))):
        x, row_y = left + index % columns * column_pt, y - (index // columns + 1) * _LEGEND_ROW_PT
        middle_y = row_y + 4.8
        level = shapely.LineString([(x, middle_y), (x + 22, middle_y)])
        if sample.shape in symbols.EDGE_STROKES:
            pen.box(x + 11, middle_y - 5, 11, 10, facecolor=STAGE_FILLS["standing"])
            draw_edge(pen, level, sample.shape)
        elif sample.shape == "contour":
            draw_contour_sample(pen, level)
        elif sample.shape == "mark":
            draw_feature(pen, shapely.Point(x + 11, middle_y), sample.kind)
        elif sample.kind == "pond":
            draw_feature(pen, shapely.Point(x + 11, middle_y).buffer(5), sample.kind)
        else:
            draw_feature(pen, level, sample.kind)
        pen.text(x + 27, row_y + 1.8, clipped(sample.words, column_pt - 29, size_pt=LEAST_PT))


def bounded(text: str, width: float) -> list[str]:
    """Return a text as one line that fits."""
    return [clipped(text, width, size_pt=12.0, is_serif=True)]
