"""Laws of the account by season: it is the acre account's own figures, cut at June 30."""

from __future__ import annotations

import itertools
import math
from datetime import date

import pytest
from drawn_logs import FEW, UNITS, logs
from fakes import FakeStore, entry, unit
from hypothesis import given
from shapely import box

from habmap.jobs.acres import acres
from habmap.jobs.ground import ground
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.records import Entry
from habmap.work.season_account import season_account, season_label, season_year

LIMITS = Settings().stages
SAME = 1e-9  # [acre]; sums of the same pieces, exactly rounded, added in another order


@FEW
@given(logs)
def test_each_season_ends_on_the_acre_accounts_figures(log: list[Entry]) -> None:
    store = FakeStore([*UNITS, *log])
    seasons = season_account(ground(store)).seasons
    for season in seasons:
        totals = acres(store, on=season.last_day).totals
        assert season.cumulative_treated_acres == pytest.approx(totals.treated_acres, abs=1e-6)
        assert season.remaining_acres == pytest.approx(totals.remaining_acres, abs=1e-6)
    if log:
        totals = acres(store).totals
        assert abs(seasons[-1].cumulative_treated_acres - totals.treated_acres) <= SAME
        assert abs(seasons[-1].remaining_acres - totals.remaining_acres) <= SAME
        assert abs(math.fsum(season.treated_acres for season in seasons) - totals.treated_acres) <= SAME
    else:
        assert seasons == ()


@FEW
@given(logs)
def test_no_season_is_skipped_and_none_takes_ground_back(log: list[Entry]) -> None:
    store = FakeStore([*UNITS, *log])
    seasons = season_account(ground(store)).seasons
    for one, following in itertools.pairwise(seasons):
        assert (following.first_day - one.last_day).days == 1
    assert all(season.treated_acres >= -SAME for season in seasons)


def test_a_winter_and_its_spring_are_one_season() -> None:
    """Half of 200 by 150 m cut on June 30, the other half on July 1: two seasons; hours and cost where said."""
    store = FakeStore(
        [
            unit("A", box(0, 0, 200, 150)),
            entry("cut", "2025-06-30", box(0, 0, 100, 150), person_hours=12.0),
            entry("cut", "2025-07-01", box(100, 0, 200, 150), cost=90.0),
            entry("burn", "2026-04-02", box(0, 0, 200, 150)),
        ]
    )
    first, second = season_account(ground(store)).seasons
    half = 100 * 150 / M2_PER_ACRE
    assert (first.label, first.first_day, first.last_day) == ("2024-25", date(2024, 7, 1), date(2025, 6, 30))
    assert (second.label, second.first_day, second.last_day) == ("2025-26", date(2025, 7, 1), date(2026, 6, 30))
    assert [first.treated_acres, second.treated_acres] == pytest.approx([half, half], rel=1e-6)
    assert [first.remaining_acres, second.remaining_acres] == pytest.approx([half, 0], abs=1e-6)
    assert (first.person_hours, first.cost) == (12.0, None)
    assert (second.person_hours, second.cost) == (None, 90.0)


def test_on_stops_the_account_and_the_calendars_ends_hold() -> None:
    rows = [unit("A", box(0, 0, 200, 150))]
    store = FakeStore([*rows, *(entry("cut", day, box(0, 0, 90, 90)) for day in ("2024-01-05", "2026-01-05"))])
    assert [season.label for season in season_account(ground(store, on=date(2025, 1, 1))).seasons] == ["2023-24"]
    assert [season.label for season in season_account(ground(store)).seasons] == [
        "2023-24",
        "2024-25",
        "2025-26",
    ]
    ends = FakeStore([*rows, entry("cut", date.min, box(0, 0, 90, 90))])
    (only,) = season_account(ground(ends)).seasons
    assert only.first_day == date.min
    (only,) = season_account(ground(FakeStore([*rows, entry("cut", date.max, box(0, 0, 90, 90))]))).seasons
    assert only.last_day == date.max
    assert season_label(season_year(date(1999, 12, 31))) == "1999-00"
