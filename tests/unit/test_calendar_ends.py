"""Days at the two ends of the calendar: a date is data, and any day that exists is taken."""

from __future__ import annotations

from datetime import date

import pytest
from fakes import FakeStore, entry, unit
from shapely import box

from habmap.jobs.due import due
from habmap.jobs.week import week
from habmap.measures import days_after
from habmap.work.closures import Closures
from habmap.work.finish import finish
from habmap.work.schedule import Seasonal, Task, lay_out
from habmap.work.seasons import DatedGround, UpkeepRule, YearlyBan, calendar_due, ground_due


def test_days_after_stays_on_the_calendar() -> None:
    assert days_after(date(2026, 2, 27), 2) == date(2026, 3, 1)
    assert days_after(date(9999, 12, 30), 2) == date.max
    assert days_after(date(1, 1, 2), -2) == date.min


@pytest.mark.parametrize("on", [date.min, date.max])
@pytest.mark.parametrize("worked", [date.min, date(2026, 3, 1), date.max])
@pytest.mark.parametrize("stage", ["down", "piled", "slash_gone", "coming_back", "kept_up"])
def test_what_is_due_is_known_at_either_end(on: date, worked: date, stage: str) -> None:
    piece = DatedGround(
        unit_id="C1", cover="cedar", stage=stage, acres=2.0, lying_frac=0.5, piled_frac=0.1, snag_frac=0.1,
        last_felled=worked, last_piled=worked, last_fire=worked, last_pile_burn=worked, last_treated=worked,
        first_treated=worked, last_look=worked,
    )  # fmt: skip
    rule = UpkeepRule(reason="upkeep", years=200, window=((11, 1), (2, 28)))
    items = ground_due([piece], on=on, drying_days=(30, 60), upkeep={"C1": rule})
    assert all(item.acres == 2.0 for item in items)
    if on is date.max and worked is date.min:
        assert {item.what for item in items} >= {"checkup"}


@pytest.mark.parametrize("on", [date.min, date.max])
@pytest.mark.parametrize("worked", [date.min, date.max])
def test_a_week_and_what_is_due_are_told_at_either_end(on: date, worked: date) -> None:
    ground = box(0, 0, 100, 100)
    store = FakeStore([unit("A", ground), entry("cut", worked, ground)])
    assert (week(store, on=on).on, due(store, on=on).on) == (on, on)


@pytest.mark.parametrize("on", [date.min, date.max])
def test_a_yearly_ban_comes_round_at_either_end(on: date) -> None:
    ban = YearlyBan(what="closed_burn", reason="nesting", first=(11, 1), last=(2, 28))
    (item,) = calendar_due(on=on, bans=[ban], holds=[], contract=[])
    assert item.state == "in force"


def test_a_season_at_the_end_of_the_calendar_has_its_weeks() -> None:
    season = Seasonal(
        closures=Closures(bans=(), holds=()), working_months=tuple(range(1, 13)), drying_days=(30, 60), burns={},
        pile_burns={},
    )  # fmt: skip
    cut = Task(what="cut", unit_id="C1", acres=10.0, hours_per_acre=5.0)
    weeks, unfit = lay_out([cut], first=date(9999, 12, 11), last=date.max, hours_per_week=10.0, season=season)
    assert [week.from_date for week in weeks] == [date(9999, 12, 11), date(9999, 12, 18), date(9999, 12, 25)]
    assert unfit[0].acres == pytest.approx(4.0)


def test_work_that_outlasts_the_calendar_has_no_last_day() -> None:
    got = finish(
        {"C1": 1_000.0}, start=date(9999, 12, 1), hours_per_week=7.0, working_months=(12,),
        closures=Closures(bans=(), holds=()),
    )  # fmt: skip
    assert got.day is None
