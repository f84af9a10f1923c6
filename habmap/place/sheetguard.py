"""What a spreadsheet's own XML says that its reader does not tell, and whether it is small enough to be read at all.

The library that reads cells gives an error value as a blank, a formula that was never worked out as nothing, 80% as
0.8, and takes room for every cell between the first and the last. So each sheet is walked once before, cell by cell.

References
----------
ECMA-376 part 1, 18.3.1 (cells ``c``, their values ``v``, ``is`` and formulas ``f``) and 18.8.30 (number formats 9 and
10 are percent); OASIS OpenDocument 1.3 part 3, 9.1 (rows and cells repeated and spanned), 19.385 (``value-type``).
The clauses from memory; all of it held against files that an office program wrote.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final
from xml.parsers import expat

Attributes = Mapping[str, str]
Place = tuple[int, int]
_WHOLE: Final = re.compile(r"[0-9]{1,19}")
LETTERS: Final = 26


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
        left, rest = divmod(left - 1, LETTERS)
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


class Gauge:
    """How much a sheet unfolds to, refused as soon as it is too much."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._characters = 0
        self.rows = 0
        self.columns = 0
        self.filled_rows: set[int] = set()

    def add(self, row: int, column: int, *, characters: int, times: int = 1) -> None:
        """Count a filled cell, or several of them whose last is named."""
        self._characters += characters * times
        self.rows, self.columns = max(self.rows, row + 1), max(self.columns, column + 1)
        if self.rows > self._limits.rows:
            raise TooLargeError(f"something stands in row {self.rows:,}")
        if self.rows * self.columns > self._limits.cells:
            raise TooLargeError(f"its cells reach to {place_name(self.rows - 1, self.columns - 1)}")
        if self._characters > self._limits.characters:
            raise TooLargeError(f"more than {self._limits.characters:,} characters of text")
        self.filled_rows.add(row)


def whole_number(text: str | None, otherwise: int) -> int:
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
