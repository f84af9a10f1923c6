"""The pieces of a property's ground with the dates that matter for what is due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import date

from habmap.memory import remembered
from habmap.records import Entry
from habmap.work.ground import CutUnit, Ground, GroundPiece
from habmap.work.seasons import DatedGround, DueItem, UpkeepRule, ground_due, upkeep_of


def dated_ground(state: Ground) -> list[DatedGround]:
    """Return every piece of the ground with its dates and the shares of its cedars."""
    return [one for unit, cut in zip(state.units, state.by_unit, strict=True) for one in _dated_unit(cut, unit.cover)]


@remembered
def unit_due(
    cut: CutUnit, cover: str, rule: UpkeepRule, *, on: date, drying_days: tuple[int, int]
) -> tuple[DueItem, ...]:
    """Return what one unit's ground asks for (`ground_due`)."""
    pieces = _dated_unit(cut, cover)
    return ground_due(pieces, on=on, drying_days=drying_days, upkeep={one.unit_id: rule for one in pieces})


@remembered
def unit_upkeep(cut: CutUnit, cover: str, rule: UpkeepRule, *, on: date) -> tuple[DueItem, ...]:
    """Return what one unit's ground asks for of upkeep that is due (`upkeep_of`)."""
    return upkeep_of(_dated_unit(cut, cover), on=on, rule=rule)


@remembered
def _dated_unit(cut: CutUnit, cover: str) -> tuple[DatedGround, ...]:
    lines = {line.entry_id: line for line in cut.lines}
    return tuple(_dated(piece, cover, [lines[entry_id] for entry_id in piece.entry_ids]) for piece in cut.pieces)


def _dated(piece: GroundPiece, cover: str, entries: Sequence[Entry]) -> DatedGround:
    return DatedGround(
        **{one.name: getattr(piece.state, one.name) for one in fields(piece.state)},
        unit_id=piece.unit_id,
        cover=cover,
        acres=piece.acres,
        last_pile_burn=max((entry.date for entry in entries if entry.practice == "pile_burn"), default=None),
    )
