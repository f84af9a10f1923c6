"""What is due, on hand-counted days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import pytest

from habmap.work.due_rows import acres_of, coming_within, due_rows, pressing, share_of, told_items
from habmap.work.paperwork_records import Item
from habmap.work.seasons import (
    ContractDate,
    DatedBan,
    DatedGround,
    DueItem,
    HeldUnit,
    UpkeepRule,
    YearlyBan,
    calendar_due,
    ground_due,
    upkeep_of,
)

CUT = date(2026, 1, 1)
DOWN = DatedGround(
    unit_id="C1",
    cover="cedar",
    stage="down",
    acres=1.5,
    lying_frac=0.9,
    last_felled=CUT,
    last_treated=CUT,
    first_treated=CUT,
)
RULE = {"C1": UpkeepRule(reason="upkeep", years=4)}


def of_kind(pieces: list[DatedGround], what: str, on: date, rules: dict[str, UpkeepRule] = RULE) -> list[DueItem]:
    return [item for item in ground_due(pieces, on=on, drying_days=(30, 60), upkeep=rules) if item.what == what]


@pytest.mark.parametrize(
    ("days", "state"),
    [
        (0, "drying"),
        (29, "drying"),
        (30, "in its drying days"),
        (60, "in its drying days"),
        (61, "past its drying days"),
    ],
)
def test_drying_counts_days_from_the_last_felled(days: int, state: str) -> None:
    (item,) = of_kind([DOWN], "drying", CUT + timedelta(days=days))
    assert item.state == state
    assert (item.since_date, item.from_date, item.to_date) == (CUT, date(2026, 1, 31), date(2026, 3, 2))


@pytest.mark.parametrize(
    "stage", ["part_cut", "dead_standing", "burned", "slash_gone", "kept_up", "coming_back", "other"]
)
def test_what_lies_felled_dries_whatever_the_stage(stage: str) -> None:
    (item,) = of_kind([replace(DOWN, stage=stage, lying_frac=0.01)], "drying", CUT + timedelta(days=35))
    assert item.state == "in its drying days"
    assert of_kind([replace(DOWN, stage=stage, lying_frac=0.0, piled_frac=0.5)], "drying", CUT) == []


def test_piles_stand_whatever_the_stage() -> None:
    (item,) = of_kind([replace(DOWN, stage="part_cut", piled_frac=0.3, last_piled=CUT)], "piles", CUT)
    assert item.since_date == CUT
    assert of_kind([DOWN], "piles", CUT) == []


def test_needles_move_the_words_and_green_holds_the_window_back() -> None:
    def told(days: int, needles: str | None, seen: int | None) -> DueItem:
        seen_on = None if seen is None else CUT + timedelta(days=seen)
        piece = replace(DOWN, needles=needles, needles_seen=seen_on)
        return of_kind([piece], "drying", CUT + timedelta(days=days))[0]

    assert "not dry then" in told(40, "green", 35).words
    assert [told(days, "green", 35).state for days in (40, 90)] == ["drying", "drying"]
    assert told(40, "green", 10).state == "in its drying days"  # it was green before any window, as slash is
    assert "flashiest while red needles hang" in told(40, "red", 38).words
    assert "heavier fuels" in told(767, "dropped", 700).words
    assert "flash" not in told(767, None, None).words
    assert "no check-up since says" in told(767, None, None).words
    assert told(767, "red", 700).state == "past its drying days" and "ask the burn boss" in told(767, "red", 700).words
    assert told(3, None, None).words == "felled 2026-01-01"


def test_needles_of_a_day_that_nobody_wrote_are_told_without_one() -> None:
    (item,) = of_kind([replace(DOWN, needles="red", needles_seen=None)], "drying", CUT + timedelta(days=40))
    assert "needles red: " in item.words and "None" not in item.words
    (green,) = of_kind([replace(DOWN, needles="green", needles_seen=None)], "drying", CUT + timedelta(days=40))
    assert green.state == "in its drying days"


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


def test_skeletons_after_a_killing_fire_are_kept_up_and_looked_at() -> None:
    fire = date(2022, 3, 1)
    dead = DatedGround(
        unit_id="C1", cover="cedar", stage="dead_standing", acres=2.0, snag_frac=0.9, last_fire=fire, last_treated=fire,
        first_treated=fire,
    )  # fmt: skip
    assert of_kind([dead], "upkeep", date(2026, 3, 2))[0].state == "due"
    checks = of_kind([dead], "snag_check", date(2022, 3, 2))
    assert [(item.from_date, item.state) for item in checks] == [
        (date(2022, 3, 2), "due"), (date(2022, 3, 4), "coming"), (date(2022, 3, 8), "coming"),
    ]  # fmt: skip
    assert all("throw embers" in item.words for item in checks)
    assert of_kind([dead], "snag_check", date(2022, 3, 9)) == []
    assert of_kind([replace(dead, snag_frac=0.0)], "snag_check", date(2022, 3, 2)) == []
    girdled = replace(dead, last_fire=None)
    assert of_kind([girdled], "upkeep", date(2026, 3, 2)) == []


def test_trees_left_dead_on_ground_below_its_target_are_looked_at_too() -> None:
    part = DatedGround(
        unit_id="C1", cover="cedar", stage="standing", acres=2.0, snag_frac=0.4, last_fire=CUT, last_treated=CUT
    )
    (item,) = of_kind([part], "checkup", date(2026, 9, 1))
    assert item.state == "due" and "killed and left standing" in item.words
    assert of_kind([replace(part, snag_frac=0.0)], "checkup", date(2026, 9, 1)) == []


def test_ground_coming_back_is_due_at_once() -> None:
    (item,) = of_kind([replace(DOWN, stage="coming_back", last_look=date(2026, 6, 1))], "upkeep", date(2026, 6, 2))
    assert item.state == "due"


def test_burned_grass_is_kept_up_and_grass_never_burned_asks_for_nothing() -> None:
    grass = DatedGround(unit_id="C1", cover="grass", stage="other", acres=9.0)
    assert of_kind([grass], "upkeep", date(2030, 1, 1)) == []
    fired = replace(grass, last_fire=date(2025, 4, 1), last_treated=date(2025, 4, 1))
    assert of_kind([fired], "upkeep", date(2029, 4, 2))[0].state == "due"


def test_grass_that_never_burned_is_due_where_the_settings_ask_for_its_burn() -> None:
    grass = DatedGround(unit_id="C1", cover="grass", stage="other", acres=9.0)
    asked = {"C1": UpkeepRule(reason="grass", years=3, is_asked=True)}
    (item,) = of_kind([grass], "upkeep", date(2030, 1, 1), asked)
    assert (item.state, item.acres, item.since_date, item.from_date) == ("due", 9.0, None, None)
    assert "for grass, every 3 years" in item.words and "no burn or mowing of it is logged" in item.words
    in_spring = {"C1": UpkeepRule(reason="fescue", years=3, window=((3, 20), (4, 14)), is_asked=True)}
    for on, state, year in ((date(2030, 3, 25), "due", 2030), (date(2030, 4, 15), "coming", 2031)):
        (item,) = of_kind([grass], "upkeep", on, in_spring)
        assert (item.state, item.from_date, item.to_date) == (state, date(year, 3, 20), date(year, 4, 14))
    assert of_kind([replace(grass, stage="standing", cover="cedar")], "upkeep", date(2030, 1, 1), asked) == []


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
    (item,) = of_kind([piece], "checkup", on)
    assert (item.state, item.from_date) == (state, date(year, 9, 1))


def test_a_look_at_needles_in_spring_leaves_the_season_s_end_to_be_looked_at() -> None:
    """Cut in winter, its needles seen in April: what lives shows in fall, so the check-up of that fall still comes."""
    seen_in_spring = replace(DOWN, last_look=date(2026, 4, 20), needles="red", needles_seen=date(2026, 4, 20))
    (item,) = of_kind([seen_in_spring], "checkup", date(2026, 9, 1))
    assert (item.since_date, item.state, item.from_date) == (CUT, "due", date(2026, 9, 1))
    assert of_kind([replace(DOWN, last_look=date(2026, 8, 20))], "checkup", date(2026, 9, 1)) == []


def test_looks_come_round_yearly() -> None:
    piece = replace(DOWN, stage="burned", last_look=date(2026, 9, 20))
    assert of_kind([piece], "checkup", date(2026, 10, 1)) == []
    assert of_kind([piece], "checkup", date(2027, 9, 2))[0].state == "due"


def test_a_ban_over_new_year_is_in_force_on_both_sides() -> None:
    ban = YearlyBan(what="closed_burn", reason="drought", first=(12, 15), last=(1, 15))
    assert ban.has(date(2026, 12, 31)) and ban.has(date(2026, 1, 10)) and not ban.has(date(2026, 2, 1))
    assert ban.next_span(date(2026, 1, 10)) == (date(2025, 12, 15), date(2026, 1, 15))
    assert ban.next_span(date(2026, 1, 16)) == (date(2026, 12, 15), date(2027, 1, 15))


def test_a_hold_without_an_end_stays_and_says_so() -> None:
    hold = HeldUnit(unit_id="C1", reason="sale", first=date(2020, 1, 1), last=None)
    (item,) = calendar_due(on=date(2026, 1, 1), bans=[], holds=[hold], contract=[])
    assert item.state == "in force" and "no end" in item.words


def test_a_dated_ban_ends() -> None:
    ban = DatedBan(what="closed_cut", reason="sale", first=date(2026, 1, 1), last=date(2026, 1, 31))
    assert calendar_due(on=date(2026, 2, 1), bans=[ban], holds=[], contract=[]) == ()
    assert calendar_due(on=date(2026, 1, 31), bans=[ban], holds=[], contract=[])[0].state == "in force"
    days = (date(2025, 12, 31), date(2026, 1, 1), date(2026, 1, 31), date(2026, 2, 1))
    assert [ban.has(day) for day in days] == [False, True, True, False]
    yearly = YearlyBan(what="closed_cut", reason="sale", first=(3, 5), last=(10, 15), units=("C1", "C2"))
    named = calendar_due(on=date(2026, 1, 31), bans=[ban, yearly], holds=[], contract=[])
    assert [(item.unit_id, item.name, item.state) for item in named] == [
        (None, "sale 2026-01-01", "in force"), ("C1", "sale 03-05", "coming"), ("C2", "sale 03-05", "coming"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("applied", "on", "state"),
    [
        (0.0, date(2026, 1, 14), "before its start date"),
        (0.0, date(2026, 1, 15), "open"),
        (0.0, date(2026, 7, 15), "due"),
        (1.0, date(2026, 10, 2), "overdue"),
        (3.0, date(2026, 10, 2), "done"),
    ],
)
def test_contract_items_by_date_and_acres(applied: float, on: date, state: str) -> None:
    days = {"not_before": date(2026, 1, 15), "due": date(2026, 10, 1)}
    item = Item(program="P", item="1", practice_code="314", units=("C1",), planned_acres=3.0, **days)
    line = ContractDate(item=item, applied_acres=applied)
    assert calendar_due(on=on, bans=[], holds=[], contract=[line])[0].state == state


def test_no_line_ever_says_ready() -> None:
    every = [
        replace(DOWN, stage=stage, last_pile_burn=CUT, last_fire=CUT, snag_frac=0.1, needles=needles, needles_seen=CUT)
        for stage in ("down", "piled", "burned", "coming_back")
        for needles in (None, "green", "red", "dropped")
    ]
    for days in range(0, 2000, 13):
        for item in ground_due(every, on=CUT + timedelta(days=days), drying_days=(30, 60), upkeep=RULE):
            assert "ready" not in f"{item.state} {item.words}".lower()
            assert "safe" not in f"{item.state} {item.words}".lower()


def test_what_begins_or_ends_soon_is_seen_at_a_glance() -> None:
    on = date(2026, 2, 10)
    lines = [
        ContractDate(
            item=Item(
                program="", item=name, practice_code="314", units=(), planned_acres=planned, not_before=first, due=last
            ),
            applied_acres=1.0,
        )
        for name, planned, first, last in (
            ("ends in 30 days", 2.0, date(2025, 1, 1), on + timedelta(days=30)),
            ("ends a day later", 2.0, date(2025, 1, 1), on + timedelta(days=31)),
            ("begins in 90 days", 2.0, on + timedelta(days=90), None),
            ("ended yesterday", 2.0, None, on - timedelta(days=1)),
            ("done", 1.0, None, on),
        )
    ]
    rows = due_rows(calendar_due(on=on, bans=[], holds=[], contract=lines))
    assert [row.parts[0].name for row in coming_within(rows, on=on, days=30)] == ["ends in 30 days (314)"]
    assert [row.parts[0].name for row in coming_within(rows, on=on, days=90)] == [
        "ends in 30 days (314)", "ends a day later (314)", "begins in 90 days (314)",
    ]  # fmt: skip


def test_a_look_after_later_work_counts_from_that_work() -> None:
    seen_long_ago = replace(DOWN, last_look=date(2025, 9, 10))
    (item,) = of_kind([seen_long_ago], "checkup", date(2026, 9, 1))
    assert (item.since_date, item.state) == (CUT, "due")


def test_a_yearly_span_of_one_day_comes_round_each_year() -> None:
    one = YearlyBan(what="closed_cut", reason="fair", first=(3, 5), last=(3, 5))
    assert [one.has(date(2026, 3, day)) for day in (4, 5, 6)] == [False, True, False]
    assert one.next_span(date(2026, 3, 5)) == (date(2026, 3, 5), date(2026, 3, 5))
    assert one.next_span(date(2026, 3, 6)) == (date(2027, 3, 5), date(2027, 3, 5))
    leap = YearlyBan(what="closed_cut", reason="fair", first=(2, 29), last=(2, 29))
    assert [leap.next_span(date(year, 1, 1))[1] for year in (2027, 2028)] == [date(2027, 2, 28), date(2028, 2, 29)]
    across = YearlyBan(what="closed_burn", reason="dry", first=(12, 15), last=(1, 15))
    assert [across.has(date(2026, *spot)) for spot in ((12, 14), (12, 15), (1, 15), (1, 16))] == [
        False, True, True, False,
    ]  # fmt: skip


def test_shares_of_pieces_added_up_go_by_their_acres() -> None:
    """One acre of which half lies felled, a quarter in piles; three of which a tenth lies, a fifth stands dead."""
    one = replace(DOWN, acres=1.0, lying_frac=0.5, piled_frac=0.25)
    three = replace(DOWN, acres=3.0, lying_frac=0.1, snag_frac=0.2)
    (item,) = of_kind([one, three], "drying", CUT)
    assert (item.acres, item.felled_pct, item.snag_pct) == pytest.approx((4.0, 100 * (0.75 + 0.3) / 4, 100 * 0.6 / 4))
    (small,) = of_kind([replace(one, acres=0.5)], "drying", CUT)
    assert (small.felled_pct, small.snag_pct) == pytest.approx((75.0, 0.0))
    (none,) = of_kind([replace(one, acres=0.0)], "drying", CUT)
    assert (none.acres, none.felled_pct, none.snag_pct) == (0.0, None, None)


def test_what_is_ninety_days_ahead_is_shown_and_a_day_more_is_not() -> None:
    on = date(2026, 1, 1)
    at, beyond = on + timedelta(days=90), on + timedelta(days=91)

    def told(*, bans: Sequence[DatedBan] = (), holds: Sequence[HeldUnit] = ()) -> list[tuple[str, str, str]]:
        return [
            (item.name, item.state, item.words) for item in calendar_due(on=on, bans=bans, holds=holds, contract=[])
        ]

    bans = [
        DatedBan(what="closed_cut", reason=name, first=first, last=last)
        for name, first, last in (("a", at, at), ("b", beyond, beyond), ("c", on, on), ("d", CUT, on - timedelta(1)))
    ]
    assert told(bans=bans) == [("a 2026-04-01", "coming", "a"), ("c 2026-01-01", "in force", "c")]
    holds = [
        HeldUnit(unit_id="C1", reason=name, first=first, last=last)
        for name, first, last in (
            ("a", at, None), ("b", beyond, None), ("c", on, beyond), ("d", None, on), ("e", None, on - timedelta(1)),
        )
    ]  # fmt: skip
    assert told(holds=holds) == [
        ("a 2026-04-01", "coming", "a; no end is written"), ("c 2026-01-01", "in force", "c"), ("d ", "in force", "d"),
    ]  # fmt: skip
    assert [hold.has(on) for hold in holds] == [False, False, True, True, False]
    # upkeep and check-ups look as far ahead as they are told to
    kept = replace(DOWN, stage="kept_up", lying_frac=0.0, last_fire=date(2022, 3, 1), last_treated=date(2022, 3, 1))
    falls_due = date(2026, 3, 1)
    assert [item.state for item in of_kind([kept], "upkeep", falls_due - timedelta(days=90))] == ["coming"]
    assert of_kind([kept], "upkeep", falls_due - timedelta(days=91)) == []
    assert [item.state for item in of_kind([kept], "upkeep", falls_due)] == ["due"]
    look = date(2026, 9, 1)
    assert [item.state for item in of_kind([DOWN], "checkup", look - timedelta(days=90))] == ["coming"]
    assert of_kind([DOWN], "checkup", look - timedelta(days=91)) == []
    assert [of_kind([DOWN], "checkup", date(2026, 10, day))[0].state for day in (30, 31)] == ["due", "due"]
    assert [rest.state for rest in upkeep_of([kept, replace(kept, last_fire=on)], on=falls_due, rule=RULE["C1"])] == [
        "due"
    ]


def test_upkeep_s_days_of_the_year_hold_on_their_first_and_last() -> None:
    spring = {"C1": UpkeepRule(reason="fescue", years=4, window=((3, 20), (4, 14)), is_asked=True)}
    kept = replace(DOWN, stage="kept_up", lying_frac=0.0, last_fire=date(2022, 3, 1), last_treated=date(2022, 3, 1))

    def told(piece: DatedGround, on: date) -> tuple[str, date | None, date | None, bool]:
        (item,) = of_kind([piece], "upkeep", on, spring)
        return item.state, item.from_date, item.to_date, "have passed once without it" in item.words

    this, following = (date(2026, 3, 20), date(2026, 4, 14)), (date(2027, 3, 20), date(2027, 4, 14))
    assert told(kept, date(2026, 3, 19)) == ("coming", *this, False)
    assert told(kept, date(2026, 3, 20)) == ("due", *this, False)
    assert told(kept, date(2026, 4, 14)) == ("due", *this, False)
    assert told(kept, date(2026, 4, 15)) == ("overdue", *following, True)
    assert told(kept, date(2027, 3, 20)) == ("due", *following, True)
    never = DatedGround(unit_id="C1", cover="grass", stage="other", acres=9.0)
    assert told(never, date(2026, 3, 20)) == ("due", *this, False)
    # falling due inside its days, it is not due before
    late = replace(kept, last_fire=date(2022, 4, 1), last_treated=date(2022, 4, 1))
    assert told(late, date(2026, 3, 25)) == ("coming", date(2026, 4, 1), date(2026, 4, 14), False)
    # of fire and mowing the later counts
    mown = replace(kept, last_treated=date(2023, 3, 1))
    assert of_kind([mown], "upkeep", date(2026, 3, 20), spring) == []


def test_green_needles_keep_slash_drying_from_the_first_day_of_its_window() -> None:
    opens = CUT + timedelta(days=30)
    for seen, state in ((opens, "drying"), (opens - timedelta(days=1), "in its drying days")):
        (item,) = of_kind([replace(DOWN, needles="green", needles_seen=seen)], "drying", opens)
        assert (item.state, item.needles, item.needles_seen) == (state, "green", seen)


def test_contract_items_say_what_is_left_and_where() -> None:
    def told(applied: float, *, planned: float | None = 3.0, on: date = CUT, due: date | None = None) -> DueItem:
        item = Item(program="P", item="1", practice_code="314", units=("A", "B"), planned_acres=planned, due=due)
        line = ContractDate(item=item, applied_acres=applied)
        return calendar_due(on=on, bans=[], holds=[], contract=[line])[0]

    assert (told(1.25).unit_id, told(1.25).acres, told(1.25).words) == (
        "A;B",
        1.75,
        "P 1 (314): 1.8 of 3.0 acres to do",
    )
    assert (told(4.0).acres, told(4.0).state) == (0.0, "done")
    assert (told(9.0, planned=None).acres, told(9.0, planned=None).words) == (None, "P 1 (314)")
    assert told(2.999).state == "open"
    due = CUT + timedelta(days=90)
    assert [told(1.0, on=CUT - timedelta(days=n), due=due).state for n in (1, 0)] == ["open", "due"]
    assert [told(1.0, on=due + timedelta(days=n), due=due).state for n in (0, 1)] == ["due", "overdue"]


def thing(**fields: object) -> DueItem:
    content: dict[str, object] = {
        "unit_id": "A", "what": "upkeep", "state": "due", "acres": 1.0, "since_date": CUT, "from_date": None,
        "to_date": None, "words": "w", "name": "n",
    }  # fmt: skip
    return DueItem(**(content | fields))  # type: ignore[arg-type]


def test_rows_stand_by_how_they_press_then_by_their_days_then_by_unit() -> None:
    may, june = date(2026, 5, 1), date(2026, 6, 1)
    in_order = [
        thing(what="contract", state="overdue", unit_id="Z"), thing(what="drying", state="past its drying days"),
        thing(state="due", from_date=may), thing(state="due", unit_id="B", to_date=june),
        thing(what="hold", state="in force", to_date=june), thing(what="hold", state="in force", unit_id=None),
        thing(what="drying", state="in its drying days", unit_id="C"),
        thing(what="drying", state="drying", unit_id="D"),
        thing(what="checkup", state="coming", unit_id="E"),
    ]  # fmt: skip
    assert [row.parts[0] for row in due_rows(in_order[::-1])] == in_order
    # parts of one kind in one unit are a row, those of the calendar each by itself
    rows = due_rows(
        [thing(state="coming", acres=2.0, since_date=None), thing(acres=3.0), thing(acres=4.0, since_date=may)]
    )
    (row,) = rows
    assert (row.state, row.acres, row.state_acres, row.since_date) == ("due", 9.0, 7.0, CUT)
    holds = [thing(what="hold", state="in force", name=name, words=name) for name in "ab"]
    assert len(due_rows(holds)) == 2 and len(due_rows([holds[0], holds[0]])) == 1


def test_what_presses_more_stands_first_though_its_day_is_later() -> None:
    states = ("overdue", "past its drying days", "due", "in force", "in its drying days", "coming")
    in_order = [
        thing(state=state, unit_id=state, from_date=date(2026, 6, 20 - n), to_date=date(2026, 6, 20 - n))
        for n, state in enumerate(states)
    ]
    assert [row.parts[0] for row in due_rows(in_order[::-1])] == in_order


def test_acres_of_one_fire_count_once_and_shares_go_by_acres() -> None:
    checks = [
        thing(what="hand_check", since_date=day, acres=acres) for day, acres in ((CUT, 2.0), (CUT, 3.0), (None, 1.0))
    ]
    assert acres_of(checks) == 4.0 and acres_of([thing(acres=2.0), thing(acres=3.0), thing(acres=None)]) == 5.0
    assert acres_of([thing(acres=None)]) is None and acres_of([]) is None
    parts = [thing(acres=1.0, felled_pct=20.0), thing(acres=3.0, felled_pct=60.0), thing(acres=9.0)]
    assert share_of(parts, "felled_pct") == pytest.approx(50.0)
    assert (
        share_of(parts[2:], "felled_pct") is None and share_of([thing(acres=0.0, felled_pct=5.0)], "felled_pct") is None
    )
    assert share_of([thing(acres=0.5, felled_pct=8.0)], "felled_pct") == pytest.approx(8.0)


def test_strangers_read_no_contract_no_reason_and_of_holds_that_they_stand() -> None:
    may = date(2026, 5, 1)
    items = [
        thing(what="contract"), thing(what="hold", words="owls", from_date=may), thing(what="hold", words="sale"),
        thing(what="closed_burn", words="hay", from_date=may), thing(words="for fescue"),
    ]  # fmt: skip
    hold, closed, upkeep = told_items(items)
    assert (hold.words, hold.name, hold.since_date, hold.from_date, hold.to_date) == ("", "hold", None, None, None)
    assert (closed.words, closed.name, closed.from_date) == ("", "closed_burn 2026-05-01", may)
    assert upkeep == items[-1]


def test_what_holds_for_the_whole_property_comes_before_units_where_all_else_is_alike() -> None:
    (unit,) = of_kind([DOWN], "drying", CUT)
    whole = replace(unit, unit_id=None)
    assert sorted([unit, whole], key=pressing) == [whole, unit]
