"""The triggers that keep rows of ``place.gpkg`` from being changed, and those that other programs have put there.

A guard is known by its whole text, not by its name. Another program's trigger is let be where it can neither swallow
nor change a row of a property: it runs after the row is there, raises nothing and writes to none of our tables. The
triggers of a spatial index are such, and so are those that keep a count of features.

References
----------
OGC GeoPackage Encoding Standard 1.3 (OGC 12-128r17), annex F.3 (R-tree spatial indexes). SQLite, "CREATE TRIGGER": a
trigger without a word for its time runs before.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from habmap.place.ddl import META_GUARD, META_GUARD_NAME, guard_statements
from habmap.place.schema import TABLES, Table

_META: Final = "habmap_meta"
#: What the guards of every version say, which tells a table of habmap's even where its name is not known.
_SIGN: Final = re.compile(r"'(\w+): rows are never changed or deleted'")
#: Texts, comments and quoted names of a statement; only the names matter.
_TEXT: Final = re.compile(r"'(?:[^']|'')*'|--[^\n]*|/\*.*?\*/", re.DOTALL)
_WRITES: Final = re.compile(
    r"\b(?:INSERT(?:\s+OR\s+\w+)?\s+INTO|REPLACE\s+INTO|DELETE\s+FROM|UPDATE(?:\s+OR\s+\w+)?)\s+"
    r"(?:\w+\s*\.\s*)?[\"`\[]?(\w+)",
    re.IGNORECASE,
)
_AFTER: Final = re.compile(r"^\s*CREATE\s+TRIGGER\s+(?:IF\s+NOT\s+EXISTS\s+)?\S+\s+AFTER\b", re.IGNORECASE)
#: Triggers that other programs put on tables of any GeoPackage.
_USUAL: Final = re.compile(r"^(?:rtree_\w+|trigger_(?:insert|delete)_feature_count_\w+)$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Trigger:
    """One trigger of the file: its name, the table it hangs on (lower case) and its text."""

    name: str
    table: str
    sql: str


@dataclass(frozen=True, slots=True)
class Guarding:
    """How a file's triggers stand against the guards that habmap gives it.

    Attributes
    ----------
    missing
        Names of guards that are gone.
    altered
        Guards of the right name and another text, where it is not a newer habmap that made the table's.
    harmful
        Other programs' triggers that could swallow or change rows.
    strange
        Other programs' triggers that could not, but for those that any GeoPackage may have.
    unknown
        Tables that a newer habmap guards, and columns, that this one does not know.
    """

    missing: tuple[str, ...]
    altered: tuple[str, ...]
    harmful: tuple[str, ...]
    strange: tuple[str, ...]
    unknown: tuple[str, ...]


def guards_of(table: Table, columns: Iterable[str]) -> dict[str, str]:
    """Return the guards of a table by name, as they read where it has these columns."""
    return {statement.split()[2]: statement for statement in guard_statements(table, frozenset(columns))}


def guarding(connection: sqlite3.Connection) -> Guarding:
    """Compare the triggers of a file with those it must have."""
    rows = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
    tables = {row["name"] for row in rows if row["type"] == "table"}
    triggers = [Trigger(row["name"], row["tbl_name"].lower(), row["sql"]) for row in rows if row["type"] == "trigger"]
    ours = [table for table in TABLES if table.name in tables]
    expected, unknown = {META_GUARD_NAME: META_GUARD}, list[str]()
    newer: set[str] = set()
    for table in ours:
        present = column_names(connection, table.name)
        guards = guards_of(table, present)
        expected |= guards
        strangers = [f"{table.name}.{name}" for name in present if name not in ("fid", "geom", *table.column_names)]
        unknown += strangers
        newer |= set(guards) if strangers else set()
    found = {trigger.name: trigger for trigger in triggers}
    known_tables = {table.name for table in ours} | {_META}
    foreign = {sign.group(1) for trigger in triggers if (sign := _SIGN.search(trigger.sql))} & tables - known_tables
    altered = {
        name
        for name, sql in expected.items()
        if name in found and found[name].sql != sql and not (name in newer and _SIGN.search(found[name].sql))
    }
    others = [one for one in triggers if one.name not in expected and one.table not in foreign]
    harmful = [one.name for one in others if _could_harm(one, known_tables)]
    return Guarding(
        missing=tuple(sorted(set(expected) - set(found))),
        altered=tuple(sorted(altered)),
        harmful=tuple(sorted(harmful)),
        strange=tuple(sorted(
            one.name for one in others
            if one.table in known_tables and one.name not in harmful and not _USUAL.match(one.name)
        )),
        unknown=(*sorted(foreign), *unknown),
    )  # fmt: skip


def column_names(connection: sqlite3.Connection, table: str) -> tuple[str, ...]:
    """Return the names of the columns that a table has, hidden and generated ones too."""
    return tuple(row["name"] for row in connection.execute("SELECT name FROM pragma_table_xinfo(?)", (table,)))


def _could_harm(trigger: Trigger, ours: set[str]) -> bool:
    """Tell whether a trigger may keep a row out, change it or take another away."""
    text = _TEXT.sub(" ", trigger.sql)
    writes = {name.lower() for name in _WRITES.findall(text.partition("BEGIN")[2] or text)}
    if writes & ours:
        return True
    return trigger.table in ours and (
        not _AFTER.match(text) or re.search(r"\bRAISE\b", text, re.IGNORECASE) is not None
    )
