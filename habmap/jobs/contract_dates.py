"""The contract items of a property with their dates, and the acres applied so far."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from habmap.jobs.export_practices import export_practices
from habmap.jobs.ports import Store
from habmap.place.settings import Settings
from habmap.work.seasons import ContractDate


def contract_dates(store: Store, settings: Settings, on: date) -> Sequence[ContractDate]:
    """Return the contract items of the settings, in their order, with the acres applied up to a day."""
    applied: dict[tuple[str, str, str], float] = {}
    if settings.contract and store.entries() and store.grid is not None:
        for item in export_practices(store, first=date.min, last=on).items:
            applied[(item.program, item.item, item.practice_code)] = item.applied_acres
    return [
        ContractDate(
            name=f"{line.program} {line.item} ({line.practice_code})",
            units=line.units,
            planned_acres=line.planned_acres,
            applied_acres=applied.get((line.program, line.item, line.practice_code), 0.0),
            not_before=line.not_before,
            due=line.due,
        )
        for line in settings.contract
    ]
