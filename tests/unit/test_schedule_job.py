"""A season of a whole property: which plans it lacks, what it sums up, and how long it is."""

from __future__ import annotations

from datetime import date

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.jobs.schedule import last_day, schedule
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.vocabulary import SNAG_CAUTION
from habmap.work.schedule_result import ScheduleResult

FIRST, LAST = date(2026, 1, 5), date(2026, 6, 28)
HECTARE = 10_000 / M2_PER_ACRE
SIGNED = {"author": "P. Writer", "date": date(2025, 12, 1)}
RATES = {"effort": {"rates": {"cut": 4.0}}}


def season(*rows: object, hours: float = 100.0, **settings: object) -> ScheduleResult:
    store = FakeStore(
        [unit("A", box(0, 0, 100, 100)), *rows],
        grid=GRID,
        settings=Settings.model_validate(RATES | settings),  # type: ignore[list-item]
    )
    return schedule(store, first=FIRST, last=LAST, hours_per_week=hours)


def test_a_hectare_to_cut_and_nothing_else() -> None:
    found = season()
    cuts = [item for week in found.weeks for item in week.items if item.what == "cut"]
    assert sum(item.acres for item in cuts) == found.acres == pytest.approx(HECTARE, rel=1e-6)
    assert sum(item.person_hours for week in found.weeks for item in week.items) == pytest.approx(found.person_hours)
    assert found.person_hours >= 4.0 * HECTARE * (1 - 1e-6)
    assert SNAG_CAUTION not in found.cautions
    # of what is laid the rates are told, and cutting has its own words
    assert [rate.what for rate in found.rates] == [
        what for what in ("burn", "pile", "pile_burn", "upkeep", "checkup")
        if what in {item.what for week in found.weeks for item in week.items}
    ]  # fmt: skip
    assert "checkup" not in [rate.what for rate in found.rates]


def test_kinds_of_fire_whose_plan_nobody_signed_are_named() -> None:
    # 2025's slash is past its drying days: it is piled, and the piles are burned, by plans for piles
    old = entry("cut", "2025-01-10", box(0, 0, 100, 100))
    laid = season(old)
    assert {"pile", "pile_burn"} <= {item.what for week in laid.weeks for item in week.items}
    assert laid.unsigned == ("piles",)
    assert season(old, burn_plan={"piles": SIGNED}).unsigned == ()
    fresh = entry("cut", "2025-12-01", box(0, 0, 100, 100))
    assert season(fresh).unsigned == ("down_cedar",)
    assert season(fresh, burn_plan={"down_cedar": SIGNED}).unsigned == ()


def test_a_plan_must_be_signed_for_every_unit() -> None:
    second = unit("B", box(100, 0, 200, 100))
    plan = {"down_cedar": {"unit": {"A": SIGNED}}}
    found = season(entry("cut", "2025-12-01", box(0, 0, 200, 100)), second, burn_plan=plan)
    assert found.unsigned == ("down_cedar",)


def test_a_plan_that_nobody_signed_for_ground_without_fire_is_not_asked_for() -> None:
    """The plan in force is signed for A, where slash is burned; nothing burns in B, whatever B's own plan says."""
    second = unit("B", box(100, 0, 200, 100), cover="grass")
    plan = {"down_cedar": {"unit": {"A": SIGNED}}}
    assert season(entry("cut", "2025-12-01", box(0, 0, 100, 100)), second, burn_plan=plan).unsigned == ()


def test_snags_are_cautioned_of_where_work_is_laid() -> None:
    killed = entry("girdle", "2025-12-01", box(0, 0, 50, 100), killed_pct=90.0)
    assert SNAG_CAUTION in season(killed).cautions


def test_a_season_lasts_half_a_year_unless_its_end_is_given() -> None:
    assert last_day(FIRST, None) == date(2026, 7, 6)  # 182 days on
    assert last_day(FIRST, LAST) == LAST
    assert last_day(date(9999, 12, 1), None) == date.max
