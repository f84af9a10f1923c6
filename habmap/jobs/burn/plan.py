"""The written plan of a burn: which kind the ground asks for, its limits by unit, and who signed them."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from habmap.place.settings import PlanWindow, Settings, WrittenPlan
from habmap.work.burnday import ITEMS, PlanKind, Window, unlimited
from habmap.work.ground import GroundPiece


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """Who signed the limits that some units were compared with, and when."""

    author: str
    date: dt.date
    unit_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanInfo:
    """The written plan that was compared with; without author and date there is none in force here.

    Attributes
    ----------
    author, date
        Of the plan itself, else of the one unit's plan that there is.
    """

    kind: PlanKind
    author: str | None
    date: dt.date | None


def kind_by_ground(pieces: Sequence[GroundPiece]) -> PlanKind:
    """Return the plan that the ground asks for by the most acres: piles, down cedar (or standing dead), or grass."""
    by_kind: defaultdict[PlanKind, float] = defaultdict(float)
    for piece in pieces:
        state = piece.state
        if state.piled_frac > state.lying_frac:
            by_kind["piles"] += piece.area_m2
        elif state.lying_frac > 0 or piece.stage in {"part_cut", "dead_standing"}:
            by_kind["down_cedar"] += piece.area_m2
        else:
            by_kind["grass"] += piece.area_m2
    if not pieces:
        return "grass"  # ground in no unit: the log knows of no cedar there
    order: tuple[PlanKind, ...] = ("piles", "down_cedar", "grass")
    return max(order, key=lambda kind: by_kind[kind])


def _plan(settings: Settings, kind: PlanKind) -> WrittenPlan:
    plan: WrittenPlan = getattr(settings.burn_plan, kind)
    return plan


def plans_signed(windows: Sequence[Window]) -> tuple[Signed, ...]:
    """Return all that were compared with; units that are in none have no plan in force."""
    units: defaultdict[tuple[str, dt.date], list[str]] = defaultdict(list)
    for window in windows:
        if window.is_plan and window.author is not None and window.written_on is not None:
            units[window.author.strip(), window.written_on] += window.unit_ids
    return tuple(Signed(author=who, date=day, unit_ids=tuple(ids)) for (who, day), ids in units.items())


def plan_info(settings: Settings, kind: PlanKind, signed: Sequence[Signed]) -> PlanInfo:
    """Return the plan's own author and date, else those of the only one that was signed for these units."""
    plan = _plan(settings, kind)
    author, date = (plan.author or "").strip() or None, plan.date
    if (author is None or date is None) and len(signed) == 1:
        author, date = signed[0].author, signed[0].date
    return PlanInfo(kind=kind, author=author, date=date)


#: Measured where the plan means its wind, or not comparable.
_AT_A_HEIGHT: Final = frozenset({"wind_mph", "gust_mph"})


def plan_windows(
    settings: Settings, kind: PlanKind, unit_ids: Sequence[str], *, wind_height: str | None
) -> list[Window]:
    """Return the plan's limits, one window for each group of units for which they are the same.

    Parameters
    ----------
    unit_ids
        Units of the block; none: the plan itself, for a patch in no unit.
    wind_height
        Where the wind is measured that they are for, ``20ft`` or ``eye``: a wind from another height than the plan's is
        not compared. ``None`` = nobody said.
    """
    plan = _plan(settings, kind)
    groups: list[tuple[Window, list[str]]] = []
    for unit_id in unit_ids or ("",):
        own = plan.unit.get(unit_id, PlanWindow())
        limits = {}
        for item in ITEMS:
            said: tuple[float, float] | None = getattr(own, item)
            limit: tuple[float, float] | None = said if said is not None else getattr(plan, item)
            if limit is not None:
                limits[item] = limit
        meant = own.wind_height or plan.wind_height
        is_other_height = None not in (meant, wind_height) and meant != wind_height
        window = Window(
            kind=kind,
            unit_ids=(),
            limits=limits,
            author=own.author or plan.author,
            written_on=own.date or plan.date,
            not_comparable=_AT_A_HEIGHT if is_other_height else frozenset(),
        )
        alike = next((ids for one, ids in groups if one == window), None)
        if alike is None:
            alike = []
            groups.append((window, alike))
        alike += [unit_id] if unit_id else []
    return [replace(window, unit_ids=tuple(ids)) for window, ids in groups]


def height_words(settings: Settings, kind: PlanKind, windows: Sequence[Window]) -> tuple[str, ...]:
    """Say that nobody wrote at what height a signed plan means its wind, where it limits wind or gusts."""
    plan = _plan(settings, kind)
    for window in windows:
        said = [plan.unit.get(unit_id, PlanWindow()).wind_height or plan.wind_height for unit_id in window.unit_ids]
        if window.is_plan and _AT_A_HEIGHT & set(window.limits) and None in (said or [plan.wind_height]):
            return ("at what height the plan means its wind",)
    return ()


def unlimited_words(windows: Sequence[Window]) -> tuple[str, ...]:
    items = unlimited(windows)
    if not items:
        return ()
    return (f"what the plan names no limits for in habmap.toml: {', '.join(ITEMS[item][0] for item in items)}",)
