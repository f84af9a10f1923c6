"""Which units are looked in for the next bite, how much of one is asked, and what is said of what was found there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, no_such_unit
from habmap.land.bite import Bite, Liking, sparing_bite
from habmap.land.contiguous import contiguous
from habmap.land.meridian import cut
from habmap.measures import acres as to_acres
from habmap.measures import ft, m2
from habmap.memory import remembered
from habmap.records import Feature
from habmap.work.bite import (
    Beside,
    BiteResult,
    acres_in,
    beside_words,
    part_killed_words,
    place_words,
    private_words,
    size_words,
    states_under,
    steep_words,
    sun_words,
    which_words,
)
from habmap.work.effort import Rates, left_on, no_rate
from habmap.work.effort_account import rests_on
from habmap.work.ground import HAIR_M2, Ground
from habmap.work.order_of_work import RankResult
from habmap.work.priority import SLIVER_ACRES, Ranked
from habmap.work.said import cautions_ahead
from habmap.work.terrain import UnitTerrain

#: Hours are turned into acres by the slope of all ground there, then by that of the bite found, so often in all.
_ROUNDS: Final = 3


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked: acres, person-hours by a density and its rates, or the lesser of both; and steep ground too."""

    acres: float | None
    hours: float | None
    hand_only: bool
    density: str | None
    by: Rates

    def acres_on(self, steep_frac: float | None) -> float:
        """Return how much that is on ground of a steep share (0–1) [acre]."""
        hours = self.hours
        by_hours = None if hours is None else acres_in(hours, density=self.density, steep_frac=steep_frac, by=self.by)
        if hours is not None and by_hours is None:
            raise no_rate("--hours")
        return min(one for one in (self.acres, by_hours) if one is not None)


@dataclass(frozen=True, slots=True)
class FoundBite:
    """A bite in a unit: what it was cut off, what was spared there, what it lies beside, and its own terrain."""

    unit: Ranked
    bite: Bite
    asked_acres: float
    spared_acres: float
    openings: Sequence[Beside]
    lie: UnitTerrain
    person_hours: float | None


def units_to_look_in(order: RankResult, unit_id: str | None) -> Sequence[Ranked]:
    """Return the units to look in, in their order; the asked one alone."""
    if unit_id is None:
        cutting = [unit for unit in order.units if unit.has_cutting]
        found = [unit for unit in cutting if unit.closure is None]
        if not found:
            waits = "; ".join(f"{unit.unit_id} is {unit.closure.words}" for unit in cutting if unit.closure is not None)
            raise InputError(
                "no ground remains that may be cut now" if waits else "no ground remains to be cut",
                value=waits or None,
                mend="see `habmap rank`",
                where="the property",
            )
        return found
    named = {unit.unit_id: unit for unit in order.units}
    if unit_id not in named:
        raise no_such_unit(unit_id, named)
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


def bite_in(
    unit: Ranked,
    remains: MultiPolygon,
    asked: Asked,
    *,
    openings: Sequence[Beside],
    liking: Liking | None,
    steep: BaseGeometry | None,
    hand_only_pct: float | None,
    lie_of: Callable[[BaseGeometry], UnitTerrain],
) -> FoundBite | None:
    """Return the best bite off the ground that remains in a unit [m]; ``None`` where all of it is spared.

    Parameters
    ----------
    liking
        Tells how much of outlines is sun-facing.
    steep
        Ground to be spared.
    hand_only_pct
        Steep share of all that remains there [%].
    lie_of
        Tells the terrain under an outline.
    """
    steep_frac = _share(hand_only_pct) if asked.hand_only else 0.0
    opened = [one.geometry for one in openings]
    for _ in range(_ROUNDS):
        asked_acres = asked.acres_on(steep_frac)
        found = (
            _plain_bite(remains, m2(asked_acres), tuple(opened))
            if steep is None and liking is None
            else sparing_bite(remains, steep, wanted_m2=m2(asked_acres), opened=opened, liking=liking)
        )
        if found is None:
            return None
        taken, spared_m2 = found
        lie = lie_of(taken.geometry)
        steep_now = _share(lie.hand_only_pct)
        if asked.hours is None or steep_now == steep_frac:
            break
        steep_frac = steep_now
    takes = left_on(to_acres(taken.area_m2), density=asked.density, steep_frac=steep_now, by=asked.by).middle
    return FoundBite(unit, taken, asked_acres, to_acres(spared_m2), openings, lie, takes)


@remembered
def _plain_bite(remains: MultiPolygon, wanted_m2: float, opened: tuple[BaseGeometry, ...]) -> tuple[Bite, float] | None:
    """Return `sparing_bite` where no elevation tells one ground from another."""
    return sparing_bite(remains, None, wanted_m2=wanted_m2, opened=opened)


def bite_result(
    found: FoundBite,
    order: RankResult,
    state: Ground,
    *,
    skipped: Sequence[str],
    is_asked: bool,
    remains: BaseGeometry,
    features: Iterable[Feature],
    by: Rates,
    limit_pct: float,
) -> BiteResult:
    """Return a bite with its reasons.

    Parameters
    ----------
    skipped
        Words about units that came before.
    remains
        All that remains in the unit [m].
    by
        What the hours come from.
    limit_pct
        Slope above which ground is hand-only [%].
    """
    grid, unit, one = state.grid, found.unit, found.bite
    assert grid is not None
    rest = remains.difference(one.geometry)
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
        rests_on=rests_on(by, "hours"),
        left_acres=left_acres,
        left_pieces=len(pieces),
        why=(
            *skipped,
            *which_words(unit, order.units, is_asked=is_asked),
            place_words(beside, found.openings),
            size_words(one, asked_acres=found.asked_acres, left_acres=left_acres, left_pieces=len(pieces)),
            *sun_words(found.lie.sun_facing_pct, unit.sun_facing_remaining_pct),
            *steep_words(limit_pct=limit_pct, hand_only_pct=found.lie.hand_only_pct, spared_acres=found.spared_acres),
            *part_killed_words(one, state, unit.unit_id),
            *private_words(one, features, grid=grid),
        ),
        cautions=cautions_ahead(state.entries, is_steep=True, snags_in=states_under(state, one.geometry)),
    )


def _share(share_pct: float | None) -> float | None:
    return None if share_pct is None else share_pct / 100
