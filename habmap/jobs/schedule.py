"""A season laid into weeks: cuts, burns, piles, checks, upkeep and check-ups, and what would not fit."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from habmap.jobs.effort import effort, hour_rates
from habmap.jobs.export_practices import contract_dates
from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import once
from habmap.place.closed_days import closures, plan_days, upkeep_rule
from habmap.place.named_units import settings_of_now
from habmap.show.schedule_words import schedule_calendar
from habmap.vocabulary import cautions_of
from habmap.work.calendar_day import CalendarDay
from habmap.work.dated_ground import dated_ground
from habmap.work.said import has_snags
from habmap.work.schedule import Seasonal, lay_out, refuse_no_week
from habmap.work.schedule_result import ScheduleResult
from habmap.work.schedule_tasks import (
    PlanOf,
    cut_tasks,
    ground_tasks,
    kind_rates,
    like_task,
    stands,
)
from habmap.work.seasons import ground_due

#: Where no end is given [days].
HALF_YEAR: Final = 182


@once
def schedule(store: Store, *, first: date, last: date, hours_per_week: float, on: date | None = None) -> ScheduleResult:
    """Lay a season's work into weeks.

    Parameters
    ----------
    first, last
        First day, and last day that a week may end on.
    hours_per_week
        Person-hours in a week, above 0.
    on
        As of this day's work; ``None``: all work so far.

    Raises
    ------
    InputError
        The season runs backwards or holds no whole week, or nothing says how many hours an acre of cutting takes.
    """
    refuse_no_week(first, last)
    settings, state = settings_of_now(store), ground(store, on=on)
    spent = effort(store, on=on, today=first)
    rates = kind_rates(spent.practices, settings.effort.rates)
    terms = contract_dates(store, settings, first)
    upkeep = {unit.unit_id: upkeep_rule(unit.unit_id, settings) for unit in state.units}
    items = ground_due(
        dated_ground(state), on=first, drying_days=settings.seasons.drying_days, upkeep=upkeep,
        ahead_days=(last - first).days,
    )  # fmt: skip
    plan_of: PlanOf = lambda kind, unit_id: plan_days(settings, kind, unit_id)  # noqa: E731
    tasks = [
        *ground_tasks(items, terms, rates=rates, plan_of=plan_of, upkeep=upkeep, first=first),
        *cut_tasks(stands(rank(store, on=on, today=first).units, hour_rates(store, on=on)), terms),
    ]
    season = Seasonal(
        closures=closures(settings),
        working_months=settings.effort.working_months,
        drying_days=settings.seasons.drying_days,
        burns={unit_id: like_task("burn", unit_id, terms, rates=rates, plan_of=plan_of) for unit_id in upkeep},
        pile_burns={
            unit_id: like_task("pile_burn", unit_id, terms, rates=rates, plan_of=plan_of) for unit_id in upkeep
        },
    )
    weeks, unfit = lay_out(tasks, first=first, last=last, hours_per_week=hours_per_week, season=season)
    laid = [item for week in weeks for item in week.items]
    used, on_units = {item.what for item in laid}, {item.unit_id for item in laid}
    where_laid = {(item.what, item.unit_id) for item in laid}
    asked = (*tasks, *season.burns.values(), *season.pile_burns.values())
    plans = [task.plan for task in asked if task.plan is not None and (task.what, task.unit_id) in where_laid]
    return ScheduleResult(
        from_date=first,
        to_date=last,
        hours_per_week=hours_per_week,
        weeks=weeks,
        unfit=unfit,
        acres=sum(item.acres for item in laid if item.what == "cut"),
        person_hours=sum(item.person_hours for item in laid),
        cut_rests_on=spent.rests_on,
        rates=tuple(rate for what, rate in rates.items() if what in used),
        unsigned=tuple(sorted({plan.kind for plan in plans if not plan.is_signed})),
        cautions=cautions_of(
            ("cut", "burn"),
            has_snags=has_snags(piece.state for piece in state.pieces if piece.unit_id in on_units),
        ),
    )


def schedule_days(store: Store, *, first: date, last: date, hours_per_week: float) -> tuple[CalendarDay, ...]:
    """Return a season's work as days of a calendar."""
    return schedule_calendar(schedule(store, first=first, last=last, hours_per_week=hours_per_week))


def last_day(first: date, last: date | None) -> date:
    """Return the last day of a season: the one given, else half a year on."""
    return last or first + timedelta(days=min(HALF_YEAR, (date.max - first).days))
