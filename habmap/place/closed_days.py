"""The settings as the plain records that rules work with: holds, closed days, contracts, upkeep, what is to be left."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import fields
from datetime import date
from typing import Literal

from habmap.measures import acres, days_after
from habmap.place.contents import Contents
from habmap.place.named_units import settings_of_now
from habmap.place.settings import ClosedDays, PlanWindow, Settings, WrittenPlan
from habmap.vocabulary import KILLING, PRACTICES
from habmap.work.acres import Paper
from habmap.work.burn.written_plan import PlanKind
from habmap.work.closures import Closure, Closures
from habmap.work.dated_ground import unit_due, unit_upkeep
from habmap.work.ground import HAIR_M2, Ground
from habmap.work.leave import LeaveRule
from habmap.work.paperwork_records import Item
from habmap.work.plan_days import PlanDays
from habmap.work.seasons import Ban, DatedBan, DueItem, HeldUnit, UpkeepRule, YearlyBan, YearlyDays


def closures(settings: Settings) -> Closures:
    """Return the holds and closed days of ``habmap.toml``."""
    return Closures(bans=[_ban(days) for days in settings.closed], holds=holds(settings))


def holds(settings: Settings) -> list[HeldUnit]:
    """Return the holds of ``habmap.toml``."""
    return [HeldUnit(unit_id=hold.unit, reason=hold.reason, first=hold.from_, last=hold.to) for hold in settings.hold]


def held_on(settings: Settings, day: date, unit_ids: Collection[str]) -> list[HeldUnit]:
    """Return the holds in force on a day on some of these units."""
    return [hold for hold in holds(settings) if hold.unit_id in unit_ids and hold.has(day)]


def contract_items(settings: Settings) -> list[Item]:
    """Return the contract lines of ``habmap.toml``, in their order."""
    return [Item(**{one.name: getattr(line, one.name) for one in fields(Item)}) for line in settings.contract]


def not_begun(settings: Settings, practices: Iterable[str], day: date) -> list[Item]:
    """Return the contract items of some practices whose first day is still to come on a day."""
    codes = {settings.practice_code(practice) for practice in practices}
    return [item for item in contract_items(settings) if item.practice_code in codes and item.is_early(day)]


def contract_waits(held: Contents, day: date) -> dict[str, Closure]:
    """Return by unit the contract item of cutting work that has not begun, of several the one that begins last."""
    waiting = not_begun(settings_of_now(held), KILLING - {"burn"}, day)
    items = [(item.not_before or day, item) for item in waiting]
    return {
        unit_id: Closure(
            work="contract",
            reason=f"{item.name} ({item.practice_code})",
            last=days_after(first, -1),
        )
        for first, item in sorted(items, key=lambda one: one[0])
        for unit_id in item.units or tuple(unit.unit_id for unit in held.units())
    }


def upkeep_rule(unit_id: str, settings: Settings) -> UpkeepRule:
    """Return why and how often a unit is kept up: the first ``[[burn_for]]`` that names it, or names none."""
    for rule in settings.burn_for:
        if unit_id in rule.units or not rule.units:
            window = (day_of_year(rule.from_), day_of_year(rule.to)) if rule.from_ and rule.to else None
            years = rule.years or settings.seasons.upkeep_years
            return UpkeepRule(reason=rule.reason, years=years, window=window, is_asked=True)
    return UpkeepRule(reason="upkeep", years=settings.seasons.upkeep_years)


def upkeep_due(state: Ground, settings: Settings) -> dict[str, tuple[DueItem, ...]]:
    """Return by unit the ground that asks for upkeep on the account's own day; empty while there is no log."""
    if state.on is None:
        return {}
    found = {}
    for unit, cut in zip(state.units, state.by_unit, strict=True):
        items = unit_upkeep(cut, unit.cover, upkeep_rule(unit.unit_id, settings), on=state.on)
        if asked := tuple(item for item in items if not _is_hair(item)):
            found[unit.unit_id] = asked
    return found


def standing_due(state: Ground, settings: Settings, on: date) -> tuple[DueItem, ...]:
    """Return what the ground asks for; hair-wide ground along an edge asks for nothing and nobody could find it."""
    drying_days = settings.seasons.drying_days
    return tuple(
        item
        for unit, cut in zip(state.units, state.by_unit, strict=True)
        for item in unit_due(cut, unit.cover, upkeep_rule(unit.unit_id, settings), on=on, drying_days=drying_days)
        if not _is_hair(item)
    )


def _is_hair(item: DueItem) -> bool:
    return item.acres is not None and item.acres <= acres(HAIR_M2)


def plan_days(settings: Settings, kind: PlanKind, unit_id: str) -> PlanDays:
    """Return what ``[burn_plan.KIND]`` says of its days and its author, for a unit."""
    plan: WrittenPlan = getattr(settings.burn_plan, kind)
    own = plan.unit.get(unit_id, PlanWindow())
    first, last = (own.from_, own.to) if own.from_ else (plan.from_, plan.to)
    return PlanDays(
        kind=kind,
        is_signed=bool(own.author or plan.author) and (own.date or plan.date) is not None,
        days=YearlyDays(first=day_of_year(first), last=day_of_year(last)) if first and last else None,
    )


def day_of_year(text: str) -> tuple[int, int]:
    """Return ``MM-DD`` as (month, day)."""
    month, day = text.split("-")
    return int(month), int(day)


def _ban(days: ClosedDays) -> Ban:
    what: Literal["closed_cut", "closed_burn"] = "closed_cut" if days.work == "cut" else "closed_burn"
    if isinstance(days.from_, date) and isinstance(days.to, date):
        return DatedBan(what=what, reason=days.reason, first=days.from_, last=days.to, units=days.units)
    first, last = day_of_year(str(days.from_)), day_of_year(str(days.to))
    return YearlyBan(what=what, reason=days.reason, first=first, last=last, units=days.units)


def paper_of(settings: Settings) -> Paper:
    """Return what the place's settings add to its account."""
    return Paper(
        place=settings.place.name,
        leave=leave_rule(settings),
        codes={practice: settings.practice_code(practice) for practice in PRACTICES},
    )


def leave_rule(settings: Settings) -> LeaveRule:
    """Return how much cedar ``habmap.toml`` wants to be left."""
    stages = settings.stages
    return LeaveRule(stages.leave_pct, {unit_id: own.leave_pct for unit_id, own in stages.unit.items()})
