"""What is drying, past its window, due for upkeep or a look; holds, closed days and contract dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.jobs.export_practices import export_practices
from habmap.jobs.ground import HAIR_M2, ground
from habmap.jobs.named_units import settings_of_now
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.measures import acres
from habmap.place.closed_days import closures, day_of_year
from habmap.place.settings import Settings
from habmap.records import Entry
from habmap.vocabulary import FIRE_CAUTION, SNAG_CAUTION
from habmap.work.closures import with_closures
from habmap.work.ground import Ground, GroundPiece
from habmap.work.said import has_snags
from habmap.work.seasons import (
    AHEAD_DAYS,
    ContractDate,
    DatedGround,
    DueItem,
    UpkeepRule,
    calendar_due,
    coming_within,
    ground_due,
    sort_items,
)

#: Said wherever upkeep burns are listed. Sources: OSU Extension NREM-2876 (every 3–5 years); the rest common practice.
TRADE_OFFS = (
    "Upkeep every 3 to 5 years is the published range. Repeated spring fire can favor sumac; late-spring burns set "
    "fescue back and meet ground-nesting birds."
)

#: Said wherever slash is drying.
DRYING_WORDS: Final = (
    "Drying days, here {first} to {last}, are your own setting: common practice, no source. Needles tell more: green "
    "is not dry, red is flashiest, dropped leaves heavier fuels. Days in the window are no leave to burn."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DueResult:
    """What is due on a day; ``next_30`` and ``next_90`` count the items that begin within so many days."""

    on: date
    items: tuple[DueItem, ...]
    next_30: int
    next_90: int
    cautions: tuple[str, ...]


@once
def due(store: Store, *, on: date) -> DueResult:
    """Return everything that is due, in force or coming within 90 days of a day, what presses first.

    Things on ground that is on hold, or closed to what they ask for, say so and press nobody.
    """
    settings = settings_of_now(store)
    state = ground(store, on=on)
    closed = closures(settings)
    found = [
        *_ground_due(state, settings, on),
        *calendar_due(on=on, bans=closed.bans, holds=closed.holds, contract=_contract(store, settings, on)),
    ]
    items = sort_items(with_closures(found, closed, on=on))
    return DueResult(
        on=on,
        items=items,
        next_30=len(coming_within(items, on=on, days=30)),
        next_90=len(coming_within(items, on=on, days=AHEAD_DAYS)),
        cautions=_cautions(state, items, settings),
    )


def _cautions(state: Ground, items: Sequence[DueItem], settings: Settings) -> tuple[str, ...]:
    found = [FIRE_CAUTION]
    if has_snags(piece.state for piece in state.pieces):
        found.append(SNAG_CAUTION)
    if any(item.what == "drying" for item in items):
        first, last = settings.seasons.drying_days
        found.append(DRYING_WORDS.format(first=first, last=last))
    return (*found, TRADE_OFFS)


def upkeep_due(state: Ground, settings: Settings) -> dict[str, tuple[DueItem, ...]]:
    """Return by unit the ground that asks for upkeep on the account's own day; empty while there is no log."""
    if state.on is None:
        return {}
    found: dict[str, tuple[DueItem, ...]] = {}
    for item in _ground_due(state, settings, state.on):
        if item.what == "upkeep" and item.state == "due" and item.unit_id is not None:
            found[item.unit_id] = (*found.get(item.unit_id, ()), item)
    return found


def _ground_due(state: Ground, settings: Settings, on: date) -> tuple[DueItem, ...]:
    """Return what the ground asks for; hair-wide ground along an edge asks for nothing and nobody could find it."""
    upkeep = {unit.unit_id: _upkeep_rule(unit.unit_id, settings) for unit in state.units}
    items = ground_due(_dated(state), on=on, drying_days=settings.seasons.drying_days, upkeep=upkeep)
    return tuple(item for item in items if item.acres is None or item.acres > acres(HAIR_M2))


def _dated(state: Ground) -> list[DatedGround]:
    entries = {entry.entry_id: entry for entry in state.entries}
    covers = {unit.unit_id: unit.cover for unit in state.units}
    return [
        _dated_piece(piece, covers[piece.unit_id], [entries[entry_id] for entry_id in piece.entry_ids])
        for piece in state.pieces
    ]


def _dated_piece(piece: GroundPiece, cover: str, entries: Sequence[Entry]) -> DatedGround:
    now = piece.state
    return DatedGround(
        unit_id=piece.unit_id,
        cover=cover,
        stage=piece.stage,
        acres=piece.acres,
        lying_frac=now.lying_frac,
        piled_frac=now.piled_frac,
        snag_frac=now.snag_frac,
        last_felled=now.last_felled,
        last_piled=now.last_piled,
        last_fire=now.last_fire,
        last_pile_burn=max((entry.date for entry in entries if entry.practice == "pile_burn"), default=None),
        last_treated=now.last_treated,
        first_treated=now.first_treated,
        last_look=now.last_look,
        needles=now.needles,
        needles_seen=now.needles_seen,
    )


def _upkeep_rule(unit_id: str, settings: Settings) -> UpkeepRule:
    for rule in settings.burn_for:
        if unit_id in rule.units or not rule.units:
            window = (day_of_year(rule.from_), day_of_year(rule.to)) if rule.from_ and rule.to else None
            years = rule.years or settings.seasons.upkeep_years
            return UpkeepRule(reason=rule.reason, years=years, window=window, is_asked=True)
    return UpkeepRule(reason="upkeep", years=settings.seasons.upkeep_years)


def _contract(store: Store, settings: Settings, on: date) -> list[ContractDate]:
    applied: dict[tuple[str, str, str], float] = {}
    if settings.contract and store.entries() and store.grid is not None:
        for item in export_practices(store, first=date.min, last=on).items:
            applied[(item.program, item.item, item.practice_code)] = item.applied_acres
    return [
        ContractDate(
            name=f"{line.program} {line.item} ({line.practice_code})",
            units=line.units,
            planned_acres=line.planned_acres,
            applied_acres=applied.get((line.program, line.item, line.practice_code), 0.0),
            not_before=line.not_before,
            due=line.due,
        )
        for line in settings.contract
    ]
