"""The account on the sheet: one row to a unit, and the work told unit by unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import shapely

from habmap.show import words
from habmap.show.page.account import Row, sheet_parts
from habmap.show.palette import INK, INK_SOFT
from habmap.show.records import Page, PageUnit
from habmap.show.sheet.legend import draw_legend, legend_height_pt
from habmap.show.sheet.map import stage_area
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, clipped, wrapped
from habmap.vocabulary import STAGES

_ROW_PT: Final = 11.0
_HEAD_PT: Final = 12.0
#: Lines of a name in its row, and how far apart they are [pt].
_MOST_NAME_LINES: Final = 3
_NAME_LINE_PT: Final = 9.6
#: Room for the place in the order, left of a name [pt].
_NUMBER_PT: Final = 18.0
#: Work that lies this little in a unit, and so small a share of it, only reaches in by its edge: a walked edge is no
#: finer (chosen).
_EDGE_ACRES: Final = 0.25
_EDGE_SHARE: Final = 0.1
#: Width of the columns right of the name [pt]: acres, treated, remaining, stages.
_ACRES_PT, _TREATED_PT, _LEFT_PT, _BAR_PT = 32.0, 46.0, 44.0, 56.0
#: Room for the uncertainty beside the acres, where any is known [pt].
_PM_PT = 34.0


@dataclass(frozen=True, slots=True)
class _Item:
    """One line of the table: a heading, a unit, or units run on in one sentence."""

    heading: str = ""
    row: Row | None = None
    run: str = ""


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
            items.append(_Item(group.heading))
            items += [_Item(row=row) for row in group.rows]
        return cls(page, tuple(items))

    @property
    def rows(self) -> list[Row]:
        """The units in the order of the table."""
        return [item.row for item in self.items if item.row is not None]

    def height_pt(self, width: float) -> float:
        """Return how high the whole table is [pt]."""
        return _HEAD_PT + sum(self._item_pt(item, width) for item in self.items) + 4

    def draw(self, pen: Pen, box: tuple[float, float, float, float], *, is_one_unit: bool) -> int | None:
        """Draw table and legend in a box (left, bottom, width, height [pt]), and under the table what has room there.

        Parameters
        ----------
        is_one_unit
            Tell the one unit's state, lie and work under its row.

        Returns
        -------
        From which item on the table must follow overleaf, with all the work; ``None`` where nothing must.
        """
        left, bottom, width, height = box
        legend_pt = legend_height_pt(self.page, width)
        floor = bottom + legend_pt
        items, first = self._fitting(width, height - legend_pt)
        y = self.table(pen, left, bottom + height, width, items)
        if first < len(self.items):
            rest = sum(item.row is not None for item in self.items[first:])
            pen.text(left, y - 9, f"{rest} more units overleaf.", is_serif=True)
        is_whole = False
        if first == len(self.items):
            is_whole = (
                self._tell_in_full(pen, left, y - 4, width, floor)
                if is_one_unit
                else self._fits_here(pen, work_told(self, first, is_one_unit=False), (left, floor, width, y - 4))
            )
        draw_legend(pen, self.page, left, floor, width)
        return None if is_whole else first

    def _fitting(self, width: float, room: float) -> tuple[list[_Item], int]:
        """Return what of the table has room, and from which item on the rest follows overleaf."""
        if self.height_pt(width) <= room:
            return list(self.items), len(self.items)
        # Ground of no cedar needs no columns: run on in a sentence it often lets all stand on one page.
        last = max((k for k, item in enumerate(self.items) if item.heading), default=0)
        if all(item.row is None or not item.row.is_cedar for item in self.items[last:]):
            run = "; ".join(
                f"{_title(item.row.unit)}, {words.tenths(item.row.unit.acres)}"
                for item in self.items[last:]
                if item.row is not None
            )
            short = [*self.items[: last + 1], _Item(run=f"{run} acres.")]
            if _HEAD_PT + sum(self._item_pt(item, width) for item in short) + 4 <= room:
                return short, len(self.items)
        left, shown = room - _HEAD_PT - 12, 0
        while shown < len(self.items) and (left := left - self._item_pt(self.items[shown], width)) >= 0:
            shown += 1
        while shown and self.items[shown - 1].row is None:  # no heading without a row under it
            shown -= 1
        return list(self.items[:shown]), shown

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

    def _name_pt(self, width: float) -> float:
        """Return the room for a name in a table of a width [pt]."""
        return width - _BAR_PT - 8 - _LEFT_PT - _TREATED_PT - self._pm_pt - _ACRES_PT - _NUMBER_PT - 2

    @property
    def _pm_pt(self) -> float:
        return _PM_PT if any(row.acres_pm for row in self.rows) else 0.0

    def _item_pt(self, item: _Item, width: float) -> float:
        if item.run:
            return len(wrapped(item.run, width, size_pt=LEAST_PT)) * _NAME_LINE_PT + 3
        lines = 1 if item.row is None else len(_name_lines(item.row.unit, self._name_pt(width)))
        return _ROW_PT + (lines - 1) * _NAME_LINE_PT

    def columns(self, first: int, width: float, gutter: float) -> int:
        """Return in how many columns (at most three) the table from an item on can stand without a name cut short."""
        titles = [_title(item.row.unit) for item in self.items[first:] if item.row is not None]
        for count in (3, 2):
            room = self._name_pt((width - (count - 1) * gutter) / count)
            if room > 0 and all(
                len(wrapped(title, room, size_pt=LEAST_PT, is_serif=False)) <= _MOST_NAME_LINES for title in titles
            ):
                return count
        return 1

    def shared_out(self, first: int, columns: int, width: float, room: float) -> list[Sequence[_Item]]:
        """Return what of the table from an item on stands in each column of a page; alike in length if all of it does.

        Parameters
        ----------
        width, room
            Of a column, and how high it may be [pt].
        """
        heights = [self._item_pt(item, width) for item in self.items]

        def filled(most: float) -> list[Sequence[_Item]]:
            parts: list[Sequence[_Item]] = []
            start = first
            for _ in range(columns):
                end, left = start, most - _HEAD_PT
                while end < len(heights) and left >= heights[end]:
                    left, end = left - heights[end], end + 1
                if end < len(heights):
                    while end > start and self.items[end - 1].row is None:  # no heading without a row under it
                        end -= 1
                parts.append(self.items[start:end])
                start = end
            return parts

        count = len(self.items) - first
        even = sum(heights[first:]) / columns + _HEAD_PT
        while even < room:
            if sum(map(len, parts := filled(even))) == count:
                return [part for part in parts if part]
            even += _ROW_PT / 2
        return [part for part in filled(room) if part]

    def table(self, pen: Pen, left: float, top: float, width: float, items: Sequence[_Item]) -> float:
        """Draw the table's head and these of its items downward from ``top``; return where they end [pt]."""
        right = left + width
        bar_left = right - _BAR_PT
        remain_right = bar_left - 8
        treated_right = remain_right - _LEFT_PT
        acres_right = treated_right - _TREATED_PT
        y = top - 9
        pen.text(left, y, "Unit", is_bold=True)
        for x, title in ((acres_right, "acres"), (treated_right, "treated"), (remain_right, "remain")):
            pen.text(x, y, title, align="right", is_bold=True)
        pen.text(bar_left, y, "stages", is_bold=True)
        y -= 3
        pen.rule([(left, y), (right, y)], 0.9)
        largest = max((row.unit.acres for row in self.rows), default=1.0)
        for item in items:
            up = y - _ROW_PT + 2.4  # of the first line
            y -= self._item_pt(item, width)
            if item.run:
                pen.block(left, up + _ROW_PT - 3, wrapped(item.run, width, size_pt=LEAST_PT), size_pt=LEAST_PT)
                continue
            if item.row is None:
                pen.text(left, up, item.heading, is_serif=True, size_pt=9.5, is_bold=True)
                continue
            unit = item.row.unit
            if unit.order is not None:
                pen.text(left + 13, up, str(unit.order), is_serif=True, is_bold=True, size_pt=10.5, align="right")
            for number, line in enumerate(_name_lines(unit, self._name_pt(width))):
                pen.text(left + _NUMBER_PT, up - number * _NAME_LINE_PT, line)
            pen.text(acres_right - self._pm_pt, up, words.tenths(unit.acres), align="right")
            pen.text(acres_right, up, item.row.acres_pm, align="right", ink=INK_SOFT)
            if item.row.is_cedar:
                pen.text(treated_right, up, words.tenths(unit.treated_acres), align="right")
                pen.text(remain_right, up, words.tenths(unit.remaining_acres), align="right")
            _bar(pen, unit, bar_left, up - 1.0, largest)
            pen.rule([(left, y - 0.4), (right, y - 0.4)], 0.25, edgecolor=INK_SOFT)
        return y

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


def work_told(account: Account, first: int, *, is_one_unit: bool) -> list[tuple[str, bool]]:
    """Return (text, is it a heading) of all work, unit by unit, and of the stages of units from an item on."""
    lines: list[tuple[str, bool]] = []
    only_edges: list[str] = []
    most = 0.0
    for index, item in enumerate(account.items):
        if item.row is None:
            continue
        unit = item.row.unit
        told, edges = _work(account.page, unit)
        # The table says it all of a unit in one stage without work.
        is_left_over = index >= first and sum(unit.stage_acres.get(stage, 0.0) > 0 for stage in STAGES) > 1
        if not (is_left_over or is_one_unit or told or edges):
            continue
        if edges and not (told or is_left_over or is_one_unit):
            only_edges.append(f"{words.unit_title(unit)} ({unit.unit_id})")
            most = max(most, *edges)
            continue
        told += _edges_told(edges)
        number = "" if unit.order is None else f"{unit.order}. "
        pm = f" {item.row.acres_pm}" if item.row.acres_pm else ""
        title = f"{words.unit_title(unit)} ({unit.unit_id})"
        lines.append((f"{number}{title}, {words.tenths(unit.acres)}{pm} acres", True))
        if is_one_unit:
            lines += [(text, False) for text in _sentences(item.row)]
            continue
        if is_left_over:
            lines.append((item.row.state, False))
        lines += [(sentence, False) for sentence in told]
    if only_edges:
        lines.append(("Reached only by an edge of work elsewhere", True))
        each = " each" if len(only_edges) > 1 else ""
        lines.append((f"{'; '.join(only_edges)}: at most {words.tenths(most)} acres{each} in a log line.", False))
    return lines


def _work(page: Page, unit: PageUnit) -> tuple[list[str], list[float]]:
    """Return what was done in a unit, and the acres of each line of work that lies elsewhere and only reaches in."""
    told, edges = [], []
    for work in sorted(page.work, key=lambda one: one.entry.date):
        acres = work.unit_acres.get(unit.unit_id, 0.0)
        if acres < words.SPOKEN_ACRES:
            continue
        if acres <= _EDGE_ACRES and acres <= _EDGE_SHARE * work.acres:
            edges.append(acres)
        else:
            told.append(words.work_sentence(work, unit_id=unit.unit_id, currency=page.currency))
    return told, edges


def _edges_told(edges: Sequence[float]) -> list[str]:
    if len(edges) < 2:
        return [f"1 more log line only reaches in by an edge, {words.tenths(acres)} acres." for acres in edges]
    return [f"{len(edges)} more log lines only reach in by an edge, at most {words.tenths(max(edges))} acres each."]


def _title(unit: PageUnit) -> str:
    return unit.unit_id if words.unit_title(unit) == unit.unit_id else f"{unit.unit_id} {words.unit_title(unit)}"


def _name_lines(unit: PageUnit, width: float) -> list[str]:
    """Return a unit's label and name in as many lines as a row may have."""
    lines = wrapped(_title(unit), width, size_pt=LEAST_PT, is_serif=False)
    if len(lines) <= _MOST_NAME_LINES:
        return lines
    kept = lines[: _MOST_NAME_LINES - 1]
    return [*kept, clipped(" ".join(lines[len(kept) :]), width, size_pt=LEAST_PT)]


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
