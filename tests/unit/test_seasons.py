"""What is due, on hand-counted days."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from habmap.work.seasons import (
    ContractDate,
    DatedBan,
    DatedGround,
    DueItem,
    HeldUnit,
    UpkeepRule,
    YearlyBan,
    calendar_due,
    coming_within,
    ground_due,
)

CUT = date(2026, 1, 1)
DOWN = DatedGround(
    unit_id="C1",
    cover="cedar",
    stage="down",
    acres=1.5,
    since=CUT,
    last_felled=CUT,
    last_treated=CUT,
    first_treated=CUT,
)
RULE = {"C1": UpkeepRule(reason="upkeep", years=4)}


def of_kind(pieces: list[DatedGround], what: str, on: date, rules: dict[str, UpkeepRule] = RULE) -> list[DueItem]:
    return [item for item in ground_due(pieces, on=on, drying_days=(30, 60), upkeep=rules) if item.what == what]


@pytest.mark.parametrize(
    ("days", "state"),
    [(0, "drying"), (29, "drying"), (30, "in the window"), (60, "in the window"), (61, "past the window")],
)
def test_drying_counts_days_from_the_last_felled(days: int, state: str) -> None:
    (item,) = of_kind([DOWN], "drying", CUT + timedelta(days=days))
    assert item.state == state
    assert (item.since_date, item.from_date, item.to_date) == (CUT, date(2026, 1, 31), date(2026, 3, 2))


def test_pieces_of_one_unit_with_one_date_are_one_line() -> None:
    (item,) = of_kind([DOWN, replace(DOWN, acres=0.5)], "drying", CUT)
    assert item.acres == pytest.approx(2.0)


def test_burned_piles_are_felt_over_on_days_one_three_and_seven() -> None:
    burned = replace(DOWN, stage="slash_gone", last_pile_burn=date(2026, 2, 10), last_fire=date(2026, 2, 10))
    on_day_2 = of_kind([burned], "hand_check", date(2026, 2, 12))
    assert [item.from_date for item in on_day_2] == [date(2026, 2, 13), date(2026, 2, 17)]
    assert of_kind([burned], "hand_check", date(2026, 2, 11))[0].state == "due"
    assert of_kind([burned], "hand_check", date(2026, 2, 18)) == []


def test_upkeep_falls_due_by_years_and_waits_for_its_days_of_the_year() -> None:
    kept = replace(DOWN, stage="kept_up", last_fire=date(2022, 3, 1), last_treated=date(2022, 3, 1))
    (item,) = of_kind([kept], "upkeep", date(2026, 2, 1))
    assert (item.state, item.from_date) == ("coming", date(2026, 3, 1))
    fescue = {"C1": UpkeepRule(reason="fescue", years=4, window=((3, 20), (4, 14)))}
    (item,) = of_kind([kept], "upkeep", date(2026, 3, 25), fescue)
    assert (item.state, item.from_date, item.to_date) == ("due", date(2026, 3, 20), date(2026, 4, 14))
    assert of_kind([kept], "upkeep", date(2025, 10, 1)) == []


def test_ground_coming_back_is_due_at_once() -> None:
    (item,) = of_kind([replace(DOWN, stage="coming_back", last_look=date(2026, 6, 1))], "upkeep", date(2026, 6, 2))
    assert item.state == "due"


def test_burned_grass_is_kept_up_and_grass_never_burned_asks_for_nothing() -> None:
    grass = DatedGround(unit_id="C1", cover="grass", stage="other", acres=9.0)
    assert of_kind([grass], "upkeep", date(2030, 1, 1)) == []
    fired = replace(grass, last_fire=date(2025, 4, 1), last_treated=date(2025, 4, 1))
    assert of_kind([fired], "upkeep", date(2029, 4, 2))[0].state == "due"


@pytest.mark.parametrize(
    ("treated", "on", "state", "year"),
    [
        (date(2026, 6, 30), date(2026, 8, 1), "coming", 2026),
        (date(2026, 6, 30), date(2026, 9, 1), "due", 2026),
        (date(2026, 6, 30), date(2026, 11, 1), "overdue", 2026),
        (date(2026, 7, 1), date(2027, 9, 15), "due", 2027),
    ],
)
def test_a_look_closes_the_first_growing_season(treated: date, on: date, state: str, year: int) -> None:
    piece = replace(DOWN, stage="burned", last_treated=treated, first_treated=treated)
    (item,) = of_kind([piece], "look", on)
    assert (item.state, item.from_date) == (state, date(year, 9, 1))


def test_looks_come_round_yearly() -> None:
    piece = replace(DOWN, stage="burned", last_look=date(2026, 9, 20))
    assert of_kind([piece], "look", date(2026, 10, 1)) == []
    assert of_kind([piece], "look", date(2027, 9, 2))[0].state == "due"


def test_a_ban_over_new_year_is_in_force_on_both_sides() -> None:
    ban = YearlyBan(what="no_burn", reason="drought", first=(12, 15), last=(1, 15))
    assert ban.has(date(2026, 12, 31)) and ban.has(date(2026, 1, 10)) and not ban.has(date(2026, 2, 1))
    assert ban.next_span(date(2026, 1, 10)) == (date(2025, 12, 15), date(2026, 1, 15))
    assert ban.next_span(date(2026, 1, 16)) == (date(2026, 12, 15), date(2027, 1, 15))


def test_a_hold_without_an_end_stays_and_says_so() -> None:
    hold = HeldUnit(unit_id="C1", reason="sale", first=date(2020, 1, 1), last=None)
    (item,) = calendar_due(on=date(2026, 1, 1), bans=[], holds=[hold], contract=[])
    assert item.state == "in force" and "no end" in item.words


def test_a_dated_ban_ends() -> None:
    ban = DatedBan(what="no_cut", reason="sale", first=date(2026, 1, 1), last=date(2026, 1, 31))
    assert calendar_due(on=date(2026, 2, 1), bans=[ban], holds=[], contract=[]) == ()
    assert calendar_due(on=date(2026, 1, 31), bans=[ban], holds=[], contract=[])[0].state == "in force"


@pytest.mark.parametrize(
    ("applied", "on", "state"),
    [
        (0.0, date(2026, 1, 14), "not yet allowed"),
        (0.0, date(2026, 1, 15), "open"),
        (0.0, date(2026, 7, 15), "due"),
        (1.0, date(2026, 10, 2), "overdue"),
        (3.0, date(2026, 10, 2), "done"),
    ],
)
def test_contract_items_by_date_and_acres(applied: float, on: date, state: str) -> None:
    line = ContractDate(
        name="P 1",
        units=("C1",),
        planned_acres=3.0,
        applied_acres=applied,
        not_before=date(2026, 1, 15),
        due=date(2026, 10, 1),
    )
    assert calendar_due(on=on, bans=[], holds=[], contract=[line])[0].state == state


def test_no_line_ever_says_ready() -> None:
    every = [replace(DOWN, stage=stage, last_pile_burn=CUT) for stage in ("down", "piled", "burned", "coming_back")]
    for days in range(0, 2000, 13):
        for item in ground_due(every, on=CUT + timedelta(days=days), drying_days=(30, 60), upkeep=RULE):
            assert "ready" not in f"{item.state} {item.words}".lower()
            assert "safe" not in f"{item.state} {item.words}".lower()


def test_what_begins_or_ends_soon_is_seen_at_a_glance() -> None:
    on = date(2026, 2, 10)
    lines = [
        ContractDate(name=name, units=(), planned_acres=planned, applied_acres=1.0, not_before=first, due=last)
        for name, planned, first, last in (
            ("ends in 30 days", 2.0, date(2025, 1, 1), on + timedelta(days=30)),
            ("ends a day later", 2.0, date(2025, 1, 1), on + timedelta(days=31)),
            ("begins in 90 days", 2.0, on + timedelta(days=90), None),
            ("ended yesterday", 2.0, None, on - timedelta(days=1)),
            ("done", 1.0, None, on),
        )
    ]
    items = calendar_due(on=on, bans=[], holds=[], contract=lines)
    assert [item.name for item in coming_within(items, on=on, days=30)] == ["ends in 30 days"]
    assert [item.name for item in coming_within(items, on=on, days=90)] == [
        "ends in 30 days", "ends a day later", "begins in 90 days",
    ]  # fmt: skip


def test_a_look_after_later_work_counts_from_that_work() -> None:
    seen_long_ago = replace(DOWN, last_look=date(2025, 9, 10))
    (item,) = of_kind([seen_long_ago], "look", date(2026, 9, 1))
    assert (item.since_date, item.state) == (CUT, "due")
