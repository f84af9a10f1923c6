"""The ledger, the units and a handheld's outlines as tables and layers for other programs."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Literal

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.jobs.acres import acres as acre_account
from habmap.jobs.ground import ground
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.place.closed_days import closures
from habmap.records import BurnRecord, Entry, Unit, cell_facts, value_of
from habmap.vocabulary import REMAINING, STAGES
from habmap.work.burns import burn_of
from habmap.work.closures import Closure
from habmap.work.ground import Ground
from habmap.work.ledger import corrections, effective_entries
from habmap.work.told import is_told

Audience = Literal["owner", "public"]
Cell = str | float | int | None
#: Differences below this are binary crumbs of cutting the same ground twice [acre].
_CRUMB_ACRES = 1e-6
_CORE_COLUMNS = ("entry_id", "date", "practice", "unit_id", "patch_wkt")


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerTable:
    """Rows with one shape each (WGS 84 lon/lat), ready for a writer."""

    layer: str
    columns: tuple[str, ...]
    rows: tuple[dict[str, Cell], ...]
    shapes: tuple[BaseGeometry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenFile:
    """A file that left the property: where it is, and how many rows, units or outlines it holds."""

    path: str
    rows: int
    audience: Audience


def ledger_table(store: Store, *, audience: Audience = "owner") -> LayerTable:
    """Return every line of the log that counts today, corrections applied, with its ground at full precision.

    For the public without the columns that are the owner's, and with ground that tells of no nest, grave or other
    private place (see `habmap.jobs.public`).
    """
    if audience == "public":
        store = public_view(store)
    all_rows, records = store.entries(), store.burns()
    entries = [entry for entry in effective_entries(all_rows) if entry.patch is not None]
    burns = {line.root.entry_id: found for line in corrections(all_rows) if (found := burn_of(line, records))}
    told = [one for one in cell_facts(Entry) if audience == "owner" or not one.is_private]
    seen = [one for one in cell_facts(BurnRecord) if burns and (audience == "owner" or not one.is_private)]
    rows = []
    for entry in entries:
        burn = burns.get(entry.entry_id)
        row = _core(entry) | {one.cell: one.written(value_of(entry, one)) for one in told}
        rows.append(row | {one.cell: one.written(value_of(burn, one)) for one in seen})
    columns = (*_CORE_COLUMNS, *(one.cell for one in (*told, *seen)))
    return LayerTable(
        layer="ledger", columns=columns, rows=tuple(rows), shapes=tuple(e.patch for e in entries if e.patch is not None)
    )


def units_table(store: Store, *, on: date | None = None, today: date, audience: Audience = "owner") -> LayerTable:
    """Return the units with the acres of every stage, and which are on hold or closed to cutting on the day."""
    if audience == "public":
        store = public_view(store)
    closed = closures(settings_of_now(store))
    account = {unit.unit_id: unit for unit in acre_account(store, on=on).units}
    units = store.units(on)
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
            "waits": _waits(closed.on(on or today, unit.unit_id, work=("cut",))),
        }
        row |= {f"{stage}_acres": getattr(own.stage_acres, stage) for stage in STAGES}
        rows.append({name: value for name, value in row.items() if audience == "owner" or is_told(Unit, name)})
    return LayerTable(
        layer="units",
        columns=tuple(rows[0]) if rows else (),
        rows=tuple(rows),
        shapes=tuple(unit.geometry for unit in units),
    )


def _waits(closure: Closure | None) -> str | None:
    # Why is nobody's business but the owner's, and these files travel.
    return None if closure is None else closure.public_words


def handheld_outlines(
    store: Store, *, on: date | None = None, today: date, audience: Audience = "owner"
) -> tuple[tuple[str, str, MultiPolygon], ...]:
    """Return (name, comment, ground) of every unit and of the ground that remains in it (WGS 84).

    What remains in a unit on hold or closed to cutting is named so. Features are left out for whomever, so that
    no nest, grave or cultural site rides along on a handheld. Ground left on purpose is never shown as remaining, for
    somebody might cut it; so where the copy for the public draws some of it otherwise, or closes a hole of the unit,
    the whole outline of what remains in that unit is left out.
    """
    kept = _kept_acres(ground(store, on=on))
    outline = {unit.unit_id: unit.geometry for unit in store.units(on)}
    if audience == "public":
        store = public_view(store)
    state = ground(store, on=on)
    closed = closures(settings_of_now(store))
    grid = store.grid
    shown = _kept_acres(state)
    telling = {unit_id for unit_id, acres in kept.items() if acres > shown[unit_id] + _CRUMB_ACRES}
    telling |= {unit.unit_id for unit in state.units if unit.geometry != outline[unit.unit_id]}
    outlines: list[tuple[str, str, MultiPolygon]] = []
    for unit in state.units:
        called = f"{unit.name}: " if unit.name else ""
        outlines.append((unit.unit_id, f"{called}edge", unit.geometry))
        left = [p for p in state.pieces if p.unit_id == unit.unit_id and p.stage in REMAINING]
        if left and grid is not None and unit.unit_id not in telling:
            joined = shapely.union_all([piece.geometry for piece in left])
            polygons = [part for part in shapely.get_parts(joined) if part.geom_type == "Polygon"]
            acres_left = sum(piece.acres for piece in left)
            waits = _waits(closed.on(on or today, unit.unit_id, work=("cut",)))
            outlines.append(
                (
                    f"{unit.unit_id} {waits or 'left'}",
                    f"{called}{acres_left:.1f} acres {waits or 'remain'}",
                    grid.to_lonlat(MultiPolygon(polygons)),
                )
            )
    return tuple(outlines)


def _kept_acres(state: Ground) -> defaultdict[str, float]:
    """Return the acres left on purpose by unit."""
    found: defaultdict[str, float] = defaultdict(float)
    for piece in state.pieces:
        if piece.stage == "keep":
            found[piece.unit_id] += piece.acres
    return found


def _core(entry: Entry) -> dict[str, Cell]:
    """Return what was done when and where; the rest is the facts' own."""
    assert entry.patch is not None
    # -1: as many digits as it takes to read the same number back
    ground = shapely.to_wkt(entry.patch, rounding_precision=-1)
    units = ";".join(entry.unit_ids) or None
    cells = (entry.entry_id, entry.date.isoformat(), entry.practice, units, ground)
    return dict(zip(_CORE_COLUMNS, cells, strict=True))
