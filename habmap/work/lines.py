"""A line of the log, or a row that corrects one, as a person names it: by the line's number, or an id."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from habmap.errors import InputError
from habmap.records import Entry
from habmap.work.ledger import Correction, corrections, line_numbers

#: Fewer characters than this of an id are too easily another line's.
MIN_PREFIX: Final = 4
_NUMBER: Final = re.compile(r"#?([1-9][0-9]{0,8})")


def find_line(rows: Sequence[Entry], entry: str) -> Correction:
    """Return the counting line that a person names by number, id, beginning of id, id of a correction or imported id.

    Raises
    ------
    InputError
        There is none, there are several, or it is withdrawn.
    """
    found = {line.root.entry_id: line for line, row in _named(rows, entry) if row.action != "void"}
    _refuse_unclear(list(found), entry)
    (line,) = found.values()
    if line.content is None:
        raise InputError(
            "this line is withdrawn already",
            where="LINE",
            value=line.root.entry_id,
            mend="nothing needs to be done; log the work anew if it did happen",
        )
    return line


def find_row(rows: Sequence[Entry], entry: str) -> tuple[Correction, Entry]:
    """Return the one row that a person names so, and the line it speaks of.

    Raises
    ------
    InputError
        There is none, or there are several.
    """
    found = _named(rows, entry)
    _refuse_unclear([row.entry_id for _, row in found], entry)
    return found[0]


def _named(rows: Sequence[Entry], entry: str) -> list[tuple[Correction, Entry]]:
    name = entry.strip()
    known = [(line, row) for line in corrections(rows) for row in line.rows]
    is_number = _NUMBER.fullmatch(name)
    number = int(is_number[1]) if is_number else None
    numbers = line_numbers(rows)
    by_number = [(line, row) for line, row in known if row is line.root and numbers[row.entry_id] == number]
    if name.startswith("#"):
        return by_number
    # The number of one line may be the imported id, or begin the id, of another: then it is asked which is meant.
    exact = [(line, row) for line, row in known if row.entry_id == name or (row is line.root and row.source_id == name)]
    begun = [(line, row) for line, row in known if row.entry_id.startswith(name.lower())]
    found = exact or ([] if len(name) < MIN_PREFIX else begun)
    return list({row.entry_id: (line, row) for line, row in (*by_number, *found)}.values())


def _refuse_unclear(ids: Sequence[str], entry: str) -> None:
    if not ids:
        raise InputError(
            "there is no such line in the log",
            where="LINE",
            value=entry,
            allowed=f"a line's number, an entry_id, its first {MIN_PREFIX} characters or more, or its imported id",
            mend="`habmap history` lists every line",
        )
    if len(ids) > 1:
        raise InputError(
            "several lines of the log are called so",
            where="LINE",
            value=entry,
            allowed=", ".join(ids),
            mend="give more of the id, or a line's number as #12",
        )
