"""The order of work: joins the account, the terrain and the density of each unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.jobs.density import density
from habmap.jobs.due import upkeep_due
from habmap.jobs.ground import ground
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.jobs.terrain import UnitTerrain, terrain_of_remaining
from habmap.place.closed_days import closures
from habmap.place.settings import Settings
from habmap.vocabulary import OPEN_COVERS, REMAINING, SAW_CAUTION, TREATED
from habmap.work.closures import Closure, Closures
from habmap.work.ground import Ground, GroundPiece
from habmap.work.priority import NO_HEAT_LOAD, SLIVER_ACRES, Candidate, DenseLimits, Ranked, next_unit, rank_units

#: How a hold that is still to come is told.
COMING_HOLD: Final = "on hold from"


@dataclass(frozen=True, slots=True, kw_only=True)
class RankResult:
    """The order of work on a day, the weights behind it, and what was not known.

    Attributes
    ----------
    closed_on
        The day on which holds and closed days were asked about.
    next_unit_id
        The first unit of the order with ground to treat that is neither on hold nor closed to cutting; ``None`` where
        there is none.
    """

    on: date | None
    closed_on: date
    next_unit_id: str | None
    weights: Mapping[str, float]
    units: tuple[Ranked, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...] = (SAW_CAUTION,)


@once
def rank(store: Store, *, on: date | None = None, today: date) -> RankResult:
    """Rank the units of a place, by the face, slope and density of the ground that remains in them.

    Parameters
    ----------
    on
        As of this day's work; ``None``: all work so far.
    today
        Day whose holds and closed days count; ``on`` counts instead where it is given.

    Raises
    ------
    InputError
        The elevation that the place names cannot be read.
    """
    settings = settings_of_now(store)
    state = ground(store, on=on)
    slopes, warnings = _terrain_by_unit(store, on)
    stands = {line.unit_id: line for line in density(store, on=on).units}
    remaining = {unit.unit_id: 0.0 for unit in state.units}
    for piece in state.pieces:
        if piece.stage in REMAINING:
            remaining[piece.unit_id] += piece.acres
    near_open_m, near_seed_m = _to_open_ground_m(state), _to_standing_cedars_m(state)
    upkeep = upkeep_due(state, settings)
    closed, closed_on = closures(settings), on or today
    candidates = []
    for unit in state.units:
        slope, stand = slopes.get(unit.unit_id), stands.get(unit.unit_id)
        # stems are known, and yet not whether they are dense: clumped quarter points, likely too few
        is_low_guess = stand is not None and stand.stems_per_acre is not None and stand.dense is None
        asks = upkeep.get(unit.unit_id, ())
        has_cutting = remaining[unit.unit_id] >= SLIVER_ACRES
        closure = (
            closed.on(closed_on, unit.unit_id, work=("cut",))
            if has_cutting
            else closed.on_upkeep(closed_on, unit.unit_id)
        )
        candidates.append(
            Candidate(
                unit_id=unit.unit_id,
                cover=unit.cover,
                name=unit.name,
                remaining_acres=remaining[unit.unit_id],
                stems_per_acre=None if is_low_guess else stand.stems_per_acre if stand else unit.stems_per_acre,
                canopy_pct=None if is_low_guess else stand.canopy_pct if stand else unit.canopy_pct,
                canopy_coverage_pct=stand.canopy_coverage_pct if stand else None,
                sun_facing_pct=slope.sun_facing_pct if slope else None,
                coverage_pct=slope.coverage_pct if slope else None,
                aspect_mean_deg=slope.aspect_mean_deg if slope and slope.facing != "flat" else None,
                too_coarse=bool(slope and slope.too_coarse),
                facing=slope.facing if slope else None,
                heat_load_mean=slope.heat_load_mean if slope else None,
                near_open_m=near_open_m.get(unit.unit_id),
                hand_only_pct=slope.hand_only_pct if slope else None,
                upkeep_acres=sum(item.acres or 0.0 for item in asks),
                upkeep_why="; ".join(dict.fromkeys(item.words for item in asks)),
                near_seed_m=near_seed_m.get(unit.unit_id),
                closure=closure,
                remarks=_remarks(unit.unit_id, settings, closed, closed_on, closure),
            )
        )
    limits = DenseLimits(
        stems_per_acre=settings.density.dense_stems_per_acre, canopy_pct=settings.density.dense_canopy_pct
    )
    weights = settings.rank.weights.model_dump()
    ranked = rank_units(candidates, limits=limits, weights=weights)
    following = next_unit(ranked)
    return RankResult(
        on=state.on,
        closed_on=closed_on,
        next_unit_id=None if following is None else following.unit_id,
        weights=weights,
        units=ranked,
        warnings=warnings,
    )


def _terrain_by_unit(store: Store, on: date | None) -> tuple[dict[str, UnitTerrain], tuple[str, ...]]:
    """Measure the ground that remains, where none does the whole unit."""
    if store.elevation() is None:
        return {}, ("no elevation is loaded: no unit's face is known, so none can be first",)
    result = terrain_of_remaining(store, on=on)
    is_unfitted = any(unit.sun_facing_pct is not None and unit.heat_load_mean is None for unit in result.units)
    return {unit.unit_id: unit for unit in result.units}, (*result.warnings, *([NO_HEAT_LOAD] if is_unfitted else []))


def _remarks(unit_id: str, settings: Settings, closed: Closures, on: date, closure: Closure | None) -> tuple[str, ...]:
    """Return the holds, closed days and contract dates that are said with a unit."""
    words = [] if closure is None else [closure.words]
    words += [f"{COMING_HOLD} {hold.first}: {hold.reason}" for hold in closed.coming(on, unit_id)]
    for line in settings.contract:
        if unit_id in line.units or not line.units:
            if line.not_before is not None and on < line.not_before:
                words.append(f"contract {line.program} {line.item}: not before {line.not_before}")
            if line.due is not None:
                words.append(f"contract {line.program} {line.item}: due {line.due}")
    return tuple(words)


def _to_open_ground_m(state: Ground) -> dict[str, float]:
    """Return each unit's shortest distance from remaining ground to treated ground or native grass [m]."""
    opened = [piece.geometry for piece in state.pieces if piece.stage in TREATED]
    opened += [state.unit_shapes[unit.unit_id] for unit in state.units if unit.cover in OPEN_COVERS]
    return _nearest_m([piece for piece in state.pieces if piece.stage in REMAINING], opened)


def _to_standing_cedars_m(state: Ground) -> dict[str, float]:
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
