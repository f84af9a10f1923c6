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
from habmap.jobs.burn.columns import BURN_FIELDS, TOLD, burn_cells
from habmap.jobs.closed_days import closures
from habmap.jobs.ground import Ground, ground
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.records import Entry, Unit
from habmap.vocabulary import REMAINING, STAGES
from habmap.work.burns import burn_of
from habmap.work.closures import Closure
from habmap.work.ledger import corrections, effective_entries
from habmap.work.told import is_told

Audience = Literal["owner", "public"]
Cell = str | float | int | None
#: Columns that are called otherwise than the field they hold.
_FIELD_OF = {"sure": "is_sure"}
#: Differences below this are binary crumbs of cutting the same ground twice [acre].
_CRUMB_ACRES = 1e-6

LEDGER_COLUMNS = (
    "entry_id", "source_id", "date", "practice", "unit_id", "patch_wkt", "killed_pct", "burned_pct", "person_hours",
    "cost", "reported_acres", "sure", "acres_sd", "who", "note", "product", "product_rate",
    "live_stems_per_acre", "tallest_ft", "seedlings_per_acre", "sprouts", "needles", "fuel_lb_ac", "stump_treated",
)  # fmt: skip


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
    named = (*LEDGER_COLUMNS, *(BURN_FIELDS if burns else ()))
    columns = tuple(
        name for name in named if audience == "owner" or (is_told(Entry, _FIELD_OF.get(name, name)) and name != TOLD)
    )
    cells = [_ledger_row(entry) | burn_cells(burns.get(entry.entry_id)) for entry in entries]
    rows = tuple({name: value for name, value in row.items() if name in columns} for row in cells)
    return LayerTable(
        layer="ledger", columns=columns, rows=rows, shapes=tuple(e.patch for e in entries if e.patch is not None)
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


def _ledger_row(entry: Entry) -> dict[str, Cell]:
    assert entry.patch is not None
    look = entry.look
    return {
        "entry_id": entry.entry_id,
        "source_id": entry.source_id,
        "date": entry.date.isoformat(),
        "practice": entry.practice,
        "unit_id": ";".join(entry.unit_ids) or None,
        # -1: as many digits as it takes to read the same number back
        "patch_wkt": shapely.to_wkt(entry.patch, rounding_precision=-1),
        "killed_pct": entry.killed_pct,
        "burned_pct": entry.burned_pct,
        "person_hours": entry.person_hours,
        "cost": entry.cost,
        "reported_acres": entry.reported_acres,
        "sure": "yes" if entry.is_sure else None,
        "acres_sd": entry.acres_sd,
        "who": entry.who,
        "note": entry.note,
        "product": entry.product,
        "product_rate": entry.product_rate,
        "live_stems_per_acre": look.live_stems_per_acre if look else None,
        "tallest_ft": look.tallest_ft if look else None,
        "seedlings_per_acre": look.seedlings_per_acre if look else None,
        "sprouts": ",".join(f"{species}={count}" for species, count in look.sprouts) or None if look else None,
        "needles": look.needles if look else None,
        "fuel_lb_ac": look.fuel_lb_ac if look else None,
        "stump_treated": {True: "yes", False: "no", None: None}[look.stump_treated if look else None],
    }
