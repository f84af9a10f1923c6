"""What the four pages show, put together from the answers of the jobs: every figure is one that a command prints."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from habmap.show.handout.records import Handout, HandoutDue, HandoutUnit
from habmap.show.records import Page, PagePhotoPoint, PagePiece
from habmap.show.words import short_day
from habmap.vocabulary import CEDAR_COVERS, Audience
from habmap.work.acres import PracticeAcres
from habmap.work.density_records import UnitDensity
from habmap.work.effort import TOO_FEW_LINES, TOO_FEW_WORDS
from habmap.work.effort_account import EffortResult
from habmap.work.ground import Ground, StageLimits
from habmap.work.order_of_work import COMING_HOLD
from habmap.work.priority import DenseLimits
from habmap.work.schedule_result import ScheduleResult
from habmap.work.season_account import season_account
from habmap.work.seasons import DueItem
from habmap.work.stages import stage_before_work

#: Due things that are the owner's own affair: money, and words that may name a nest.
_OWNERS: frozenset[str] = frozenset({"hold", "contract"})
#: Due things that are told one by one, in the owner's words; the rest is added up by kind.
_TOLD_SINGLY: frozenset[str] = frozenset({"hold", "contract", "closed_cut", "closed_burn"})


def handout_of(
    page: Page,
    state: Ground,
    *,
    limits: StageLimits,
    practices: Sequence[PracticeAcres],
    stands: Mapping[str, UnitDensity],
    upkeep: Mapping[str, Sequence[DueItem]],
    items: Sequence[DueItem],
    due_on: date,
    spent: EffortResult | None,
    ask: tuple[str, ...],
    dense: DenseLimits,
    season: ScheduleResult | None = None,
    pair: PagePhotoPoint | None = None,
) -> Handout:
    """Return all that the pages show.

    Parameters
    ----------
    page, state
        The map's records and the ground, as of the day.
    upkeep
        By ``unit_id``: ground that asks for another pass.
    items, due_on
        What is due and not done, what presses first, and on which day that was asked.
    spent
        ``None`` where neither hours nor cost are told.
    season
        The coming half year, or ``None``.
    """
    waiting = {unit.unit_id for unit in page.units if unit.waits}
    is_owner = page.audience == "owner"
    return Handout(
        page=page,
        then=_before(page, state),
        grid=state.grid,
        account=season_account(state).shown(hours=page.with_hours, cost=page.with_cost),
        practices=tuple((line.practice, line.acres) for line in practices),
        lying_acres=math.fsum(
            piece.acres for piece in state.pieces if piece.state.lying_frac > 0 and piece.unit_id not in waiting
        ),
        next_units=_next_units(page, stands, upkeep, spent if page.with_hours else None, dense),
        due=_due(items, page.audience),
        due_on=due_on,
        effort=None if spent is None else _effort(spent),
        contract=_contract(items) if is_owner and page.with_cost else (),
        ask=ask,
        season=season,
        pair=pair,
    )


def _before(page: Page, state: Ground) -> Page:
    """Return the same units as they lay before any work."""
    untouched = tuple(
        PagePiece(
            unit_id=unit.unit_id, stage=stage_before_work(is_cedar=unit.cover in CEDAR_COVERS), geometry=unit.geometry
        )
        for unit in state.units
    )
    return replace(page, on=None, pieces=untouched, work=())


def _next_units(
    page: Page,
    stands: Mapping[str, UnitDensity],
    upkeep: Mapping[str, Sequence[DueItem]],
    spent: EffortResult | None,
    dense: DenseLimits,
) -> tuple[HandoutUnit, ...]:
    is_owner = page.audience == "owner"
    hours = {} if spent is None else {unit.unit_id: unit.person_hours_left for unit in spent.units}
    return tuple(
        HandoutUnit(
            unit=unit,
            stand=stands.get(unit.unit_id),
            is_dense_by_crowns=_is_dense_by_crowns(stands.get(unit.unit_id), dense),
            upkeep_acres=sum(item.acres or 0.0 for item in upkeep.get(unit.unit_id, ())),
            person_hours_left=hours.get(unit.unit_id),
            # What will hold it up; its contract lines stand with the money.
            remarks=tuple(one for one in unit.reasons if one.startswith(COMING_HOLD)) if is_owner else (),
        )
        for unit in sorted(page.units, key=lambda unit: unit.order or 0)
        if unit.order is not None
    )


def _is_dense_by_crowns(stand: UnitDensity | None, dense: DenseLimits) -> bool:
    return (
        stand is not None
        and bool(stand.dense)
        and stand.canopy_pct is not None
        and (stand.stems_per_acre is None or stand.stems_per_acre < dense.stems_per_acre)
    )


def _due(items: Sequence[DueItem], audience: Audience) -> tuple[HandoutDue, ...]:
    """Add up what is due by kind and state, in the order in which it presses; contract lines stand with the money."""
    together: defaultdict[tuple[str, str], list[DueItem]] = defaultdict(list)
    found: dict[tuple[str, str, int], HandoutDue] = {}
    for number, item in enumerate(items):
        if item.what == "contract" or (audience == "public" and item.what in _OWNERS):
            continue
        if item.what in _TOLD_SINGLY:
            unit = "" if item.unit_id is None else f"{item.unit_id}, "
            found[item.what, item.state, number] = HandoutDue(
                what=item.what,
                state=item.state,
                units=0,
                acres=None,
                from_date=item.from_date,
                to_date=item.to_date,
                words=f"{unit}{item.words}".rstrip(", ") if audience == "owner" else "",
            )
            continue
        together[item.what, item.state].append(item)
        mine = together[item.what, item.state]
        acres = [one.acres for one in mine if one.acres is not None]
        found[item.what, item.state, -1] = HandoutDue(
            what=item.what,
            state=item.state,
            units=len({one.unit_id for one in mine}),
            acres=sum(acres) if acres else None,
        )
    # What is closed or held stands before what is due: a room must not miss it.
    return tuple(sorted(found.values(), key=lambda item: not (item.what in _TOLD_SINGLY and item.state == "in force")))


def _contract(items: Sequence[DueItem]) -> tuple[str, ...]:
    lines = []
    for item in items:
        if item.what == "contract":
            until = "" if item.to_date is None else f", due {short_day(item.to_date)}"
            state = f" ({item.state})" if item.state in ("overdue", "before its start date") else ""
            lines.append(f"{item.words}{until}{state}.")
    return tuple(lines)


def _effort(spent: EffortResult) -> EffortResult:
    """Return the hours and money without limits that rest on so few lines that they say nothing to a room."""
    if spent.lines >= TOO_FEW_LINES:
        return spent
    return replace(
        spent, person_hours_left_low=None, person_hours_left_high=None, cost_left_low=None, cost_left_high=None,
        finish_low=None, finish_high=None, rests_on=spent.rests_on + (f" ({TOO_FEW_WORDS})" if spent.lines else ""),
    )  # fmt: skip
