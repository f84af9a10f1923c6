"""Where the next acre or two lies inside the unit that comes next: one contiguous piece, with its reasons."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.jobs.effort import hour_rates
from habmap.jobs.ground import ground, remaining_ground
from habmap.jobs.ports import Store
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import once
from habmap.jobs.terrain import terrain_of_remaining, terrain_sums
from habmap.land.bite import Bite, Liking, sparing_bite
from habmap.land.contiguous import contiguous, widened, without_hairs
from habmap.land.meridian import cut
from habmap.measures import acres as to_acres
from habmap.measures import ft, m2
from habmap.place.elevation import Elevation, open_elevation
from habmap.work.bite import (
    Beside,
    BiteResult,
    acres_in,
    beside_words,
    openings,
    part_killed_words,
    place_words,
    private_words,
    size_words,
    states_under,
    steep_words,
    sun_words,
    which_words,
)
from habmap.work.effort import Rates, left_on
from habmap.work.effort_account import rests_on
from habmap.work.ground import HAIR_M2
from habmap.work.order_of_work import RankResult
from habmap.work.priority import SLIVER_ACRES, Ranked
from habmap.work.said import cautions_ahead
from habmap.work.terrain import UnitTerrain, rules_here

#: Hours are turned into acres by the slope of all ground there, then by that of the bite found, so often in all.
_ROUNDS: Final = 3


@dataclass(frozen=True, slots=True)
class _Found:
    """A bite in a unit: what it was cut off, what was spared there, what it lies beside, and its own terrain."""

    unit: Ranked
    bite: Bite
    asked_acres: float
    spared_acres: float
    openings: tuple[Beside, ...]
    lie: UnitTerrain
    person_hours: float | None


@once
def bite(
    store: Store,
    *,
    acres: float | None = None,
    hours: float | None = None,
    unit_id: str | None = None,
    hand_only: bool = False,
    on: date | None = None,
    today: date,
) -> BiteResult:
    """Return where to cut next: one contiguous piece of ground that remains, in the unit that comes next.

    Parameters
    ----------
    acres, hours
        How much ground, or person-hours at the log's own rate for ground of its density and slope; with both the
        lesser. At least one, above 0.
    unit_id
        Look in this unit; ``None``: in the first of the order of work that is neither on hold nor closed to cutting,
        waits for no contract's first day, and has such ground.
    hand_only
        Take ground too steep for a machine as well.
    on
        As of this day's work; ``None``: all work so far.
    today
        Day by which holds and closed days count; ``on`` counts instead where it is given.

    Raises
    ------
    InputError
        There is no such unit, it is on hold or closed, nothing remains, or what remains is hand-only and was not asked
        for; or hours were asked and nothing says how many an acre takes.
    """
    order = rank(store, on=on, today=today)
    skipped: list[str] = []
    for unit in _units(order, unit_id):
        found = _in_unit(store, unit, acres=acres, hours=hours, hand_only=hand_only, on=on)
        if found is not None:
            return _result(store, found, order, skipped, is_asked=unit_id is not None, on=on)
        skipped.append(f"all that remains in {unit.unit_id} is hand-only ground or too narrow beside it")
    raise InputError(
        "there is no ground to cut that a machine can work",
        where=unit_id or "all units that are not on hold or closed",
        value="; ".join(skipped),
        mend="add --hand-only to take ground too steep for a machine",
    )


def _units(order: RankResult, unit_id: str | None) -> Sequence[Ranked]:
    """Return the units to look in, in their order; the asked one alone."""
    if unit_id is None:
        found = [unit for unit in order.units if unit.has_cutting and unit.closure is None]
        if not found:
            waits = [
                f"{u.unit_id} is {u.closure.words}" for u in order.units if u.has_cutting and u.closure is not None
            ]
            raise InputError(
                "no ground remains that may be cut now" if waits else "no ground remains to be cut",
                value="; ".join(waits) or None,
                mend="see `habmap rank`",
                where="the property",
            )
        return found
    named = {unit.unit_id: unit for unit in order.units}
    if unit_id not in named:
        raise InputError(
            "there is no such unit",
            where="--unit",
            value=unit_id,
            allowed=", ".join(named),
            mend="use one of these ids",
        )
    unit = named[unit_id]
    if unit.closure is not None and not unit.closure.is_contract:  # of a contract's first day it is told
        raise InputError(
            f"this unit is {unit.closure.public_words}: no ground in it is named for cutting",
            where=f"unit {unit_id}",
            value=unit.closure.words,
            mend="take another unit (`habmap rank` says which comes next), or change habmap.toml",
        )
    if not unit.has_cutting:
        raise InputError(
            "nothing remains to be cut in this unit",
            where=f"unit {unit_id}",
            value=f"{unit.remaining_acres:.3f} acres",
            allowed=f"at least {SLIVER_ACRES} acres that remain",
            mend="`habmap acres` says where ground remains",
        )
    return [unit]


def _in_unit(
    store: Store,
    unit: Ranked,
    *,
    acres: float | None,
    hours: float | None,
    hand_only: bool,
    on: date | None,
) -> _Found | None:
    """Return the best bite in a unit; ``None`` where all its ground is spared."""
    remains = without_hairs(remaining_ground(store, on=on)[unit.unit_id], least_m2=HAIR_M2)
    with _elevation(store) as dem:
        return _off(store, unit, remains, dem, acres=acres, hours=hours, hand_only=hand_only, on=on)


def _off(
    store: Store,
    unit: Ranked,
    remains: MultiPolygon,
    dem: Elevation | None,
    *,
    acres: float | None,
    hours: float | None,
    hand_only: bool,
    on: date | None,
) -> _Found | None:
    """Return the best bite off the ground that remains in a unit, over an elevation that is open."""
    around = openings(ground(store, on=on), store.features(), near=remains)
    liking = _sun_facing(store, dem, remains)
    rates = hour_rates(store, on=on)
    density, by = rates.density.get(unit.unit_id), rates.hours
    hand_only_pct = None if dem is None else _lie_of_remaining(store, unit, on).hand_only_pct
    steep = None if hand_only or not hand_only_pct else _steep(store, dem, remains)
    steep_frac = _share(hand_only_pct) if hand_only else 0.0
    for _ in range(_ROUNDS):
        asked_acres = _asked_acres(acres, hours, density=density, steep_frac=steep_frac, by=by)
        edges = [one.geometry for one in around]
        found = sparing_bite(remains, steep, wanted_m2=m2(asked_acres), opened=edges, liking=liking)
        if found is None:
            return None
        taken, spared_m2 = found
        lie = _lie(store, taken.geometry)
        steep_now = _share(lie.hand_only_pct)
        if hours is None or steep_now == steep_frac:
            break
        steep_frac = steep_now
    takes = left_on(to_acres(taken.area_m2), density=density, steep_frac=steep_now, by=by).middle
    return _Found(unit, taken, asked_acres, to_acres(spared_m2), around, lie, takes)


def _asked_acres(
    acres: float | None, hours: float | None, *, density: str | None, steep_frac: float | None, by: Rates
) -> float:
    """Return what is asked: acres, what the hours are good for, or the lesser [acre]."""
    by_hours = None if hours is None else acres_in(hours, density=density, steep_frac=steep_frac, by=by)
    if hours is not None and by_hours is None:
        raise InputError(
            "nothing says how many hours an acre takes",
            where="--hours",
            mend="log work with --person-hours, or write rates.cut under [effort] in habmap.toml",
        )
    return min(one for one in (acres, by_hours) if one is not None)


def _result(
    store: Store,
    found: _Found,
    order: RankResult,
    skipped: Sequence[str],
    *,
    is_asked: bool,
    on: date | None,
) -> BiteResult:
    grid, state = store.grid, ground(store, on=on)
    assert grid is not None
    unit, one = found.unit, found.bite
    rest = remaining_ground(store, on=on)[unit.unit_id].difference(one.geometry)
    pieces = [] if rest.is_empty else [piece for piece in contiguous(rest) if piece.area >= HAIR_M2]
    left_acres = to_acres(sum(piece.area for piece in pieces))
    beside = beside_words(one, found.openings)
    return BiteResult(
        on=state.on,
        closed_on=order.closed_on,
        unit_id=unit.unit_id,
        unit_name=unit.name,
        acres=to_acres(one.area_m2),
        asked_acres=found.asked_acres,
        geometry=shapely.geometry.mapping(cut(grid.to_lonlat(shapely.orient_polygons(one.geometry)))),
        beside=beside,
        new_edge_ft=ft(one.new_edge_m),
        hand_only_pct=found.lie.hand_only_pct,
        sun_facing_pct=found.lie.sun_facing_pct,
        person_hours=found.person_hours,
        rests_on=rests_on(hour_rates(store, on=on).hours, "hours"),
        left_acres=left_acres,
        left_pieces=len(pieces),
        why=(
            *skipped,
            *which_words(unit, order.units, is_asked=is_asked),
            place_words(beside, found.openings),
            size_words(one, asked_acres=found.asked_acres, left_acres=left_acres, left_pieces=len(pieces)),
            *sun_words(found.lie.sun_facing_pct, unit.sun_facing_remaining_pct),
            *steep_words(
                limit_pct=store.settings.terrain.machine_limit_pct,
                hand_only_pct=found.lie.hand_only_pct,
                spared_acres=found.spared_acres,
            ),
            *part_killed_words(one, state, unit.unit_id),
            *private_words(one, store.features(), grid=grid),
        ),
        cautions=cautions_ahead(state.entries, is_steep=True, snags_in=states_under(state, one.geometry)),
    )


def _lie(store: Store, outline: BaseGeometry) -> UnitTerrain:
    """Return the terrain under an outline; nothing of it is known where no elevation is loaded."""
    return UnitTerrain() if store.elevation() is None else terrain_sums(store, [outline])[0].under[0]


def _lie_of_remaining(store: Store, unit: Ranked, on: date | None) -> UnitTerrain:
    """Return the terrain of what remains in a unit, as the order of work has it."""
    return next(one for one in terrain_of_remaining(store, on=on).units if one.unit_id == unit.unit_id)


@contextmanager
def _elevation(store: Store) -> Iterator[Elevation | None]:
    """Open a place's elevation; ``None`` where there is none."""
    source = store.elevation()
    if source is None:
        yield None
        return
    cell_m = store.settings.terrain.analysis_cell_m
    with open_elevation(Path(source.path), vertical_unit=source.vertical_unit, analysis_cell_m=cell_m) as dem:
        yield dem


def _sun_facing(store: Store, dem: Elevation | None, remains: MultiPolygon) -> Liking | None:
    """Return what tells how much of outlines inside a ground is sun-facing; ``None`` where nothing is known."""
    grid = store.grid
    if dem is None or grid is None:
        return None
    (outline,) = grid.to_lonlat_densely([remains])
    shares = dem.sun_shares(outline, rules=rules_here(store.settings.terrain.rules, grid))
    turned: Any = grid.to_lonlat  # of arrays too
    return lambda outlines: shares(turned(outlines))


def _steep(store: Store, dem: Elevation | None, remains: MultiPolygon) -> BaseGeometry | None:
    """Return what of a ground is too steep for a machine, its outline straightened; ``None`` where nothing is known."""
    grid = store.grid
    if dem is None or grid is None:
        return None
    (outline,) = grid.to_lonlat_densely([remains])
    cells = dem.steep_ground(outline, above_pct=store.settings.terrain.machine_limit_pct)
    cell_m = dem.analysis_cell_m
    return widened([grid.to_grid(one) for one in cells], cell_m=cell_m, within=remains) if cells else None


def _share(share_pct: float | None) -> float | None:
    return None if share_pct is None else share_pct / 100
