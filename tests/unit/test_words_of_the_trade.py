"""Words of the trade: `left` is what was left on purpose, and one thing has one word wherever it is told."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace
from typing import Any, cast
from zoneinfo import ZoneInfo

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.jobs.history import history
from habmap.jobs.schedule import schedule
from habmap.show.due_words import due_calendar, spot_words
from habmap.show.handout.records import HandoutDue
from habmap.show.handout.words import due
from habmap.show.ledger_words import history_lines
from habmap.show.schedule_words import schedule_calendar, season_words
from habmap.work.bite import Bite, size_words
from habmap.work.closures import Closures
from habmap.work.seasons import DatedGround, DueItem, UpkeepRule, ground_due

ON = date(2026, 11, 26)
OPEN = Closures(bans=(), holds=())


def test_a_bite_leaves_nothing_it_says_what_remains() -> None:
    last = size_words(Bite(geometry=box(0, 0, 100, 100), is_whole=True), asked_acres=9.0, left_acres=0.0, left_pieces=0)
    part = size_words(
        Bite(geometry=box(0, 0, 100, 100), is_whole=False), asked_acres=2.47, left_acres=5.0, left_pieces=1
    )
    assert last.endswith("which is all that remains there in one piece; nothing remains in the unit after it")
    assert "5.00 acres remain in the unit after it" in part
    assert "left" not in last + part


@pytest.mark.parametrize(("window", "state"), [(None, "due"), (((12, 1), (12, 15)), "overdue")])
def test_the_calendar_says_of_upkeep_what_due_says(window: object, state: str) -> None:
    piece = DatedGround(
        unit_id="C1", cover="cedar", stage="kept_up", acres=2.0, lying_frac=0.0, piled_frac=0.0, snag_frac=0.0,
        last_fire=date(2021, 1, 1), last_treated=date(2021, 1, 1), first_treated=date(2021, 1, 1),
        last_look=date(2026, 1, 1), last_felled=None, last_piled=None, last_pile_burn=None,
    )  # fmt: skip
    rule = UpkeepRule(reason="upkeep", years=4, window=window)  # type: ignore[arg-type]
    items = [
        item for item in ground_due([piece], on=ON, drying_days=(30, 60), upkeep={"C1": rule}) if item.what == "upkeep"
    ]
    assert [item.state for item in items] == [state]
    days = due_calendar(items, closures=OPEN, on=ON, is_public=False, cautions=())
    assert days[0].summary == f"upkeep {state}: C1"


def test_a_history_names_a_line_by_its_number_alone() -> None:
    line = entry("cut", date(2026, 1, 1), box(0, 0, 100, 100))
    store = FakeStore([unit("C1", box(0, 0, 200, 200)), line], grid=GRID)
    words = "\n".join(history_lines(history(store), ZoneInfo("UTC")))
    assert "  line 1, written" in words and line.entry_id not in words


def test_a_season_of_little_cutting_is_not_told_as_none() -> None:
    scrap = unit("C2", box(300, 0, 312, 12))  # 0.04 acre
    cut = entry("cut", date(2026, 1, 1), box(0, 0, 100, 100), person_hours=20)
    store = FakeStore([unit("C1", box(0, 0, 100, 100)), scrap, cut], grid=GRID)
    season = schedule(store, first=date(2026, 3, 1), last=date(2026, 4, 30), hours_per_week=20)
    assert season_words(season)[0].startswith("0.04 acres of cutting fit")


def test_young_slash_is_named_by_its_days() -> None:
    item = HandoutDue(what="drying", state="drying", units=2, acres=3.0)
    told = due(cast(Any, SimpleNamespace(due=(item,), due_on=ON)))
    assert told == ["Due: slash younger than its drying days: 2 units"]


def test_spots_that_are_due_for_one_reason_are_told_together() -> None:
    spots = [
        DueItem(unit_id="C2", what="plot", state="due", acres=None, since_date=date(2024, 9, 14),
                from_date=date(2024, 10, 19), to_date=None, words=words, name=name)
        for name, words in (("C2-01", "Due since the cut"), ("C2-02", "Due since the cut"), ("C2-03", "Due since May"))
    ]  # fmt: skip
    told = "C2-01, C2-02: Due since the cut; C2-03: Due since May"
    assert spot_words(spots) == told
    (day,) = due_calendar(spots, closures=OPEN, on=ON, is_public=False, cautions=())
    assert day.description.startswith(f"On {ON}: C2: {told}.")


def test_a_fire_in_the_season_s_calendar_is_no_order_to_burn() -> None:
    piles = entry("pile", date(2026, 1, 2), box(0, 0, 100, 100), person_hours=4)
    cut = entry("cut", date(2026, 1, 1), box(0, 0, 100, 100), person_hours=20)
    store = FakeStore([unit("C1", box(0, 0, 200, 200)), cut, piles], grid=GRID)
    season = schedule(store, first=date(2026, 3, 1), last=date(2026, 4, 30), hours_per_week=20)
    fires = [day for day in schedule_calendar(season) if "burn piles" in day.summary]
    assert fires and all(day.summary.endswith(": a question for the burn boss") for day in fires)
