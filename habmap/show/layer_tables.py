"""The rows of layers for other programs: the log with its ground, the units with their acres by stage."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.records import BurnRecord, Entry, Unit, cell_facts, value_of
from habmap.vocabulary import STAGES, Audience
from habmap.work.acres import UnitAcres
from habmap.work.public_copy import is_public

Cell = str | float | int | None
_CORE_COLUMNS: Final = ("entry_id", "date", "practice", "unit_id", "patch_wkt")


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerTable:
    """Rows with one shape each (WGS 84 lon/lat), ready for a writer."""

    layer: str
    columns: tuple[str, ...]
    rows: tuple[dict[str, Cell], ...]
    shapes: tuple[BaseGeometry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenFile:
    """A file that left the property: where it is, and how many rows or units it holds."""

    path: str
    rows: int
    audience: Audience


def ledger_layer(entries: Sequence[Entry], burns: Mapping[str, BurnRecord], *, is_owner: bool) -> LayerTable:
    """Return these lines, each with its ground at full precision and what was observed at its burn.

    Parameters
    ----------
    burns
        By ``entry_id`` of the line.
    is_owner
        Whether the columns that are the owner's stand in it.
    """
    entries = [entry for entry in entries if entry.patch is not None]
    told = [one for one in cell_facts(Entry) if is_owner or not one.is_private]
    seen = [one for one in cell_facts(BurnRecord) if burns and (is_owner or not one.is_private)]
    rows = []
    for entry in entries:
        burn = burns.get(entry.entry_id)
        row = _core(entry) | {one.cell: one.written(value_of(entry, one)) for one in told}
        rows.append(row | {one.cell: one.written(value_of(burn, one)) for one in seen})
    return LayerTable(
        layer="ledger",
        columns=(*_CORE_COLUMNS, *(one.cell for one in (*told, *seen))),
        rows=tuple(rows),
        shapes=tuple(entry.patch for entry in entries if entry.patch is not None),
    )


def units_layer(
    units: Sequence[Unit], account: Mapping[str, UnitAcres], waits: Mapping[str, str | None], *, is_owner: bool
) -> LayerTable:
    """Return units with their acres; ``account`` and ``waits`` (why one rests, in public words) by ``unit_id``."""
    rows = []
    for unit in units:
        own = account[unit.unit_id]
        row: dict[str, Cell] = {
            "unit_id": unit.unit_id,
            "name": unit.name,
            "cover": unit.cover,
            "stems_per_acre": unit.stems_per_acre,
            "canopy_pct": unit.canopy_pct,
            "notes": unit.notes,
            "acres": own.acres,
            "treated_acres": own.treated_acres,
            "remaining_acres": own.remaining_acres,
            "waits": waits[unit.unit_id],
        }
        row |= {f"{stage}_acres": getattr(own.stage_acres, stage) for stage in STAGES}
        rows.append({name: value for name, value in row.items() if is_owner or is_public(Unit, name)})
    return LayerTable(
        layer="units",
        columns=tuple(rows[0]) if rows else (),
        rows=tuple(rows),
        shapes=tuple(unit.geometry for unit in units),
    )


def _core(entry: Entry) -> dict[str, Cell]:
    """Return what was done when and where; the rest is the facts' own."""
    assert entry.patch is not None
    # -1: as many digits as it takes to read the same number back
    ground = shapely.to_wkt(entry.patch, rounding_precision=-1)
    units = ";".join(entry.unit_ids) or None
    cells = (entry.entry_id, entry.date.isoformat(), entry.practice, units, ground)
    return dict(zip(_CORE_COLUMNS, cells, strict=True))
