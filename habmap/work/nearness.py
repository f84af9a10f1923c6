"""How near work lies to what it joins or what would seed it: shortest distances between pieces of ground."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.vocabulary import OPEN_COVERS, REMAINING, TREATED
from habmap.work.ground import Ground, GroundPiece


def to_open_ground_m(state: Ground) -> dict[str, float]:
    """Return each unit's shortest distance from remaining ground to treated ground or native grass [m]."""
    opened = [piece.geometry for piece in state.pieces if piece.stage in TREATED]
    opened += [state.unit_shapes[unit.unit_id] for unit in state.units if unit.cover in OPEN_COVERS]
    return _nearest_m([piece for piece in state.pieces if piece.stage in REMAINING], opened)


def to_standing_cedars_m(state: Ground) -> dict[str, float]:
    """Return each unit's shortest distance from treated or grass ground to standing cedars, the seed trees [m]."""
    covers = {unit.unit_id: unit.cover for unit in state.units}
    kept = [
        piece
        for piece in state.pieces
        if piece.stage in TREATED or (piece.stage == "other" and covers[piece.unit_id] in OPEN_COVERS)
    ]
    return _nearest_m(kept, [piece.geometry for piece in state.pieces if piece.stage in (*REMAINING, "keep")])


def _nearest_m(pieces: Sequence[GroundPiece], others: Sequence[BaseGeometry]) -> dict[str, float]:
    if not others:
        return {}
    tree = shapely.STRtree(others)
    nearest: dict[str, float] = {}
    for piece in pieces:
        _, found = tree.query_nearest(piece.geometry, return_distance=True, all_matches=False)
        nearest[piece.unit_id] = min(nearest.get(piece.unit_id, float("inf")), float(found[0]))
    return nearest
