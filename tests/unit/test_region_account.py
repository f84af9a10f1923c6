"""Many properties in one row, seasons added up and pieces with their dates, each by hand."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, entry, unit
from shapely import box

from habmap.measures import M2_PER_ACRE
from habmap.records import Entry
from habmap.vocabulary import STAGES
from habmap.work.dated_ground import dated_ground, unit_due, unit_upkeep
from habmap.work.ground import Ground, cut_ground
from habmap.work.region_account import PropertyAccount, all_together
from habmap.work.season_account import season_account
from habmap.work.seasons import UpkeepRule

LIMITS: Any = SimpleNamespace(target_pct=80.0, leave_stems_per_acre=25.0)
ON = date(2026, 6, 1)
A, MEADOW = unit("A", box(0, 0, 100, 100)), unit("M", box(100, 0, 200, 100), cover="grass")


def ground(*lines: Entry) -> Ground:
    return cut_ground((A, MEADOW), lines, grid=GRID, limits=LIMITS, on=ON)


def strip(practice: str, day: str, west: float, east: float, **fields: Any) -> Entry:
    return entry(practice, day, box(west, 0, east, 100), **fields)


def test_all_properties_together_are_their_sums() -> None:
    north = PropertyAccount(
        place="North", folder="n", on=date(2026, 1, 1), acres=100.0, treated_acres=10.0, remaining_acres=20.0,
        keep_acres=3.0, coming_back_acres=4.0, stage_acres={"down": 7.0, "standing": 1.0}, week_items=2,
        week={"now": ("a",)}, person_hours=5.0, cost=50.0, currency="USD",
    )  # fmt: skip
    south = PropertyAccount(
        place="South", acres=1.0, treated_acres=2.0, remaining_acres=3.0, keep_acres=4.0, coming_back_acres=5.0,
        stage_acres={"down": 0.5, "keep": 2.0}, week_items=3, cost=1.0, currency="USD",
    )  # fmt: skip
    both = all_together([north, south], on=ON)
    assert (both.place, both.folder, both.on, both.week, both.week_items) == ("all", "", ON, {}, 5)
    assert (both.acres, both.treated_acres, both.remaining_acres) == (101, 12, 23)
    assert (both.keep_acres, both.coming_back_acres) == (7, 9)
    assert both.stage_acres == dict.fromkeys(STAGES, 0.0) | {"down": 7.5, "standing": 1.0, "keep": 2.0}
    assert (both.person_hours, both.cost, both.currency) == (5, 51, "USD")  # hours of the one that told any
    none = all_together([], on=ON)
    assert (none.acres, none.week_items, none.person_hours, none.cost, none.currency) == (0, 0, None, None, None)
    # money of two kinds is not added up
    mixed = all_together([north, PropertyAccount(place="E", cost=9.0, currency="EUR", person_hours=0.0)], on=ON)
    assert (mixed.cost, mixed.currency, mixed.person_hours) == (None, None, 5)
    bare = PropertyAccount(place="B")
    assert (bare.acres, bare.stage_acres, bare.week, bare.week_items, bare.cost, bare.on) == (0, {}, {}, 0, None, None)


def test_seasons_add_up_to_the_account_with_those_without_work_between() -> None:
    """A: 3,000 m² cut in a spring, 1,000 half cut two years on, then more of that; 500 kept; the meadow is none."""
    state = ground(
        strip("cut", "2023-05-01", 0, 30, person_hours=4.0, cost=10.0),
        strip("cut", "2023-04-01", 0, 10, person_hours=2.0),
        strip("cut", "2025-08-01", 50, 60, killed_pct=50), strip("keep", "2025-09-01", 60, 65),
        strip("cut", "2026-05-01", 50, 60), strip("mow", "2026-05-01", 100, 200, cost=0.0),
    )  # fmt: skip
    account = season_account(state)
    assert account.on == ON and account.start_remaining_acres * M2_PER_ACRE == pytest.approx(10_000, rel=1e-5)
    assert [one.label for one in account.seasons] == ["2022-23", "2023-24", "2024-25", "2025-26"]
    m2 = [[acres * M2_PER_ACRE for acres in (one.treated_acres, one.cumulative_treated_acres, one.remaining_acres)]
          for one in account.seasons]  # fmt: skip
    for told, expected in zip(
        m2, [(3000, 3000, 7000), (0, 3000, 7000), (0, 3000, 7000), (1000, 4000, 5500)], strict=True
    ):
        assert told == pytest.approx(expected, rel=1e-5, abs=1e-6)
    assert [(one.person_hours, one.cost) for one in account.seasons] == [(6, 10), (None, None), (None, None), (None, 0)]
    for hours, cost in ((True, False), (False, True), (False, False), (True, True)):
        first = account.shown(hours=hours, cost=cost).seasons[0]
        assert (first.person_hours, first.cost) == (6 if hours else None, 10 if cost else None)
        assert first.treated_acres == account.seasons[0].treated_acres
    assert season_account(Ground(None, None, (), ())).seasons == ()


def test_pieces_have_their_dates_and_the_last_day_piles_were_burned() -> None:
    lines = (
        strip("cut", "2024-01-01", 0, 50), strip("pile", "2024-03-01", 0, 50), strip("pile_burn", "2026-01-10", 0, 20),
        strip("pile_burn", "2025-01-10", 0, 50), strip("burn", "2026-03-01", 0, 50),
    )  # fmt: skip
    state = ground(*lines)
    found = {(one.unit_id, round(one.acres * M2_PER_ACRE)): one for one in dated_ground(state)}
    assert set(found) == {("A", 2000), ("A", 3000), ("A", 5000), ("M", 10_000)}
    west, east, rest, meadow = (found[key] for key in (("A", 2000), ("A", 3000), ("A", 5000), ("M", 10_000)))
    assert [one.last_pile_burn for one in (west, east, rest)] == [date(2026, 1, 10), date(2025, 1, 10), None]
    assert (west.last_fire, east.last_felled, rest.last_fire) == (date(2026, 3, 1), date(2024, 1, 1), None)
    assert [one.cover for one in (west, meadow)] == ["cedar", "grass"] and west.stage == "slash_gone"
    # what one unit asks for is what its pieces ask for; a burned unit asks for upkeep once its years are over
    rule, cut = UpkeepRule(reason="cedar", years=2.0), state.by_unit[0]
    for on, asks in ((date(2028, 2, 28), False), (date(2028, 3, 2), True)):
        due = unit_due(cut, "cedar", rule, on=on, drying_days=(60, 730))
        upkeep = unit_upkeep(cut, "cedar", rule, on=on)
        assert [(one.acres or 0) * M2_PER_ACRE for one in upkeep] == ([pytest.approx(5000, rel=1e-5)] if asks else [])
        assert set(upkeep) <= set(due) and all(one.unit_id == "A" for one in due)
