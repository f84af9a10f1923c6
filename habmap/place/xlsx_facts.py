"""What the XML of an .xlsx file says of one sheet."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Final

from habmap.place.sheetguard import (
    LETTERS,
    Attributes,
    Gauge,
    Limits,
    Place,
    SheetError,
    SheetFacts,
    TooLargeError,
    place_name,
    walk,
    whole_number,
)

_REFERENCE: Final = re.compile(r"([A-Za-z]{1,3})([1-9][0-9]{0,6})")
_BUILT_IN_PERCENT: Final = frozenset({9, 10})


def xlsx_sheet_parts(members: Mapping[str, bytes]) -> dict[str, str]:
    """Return the member that holds each sheet of an .xlsx file, by the sheet's name."""
    sheets: dict[str, str] = {}
    targets: dict[str, str] = {}

    def sheet(name: str, attributes: Attributes) -> None:
        if name == "sheet" and "name" in attributes:
            sheets[attributes["name"]] = attributes.get("id", "")

    def relation(name: str, attributes: Attributes) -> None:
        if name == "Relationship":
            target = attributes.get("Target", "")
            targets[attributes.get("Id", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"

    walk(members.get("xl/workbook.xml", b""), start=sheet)
    walk(members.get("xl/_rels/workbook.xml.rels", b""), start=relation)
    return {name: targets[key] for name, key in sheets.items() if key in targets}


def xlsx_facts(sheet: bytes, *, members: Mapping[str, bytes], limits: Limits) -> SheetFacts:
    """Return what the XML of one sheet of an .xlsx file says.

    Raises
    ------
    SheetError, TooLargeError
    """
    lengths = _shared_lengths(members.get("xl/sharedStrings.xml"), limits)
    percent_styles = _percent_styles(members.get("xl/styles.xml"))
    facts, gauge = SheetFacts(), Gauge(limits)
    hidden_rows: set[int] = set()
    hidden_columns: set[int] = set()
    filled_columns: set[int] = set()
    merged: list[str] = []
    at, row = (0, -1), -1
    cell: Attributes = {}
    inside: str | None = None
    value, has_formula, is_filled = "", False, False

    def start(name: str, attributes: Attributes) -> None:
        nonlocal at, row, cell, inside, value, has_formula, is_filled
        if name == "row":
            row = whole_number(attributes.get("r"), row + 2) - 1
            at = (row, -1)
            if attributes.get("hidden") in ("1", "true"):
                hidden_rows.add(row)
        elif name == "c":
            at = _cell_place(attributes["r"]) if "r" in attributes else (at[0], at[1] + 1)
            cell, value, has_formula, is_filled = attributes, "", False, False
        elif name == "f":
            has_formula = True
        elif name in ("v", "t"):
            inside, is_filled = name, True
        elif name == "mergeCell":
            merged.append(attributes.get("ref", ""))
        elif name == "col" and attributes.get("hidden") in ("1", "true"):
            first, last = whole_number(attributes.get("min"), 1), whole_number(attributes.get("max"), 1)
            hidden_columns.update(range(first - 1, min(last, limits.cells)))

    def text(words: str) -> None:
        nonlocal value
        if inside is not None:
            value += words

    def end(name: str) -> None:
        nonlocal inside
        if name == inside:
            inside = None
        if name != "c":
            return
        kind = cell.get("t", "n")
        if has_formula and not value and kind != "str":
            facts.unsaved.append(place_name(*at))
        if not is_filled or (kind == "n" and not value):
            return
        shared = whole_number(value, 0) if kind == "s" else len(lengths)
        gauge.add(*at, characters=lengths[shared] if shared < len(lengths) else len(value))
        filled_columns.add(at[1])
        if kind == "e":
            facts.errors[place_name(*at)] = value
        if whole_number(cell.get("s"), 0) in percent_styles:
            facts.percent.add(at)

    walk(sheet, start=start, end=end, text=text)
    facts.rows, facts.columns = gauge.rows, gauge.columns
    facts.merged = [name for name in merged if _touches(name, facts)]
    facts.hidden_rows = len(hidden_rows & gauge.filled_rows)
    facts.hidden_columns = len(hidden_columns & filled_columns)
    return facts


def _shared_lengths(data: bytes | None, limits: Limits) -> Sequence[int]:
    lengths: list[int] = []
    is_inside = False

    def start(name: str, attributes: Attributes) -> None:
        nonlocal is_inside
        if name == "si":
            lengths.append(0)
            if len(lengths) > limits.cells:
                raise TooLargeError(f"more than {limits.cells:,} texts")
        is_inside = is_inside or name == "t"

    def text(words: str) -> None:
        if is_inside and lengths:
            lengths[-1] += len(words)

    def end(name: str) -> None:
        nonlocal is_inside
        is_inside = is_inside and name != "t"

    if data is not None:
        walk(data, start=start, end=end, text=text)
    return lengths


def _percent_styles(data: bytes | None) -> frozenset[int]:
    codes: dict[int, str] = {}
    formats: list[int] = []
    is_inside = False

    def start(name: str, attributes: Attributes) -> None:
        nonlocal is_inside
        number = whole_number(attributes.get("numFmtId"), 0)
        if name == "numFmt":
            codes[number] = attributes.get("formatCode", "")
        elif name == "cellXfs":
            is_inside = True
        elif name == "xf" and is_inside:
            formats.append(number)

    def end(name: str) -> None:
        nonlocal is_inside
        is_inside = is_inside and name != "cellXfs"

    if data is not None:
        walk(data, start=start, end=end)
    return frozenset(
        index for index, number in enumerate(formats) if number in _BUILT_IN_PERCENT or "%" in codes.get(number, "")
    )


def _touches(name: str, facts: SheetFacts) -> bool:
    found = _REFERENCE.match(name)
    return found is not None and int(found[2]) <= facts.rows and _column(found[1]) < facts.columns


def _cell_place(name: str) -> Place:
    found = _REFERENCE.fullmatch(name)
    if found is None:
        raise SheetError(f"{name[:20]!r} is not the name of a cell")
    return int(found[2]) - 1, _column(found[1])


def _column(letters: str) -> int:
    number = 0
    for letter in letters.upper():
        number = number * LETTERS + ord(letter) - ord("A") + 1
    return number - 1
