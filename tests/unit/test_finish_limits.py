"""Rules of the log's account at their limits: when work is done, where a season ends, where a sighting lies."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import Point, box

from habmap.jobs.check import check
from habmap.place.settings import Settings
from habmap.records import Sighting
from habmap.work.closures import Closure, Closures
from habmap.work.effort import samples
from habmap.work.finish import Finish, finish
from habmap.work.ground import Ground
from habmap.work.season_account import season_days, season_label, season_year
from habmap.work.seasons import HeldUnit

START = date(2026, 1, 1)
SEEN = Sighting(
    uuid="s", occurrence_id="o", event_date="2026-05-14", seen_from=date(2026, 5, 14), seen_to=date(2026, 5, 14),
    scientific_name="Spiza americana", geometry=Point(-98, 39), recorded_at=datetime(2026, 5, 14, tzinfo=UTC),
)  # fmt: skip


def done(hours: dict[str, float], *holds: HeldUnit, waits: dict[str, Closure] | None = None) -> Finish:
    """One hour a day, all year."""
    return finish(
        hours, start=START, hours_per_week=7, working_months=range(1, 13), closures=Closures(bans=(), holds=holds),
        waits=waits,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("hours", "days"), [(1.0, 0), (1.5, 1), (2.0, 1), (2 + 0.99e-6, 1), (2 + 1.01e-6, 2), (1e-7, 0), (5e-6, 0)]
)
def test_hours_below_a_millionth_are_rounding(hours: float, days: int) -> None:
    assert done({"A": hours}).day == START + timedelta(days=days)
    # the same of a unit that something names: its hold is over before the work begins
    past = HeldUnit(unit_id="A", reason="nest", first=None, last=START - timedelta(days=1))
    assert done({"A": hours}, past) == Finish(day=START + timedelta(days=days))


def test_what_is_held_without_end_is_left_out_from_a_millionth_on() -> None:
    hold = HeldUnit(unit_id="A", reason="nest", first=None, last=None)
    assert done({"A": 0.99e-6}, hold) == Finish(day=START)
    assert done({"A": 1.01e-6}, hold) == Finish(day=None, without=("A",))
    brief = replace(hold, last=date(2026, 1, 20))  # nobody waits for the end of a hold that keeps no work back
    assert done({"A": 5e-7}, brief) == Finish(day=START)
    assert done({"A": 5.0, "B": 2.0}, hold) == Finish(day=START + timedelta(days=1), without=("A",))
    assert done({"A": 5.0, "B": 1.0}, hold) == Finish(day=START, without=("A",))


def test_a_contract_s_last_day_of_waiting_is_a_day_without_work() -> None:
    wait = Closure(work="contract", reason="phase 2", last=date(2026, 1, 10))
    got = done({"A": 2.0}, waits={"A": wait})
    assert (got.day, got.moved_by) == (date(2026, 1, 12), ("A waiting until 2026-01-10: phase 2 has not begun",))
    assert done({"A": 2.0}, waits={"B": wait}) == Finish(day=date(2026, 1, 2))


def test_a_hundred_years_are_36525_days_and_the_last_of_them_counts() -> None:
    assert done({"A": 36_526.0}).day == START + timedelta(days=36_525)
    assert done({"A": 36_527.0}).day is None


@pytest.mark.parametrize(
    ("year", "first", "last", "label"),
    [
        (2025, date(2025, 7, 1), date(2026, 6, 30), "2025-26"),
        (2099, date(2099, 7, 1), date(2100, 6, 30), "2099-00"),
        (1, date(1, 7, 1), date(2, 6, 30), "1-02"),
        (0, date.min, date(1, 6, 30), "0-01"),
        (9998, date(9998, 7, 1), date(9999, 6, 30), "9998-99"),
        (9999, date(9999, 7, 1), date.max, "9999-00"),
    ],
)
def test_a_season_runs_from_july_to_june_as_far_as_the_calendar_goes(
    year: int, first: date, last: date, label: str
) -> None:
    assert (season_days(year), season_label(year)) == ((first, last), label)
    assert (season_year(first), season_year(last)) == (year, year)


def misplaced(sighting: Sighting) -> list[str]:
    store = FakeStore([unit("A", box(0, 0, 100, 100)), sighting], grid=GRID, settings=Settings())
    return [fault.what for fault in check(store, today=date(2026, 6, 1)).faults]


@pytest.mark.parametrize("x", [180.0, -180.0, 180.5, -180.5])
@pytest.mark.parametrize("y", [90.0, -90.0, 90.5, -90.5])
def test_a_sighting_lies_on_the_globe_up_to_its_poles_and_the_180th_meridian(x: float, y: float) -> None:
    is_off = abs(x) > 180 or abs(y) > 90
    assert misplaced(replace(SEEN, geometry=Point(x, y))) == ["it lies nowhere on the globe"] * is_off


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"seen_from": date(2026, 6, 1), "seen_to": date(2026, 6, 1)}, []),
        (
            {"seen_from": date(2026, 6, 2), "seen_to": date(2026, 6, 2)},
            ["it begins on 2026-06-02, which is after today, 2026-06-01"],
        ),
        ({"seen_to": date(2026, 5, 13)}, ["it ends on 2026-05-13, before it begins"]),
        ({"seen_to": date(2026, 7, 1)}, []),
    ],
)
def test_a_sighting_begins_by_today_and_ends_no_earlier(change: dict[str, Any], what: list[str]) -> None:
    assert misplaced(replace(SEEN, **change)) == what


def test_before_the_place_has_a_grid_no_line_is_a_sample() -> None:
    line = entry("cut", "2026-01-05", box(0, 0, 50, 100), person_hours=5.0)
    bare = Ground(on=None, grid=None, units=(unit("A", box(0, 0, 100, 100)),), entries=(line,))
    assert samples(bare, "person_hours", density={}, slope={}) == []
