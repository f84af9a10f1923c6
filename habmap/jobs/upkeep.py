"""What the ground itself asks for by its own dates, upkeep above all."""

from __future__ import annotations

from datetime import date

from habmap.measures import acres
from habmap.place.closed_days import upkeep_rule
from habmap.place.settings import Settings
from habmap.work.dated_ground import dated_ground
from habmap.work.ground import HAIR_M2, Ground
from habmap.work.seasons import DueItem, ground_due


def upkeep_due(state: Ground, settings: Settings) -> dict[str, tuple[DueItem, ...]]:
    """Return by unit the ground that asks for upkeep on the account's own day; empty while there is no log."""
    if state.on is None:
        return {}
    found: dict[str, tuple[DueItem, ...]] = {}
    for item in standing_due(state, settings, state.on):
        if item.what == "upkeep" and item.state == "due" and item.unit_id is not None:
            found[item.unit_id] = (*found.get(item.unit_id, ()), item)
    return found


def standing_due(state: Ground, settings: Settings, on: date) -> tuple[DueItem, ...]:
    """Return what the ground asks for; hair-wide ground along an edge asks for nothing and nobody could find it."""
    upkeep = {unit.unit_id: upkeep_rule(unit.unit_id, settings) for unit in state.units}
    items = ground_due(dated_ground(state), on=on, drying_days=settings.seasons.drying_days, upkeep=upkeep)
    return tuple(item for item in items if item.acres is None or item.acres > acres(HAIR_M2))
