"""A line of the log, or a row that corrects one, as a person names it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from habmap.errors import InputError
from habmap.records import Entry
from habmap.work.ledger import Correction, corrections

#: Fewer characters than this of an id are too easily another line's.
MIN_PREFIX: Final = 4


def find_line(rows: Sequence[Entry], entry: str) -> Correction:
    """Return the counting line that a person names by id, beginning of id, id of a correction, or imported id.

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
    exact = [(line, row) for line, row in known if row.entry_id == name or (row is line.root and row.source_id == name)]
    if exact or len(name) < MIN_PREFIX:
        return exact
    return [(line, row) for line, row in known if row.entry_id.startswith(name.lower())]


def _refuse_unclear(ids: Sequence[str], entry: str) -> None:
    if not ids:
        raise InputError(
            "there is no such line in the log",
            where="LINE",
            value=entry,
            allowed=f"an entry_id, its first {MIN_PREFIX} characters or more, or the id it was imported with",
            mend="`habmap history` lists every line",
        )
    if len(ids) > 1:
        raise InputError(
            "several lines of the log are called so",
            where="LINE",
            value=entry,
            allowed=", ".join(ids),
            mend="give more of the id",
        )
