"""The order of work: joins the account, the terrain and the density of each unit."""

from __future__ import annotations

from datetime import date

from habmap.jobs.density import density
from habmap.jobs.due import upkeep_due
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.jobs.terrain import terrain_of_remaining
from habmap.place.closed_days import closures
from habmap.place.named_units import settings_of_now
from habmap.work.order_of_work import RankResult, order_of_work


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
        contracts=settings.contract,
        closed_on=on or today,
        limits=settings.density.limits,
        weights=settings.rank.weights.model_dump(),
        warnings=() if slopes is None else slopes.warnings,
    )
