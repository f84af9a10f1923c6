"""The acre account: what is done, what remains, per unit and per practice."""

from __future__ import annotations

from datetime import date

from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.place.closed_days import paper_of
from habmap.place.named_units import settings_of_now
from habmap.work.acres import AcresResult, acre_account


@once
def acres(store: Store, *, on: date | None = None) -> AcresResult:
    """Return the acre account of a place.

    Parameters
    ----------
    on
        Day as of which the work counts; ``None``: all of it, on the units as they are drawn now.

    Notes
    -----
    Treated + remaining + left on purpose + other cover = acres, for every unit and in total.
    """
    return acre_account(ground(store, on=on), paper=paper_of(settings_of_now(store)))
