"""The acre account: what is done, what remains, per unit and per practice."""

from __future__ import annotations

from datetime import date

from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.place.named_units import settings_of_now
from habmap.place.settings import Settings
from habmap.vocabulary import PRACTICES
from habmap.work.acres import AcresResult, Paper, acre_account
from habmap.work.leave import LeaveRule


@once
def acres(store: Store, *, on: date | None = None) -> AcresResult:
    """Return the acre account of a place.

    Parameters
    ----------
    store
        The place.
    on
        Day as of which the work counts; ``None``: all of it, on the units as they are drawn now.

    Notes
    -----
    Treated + remaining + left on purpose + other cover = acres, for every unit and in total.
    """
    return acre_account(ground(store, on=on), paper=paper_of(settings_of_now(store)))


def paper_of(settings: Settings) -> Paper:
    """Return what the place's settings add to its account."""
    return Paper(
        place=settings.place.name,
        leave=leave_rule(settings),
        codes={practice: settings.practice_code(practice) for practice in PRACTICES},
    )


def leave_rule(settings: Settings) -> LeaveRule:
    """Return how much cedar ``habmap.toml`` wants to be left."""
    stages = settings.stages
    return LeaveRule(stages.leave_pct, {unit_id: own.leave_pct for unit_id, own in stages.unit.items()})
