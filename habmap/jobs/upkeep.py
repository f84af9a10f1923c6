"""What the ground itself asks for by its own dates, upkeep above all."""

from __future__ import annotations

from datetime import date

from habmap.measures import acres
from habmap.place.closed_days import upkeep_rule
from habmap.place.settings import Settings
from habmap.work.dated_ground import unit_due
from habmap.work.ground import HAIR_M2, Ground
from habmap.work.seasons import DueItem


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
    drying_days = settings.seasons.drying_days
    return tuple(
        item
        for unit, cut in zip(state.units, state.by_unit, strict=True)
        for item in unit_due(cut, unit.cover, upkeep_rule(unit.unit_id, settings), on=on, drying_days=drying_days)
        if item.acres is None or item.acres > acres(HAIR_M2)
    )
