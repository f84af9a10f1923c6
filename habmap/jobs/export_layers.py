"""The ledger and the units as tables and layers for other programs."""

from __future__ import annotations

from datetime import date

from habmap.jobs.acres import acres as acre_account
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.place.closed_days import closures
from habmap.place.named_units import settings_of_now
from habmap.show.layer_tables import LayerTable, ledger_layer, units_layer
from habmap.vocabulary import Audience
from habmap.work.burns import burn_of
from habmap.work.ledger import corrections, effective_entries


def ledger_table(store: Store, *, audience: Audience = "owner") -> LayerTable:
    """Return every line of the log that counts today, corrections applied, with its ground at full precision.

    For the public without the columns that are the owner's, and with ground that tells of no nest, grave or other
    private place (see `habmap.place.public_store`).
    """
    store = public_view(store) if audience == "public" else store
    all_rows, records = store.entries(), store.burns()
    burns = {line.root.entry_id: found for line in corrections(all_rows) if (found := burn_of(line, records))}
    return ledger_layer(effective_entries(all_rows), burns, is_owner=audience == "owner")


def units_table(store: Store, *, on: date | None = None, today: date, audience: Audience = "owner") -> LayerTable:
    """Return the units with the acres of every stage, and which are on hold or closed to cutting on the day."""
    store = public_view(store) if audience == "public" else store
    return units_layer(
        store.units(on),
        {unit.unit_id: unit for unit in acre_account(store, on=on).units},
        waiting(store, on=on or today),
        is_owner=audience == "owner",
    )


def waiting(store: Store, *, on: date) -> dict[str, str | None]:
    """Return by unit that it is on hold or closed to cutting; why is nobody's but the owner's: these files travel."""
    closed = closures(settings_of_now(store))
    found = {unit.unit_id: closed.on(on, unit.unit_id, work=("cut",)) for unit in (*store.units(on), *store.units())}
    return {unit_id: None if closure is None else closure.public_words for unit_id, closure in found.items()}
