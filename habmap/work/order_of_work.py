"""The order of work: what is known of each unit joined, ranked, and what the owner's own dates say of it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.memory import remembered
from habmap.vocabulary import OPEN_COVERS, REMAINING, TREATED
from habmap.work.closures import Closure, Closures
from habmap.work.density_records import UnitDensity
from habmap.work.ground import CutUnit, Ground
from habmap.work.paperwork_records import Item
from habmap.work.priority import NO_HEAT_LOAD, SLIVER_ACRES, Candidate, DenseLimits, Ranked, next_unit, rank_units
from habmap.work.said import cautions_ahead
from habmap.work.seasons import DueItem
from habmap.work.terrain import UnitTerrain

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
        The first unit of the order with ground to treat that is not on hold nor closed to cutting, and waits for no
        contract's first day; ``None`` where there is none.
    """

    on: date | None
    closed_on: date
    next_unit_id: str | None
    weights: Mapping[str, float]
    units: tuple[Ranked, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]


def owners_remarks(
    unit_id: str, closure: Closure | None, *, closures: Closures, contracts: Sequence[Item], on: date
) -> tuple[str, ...]:
    """Return the holds, closed days and contract dates that are said with a unit."""
    words = [] if closure is None or closure.is_contract else [closure.words]
    words += [f"{COMING_HOLD} {hold.first}: {hold.reason}" for hold in closures.coming(on, unit_id)]
    for line in contracts:
        if unit_id in line.units or not line.units:
            if line.is_early(on):
                words.append(f"contract {line.name}: not before {line.not_before}")
            if line.due is not None:
                words.append(f"contract {line.name}: due {line.due}")
    return tuple(words)


def pressing_words(item: DueItem) -> str:
    """Say what a contract item that is due soon, or was, still asks for."""
    left = "" if item.acres is None else f", {item.acres:.1f} acres to do"
    when = "overdue since" if item.state == "overdue" else "due soon, by"
    return f"contract {item.name}: {when} {item.to_date}{left}"


def first_due(items: Iterable[DueItem], unit_ids: Sequence[str]) -> dict[str, DueItem]:
    """Return by unit the contract item that is due soon or overdue, of several the one that is due first."""
    late = sorted(
        (item for item in items if item.state in ("due", "overdue")), key=lambda item: item.to_date or date.max
    )
    every = ";".join(unit_ids)
    return {unit_id: item for item in reversed(late) for unit_id in (item.unit_id or every).split(";")}


def order_of_work(
    state: Ground,
    *,
    terrain: Mapping[str, UnitTerrain] | None,
    stands: Mapping[str, UnitDensity],
    upkeep: Mapping[str, Sequence[DueItem]],
    closures: Closures,
    contracts: Sequence[Item],
    too_early: Mapping[str, Closure],
    pressing: Mapping[str, DueItem],
    closed_on: date,
    limits: DenseLimits,
    weights: Mapping[str, float],
    warnings: Sequence[str] = (),
) -> RankResult:
    """Rank the units of a place.

    Parameters
    ----------
    terrain, stands
        Of the ground that remains in each unit, where none does of the whole unit; ``None`` = no elevation is loaded.
    upkeep
        What asks for upkeep, by unit.
    closures, contracts, closed_on
        What keeps units from work, what contracts say of them, and the day on which that is asked about.
    too_early
        By ``unit_id`` the contract item under which cutting there would come before its first day.
    pressing
        By ``unit_id`` the contract item that is due soon or overdue.
    warnings
        What was said of the terrain.
    """
    near_open_m, near_seed_m = to_open_ground_m(state), to_standing_cedars_m(state)
    remaining = {unit.unit_id: 0.0 for unit in state.units}
    for piece in state.pieces:
        if piece.stage in REMAINING:
            remaining[piece.unit_id] += piece.acres
    candidates = []
    for unit in state.units:
        name, slope, stand = unit.unit_id, (terrain or {}).get(unit.unit_id), stands.get(unit.unit_id)
        # stems are known, and yet not whether they are dense: clumped quarter points, likely too few
        is_low_guess = stand is not None and stand.stems_per_acre is not None and stand.dense is None
        told = None if is_low_guess else stand or unit
        asks = upkeep.get(name, ())
        has_cutting = remaining[name] >= SLIVER_ACRES
        if has_cutting:
            closure = closures.on(closed_on, name, work=("cut",)) or too_early.get(name)
        else:
            closure = closures.on_upkeep(closed_on, name)
        candidates.append(
            Candidate(
                unit_id=name,
                cover=unit.cover,
                name=unit.name,
                remaining_acres=remaining[name],
                stems_per_acre=told.stems_per_acre if told else None,
                canopy_pct=told.canopy_pct if told else None,
                canopy_coverage_pct=stand.canopy_coverage_pct if stand else None,
                sun_facing_pct=slope.sun_facing_pct if slope else None,
                coverage_pct=slope.coverage_pct if slope else None,
                aspect_mean_deg=slope.aspect_mean_deg if slope and slope.facing != "flat" else None,
                too_coarse=bool(slope and slope.too_coarse),
                facing=slope.facing if slope else None,
                heat_load_mean=slope.heat_load_mean if slope else None,
                near_open_m=near_open_m.get(name),
                hand_only_pct=slope.hand_only_pct if slope else None,
                upkeep_acres=sum(item.acres or 0.0 for item in asks),
                upkeep_why="; ".join(dict.fromkeys(item.words for item in asks)),
                near_seed_m=near_seed_m.get(name),
                closure=closure,
                remarks=(
                    *owners_remarks(name, closure, closures=closures, contracts=contracts, on=closed_on),
                    *((pressing_words(pressing[name]),) if name in pressing else ()),
                ),
                pressing=pressing_words(pressing[name]) if name in pressing else None,
                contract_due=pressing[name].to_date if name in pressing else None,
            )
        )
    ranked = rank_units(candidates, limits=limits, weights=weights)
    following = next_unit(ranked)
    return RankResult(
        on=state.on,
        closed_on=closed_on,
        next_unit_id=None if following is None else following.unit_id,
        weights=weights,
        units=ranked,
        warnings=(*warnings, *_unknown_words(terrain)),
        cautions=cautions_ahead(state.entries, snags_in=(piece.state for piece in state.pieces)),
    )


def _unknown_words(terrain: Mapping[str, UnitTerrain] | None) -> tuple[str, ...]:
    if terrain is None:
        return ("no elevation is loaded: no unit's face is known, so none can be first",)
    units = terrain.values()
    is_unfitted = any(unit.sun_facing_pct is not None and unit.heat_load_mean is None for unit in units)
    return (NO_HEAT_LOAD,) if is_unfitted else ()


_STANDING: Final = (*REMAINING, "keep")


def to_open_ground_m(state: Ground) -> dict[str, float]:
    """Return each unit's shortest distance from remaining ground to treated ground or native grass [m]."""
    opened, remaining, own_m = {}, {}, {}
    for unit, cut in zip(state.units, state.by_unit, strict=True):
        name, is_grass = unit.unit_id, unit.cover in OPEN_COVERS
        opened[name] = state.unit_shapes[name] if is_grass else ground_in(cut, TREATED)
        remaining[name] = ground_in(cut, REMAINING)
        own_m[name] = _apart_m(cut, REMAINING, TREATED)  # nothing of a grass unit remains to be treated
    return _nearest_m(remaining, opened, own_m)


def to_standing_cedars_m(state: Ground) -> dict[str, float]:
    """Return each unit's shortest distance from treated or grass ground to standing cedars, the seed trees [m]."""
    cleared, standing, own_m = {}, {}, {}
    for unit, cut in zip(state.units, state.by_unit, strict=True):
        name, opened = unit.unit_id, (*TREATED, "other") if unit.cover in OPEN_COVERS else TREATED
        cleared[name], standing[name] = ground_in(cut, opened), ground_in(cut, _STANDING)
        own_m[name] = _apart_m(cut, opened, _STANDING)
    return _nearest_m(cleared, standing, own_m)


@remembered
def ground_in(cut: CutUnit, stages: tuple[str, ...]) -> MultiPolygon:
    """Return a unit's ground in some stages, piece beside piece, in grid meters."""
    own = [piece.geometry for piece in cut.pieces if piece.stage in stages]
    return MultiPolygon(shapely.get_parts(np.array(own, dtype=object)).tolist())


@remembered
def _apart_m(cut: CutUnit, stages: tuple[str, ...], others: tuple[str, ...]) -> float:
    """Return how far a unit's ground in some stages lies from its ground in others [m]; infinite without it."""
    ground, other = ground_in(cut, stages), ground_in(cut, others)
    return math.inf if ground.is_empty or other.is_empty else float(shapely.distance(ground, other))


def _nearest_m(
    grounds: Mapping[str, BaseGeometry], others: Mapping[str, BaseGeometry], own_m: Mapping[str, float]
) -> dict[str, float]:
    there = [other for other in others.values() if not other.is_empty]
    if not there:
        return {}
    tree = shapely.STRtree(there)
    nearest: dict[str, float] = {}
    for unit_id, ground in grounds.items():
        if ground.is_empty:
            continue
        within_m = own_m[unit_id]
        if within_m > 0:  # else it lies beside some in its own unit, as in most
            _, found = tree.query_nearest(ground, return_distance=True, all_matches=False)
            within_m = float(found[0])
        nearest[unit_id] = within_m
    return nearest
