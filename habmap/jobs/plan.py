"""A season from the order of work, the hours there are, and everything that closes days."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from habmap.errors import InputError
from habmap.jobs.effort import effort
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import once
from habmap.place.closed_days import closures
from habmap.place.named_units import settings_of_now
from habmap.vocabulary import FIRE_CAUTION, KILLING, SAW_CAUTION, SNAG_CAUTION
from habmap.work.plan import Slot, Stand, Unfit, Windows, season_plan
from habmap.work.said import has_snags


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult:
    """Which ground in which weeks, and what would not fit; ``rests_on`` says where the hours per acre come from."""

    from_date: date
    to_date: date
    hours_per_week: float
    hours_per_acre: float
    rests_on: str
    acres: float
    person_hours: float
    slots: tuple[Slot, ...]
    unfit: tuple[Unfit, ...]
    cautions: tuple[str, ...]


@once
def plan(store: Store, *, first: date, last: date, hours_per_week: float) -> PlanResult:
    """Plan a season of cutting.

    Raises
    ------
    InputError
        The season runs backwards or holds no whole week, or nothing says how many hours an acre takes.
    """
    if (last - first).days < 6:
        raise InputError(
            "the season holds no whole week",
            value=f"{first} to {last}",
            allowed="at least seven days",
            mend="give --from and --to at least a week apart",
        )
    settings = settings_of_now(store)
    spent = effort(store, today=first)
    per_acre = spent.hours_per_acre
    if per_acre is None or per_acre <= 0:
        raise InputError(
            "nothing says how many hours an acre takes",
            mend="log work with --person-hours, or write rates.cut under [effort] in habmap.toml",
        )
    cut_codes = {settings.practice_code(practice) for practice in KILLING - {"burn"}}
    starts: dict[str, date] = {}
    for line in settings.contract:
        if line.practice_code in cut_codes and line.not_before is not None:
            for unit_id in line.units or tuple(unit.unit_id for unit in store.units()):
                starts[unit_id] = max(starts.get(unit_id, date.min), line.not_before)
    # the same hours that `effort` gives: classes of ground apart where the log tells them apart
    hours_left = {unit.unit_id: unit.person_hours_left for unit in spent.units}
    stands = [
        Stand(
            unit_id=unit.unit_id,
            acres=unit.remaining_acres,
            hours_per_acre=(hours_left.get(unit.unit_id) or 0) / unit.remaining_acres or per_acre,
            not_before=starts.get(unit.unit_id),
        )
        for unit in rank(store, today=first).units
        if unit.has_cutting
    ]
    closed = closures(settings)
    slots, unfit = season_plan(
        stands,
        first=first,
        last=last,
        hours_per_week=hours_per_week,
        windows=Windows(
            bans=closed.bans,
            holds=closed.holds,
            working_months=settings.effort.working_months,
            drying_days=settings.seasons.drying_days,
        ),
    )
    return PlanResult(
        from_date=first,
        to_date=last,
        hours_per_week=hours_per_week,
        hours_per_acre=per_acre,
        rests_on=spent.rests_on,
        acres=sum(slot.acres for slot in slots),
        person_hours=sum(slot.person_hours for slot in slots),
        slots=slots,
        unfit=unfit,
        cautions=(
            SAW_CAUTION,
            *([SNAG_CAUTION] if _snags_in(store, {slot.unit_id for slot in slots}) else []),
            FIRE_CAUTION,
        ),
    )


def _snags_in(store: Store, unit_ids: Collection[str]) -> bool:
    return has_snags(piece.state for piece in ground(store).pieces if piece.unit_id in unit_ids)
