"""How near work lies to what it joins or what would seed it: shortest distances between pieces of ground."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.memory import remembered
from habmap.vocabulary import OPEN_COVERS, REMAINING, TREATED
from habmap.work.ground import CutUnit, Ground


def to_open_ground_m(state: Ground) -> dict[str, float]:
    """Return each unit's shortest distance from remaining ground to treated ground or native grass [m]."""
    opened = {
        unit.unit_id: state.unit_shapes[unit.unit_id] if unit.cover in OPEN_COVERS else ground_in(cut, TREATED)
        for unit, cut in zip(state.units, state.by_unit, strict=True)
    }
    remaining = {unit.unit_id: ground_in(cut, REMAINING) for unit, cut in zip(state.units, state.by_unit, strict=True)}
    return _nearest_m(remaining, opened)


def to_standing_cedars_m(state: Ground) -> dict[str, float]:
    """Return each unit's shortest distance from treated or grass ground to standing cedars, the seed trees [m]."""
    cleared, standing = {}, {}
    for unit, cut in zip(state.units, state.by_unit, strict=True):
        is_grass = unit.cover in OPEN_COVERS
        cleared[unit.unit_id] = ground_in(cut, (*TREATED, "other") if is_grass else TREATED)
        standing[unit.unit_id] = ground_in(cut, (*REMAINING, "keep"))
    return _nearest_m(cleared, standing)


@remembered
def ground_in(cut: CutUnit, stages: tuple[str, ...]) -> MultiPolygon:
    """Return a unit's ground in some stages, piece beside piece, in grid meters."""
    own = [piece.geometry for piece in cut.pieces if piece.stage in stages]
    return MultiPolygon(shapely.get_parts(np.array(own, dtype=object)).tolist())


@remembered
def _apart_m(ground: BaseGeometry, other: BaseGeometry) -> float:
    return float(shapely.distance(ground, other))


def _nearest_m(grounds: Mapping[str, BaseGeometry], others: Mapping[str, BaseGeometry]) -> dict[str, float]:
    there = [other for other in others.values() if not other.is_empty]
    if not there:
        return {}
    tree = shapely.STRtree(there)
    nearest: dict[str, float] = {}
    for unit_id, ground in grounds.items():
        if ground.is_empty:
            continue
        within_m = math.inf if others[unit_id].is_empty else _apart_m(ground, others[unit_id])
        if within_m > 0:  # else it lies beside some in its own unit, as in most
            _, found = tree.query_nearest(ground, return_distance=True, all_matches=False)
            within_m = float(found[0])
        nearest[unit_id] = within_m
    return nearest
