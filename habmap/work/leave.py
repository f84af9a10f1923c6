"""Cedar to be left on purpose: how much of it a unit should keep, how much it has, and work that would take too much.

The goal is a share of a unit's cedar ground, least and most (``leave_pct``), the place's or the unit's own. Each unit
has its own goal: what one leaves beyond it fills no other's. Shares of 10 to 20% are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from habmap.measures import acres
from habmap.vocabulary import CEDAR_STAGES, REMAINING
from habmap.work.ground import Ground

LeavePct = tuple[float, float]
#: Less than this is the rounding of two outlines, not cedar taken [acre].
_CRUMB_ACRES: Final = 1e-6


@dataclass(frozen=True, slots=True)
class LeaveRule:
    """The least and the most cedar ground to leave, in percent of a unit's: the place's, and single units' own."""

    place_pct: LeavePct | None = None
    unit_pct: Mapping[str, LeavePct] = field(default_factory=dict)

    def target_acres(self, unit_id: str, cedar_acres: float) -> LeavePct | None:
        """Return the least and most cedar ground that a unit should keep [acre]; ``None`` where no goal is set."""
        shares = self.unit_pct.get(unit_id, self.place_pct)
        return None if shares is None else (cedar_acres * shares[0] / 100, cedar_acres * shares[1] / 100)


def missing_acres(
    target_acres: LeavePct | None, *, left_acres: float, remaining_acres: float
) -> tuple[float | None, float | None]:
    """Return what of the missing ground can still be left, and what no longer can [acre]; ``None`` without a goal."""
    if target_acres is None:
        return None, None
    missing = max(0.0, target_acres[0] - left_acres)
    return min(missing, remaining_acres), max(0.0, missing - remaining_acres)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What work does to the cedar that a unit could still leave.

    Attributes
    ----------
    before_acres, after_acres
        Ground left on purpose and ground not yet at its target together, before and after the work [acre].
    least_acres
        The least that should be left [acre]; ``after_acres`` is less.
    """

    unit_id: str
    least_acres: float
    before_acres: float
    after_acres: float


def leavable_acres(state: Ground) -> dict[str, tuple[float, float]]:
    """Return by unit its cedar ground, and the part of it that is left on purpose or still could be [acre]."""
    cedar: dict[str, list[float]] = {}
    live: dict[str, list[float]] = {}
    for piece in state.pieces:
        if piece.stage in CEDAR_STAGES:
            cedar.setdefault(piece.unit_id, []).append(piece.area_m2)
        if piece.stage in REMAINING or piece.stage == "keep":
            live.setdefault(piece.unit_id, []).append(piece.area_m2)
    return {unit: (acres(math.fsum(sizes)), acres(math.fsum(live.get(unit, ())))) for unit, sizes in cedar.items()}


def taken_under(before: Ground, after: Ground, rule: LeaveRule) -> tuple[Taken, ...]:
    """Return the units of which work takes cedar that should be left, by ``unit_id``.

    Parameters
    ----------
    before, after
        The same units' ground without and with the work.
    rule
        How much each should keep.
    """
    had = leavable_acres(before)
    return tuple(_taken(sorted(leavable_acres(after).items()), had, rule))


def _taken(
    units: Iterable[tuple[str, tuple[float, float]]], had: Mapping[str, tuple[float, float]], rule: LeaveRule
) -> Iterable[Taken]:
    for unit_id, (cedar, now) in units:
        target = rule.target_acres(unit_id, cedar)
        then = had[unit_id][1]
        if target is not None and now < target[0] - _CRUMB_ACRES and now < then - _CRUMB_ACRES:
            yield Taken(unit_id=unit_id, least_acres=target[0], before_acres=then, after_acres=now)
