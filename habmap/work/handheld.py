"""The ground that remains, as somebody walks it: no scraps that nobody finds, no gap closed where a tree is left."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

from habmap.measures import M2_PER_ACRE, acres
from habmap.vocabulary import REMAINING
from habmap.work.ground import Ground, GroundPiece

#: Ground smaller than this by itself is no day's work, and a hand-held receiver hardly finds it (chosen: a square of
#: 20 m is a tenth of an acre, and fixes are off by 3 to 10 m) [acre].
SCRAP_ACRES: Final = 0.1
#: Differences below this are binary crumbs of cutting the same ground twice [acre].
_CRUMB_ACRES: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class RemainingOutline:
    """What remains in one unit.

    Attributes
    ----------
    acres
        All ground that remains, scraps too [acre].
    geometry
        Its outline without scraps, in grid meters or lon/lat; gaps smaller than a scrap are closed but where ground is
        left on purpose. Empty where all that remains is scraps.
    scraps, scrap_acres
        How many parts were left out, and their acres together [acre].
    """

    unit_id: str
    acres: float
    geometry: MultiPolygon
    scraps: int
    scrap_acres: float


def remaining_outlines(state: Ground, *, owners: Ground) -> tuple[RemainingOutline, ...]:
    """Return what remains in each unit of a copy (lon/lat).

    Ground left on purpose is never shown as remaining, for somebody might cut it: where the copy draws some of it
    otherwise than the owner's own ground, or closes a hole of the unit, what remains in that unit is left out.
    """
    if state.grid is None:
        return ()
    telling = telling_units(state, owners=owners)
    found = (remaining_outline(unit.unit_id, state.pieces) for unit in state.units if unit.unit_id not in telling)
    return tuple(replace(one, geometry=state.grid.to_lonlat(one.geometry)) for one in found if one is not None)


def telling_units(state: Ground, *, owners: Ground) -> set[str]:
    """Return the units of a copy of whose ground it must not say what remains (`remaining_outlines` has why)."""
    kept, shown = _kept_acres(owners), _kept_acres(state)
    telling = {unit_id for unit_id, acres_kept in kept.items() if acres_kept > shown[unit_id] + _CRUMB_ACRES}
    own = {unit.unit_id: unit.geometry for unit in owners.units}
    return telling | {unit.unit_id for unit in state.units if unit.geometry != own[unit.unit_id]}


def _kept_acres(state: Ground) -> defaultdict[str, float]:
    """Return the acres left on purpose by unit."""
    found: defaultdict[str, float] = defaultdict(float)
    for piece in state.pieces:
        if piece.stage == "keep":
            found[piece.unit_id] += piece.acres
    return found


def remaining_outline(unit_id: str, pieces: Iterable[GroundPiece]) -> RemainingOutline | None:
    """Return what remains in a unit; ``None`` where nothing does."""
    own = [piece for piece in pieces if piece.unit_id == unit_id]
    left = [piece for piece in own if piece.stage in REMAINING and piece.area_m2 > 0]
    if not left:
        return None
    kept = shapely.union_all([piece.geometry for piece in own if piece.stage == "keep"])
    joined = shapely.union_all([piece.geometry for piece in left])
    parts = [part for part in shapely.get_parts(joined) if part.geom_type == "Polygon"]
    least_m2 = SCRAP_ACRES * M2_PER_ACRE
    whole = [_without_gaps(part, kept, least_m2) for part in parts if part.area >= least_m2]
    scraps = [part.area for part in parts if part.area < least_m2]
    return RemainingOutline(
        unit_id=unit_id,
        acres=math.fsum(piece.acres for piece in left),
        geometry=MultiPolygon(whole),
        scraps=len(scraps),
        scrap_acres=acres(math.fsum(scraps)),
    )


def _without_gaps(part: Polygon, kept: shapely.Geometry, least_m2: float) -> Polygon:
    gaps = [Polygon(ring) for ring in part.interiors]
    open_gaps = [gap for gap in gaps if gap.area >= least_m2 or shapely.intersection(gap, kept).area > 0]
    return Polygon(part.exterior, [gap.exterior for gap in open_gaps])
