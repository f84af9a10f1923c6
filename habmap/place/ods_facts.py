"""What the XML of an .ods file says of one sheet."""

from __future__ import annotations

import re
from typing import Final

from habmap.place.sheetguard import Attributes, Gauge, Limits, Place, SheetFacts, place_name, walk, whole_number

_ODS_ERROR: Final = re.compile(r"#[A-Z/0!?]+[!?/A0-9]*|Err:\d+")


def ods_facts(content: bytes, *, sheet: str, limits: Limits) -> SheetFacts:
    """Return what ``content.xml`` of an .ods file says of one sheet.

    Raises
    ------
    SheetError, TooLargeError
    """
    facts, gauge = SheetFacts(), Gauge(limits)
    hidden_rows: set[int] = set()
    hidden_columns: set[int] = set()
    filled_columns: set[int] = set()
    merged: list[Place] = []
    is_here, depth = False, 0
    row, rows_at_once, column, declared = 0, 1, 0, 0
    cell: Attributes | None = None
    shown, has_words, in_words, in_note = "", False, 0, 0

    def start(name: str, attributes: Attributes) -> None:
        nonlocal is_here, depth, row, rows_at_once, column, declared, cell, shown, has_words, in_words, in_note
        if name == "table":
            depth += 1
            is_here = is_here or (depth == 1 and attributes.get("name") == sheet)
            return
        if not is_here or depth > 1:
            return
        if name == "table-column":
            count = _count(attributes, "number-columns-repeated")
            if attributes.get("visibility") in ("collapse", "filter"):
                hidden_columns.update(range(declared, min(declared + count, limits.cells)))
            declared += count
        elif name == "table-row":
            rows_at_once, column = _count(attributes, "number-rows-repeated"), 0
            if attributes.get("visibility") in ("collapse", "filter"):
                hidden_rows.update(range(row, min(row + rows_at_once, limits.rows)))
        elif name in ("table-cell", "covered-table-cell"):
            cell, shown, has_words = attributes, "", False
        elif name == "annotation":
            in_note += 1
        elif name == "p" and cell is not None:
            in_words += 1
            has_words = has_words or not in_note

    def text(words: str) -> None:
        nonlocal shown
        if in_words and not in_note:
            shown += words

    def end(name: str) -> None:
        nonlocal is_here, depth, row, column, cell, in_words, in_note
        if name == "table":
            depth -= 1
            is_here = is_here and depth > 0
        if not is_here or depth > 1:
            return
        if name == "table-row":
            row += rows_at_once
        elif name == "annotation":
            in_note -= 1
        elif name == "p" and cell is not None:
            in_words -= 1
        elif name in ("table-cell", "covered-table-cell") and cell is not None:
            columns_at_once = _count(cell, "number-columns-repeated")
            _ods_cell(cell, shown, (row, column), (rows_at_once, columns_at_once))
            column += columns_at_once
            cell = None

    def _ods_cell(cell: Attributes, shown: str, at: Place, times: Place) -> None:
        if _count(cell, "number-rows-spanned") > 1 or _count(cell, "number-columns-spanned") > 1:
            merged.append(at)
        kind, has_formula = cell.get("value-type"), "formula" in cell
        if has_formula and kind is None and not has_words:  # an empty text is kept as empty words
            facts.unsaved.append(place_name(*at))
        if kind is None and not shown:
            return
        length = max(len(shown), *(len(value) for value in cell.values()), 1)
        gauge.add(at[0] + times[0] - 1, at[1] + times[1] - 1, characters=length, times=times[0] * times[1])
        gauge.filled_rows.update(range(at[0], at[0] + times[0]))
        filled_columns.update(range(at[1], at[1] + times[1]))
        if cell.get("calcext-value-type") == "error" or (has_formula and _ODS_ERROR.fullmatch(shown)):
            facts.errors[place_name(*at)] = shown
        if kind == "percentage":
            each = ((at[0] + r, at[1] + c) for r in range(times[0]) for c in range(times[1]))
            facts.percent.update(each)

    walk(content, start=start, end=end, text=text)
    facts.rows, facts.columns = gauge.rows, gauge.columns
    facts.merged = [place_name(*at) for at in merged if at[0] < facts.rows and at[1] < facts.columns]
    facts.hidden_rows = len(hidden_rows & gauge.filled_rows)
    facts.hidden_columns = len(hidden_columns & filled_columns)
    return facts


def _count(attributes: Attributes, name: str) -> int:
    return max(whole_number(attributes.get(name), 1), 1)
