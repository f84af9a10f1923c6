"""Which column of a person's file holds what: asked before a file is loaded whose columns have names of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from habmap.jobs.load.tables import TABLES
from habmap.place.load.columns import matched_columns
from habmap.place.load.entries import ENTRIES, read_ledger
from habmap.place.load.features import FEATURES
from habmap.place.load.forecast import FORECAST
from habmap.place.load.spec import TableSpec
from habmap.place.load.table import Table, layer_table, read_table
from habmap.place.load.units import UNITS

#: Every kind of file whose columns may be named by the person.
_SPECS: Final[Mapping[str, TableSpec[Any]]] = {
    "units": UNITS, "features": FEATURES, "entries": ENTRIES, "forecast": FORECAST, **TABLES,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedColumn:
    """A field that a file may fill: its name, what people call it, the words it may be, whether it must be there."""

    name: str
    label: str
    words: tuple[str, ...]
    is_needed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedColumns:
    """The columns of a file, and the fields that none of them has the name of, those that must be there first."""

    columns: tuple[str, ...]
    fields: tuple[AskedColumn, ...]

    @property
    def lacks_needed(self) -> bool:
        """Whether the file cannot be loaded before somebody says which column is which."""
        return any(one.is_needed for one in self.fields)


def asked_columns(kind: str, path: Path, *, layer: str | None = None, sheet: str | None = None) -> AskedColumns | None:
    """Return what is to be asked of a file's columns; ``None`` where columns of that kind of file are not asked for.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    spec = _SPECS.get(kind)
    if spec is None:
        return None
    table = _table(kind, path, layer=layer, sheet=sheet)
    found = matched_columns(table.columns, spec.fields, renames={}, where=table.where)
    asked = [
        AskedColumn(
            name=column.name,
            label=column.label,
            words=tuple(column.words),
            is_needed=(column.is_needed or column.is_required) and not spec.lacks,
        )
        for column in spec.columns
        if not set(column.names) & set(found)
    ]
    return AskedColumns(columns=table.columns, fields=tuple(sorted(asked, key=lambda one: not one.is_needed)))


def _table(kind: str, path: Path, *, layer: str | None, sheet: str | None) -> Table:
    if kind in ("units", "features"):
        return layer_table(path, layer=layer, want="ground" if kind == "units" else "any")
    if kind == "entries":
        return read_ledger(path, layer=layer, sheet=sheet)
    return read_table(path, sheet=sheet)
