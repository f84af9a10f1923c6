"""The pieces of a property's ground with the dates that matter for what is due."""

from __future__ import annotations

from collections.abc import Sequence

from habmap.records import Entry
from habmap.work.ground import Ground, GroundPiece
from habmap.work.seasons import DatedGround


def dated_ground(state: Ground) -> list[DatedGround]:
    """Return every piece of the ground with its dates and the shares of its cedars."""
    entries = {entry.entry_id: entry for entry in state.entries}
    covers = {unit.unit_id: unit.cover for unit in state.units}
    return [
        _dated(piece, covers[piece.unit_id], [entries[entry_id] for entry_id in piece.entry_ids])
        for piece in state.pieces
    ]


def _dated(piece: GroundPiece, cover: str, entries: Sequence[Entry]) -> DatedGround:
    now = piece.state
    return DatedGround(
        unit_id=piece.unit_id,
        cover=cover,
        stage=piece.stage,
        acres=piece.acres,
        lying_frac=now.lying_frac,
        piled_frac=now.piled_frac,
        snag_frac=now.snag_frac,
        last_felled=now.last_felled,
        last_piled=now.last_piled,
        last_fire=now.last_fire,
        last_pile_burn=max((entry.date for entry in entries if entry.practice == "pile_burn"), default=None),
        last_treated=now.last_treated,
        first_treated=now.first_treated,
        last_look=now.last_look,
        needles=now.needles,
        needles_seen=now.needles_seen,
    )
