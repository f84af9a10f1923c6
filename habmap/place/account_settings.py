"""What ``habmap.toml`` adds to the acre account."""

from __future__ import annotations

from habmap.place.settings import Settings
from habmap.vocabulary import PRACTICES
from habmap.work.acres import Paper
from habmap.work.leave import LeaveRule


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
