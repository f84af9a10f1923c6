"""What the XML of an .ods file says of one sheet."""

from __future__ import annotations

import re
from typing import Final

from habmap.place.sheetguard import Attributes, Gauge, Limits, Place, SheetFacts, place_name, walk, whole_number

_CELLS: Final = ("table-cell", "covered-table-cell")
_ODS_ERROR: Final = re.compile(r"#[A-Z/0!?]+[!?/A0-9]*|Err:\d+")


def ods_facts(content: bytes, *, sheet: str, limits: Limits) -> SheetFacts:
    """Return what ``content.xml`` of an .ods file says of one sheet.

    Raises
    ------
    SheetError, TooLargeError
    """
    reader = _SheetReader(sheet, limits)
    walk(content, start=reader.start, end=reader.end, text=reader.text)
    return reader.found()


class _SheetReader:
    """What is gathered of one sheet while the file's elements go by."""

    def __init__(self, sheet: str, limits: Limits) -> None:
        self._sheet, self._limits = sheet, limits
        self._facts, self._gauge = SheetFacts(), Gauge(limits)
        self._hidden_rows: set[int] = set()
        self._hidden_columns: set[int] = set()
        self._filled_columns: set[int] = set()
        self._merged: list[Place] = []
        self._is_in_sheet, self._depth = False, 0
        self._row, self._rows_at_once, self._column, self._declared = 0, 1, 0, 0
        self._cell: Attributes | None = None
        self._shown, self._has_words, self._in_words, self._in_note = "", False, 0, 0

    def start(self, name: str, attributes: Attributes) -> None:
        """Take in an element that begins."""
        if name == "table":
            self._depth += 1
            is_named = self._depth == 1 and attributes.get("name") == self._sheet
            self._is_in_sheet = self._is_in_sheet or is_named
        elif not self._is_here:
            return
        elif name == "table-column":
            count = _count(attributes, "number-columns-repeated")
            if _is_hidden(attributes):
                self._hidden_columns.update(range(self._declared, min(self._declared + count, self._limits.cells)))
            self._declared += count
        elif name == "table-row":
            self._rows_at_once, self._column = _count(attributes, "number-rows-repeated"), 0
            if _is_hidden(attributes):
                self._hidden_rows.update(range(self._row, min(self._row + self._rows_at_once, self._limits.rows)))
        elif name in _CELLS:
            self._cell, self._shown, self._has_words = attributes, "", False
        elif name == "annotation":
            self._in_note += 1
        elif name == "p" and self._cell is not None:
            self._in_words += 1
            self._has_words = self._has_words or not self._in_note

    def text(self, words: str) -> None:
        """Take in text."""
        if self._in_words and not self._in_note:
            self._shown += words

    def end(self, name: str) -> None:
        """Take in an element that ends."""
        if name == "table":
            self._depth -= 1
            self._is_in_sheet = self._is_in_sheet and self._depth > 0
        if not self._is_here:
            return
        if name == "table-row":
            self._row += self._rows_at_once
        elif name == "annotation":
            self._in_note -= 1
        elif name == "p" and self._cell is not None:
            self._in_words -= 1
        elif name in _CELLS and self._cell is not None:
            columns_at_once = _count(self._cell, "number-columns-repeated")
            self._take(self._cell, (self._row, self._column), (self._rows_at_once, columns_at_once))
            self._column += columns_at_once
            self._cell = None

    def found(self) -> SheetFacts:
        """Return what was gathered."""
        facts, gauge = self._facts, self._gauge
        facts.rows, facts.columns = gauge.rows, gauge.columns
        facts.merged = [place_name(*at) for at in self._merged if at[0] < facts.rows and at[1] < facts.columns]
        facts.hidden_rows = len(self._hidden_rows & gauge.filled_rows)
        facts.hidden_columns = len(self._hidden_columns & self._filled_columns)
        return facts

    @property
    def _is_here(self) -> bool:
        return self._is_in_sheet and self._depth <= 1

    def _take(self, cell: Attributes, at: Place, times: Place) -> None:
        """Take in a cell whose text is known, repeated so many times down and across."""
        if _count(cell, "number-rows-spanned") > 1 or _count(cell, "number-columns-spanned") > 1:
            self._merged.append(at)
        kind, has_formula, shown = cell.get("value-type"), "formula" in cell, self._shown
        if has_formula and kind is None and not self._has_words:  # an empty text is kept as empty words
            self._facts.unsaved.append(place_name(*at))
        if kind is None and not shown:
            return
        length = max(len(shown), *(len(value) for value in cell.values()), 1)
        self._gauge.add(at[0] + times[0] - 1, at[1] + times[1] - 1, characters=length, times=times[0] * times[1])
        self._gauge.filled_rows.update(range(at[0], at[0] + times[0]))
        self._filled_columns.update(range(at[1], at[1] + times[1]))
        if cell.get("calcext-value-type") == "error" or (has_formula and _ODS_ERROR.fullmatch(shown)):
            self._facts.errors[place_name(*at)] = shown
        if kind == "percentage":
            each = ((at[0] + r, at[1] + c) for r in range(times[0]) for c in range(times[1]))
            self._facts.percent.update(each)


def _is_hidden(attributes: Attributes) -> bool:
    return attributes.get("visibility") in ("collapse", "filter")


def _count(attributes: Attributes, name: str) -> int:
    return max(whole_number(attributes.get(name), 1), 1)
