"""The order of work: joins the account, the terrain and the density of each unit."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from habmap.jobs.density import density
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.jobs.terrain import terrain_of_remaining
from habmap.place.closed_days import closures, contract_items, contract_waits, upkeep_due
from habmap.place.named_units import settings_of_now
from habmap.place.settings import Settings
from habmap.work.order_of_work import RankResult, first_due, order_of_work
from habmap.work.seasons import DueItem, calendar_due


@once
def rank(store: Store, *, on: date | None = None, today: date) -> RankResult:
    """Rank the units of a place, by the face, slope and density of the ground that remains in them.

    Parameters
    ----------
    on
        As of this day's work; ``None``: all work so far.
    today
        Day whose holds and closed days count; ``on`` counts instead where it is given.

    Raises
    ------
    InputError
        The elevation that the place names cannot be read.
    """
    settings, state = settings_of_now(store), ground(store, on=on)
    slopes = terrain_of_remaining(store, on=on) if store.elevation() is not None else None
    return order_of_work(
        state,
        terrain=None if slopes is None else {unit.unit_id: unit for unit in slopes.units},
        stands={line.unit_id: line for line in density(store, on=on).units},
        upkeep=upkeep_due(state, settings),
        closures=closures(settings),
        contracts=contract_items(settings),
        too_early=contract_waits(store, on or today),
        pressing=_pressing(store, settings, on or today),
        closed_on=on or today,
        limits=settings.density.limits,
        weights=settings.rank.weights.model_dump(),
        warnings=() if slopes is None else slopes.warnings,
    )


def _pressing(store: Store, settings: Settings, on: date) -> Mapping[str, DueItem]:
    """Return by unit the contract item that is due soon or overdue, of several the one that is due first."""
    if not any(line.due is not None for line in settings.contract):
        return {}
    from habmap.jobs.export_practices import contract_dates  # what was applied is asked of the whole log

    items = calendar_due(on=on, bans=(), holds=(), contract=contract_dates(store, settings, on))
    return first_due(items, [unit.unit_id for unit in store.units()])
