"""What is due, from the ground's own words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.jobs.due import calendar_days, due
from habmap.jobs.week import week
from habmap.measures import M2_PER_ACRE, days_after
from habmap.place.settings import Settings
from habmap.work.calendar_day import DAY_BEFORE, WEEK_BEFORE
from habmap.work.due_rows import acres_of, coming_within, due_rows, share_of, told_items
from habmap.work.paperwork_records import Item
from habmap.work.seasons import (
    HAND_CHECK_DAYS,
    ContractDate,
    DatedBan,
    DueItem,
    HeldUnit,
    UpkeepRule,
    What,
    _after_fire,
    _day,
    _drying,
    _look,
    _upkeep,
    calendar_due,
)


def test_hair_wide_ground_along_an_edge_asks_for_nothing() -> None:
    """The neighbor's patch reaches over the edge by less than an inch: no check-up of 0.00 acres, no alarm for it."""
    rows = [
        unit("A", box(0, 0, 300, 300)),
        unit("B", box(300, 0, 600, 300)),
        entry("cut", "2026-01-10", box(0, 0, 300, 100)),
        entry("cut", "2026-01-12", box(299.998, 0, 600, 100)),
        entry("girdle", "2026-01-14", box(0, 200, 10, 210), killed_pct=100),
    ]
    found = due(FakeStore(rows, grid=GRID), on=date(2026, 11, 1)).items
    assert [(item.unit_id, item.what) for item in found if item.acres is not None and item.acres < 0.005] == []
    assert sorted((item.unit_id, item.what) for item in found if item.acres and item.acres > 7) == [
        ("A", "checkup"), ("A", "drying"), ("B", "checkup"), ("B", "drying"),
    ]  # fmt: skip
    assert any(
        part.unit_id == "A" and 0.02 < (part.acres or 0) < 0.03 for row in found for part in row.parts
    )  # a small patch is no hair


def test_what_is_overdue_is_told_apart_from_the_rest_of_its_row() -> None:
    """Two hectares cut a year apart: on November 10 2026 one check-up is late, the other not before September 2027."""
    rows = [
        unit("A", box(0, 0, 300, 100)),
        entry("cut", "2026-01-10", box(0, 0, 100, 100)),
        entry("cut", "2026-08-10", box(100, 0, 300, 100)),
    ]
    store = FakeStore(rows, grid=GRID)
    (row,) = [row for row in due(store, on=date(2027, 8, 1)).items if row.what == "checkup"]
    hectare = 10_000 / M2_PER_ACRE
    assert row.state == "overdue"
    assert row.state_acres == pytest.approx(hectare, rel=1e-6) and row.acres == pytest.approx(3 * hectare, rel=1e-6)
    assert "2.47 acres overdue (to 2026-10-31)" in row.words and "4.94 acres coming (to 2027-10-31)" in row.words
    (told,) = [item for item in week(store, on=date(2027, 9, 1)).check if item.what == "checkup"]
    assert told.acres == pytest.approx(3 * hectare, rel=1e-6) and "check-up, 2.5 acres of it overdue" in told.words


def test_no_alarm_of_the_calendar_calls_to_ground_on_hold() -> None:
    """Cut on January 10 and held until February 7: its drying days begin on the 9th and end on March 11."""
    hold = {"unit": "A", "reason": "sale", "from": date(2026, 1, 15), "to": date(2026, 2, 8)}
    held = Settings.model_validate({"hold": [hold, hold | {"unit": "B", "to": date(2026, 3, 5)}]})
    rows = [unit(name, box(x, 0, x + 100, 100)) for name, x in (("A", 0), ("B", 200), ("C", 400))]
    rows += [entry("cut", "2026-01-10", box(x, 0, x + 100, 100)) for x in (0, 200, 400)]
    days = calendar_days(FakeStore(rows, settings=held, grid=GRID), on=date(2026, 1, 20))
    alarms = {(day.summary.split(" (")[0], day.day): day.alarms for day in days}
    first, last = date(2026, 2, 9), date(2026, 3, 11)
    assert alarms["C: drying days begin", first] == (DAY_BEFORE,)
    assert alarms["A: drying days begin", first] == ()  # its day is free, the alarm's own is not
    assert alarms["A: last of the drying days", last] == (WEEK_BEFORE, DAY_BEFORE)
    assert alarms["B: drying days begin", first] == ()
    assert alarms["B: last of the drying days", last] == (DAY_BEFORE,)  # a week before is March 4
    assert any(day.summary == "B: drying days begin (on hold until 2026-03-05)" for day in days)
    assert alarms["B: last day on hold", date(2026, 3, 5)] == (WEEK_BEFORE, DAY_BEFORE)


def test_alarms_ring_at_nine_a_day_and_a_week_before_and_at_seven_that_morning() -> None:
    """A is felled on January 10, and its drying days end on March 11; B's piles are burned on January 19."""
    whole = {name: box(x, 0, x + 100, 100) for name, x in (("A", 0), ("B", 200))}
    rows = [unit(name, shape) for name, shape in whole.items()]
    rows += [entry("cut", "2026-01-10", shape) for shape in whole.values()]
    rows += [entry("pile", "2026-01-12", whole["B"]), entry("pile_burn", "2026-01-19", whole["B"])]
    days = calendar_days(FakeStore(rows, grid=GRID), on=date(2026, 1, 19))
    rung = {
        (day.summary.split(" (")[0], day.day.isoformat()): [
            datetime.combine(day.day, time()) + one for one in day.alarms
        ]
        for day in days
    }
    assert rung["A: last of the drying days", "2026-03-11"] == [datetime(2026, 3, 4, 9), datetime(2026, 3, 10, 9)]
    assert rung["B: check burned piles for heat", "2026-01-20"] == [datetime(2026, 1, 19, 9), datetime(2026, 1, 20, 7)]


def test_strangers_read_of_a_hold_that_it_stands_of_closed_days_when_and_of_a_contract_nothing() -> None:
    def item(what: What) -> DueItem:
        return DueItem(
            unit_id="A", what=what, state="in force", acres=1.0, since_date=date(2026, 1, 1), words="nest of an owl",
            from_date=date(2026, 2, 1), to_date=date(2026, 3, 1), name=f"owl {what}",
        )  # fmt: skip

    drying, hold, closed, contract = (item(what) for what in ("drying", "hold", "closed_cut", "contract"))
    assert told_items([drying, hold, hold, closed, contract]) == (
        drying,
        replace(hold, words="", name="hold", since_date=None, from_date=None, to_date=None),
        replace(closed, words="", name="closed_cut 2026-02-01"),
    )


@pytest.mark.parametrize(
    ("treated", "last_look", "year", "words", "since"),
    [
        (date(2026, 6, 30), None, 2026, "end of the first growing season since the work", date(2026, 6, 30)),
        (date(2026, 7, 1), None, 2027, "end of the first growing season since the work", date(2026, 7, 1)),
        (date(2026, 1, 5), date(2026, 6, 30), 2026, "end of the first growing season since the work", date(2026, 1, 5)),
        (date(2026, 1, 5), date(2026, 7, 1), 2027, "a year since the last check-up", date(2026, 7, 1)),
        (date(2020, 1, 5), date(2026, 3, 1), 2027, "a year since the last check-up", date(2026, 3, 1)),
    ],
)
def test_a_look_is_due_at_the_end_of_the_first_season_and_a_year_after_the_last_one(
    treated: date, last_look: date | None, year: int, words: str, since: date
) -> None:
    piece: Any = SimpleNamespace(unit_id="A", stage="down", first_treated=treated, last_treated=None, snag_frac=0.0,
                                 last_look=last_look, acres=1.0, felled_frac=1.0)  # fmt: skip
    (item,) = _look(piece, date(2026, 8, 1), date(2029, 1, 1))
    assert item.from_date is not None and (item.from_date.year, item.words, item.since_date) == (year, words, since)
    first, last = item.from_date, item.to_date
    assert last is not None
    for on, state in (
        (days_after(first, -1), "coming"),
        (first, "due"),
        (last, "due"),
        (days_after(last, 1), "overdue"),
    ):
        assert next(iter(_look(piece, on, date(2029, 1, 1)))).state == state
    assert list(_look(piece, date(2026, 1, 1), days_after(first, -1))) == []
    assert len(list(_look(piece, date(2026, 1, 1), first))) == 1
    piece.snag_frac = 0.1
    assert "which are dead, and what hangs loose" in next(iter(_look(piece, first, last))).words
    piece.stage, piece.snag_frac = "keep", 0.0
    assert list(_look(piece, first, last)) == []


def test_a_day_of_the_year_is_in_every_year_even_the_29_of_february() -> None:
    assert [_day(year, (2, 29)) for year in (2027, 2028)] == [date(2027, 2, 28), date(2028, 2, 29)]
    assert (_day(0, (5, 1)), _day(10_000, (5, 1))) == (date.min, date.max)
    assert (_day(1, (5, 1)), _day(9999, (5, 1))) == (date(1, 5, 1), date(9999, 5, 1))


@pytest.mark.parametrize(
    ("on", "applied", "planned", "state", "words"),
    [
        (date(2026, 2, 28), 2.0, 5.0, "before its start date", ": 3.0 of 5.0 acres to do"),
        (date(2026, 3, 1), 2.0, 5.0, "open", ": 3.0 of 5.0 acres to do"),
        (date(2026, 3, 2), 2.0, 5.0, "open", ": 3.0 of 5.0 acres to do"),
        (date(2026, 3, 3), 2.0, 5.0, "due", ": 3.0 of 5.0 acres to do"),
        (date(2026, 6, 1), 2.0, None, "due", ""),
        (date(2026, 6, 2), 0.0, 5.0, "overdue", ": 5.0 of 5.0 acres to do"),
        (date(2026, 6, 2), 5.5, 5.0, "done", ": 0.0 of 5.0 acres to do"),
    ],
)
def test_a_contract_item_is_due_from_ninety_days_before_its_date(
    on: date, applied: float, planned: float | None, state: str, words: str
) -> None:
    paid = Item(program="P", item="1", practice_code="314", units=("A", "B"), planned_acres=planned,
                not_before=date(2026, 3, 1), due=date(2026, 6, 1))  # fmt: skip
    (item,) = calendar_due(on=on, bans=[], holds=[], contract=[ContractDate(item=paid, applied_acres=applied)])
    assert (item.state, item.unit_id, item.what) == (state, "A;B", "contract")
    assert item.words == item.name + words and "314" in item.name
    assert item.acres == (None if planned is None else max(0.0, planned - applied))
    assert (item.from_date, item.to_date) == (paid.not_before, paid.due)


@pytest.mark.parametrize(("on", "state"), [(date(2026, 2, 28), None), (date(2026, 3, 1), "coming"),
                                           (date(2026, 5, 29), "coming"), (date(2026, 5, 30), "in force"),
                                           (date(2026, 6, 9), "in force"), (date(2026, 6, 10), None)])  # fmt: skip
def test_closed_days_and_holds_are_told_ninety_days_ahead(on: date, state: str | None) -> None:
    first, last = date(2026, 5, 30), date(2026, 6, 9)
    ban = DatedBan(what="closed_burn", reason="nests", first=first, last=last, units=("A", "B"))
    hold = HeldUnit(unit_id="C", reason="sale", first=first, last=last)
    found = calendar_due(on=on, bans=[ban], holds=[hold], contract=[])
    told = [("A", "closed_burn"), ("B", "closed_burn"), ("C", "hold")]
    assert [(item.unit_id, item.what, item.state) for item in found] == [(*one, state) for one in told if state]
    assert {(item.from_date, item.to_date) for item in found} <= {(first, last)}


def ground_of(**fields: object) -> Any:
    content: dict[str, object] = {
        "unit_id": "A", "stage": "down", "cover": "cedar", "acres": 1.0, "lying_frac": 1.0, "piled_frac": 0.0,
        "felled_frac": 1.0, "snag_frac": 0.0, "last_felled": None, "needles": None, "needles_seen": None,
        "last_fire": None, "last_pile_burn": None, "last_treated": None, "last_look": None, "last_piled": None,
    }  # fmt: skip
    return SimpleNamespace(**(content | fields))


@pytest.mark.parametrize(
    ("on", "needles", "seen", "state", "more"),
    [
        (date(2026, 2, 8), None, None, "drying", ""),
        (date(2026, 2, 9), None, None, "in its drying days", "; no check-up since says"),
        (date(2026, 3, 11), None, None, "in its drying days", "; no check-up since says"),
        (date(2026, 3, 12), "red", date(2026, 3, 1), "past its drying days", "; needles red on 2026-03-01: "),
        (date(2026, 2, 20), "green", date(2026, 2, 8), "in its drying days", "; needles green on 2026-02-08: "),
        (date(2026, 2, 20), "green", date(2026, 2, 9), "drying", "; needles green on 2026-02-09: "),
        (date(2026, 2, 20), "green", None, "in its drying days", "; needles green: "),
    ],
)
def test_slash_felled_on_january_10_dries_for_30_to_60_days(
    on: date, needles: str | None, seen: date | None, state: str, more: str
) -> None:
    felled = ground_of(last_felled=date(2026, 1, 10), needles=needles, needles_seen=seen)
    (item,) = _drying(felled, on, (30, 60))
    assert (item.state, item.from_date, item.to_date) == (state, date(2026, 2, 9), date(2026, 3, 11))
    assert item.words.startswith("felled 2026-01-10" + more) and (more or item.words == "felled 2026-01-10")
    assert item.words.endswith("; ask the burn boss") is (state == "past its drying days")
    felled.lying_frac = 0.0
    assert list(_drying(felled, on, (30, 60))) == list(_drying(ground_of(), on, (30, 60))) == []


def test_after_a_fire_each_day_of_the_checks_is_told_up_to_its_own() -> None:
    fire = date(2026, 2, 1)
    days = [days_after(fire, number) for number in HAND_CHECK_DAYS]
    assert HAND_CHECK_DAYS == (1, 3, 7)

    def told(piece: Any, on: date) -> list[tuple[str, date | None, str]]:
        return [(item.what, item.to_date, item.state) for item in _after_fire(piece, on)]

    piles = ground_of(last_pile_burn=fire)
    assert told(piles, fire) == [("hand_check", day, "coming") for day in days]
    assert told(piles, days[0])[0] == ("hand_check", days[0], "due") and len(told(piles, days[0])) == len(days)
    assert told(piles, days_after(days[-1], 1)) == []
    assert told(ground_of(last_fire=fire), fire) == []
    assert told(ground_of(last_fire=fire, snag_frac=0.1), days[-1]) == [("snag_check", days[-1], "due")]


@pytest.mark.parametrize(
    ("fields", "on", "state"),
    [
        ({"last_fire": date(2022, 3, 1)}, date(2026, 3, 1), "due"),  # 1,461 days on
        ({"last_fire": date(2022, 3, 1)}, date(2026, 2, 28), "coming"),
        ({"last_fire": date(2022, 3, 1)}, date(2025, 12, 1), "coming"),
        ({"last_fire": date(2022, 3, 1)}, date(2025, 11, 30), None),
        ({"last_fire": date(2022, 3, 1), "last_treated": date(2022, 3, 2)}, date(2026, 3, 1), "coming"),
        ({"stage": "coming_back", "last_look": date(2026, 1, 1)}, date(2026, 1, 2), "due"),
        ({"stage": "standing", "last_fire": date(2000, 1, 1)}, date(2026, 3, 1), None),
        ({"stage": "dead_standing", "last_fire": date(2022, 3, 1)}, date(2026, 3, 1), "due"),
        ({"stage": "dead_standing", "last_treated": date(2022, 3, 1)}, date(2026, 3, 1), None),
        ({"stage": "other", "cover": "grass", "last_fire": date(2022, 3, 1)}, date(2026, 3, 1), "due"),
        ({"stage": "other", "cover": "crop", "last_fire": date(2022, 3, 1)}, date(2026, 3, 1), None),
        ({"stage": "other", "cover": "grass"}, date(2026, 3, 1), "due"),
    ],
)
def test_ground_is_kept_up_every_four_years(fields: dict[str, object], on: date, state: str | None) -> None:
    piece = ground_of(**({"stage": "kept_up"} | fields))
    asked = UpkeepRule(reason="cedar", years=4, is_asked=True)
    assert [item.state for item in _upkeep(piece, on, days_after(on, 90), asked)] == ([state] if state else [])
    if piece.last_fire is None and piece.last_treated is None and piece.stage == "other":
        assert list(_upkeep(piece, on, days_after(on, 90), replace(asked, is_asked=False))) == []


def test_acres_of_things_count_ground_once_and_shares_by_it() -> None:
    def item(what: What, acres: float | None, *, fire: int = 1, share: float | None = None) -> DueItem:
        return DueItem(unit_id="A", what=what, state="due", acres=acres, since_date=date(2026, 1, fire), words="",
                       from_date=None, to_date=None, felled_pct=share)  # fmt: skip

    assert acres_of([]) is acres_of([item("photo", None)]) is None
    assert acres_of([item("drying", 1.0), item("drying", None), item("drying", 2.5)]) == 3.5
    assert acres_of([item("drying", 0.0)]) == acres_of([item("hand_check", 0.0)]) == 0
    assert share_of([item("drying", 0.0, share=50.0)], "felled_pct") is None
    # three days of looking after one fire are one ground, the largest told; another fire has its own
    looks = [
        item("hand_check", 1.0),
        item("hand_check", 1.5),
        item("hand_check", None),
        item("hand_check", 2.0, fire=2),
    ]
    assert acres_of(looks) == 3.5
    assert share_of([item("drying", 1.0, share=100.0), item("drying", 3.0, share=20.0)], "felled_pct") == 40.0
    assert share_of([item("drying", 1.0, share=100.0), item("drying", 3.0)], "felled_pct") == 100.0
    assert share_of([item("drying", None, share=100.0)], "felled_pct") is None
    assert share_of([item("drying", 1.0)], "felled_pct") is None


def test_what_presses_stands_first_and_what_comes_within_a_week_is_found() -> None:
    def item(unit_id: str, state: str, first: int | None, last: int | None = None) -> DueItem:
        days = [None if day is None else date(2026, 2, day) for day in (first, last)]
        return DueItem(unit_id=unit_id, what="drying", state=state, acres=1.0, since_date=None, from_date=days[0],
                       to_date=days[1], words=unit_id)  # fmt: skip

    in_order = [
        item("A", "overdue", 9), item("B", "past its drying days", 8), item("C", "due", 3), item("D", "due", 4, 5),
        item("E", "due", 4, 6), item("F", "due", None, 7), item("G", "due", None), item("H", "in force", 1),
        item("I", "in its drying days", 1), item("J", "coming", 1), item("K", "drying", 2),
    ]  # fmt: skip
    rows = due_rows(in_order[::-1])
    assert [row.unit_id for row in rows] == list("ABCDEFGHIJK")
    found = coming_within(rows, on=date(2026, 2, 2), days=3)
    assert [row.unit_id for row in found] == list("CDEK")  # from the 2nd to the 5th, whichever end
    done = due_rows([item("A", "done", 3)])
    assert coming_within(done, on=date(2026, 2, 2), days=3) == ()
    both = due_rows([item("A", "done", 1), item("A", "coming", 5), item("A", "due", 4)])
    assert (len(both), both[0].state, both[0].acres, both[0].state_acres) == (1, "due", 3.0, 1.0)
    assert coming_within(both, on=date(2026, 2, 5), days=0) == both
