"""What a spreadsheet's own XML says that its reader does not tell, and whether it is small enough to be read at all.

The library that reads cells gives an error value as a blank, a formula that was never worked out as nothing, 80 % as
0.8, and takes room for every cell between the first and the last. So each sheet is walked once before, cell by cell.

References
----------
ECMA-376 part 1, 18.3.1 (cells ``c``, their values ``v``, ``is`` and formulas ``f``) and 18.8.30 (number formats 9 and
10 are percent); OASIS OpenDocument 1.3 part 3, 9.1 (rows and cells repeated and spanned), 19.385 (``value-type``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final
from xml.parsers import expat

Attributes = Mapping[str, str]
Place = tuple[int, int]
_REFERENCE: Final = re.compile(r"([A-Za-z]{1,3})([1-9][0-9]{0,6})")
_WHOLE: Final = re.compile(r"[0-9]{1,19}")
_ODS_ERROR: Final = re.compile(r"#[A-Z/0!?]+[!?/A0-9]*|Err:\d+")
_BUILT_IN_PERCENT: Final = frozenset({9, 10})
_LETTERS: Final = 26


class SheetError(ValueError):
    """The XML is broken, or defines a document type of its own; the message says which."""


class TooLargeError(ValueError):
    """The sheet holds more than is read; the message says what."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Most rows, cells and characters of text that a sheet may unfold to."""

    rows: int
    cells: int
    characters: int


@dataclass(slots=True)
class SheetFacts:
    """One sheet as its XML tells it; cells by (row, column) from 0.

    Attributes
    ----------
    rows, columns
        How far its filled cells reach.
    errors
        Cells with an error value, by their place (``G2``), and what they show.
    unsaved
        Cells with a formula whose value was never stored.
    merged
        Merged ranges that touch a filled cell's row, as the sheet names them.
    percent
        Cells shown in percent, which hold a hundredth of what they show.
    hidden_rows, hidden_columns
        How many rows and columns with something in them are not shown.
    """

    rows: int = 0
    columns: int = 0
    errors: dict[str, str] = field(default_factory=dict)
    unsaved: list[str] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)
    percent: set[Place] = field(default_factory=set)
    hidden_rows: int = 0
    hidden_columns: int = 0


def place_name(row: int, column: int) -> str:
    """Return a cell's name as a spreadsheet shows it: (0, 0) is A1."""
    letters, left = "", column + 1
    while left:
        left, rest = divmod(left - 1, _LETTERS)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{row + 1}"


def walk(
    data: bytes,
    *,
    start: Callable[[str, Attributes], None],
    end: Callable[[str], None] = lambda name: None,
    text: Callable[[str], None] = lambda words: None,
) -> None:
    """Walk an XML document; elements and attributes by their names without namespaces.

    Raises
    ------
    SheetError
        It is not well-formed, or defines a document type of its own, whose entities could swell without end.
    """

    def refuse(*_: object) -> None:
        raise SheetError("it defines a document type of its own")

    def begin(name: str, attributes: Attributes) -> None:
        start(_local(name), {_local(key): value for key, value in attributes.items()})

    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = begin
    parser.EndElementHandler = lambda name: end(_local(name))
    parser.CharacterDataHandler = text
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError) as error:  # the latter where it names an encoding that is none
        raise SheetError(f"its XML is broken: {error}") from error


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
    facts, gauge = SheetFacts(), _Gauge(limits)
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
            row = _number(attributes.get("r"), row + 2) - 1
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
            first, last = _number(attributes.get("min"), 1), _number(attributes.get("max"), 1)
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
        shared = _number(value, 0) if kind == "s" else len(lengths)
        gauge.add(*at, characters=lengths[shared] if shared < len(lengths) else len(value))
        filled_columns.add(at[1])
        if kind == "e":
            facts.errors[place_name(*at)] = value
        if _number(cell.get("s"), 0) in percent_styles:
            facts.percent.add(at)

    walk(sheet, start=start, end=end, text=text)
    facts.rows, facts.columns = gauge.rows, gauge.columns
    facts.merged = [name for name in merged if _touches(name, facts)]
    facts.hidden_rows = len(hidden_rows & gauge.filled_rows)
    facts.hidden_columns = len(hidden_columns & filled_columns)
    return facts


def ods_facts(content: bytes, *, sheet: str, limits: Limits) -> SheetFacts:
    """Return what ``content.xml`` of an .ods file says of one sheet.

    Raises
    ------
    SheetError, TooLargeError
    """
    facts, gauge = SheetFacts(), _Gauge(limits)
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


class _Gauge:
    """How much a sheet unfolds to, refused as soon as it is too much."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._characters = 0
        self.rows = 0
        self.columns = 0
        self.filled_rows: set[int] = set()

    def add(self, row: int, column: int, *, characters: int, times: int = 1) -> None:
        self._characters += characters * times
        self.rows, self.columns = max(self.rows, row + 1), max(self.columns, column + 1)
        if self.rows > self._limits.rows:
            raise TooLargeError(f"something stands in row {self.rows:,}")
        if self.rows * self.columns > self._limits.cells:
            raise TooLargeError(f"its cells reach to {place_name(self.rows - 1, self.columns - 1)}")
        if self._characters > self._limits.characters:
            raise TooLargeError(f"more than {self._limits.characters:,} characters of text")
        self.filled_rows.add(row)


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
        number = _number(attributes.get("numFmtId"), 0)
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
        number = number * _LETTERS + ord(letter) - ord("A") + 1
    return number - 1


def _count(attributes: Attributes, name: str) -> int:
    return max(_number(attributes.get(name), 1), 1)


def _number(text: str | None, otherwise: int) -> int:
    """Return a whole number; what reads it otherwise than this might make room for more than was counted."""
    if text is None:
        return otherwise
    if not _WHOLE.fullmatch(text):
        raise SheetError(f"{text[:20]!r} is not a whole number")
    return int(text)


@lru_cache(maxsize=4096)
def _local(name: str) -> str:
    prefix, _, local = name.rpartition(":")
    # an office program's own word beside the standard's of the same name: an error is a text to the standard
    return f"{prefix}-{local}" if prefix == "calcext" else local
