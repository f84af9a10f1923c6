"""The order of work: joins the account, the terrain and the density of each unit."""

from __future__ import annotations

from datetime import date

from habmap.jobs.density import density
from habmap.jobs.due import upkeep_due
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.jobs.terrain import terrain_of_remaining
from habmap.place.closed_days import closures
from habmap.place.named_units import settings_of_now
from habmap.vocabulary import REMAINING
from habmap.work.nearness import to_open_ground_m, to_standing_cedars_m
from habmap.work.order_of_work import RankResult, owners_remarks
from habmap.work.priority import NO_HEAT_LOAD, SLIVER_ACRES, Candidate, next_unit, rank_units
from habmap.work.terrain import UnitTerrain


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
    near_open_m, near_seed_m = to_open_ground_m(state), to_standing_cedars_m(state)
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
                remarks=owners_remarks(
                    unit.unit_id, closure, closures=closed, contracts=settings.contract, on=closed_on
                ),
            )
        )
    weights = settings.rank.weights.model_dump()
    ranked = rank_units(candidates, limits=settings.density.limits, weights=weights)
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
