"""What a week asks, against a list made by hand for a made-up property with a unit in every state."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.jobs.bite import bite
from habmap.jobs.due import due
from habmap.jobs.effort import effort
from habmap.jobs.rank import rank
from habmap.jobs.week import week
from habmap.measures import M2_PER_ACRE
from habmap.place.settings import Settings
from habmap.records import Look
from habmap.show.week_words import SCREEN_ROWS, item_words, week_lines
from habmap.vocabulary import FIRE_CAUTION, MACHINE_CAUTION, SAW_CAUTION
from habmap.work.closures import Closure, Closures
from habmap.work.plan_days import PlanDays
from habmap.work.priority import Ranked
from habmap.work.seasons import COMING_BACK, Ban, DatedBan, DueItem, HeldUnit, YearlyDays
from habmap.work.week import (
    Ask,
    Barrier,
    Week,
    WeekFault,
    WeekItem,
    WeekResult,
    _Barriers,
    _checkup,
    _fire_check,
    _spots,
    soonest,
    together,
    week_of,
)

ON = date(2026, 2, 10)
ACRES = 10_000 / M2_PER_ACRE  # each unit is a hectare
SETTINGS = {
    "hold": [
        {"unit": "U02", "reason": "owl nest", "from": date(2026, 2, 1), "to": date(2026, 7, 31)},
        {"unit": "U09", "reason": "sale", "from": date(2026, 3, 1)},
    ],
    "closed": [
        {"work": "burn", "reason": "hay in the open", "units": ["U03"], "from": "02-01", "to": "02-20"},
        {"work": "burn", "reason": "ground-nesting birds", "from": "03-01", "to": "07-31"},
    ],
    "burn_for": [{"reason": "cedar", "units": ["U08"], "years": 4}],
    "burn_plan": {
        "down_cedar": {"author": "R. Boss", "date": date(2025, 11, 1), "from": "12-01", "to": "04-10"},
        "piles": {"author": "R. Boss", "date": date(2025, 11, 1), "from": "12-01", "to": "02-05"},
    },
    "contract": [
        {"program": "EQIP", "item": "1", "practice_code": "314", "units": ["U01"], "planned_acres": 2.0,
         "not_before": date(2026, 3, 15)},
        {"program": "EQIP", "item": "2", "practice_code": "314", "units": ["U10"], "planned_acres": 9.0,
         "due": date(2026, 4, 30)},
    ],
}  # fmt: skip


def plot(number: int) -> object:
    """Return the hectare of a unit."""
    return box(150 * number, 0, 150 * number + 100, 100)


def store(settings: dict[str, object] = SETTINGS) -> FakeStore:
    """Return ten units: 1 dense, standing; 2 held slash; 3 slash closed to burning; 4 slash red; 5 slash green; 6 slash
    past its days, girdled; 7 piles; 8 burned long ago; 9 burned piles; 10 part cut."""
    rows = [
        unit(f"U{n:02d}", plot(n), name=f"Stand {n}", stems_per_acre=900.0 if n == 1 else 100.0, target_pct=80.0)
        for n in range(1, 11)
    ]
    rows += [
        entry("cut", "2026-01-05", plot(2)),
        entry("cut", "2026-01-05", plot(3)),
        entry("cut", "2026-01-01", plot(4)),
        entry("checkup", "2026-02-05", plot(4), look=Look(needles="red")),
        entry("cut", "2026-01-02", plot(5)),
        entry("checkup", "2026-02-06", plot(5), look=Look(needles="green")),
        entry("girdle", "2025-11-01", plot(6), killed_pct=30.0),
        entry("cut", "2025-11-10", plot(6)),
        entry("cut", "2025-10-01", plot(7)),
        entry("pile", "2025-12-20", plot(7)),
        entry("cut", "2021-01-05", plot(8)),
        entry("burn", "2021-03-01", plot(8)),
        entry("checkup", "2025-09-15", plot(8)),
        entry("cut", "2025-12-01", plot(9)),
        entry("pile", "2026-01-10", plot(9)),
        entry("pile_burn", "2026-02-09", plot(9)),
        entry("cut", "2026-02-08", box(1500, 0, 1550, 100), killed_pct=50.0),
    ]  # fmt: skip
    return FakeStore(rows, settings=Settings.model_validate(settings), grid=GRID)


def told(items: tuple[WeekItem, ...]) -> list[tuple[str | None, str, str | None]]:
    return [(item.unit_id, item.what, None if item.to_date is None else str(item.to_date)) for item in items]


def only(items: tuple[WeekItem, ...], unit_id: str, what: str) -> WeekItem:
    (found,) = [item for item in items if (item.unit_id, item.what) == (unit_id, what)]
    return found


def test_the_week_is_as_written_down_by_hand() -> None:
    asked = week(store(), on=ON)
    assert told(asked.forbidden) == [
        ("U03", "closed_burn", "2026-02-20"),
        ("U01", "contract", "2026-03-14"),  # the day before it begins
        ("U02", "hold", "2026-07-31"),
        (None, "burn_plan", "2026-11-30"),  # the plan for piles ended on February 5 and begins on December 1
    ]
    # sixty days after January 1 is March 2; the closed days from March 1 on end it a day before: February 28
    assert told(asked.closes) == [
        ("U04", "drying", "2026-02-28"),
        ("U05", "drying", "2026-02-28"),
        ("U10", "contract", "2026-04-30"),
    ]
    # U05 is green, U02 held, U03 closed; U08 was burned on March 1 2021, four years on is past; U06 is past its days
    assert told(asked.burn) == [
        ("U04", "drying", "2026-02-28"),
        ("U08", "upkeep", "2026-02-28"),
        ("U06", "drying", None),
    ]
    # U01 is dense and would come first, but its contract has not begun; U10 has half a hectare killed by half
    assert told(asked.cut) == [("U10", "cut", None)]
    # the piles of U09 burned yesterday: day 1; nothing else is due in February
    assert told(asked.check) == [("U09", "hand_check", "2026-02-10")]

    assert only(asked.closes, "U04", "drying").acres == pytest.approx(ACRES, rel=1e-6)
    assert only(asked.cut, "U10", "cut").acres == pytest.approx(ACRES, rel=1e-6)
    assert only(asked.closes, "U10", "contract").acres == pytest.approx(9.0, abs=1e-9)

    forbidden = {item.unit_id: (item.words, item.waits) for item in asked.forbidden}
    assert "owl nest" in forbidden["U02"][0] and forbidden["U02"][1] == ("slash 2.5",)
    assert "hay in the open" in forbidden["U03"][0] and forbidden["U03"][1] == ("slash 2.5",)
    assert "forfeit" in forbidden["U01"][0] and forbidden["U01"][1] == ("cutting 2.5",)
    assert forbidden[None][1] == ("U07 piles 2.5",)
    assert "needles red on 2026-02-05" in only(asked.burn, "U04", "drying").words
    assert "needles green on 2026-02-06" in only(asked.closes, "U05", "drying").words
    past = only(asked.burn, "U06", "drying").words
    # the girdling killed 30%, and the cut took the other 70% down
    assert "ask the burn boss" in past and "30% stand dead" in past
    assert "U01 would come first and must wait" in only(asked.cut, "U10", "cut").words


def lines_of(result: WeekResult) -> str:
    lines = week_lines(result)
    assert len(lines) <= SCREEN_ROWS and max(map(len, lines)) <= 80
    return "\n".join(lines)


def test_the_screen_says_first_what_is_forbidden_and_never_that_a_fire_may_be_lit() -> None:
    screen = lines_of(week(store(), on=ON))
    order = [
        screen.index(head)
        for head in ("Forbidden or closed now", "\nCloses", "\nOnly to consider", "\nTo cut", "\nTo check")
    ]
    assert order == sorted(order)
    for word in ("ready", "safe to", "permitted", "go ahead"):
        assert word not in screen.lower()
    assert "The burn boss" in screen and "Chain saws" in screen.replace("\n", " ")


def test_the_first_line_answers_what_now() -> None:
    def head(asked: WeekResult) -> str:
        return " ".join(lines_of(asked).split("Forbidden or")[0].split())

    asked = week(store(), on=ON)
    assert head(asked).endswith(
        "Now: look after the burned piles in U09 on 2026-02-10; closing first: slash in U04 (2026-02-28); "
        "cut next in U10."
    )
    shut = SETTINGS | {"closed": [{"work": "cut", "from": "02-01", "to": "03-10"}], "contract": []}
    assert head(week(store(shut), on=ON)).endswith("; nothing to cut, closed until 2026-03-10.")
    late = [{"program": "EQIP", "item": "2", "practice_code": "314", "units": ["U10"], "planned_acres": 9.0,
             "due": date(2026, 1, 31)}]  # fmt: skip
    # what is over already does not hide what still can be kept
    assert "closing first: slash in U04 (2026-02-28)" in head(week(store(SETTINGS | {"contract": late}), on=ON))
    assert "overdue: contract acres in U10 (2026-01-31)" in head(
        week(store(SETTINGS | {"contract": late}), on=date(2026, 9, 1))
    )


def test_rank_and_bite_wait_for_a_contract_s_first_day_as_the_week_does() -> None:
    order = rank(store(), on=ON, today=ON)
    assert order.next_unit_id == "U10"
    (first,) = [one for one in order.units if one.unit_id == "U01"]
    assert first.order < next(one.order for one in order.units if one.unit_id == "U10")
    assert first.closure is not None and not first.on_hold
    assert first.closure.words == "waiting until 2026-03-14: EQIP 1 (314) has not begun"
    found = bite(store(), acres=0.5, on=ON, today=ON)
    assert found.unit_id == "U10" and "U01 would come before it but is waiting until 2026-03-14" in found.why[0]
    # asked for by name it is drawn, and told: the ground is open, the pay is not
    asked = bite(store(), acres=0.5, unit_id="U01", on=ON, today=ON)
    assert asked.unit_id == "U01" and "contract EQIP 1: not before 2026-03-15" in asked.why
    begun = date(2026, 3, 15)
    assert rank(store(), on=begun, today=begun).next_unit_id == bite(store(), acres=0.5, today=begun).unit_id == "U01"


def test_what_waits_for_a_contract_stands_with_its_own_unit_and_alike_lines_are_one() -> None:
    line = {"program": "EQIP", "item": "1", "practice_code": "314", "not_before": date(2026, 3, 15)}
    settings = {"contract": [line | {"units": ["U08", "U04", "U01"]}]}
    asked = week(store(settings), on=ON)
    waits = {item.unit_id: item.waits for item in asked.forbidden if item.what == "contract"}
    assert waits == {"U08": (), "U04": (), "U01": ("cutting 2.5",)}
    screen = lines_of(asked)
    assert "\n  U01  EQIP 1 (314) has not begun" in screen  # what keeps something waiting stands first
    alike = lines_of(week(store({"contract": [line | {"units": ["U08", "U04"]}]}), on=ON))
    assert "\n  U04, U08  EQIP 1 (314) has not begun until 2026-03-14" in alike
    assert "more" not in alike.split("Closes")[0]


def test_an_empty_property_has_an_empty_week() -> None:
    asked = week(FakeStore([], grid=GRID), on=ON)
    assert all(getattr(asked, name) == () for name in ("forbidden", "closes", "burn", "cut", "check"))
    assert "nothing in habmap.toml" in lines_of(asked)


def test_weeks_of_several_properties_are_one_list_soonest_first() -> None:
    def line(place: str, unit_id: str | None, what: str, acres: float | None, to: int | None) -> WeekItem:
        last = None if to is None else date(2026, 3, to)
        return WeekItem(place=place, unit_id=unit_id, what=what, acres=acres, to_date=last, words="")

    def of(place: str, *lines: WeekItem, notes: tuple[str, ...] = (), cautions: tuple[str, ...] = ()) -> WeekResult:
        return WeekResult(places=(place,), on=ON, forbidden=lines, closes=lines[:1], burn=lines[1:2], cut=lines[2:3],
                          check=lines[3:4], notes=notes, cautions=cautions)  # fmt: skip

    east = [line("E", "E1", "cut", 1.0, None), line("E", None, "hold", None, 9), line("E", "E2", "cut", 2.0, 9)]
    west = [line("W", "W1", "cut", 5.0, 9), line("W", "E1", "burn", 1.0, None), line("W", "A", "cut", 1.0, 2),
            line("W", "A", "burn", 1.0, 2)]  # fmt: skip
    fault = WeekFault(place="N", what="gone")
    both = together(
        [of("E", *east, notes=("n",), cautions=("a", "b")), of("W", *west, notes=("n", "m"), cautions=("b", "c"))],
        on=ON, faults=[fault],
    )  # fmt: skip
    # by the last day, then the larger first, then by unit and what is asked; without a last day at the end
    assert both.forbidden == (west[3], west[2], west[0], east[2], east[1], west[1], east[0])
    assert (both.closes, both.burn, both.cut, both.check) == (
        (west[0], east[0]), (east[1], west[1]), (west[2], east[2]), (west[3],),
    )  # fmt: skip
    assert (both.places, both.on, both.notes, both.cautions, both.faults) == (
        ("E", "W"), ON, ("n", "m"), ("a", "b", "c"), (fault,),
    )  # fmt: skip


def test_without_a_signed_plan_it_is_said_and_days_of_a_plan_hold_all_the_same() -> None:
    settings = SETTINGS | {"burn_plan": {"down_cedar": {"from": "12-01", "to": "02-05"}}, "closed": []}
    asked = week(store(settings), on=ON)
    assert ("U04", "drying", "2026-02-05") not in told(asked.burn)
    assert told(asked.burn)[0][1] == "piles" or told(asked.burn)[0][1] == "upkeep"
    assert "no signed burn plan" in only(asked.burn, "U07", "piles").words
    (plan,) = [item for item in asked.forbidden if item.what == "burn_plan"]
    assert [words.split()[0] for words in plan.waits] == ["U03", "U04", "U05", "U06"] and str(
        plan.to_date
    ) == "2026-11-30"


def test_the_public_reads_on_hold_and_never_why() -> None:
    asked = week(store(), on=ON, audience="public")
    whole = repr(asked) + lines_of(asked)
    for secret in ("owl", "hay in", "birds", "EQIP", "forfeit"):
        assert secret not in whole
    held = only(asked.forbidden, "U02", "hold")
    assert held.to_date is None and held.words == "on hold" and held.waits == ("slash 2.5",)


def test_upkeep_goes_by_saw_where_burning_is_closed_and_waits_where_both_are() -> None:
    closed = [{"work": "burn", "from": date(2026, 2, 1), "to": date(2026, 2, 28)}]
    asked = week(store(SETTINGS | {"closed": closed}), on=ON)
    assert told(asked.burn) == []
    assert "mow, graze or pull" in only(asked.cut, "U08", "upkeep").words
    both = [*closed, {"work": "cut", "from": date(2026, 2, 1), "to": date(2026, 2, 20)}]
    asked = week(store(SETTINGS | {"closed": both}), on=ON)
    assert asked.burn == asked.cut == ()
    assert any("U08 upkeep 2.5" in item.waits for item in asked.forbidden if item.what == "closed_burn")
    assert any("U10 cutting 2.5" in item.waits for item in asked.forbidden if item.what == "closed_cut")


def test_a_month_off_is_said() -> None:
    asked = week(store(SETTINGS | {"effort": {"working_months": [1, 3]}}), on=ON)
    assert [item.what for item in asked.cut] == [] and "working months" in asked.notes[0]
    # nor is upkeep asked for by saw, where burning is closed
    closed = [{"work": "burn", "from": date(2026, 2, 1), "to": date(2026, 2, 28)}]
    asked = week(store(SETTINGS | {"effort": {"working_months": [1, 3]}, "closed": closed}), on=ON)
    assert asked.cut == () and "U08" not in {item.unit_id for item in asked.closes}


def test_what_is_to_be_cut_names_the_next_bite_and_not_only_all_that_remains() -> None:
    """Hours of a week at 4 hours an acre are 2 acres of 2.47; nobody's hours: an acre, and what it takes."""
    by_week = only(
        week(store(SETTINGS | {"effort": {"hours_per_week": 8.0, "rates": {"cut": 4.0}}}), on=ON).cut, "U10", "cut"
    )
    assert (by_week.bite_acres, by_week.bite_hours) == (pytest.approx(2.0), pytest.approx(8.0))
    assert by_week.acres == pytest.approx(ACRES, rel=1e-6)
    assert item_words(by_week).startswith("next 2.0 of 2.5 acres, about 8 person-hours, ")
    plain = only(week(store(SETTINGS | {"effort": {"rates": {"cut": 4.0}}}), on=ON).cut, "U10", "cut")
    assert (plain.bite_acres, plain.bite_hours) == (1.0, pytest.approx(4.0))
    crew = only(
        week(store(SETTINGS | {"effort": {"hours_per_week": 80.0, "rates": {"cut": 4.0}}}), on=ON).cut, "U10", "cut"
    )
    assert item_words(crew).startswith("all 2.5 acres that remain, about 10 person-hours, ")
    unknown = only(week(store(), on=ON).cut, "U10", "cut")
    assert (unknown.bite_acres, unknown.bite_hours) == (1.0, None)
    assert item_words(unknown).startswith("next 1.0 of 2.5 acres, U01 would come first")
    public = only(
        week(store(SETTINGS | {"effort": {"rates": {"cut": 4.0}}}), on=ON, audience="public").cut, "U10", "cut"
    )
    assert public.bite_hours is None


def test_a_contract_that_is_due_soon_is_a_reason_and_moves_nothing_in_the_order() -> None:
    """U10 is named by an item due on April 30, 79 days on; ninety days are soon, and May 12 is 91 days away."""
    order = rank(store(), today=ON).units
    (pressed,) = [one for one in order if one.contract_due is not None]
    assert (pressed.unit_id, pressed.contract_due) == ("U10", date(2026, 4, 30))
    assert "contract EQIP 2 (314): due soon, by 2026-04-30, 9.0 acres to do" in pressed.reasons
    assert "due soon, by 2026-04-30" in only(week(store(), on=ON).cut, "U10", "cut").words
    late = [dict(SETTINGS["contract"][1], due=day) for day in (date(2026, 5, 12), date(2026, 2, 1))]  # type: ignore[index]
    assert all(one.contract_due is None for one in rank(store(SETTINGS | {"contract": late[:1]}), today=ON).units)
    over = rank(store(SETTINGS | {"contract": late[1:]}), today=ON).units
    assert [one.pressing for one in over if one.pressing] == [
        "contract EQIP 2 (314): overdue since 2026-02-01, 9.0 acres to do"
    ]
    without = rank(store(SETTINGS | {"contract": []}), today=ON).units
    assert [one.unit_id for one in over] == [one.unit_id for one in without]
    public = only(week(store(), on=ON, audience="public").cut, "U10", "cut").words
    assert "EQIP" not in public


def test_cautions_go_with_the_way_the_work_is_done() -> None:
    """A saw to cut, the machines that the log's own clearing was done with, mower and puller where upkeep waits."""
    by_saw = store()
    by_machine = FakeStore(
        [unit("A", plot(1)), entry("mulch", "2026-01-05", box(150, 0, 200, 100))],
        settings=Settings(), grid=GRID,
    )  # fmt: skip
    for asked, has_machine in ((by_saw, False), (by_machine, True)):
        for told in (
            rank(asked, today=ON).cautions,
            bite(asked, acres=0.5, today=ON).cautions,
            effort(asked, today=ON).cautions if has_machine else (SAW_CAUTION,),
            week(asked, on=ON).cautions,
        ):
            assert SAW_CAUTION in told and (MACHINE_CAUTION in told) == has_machine
    # due asks for no sawing but where cedars come back; U08 is kept up by fire or mower
    told = due(by_saw, on=ON).cautions
    assert MACHINE_CAUTION in told and FIRE_CAUTION in told and SAW_CAUTION not in told
    live = entry("checkup", "2026-02-01", plot(8), look=Look(live_stems_per_acre=400.0))
    by_saw.append([live])
    assert SAW_CAUTION in due(by_saw, on=ON).cautions


def part(from_date: date | None, *, to_date: date | None = None, acres: float = 1.0) -> DueItem:
    return DueItem(unit_id="A", what="photo", state="due", acres=acres, since_date=None, from_date=from_date,
                   to_date=to_date, words="")  # fmt: skip


@pytest.mark.parametrize("is_held", [False, True])
def test_what_begins_by_this_day_next_week_is_asked_for_or_waits(is_held: bool) -> None:
    """On February 10 what begins on the 17th is asked for, and what begins on the 18th is not."""
    near, far, open_ = part(date(2026, 2, 17), to_date=date(2026, 5, 2)), part(date(2026, 2, 18)), part(None)
    old = part(date(2025, 2, 18), to_date=date(2026, 5, 1), acres=2.0)
    gate = SimpleNamespace(waits=[])
    barriers: Any = SimpleNamespace(before=lambda _unit_id: gate if is_held else None)

    def asked(add: Callable[..., None], unit_id: str | None, *words: str, parts: list[DueItem]) -> list[Ask]:
        asks: defaultdict[str, list[Ask]] = defaultdict(list)
        gate.waits.clear()
        add(unit_id, *words, parts, barriers, asks, ON)
        here, there = (gate.waits, asks["check"]) if is_held and unit_id else (asks["check"], gate.waits)
        assert not there
        return list(here)

    (spots,) = asked(_spots, "A", "photo", parts=[far, open_, near])
    assert (spots.unit_id, spots.what, spots.parts, spots.to_date) == ("A", "photo", (open_, near), None)
    assert asked(_spots, None, "photo", parts=[near])[0].unit_id is None
    assert asked(_spots, "A", "photo", parts=[far]) == []
    (look,) = asked(_checkup, "A", parts=[far, open_, near, old])
    assert (look.what, look.acres, look.to_date, look.parts) == ("checkup", 3.0, date(2026, 5, 1), (near, old))
    assert asked(_checkup, "A", parts=[far, open_]) == []
    # nobody is kept from looking after a fire: on the first of its days
    (check,) = _fire_check("A", "hand_check", [far, open_, near, old], ON)
    assert (check.to_date, check.acres, check.parts) == (date(2025, 2, 18), 3.0, (near, old))
    assert _fire_check("A", "hand_check", [far, open_], ON) == []


# --- facts alone ---------------------------------------------------------------------------------------------


def thing(what: str, **fields: Any) -> DueItem:
    content: dict[str, Any] = {
        "unit_id": "A", "what": what, "state": "due", "acres": 1.0, "since_date": None, "from_date": None,
        "to_date": None, "words": what, "name": what,
    }  # fmt: skip
    return DueItem(**(content | fields))


def facts(
    *items: DueItem,
    bans: Sequence[Ban] = (),
    holds: Sequence[HeldUnit] = (),
    days: YearlyDays | None = None,
    order: Sequence[Ranked] = (),
    is_month_off: bool = False,
) -> Week:
    """Return the week of things due, every fire by one plan with these days of the year."""
    return week_of(
        items, on=ON, closures=Closures(bans=bans, holds=holds), order=order, is_month_off=is_month_off,
        plan_of=lambda kind, unit_id: PlanDays(kind=kind, is_signed=True, days=days),
        bite_of=lambda unit: (unit.remaining_acres / 2, None),
    )  # fmt: skip


def day(number: int) -> date:
    """Return a day counted from February 10."""
    return ON + timedelta(days=number)


def test_lines_are_sorted_by_their_end_their_acres_to_a_millionth_their_unit_and_what() -> None:
    def line(unit_id: str | None, acres: float | None, what: str = "cut") -> WeekItem:
        return WeekItem(place="P", unit_id=unit_id, what=what, acres=acres, to_date=None, words="")

    small, large, same = line("A", 1.0), line("B", 1.000004), line("C", 1.0000004)
    bare, nowhere, piles = line("A", None), line(None, None), line("A", None, "piles")
    lines = [piles, bare, nowhere, small, same, large]
    assert sorted(lines, key=soonest) == [large, small, same, nowhere, bare, piles]


def test_ground_that_is_in_no_unit_is_asked_for_nowhere_but_at_its_spots() -> None:
    for what in ("drying", "piles", "upkeep", "checkup", "hand_check", "snag_check"):
        found = facts(thing(what, unit_id=None, from_date=day(0)), thing("photo", unit_id=None))
        assert {section: [ask.what for ask in asks] for section, asks in found.asks.items()} == {
            "closes": [], "burn": [], "cut": [], "check": ["photo"],
        }  # fmt: skip


def test_slash_is_asked_for_from_its_first_drying_day_to_its_last_and_past_it_is_a_question() -> None:
    begun = thing("drying", state="in its drying days", from_date=day(0), to_date=day(0), acres=2.0)
    later = replace(begun, from_date=day(1), to_date=day(30))
    over = replace(begun, state="past its drying days", from_date=day(-30), to_date=day(-1), acres=4.0)
    green = replace(begun, state="drying", from_date=day(-3), to_date=day(9), acres=8.0)

    def told(*items: DueItem) -> tuple[list[tuple[float | None, date | None]], list[tuple[float | None, ...]]]:
        asks = facts(*items).asks
        assert not any(ask.is_without_fire for ask in asks["burn"])
        return (
            [(ask.acres, ask.to_date) for ask in asks["closes"]],
            [(ask.acres, ask.past_acres, ask.to_date) for ask in asks["burn"]],  # type: ignore[misc]
        )

    assert told(later) == ([], [])
    assert told(begun, later) == ([(2.0, day(0))], [(2.0, None, day(0))])
    assert told(begun, over) == ([(2.0, day(0))], [(2.0, 4.0, day(0))])
    assert told(over) == ([], [(4.0, None, None)])
    # green slash closes, and is not to be burned
    assert told(green) == ([(8.0, day(9))], [])
    assert told(green, over) == ([(8.0, day(9))], [(4.0, None, None)])
    assert told(begun, green) == ([(10.0, day(0))], [(2.0, None, day(0))])
    # nor is slash that is green still when its days are over: not asked about, and not past beside what is open
    still_green = replace(green, to_date=day(-1))
    assert told(still_green) == ([], [])
    assert told(begun, still_green) == ([(2.0, day(0))], [(2.0, None, day(0))])
    assert told(begun, still_green, over) == ([(2.0, day(0))], [(2.0, 4.0, day(0))])
    # piles have no last day but the plan's
    assert facts(thing("piles")).asks["closes"] == []
    (piles,) = facts(thing("piles"), days=YearlyDays(first=(2, 1), last=(2, 20))).asks["burn"]
    assert (piles.to_date, piles.what) == (date(2026, 2, 20), "piles")
    # behind a barrier it waits, with what of it is not over
    closed = DatedBan(what="closed_burn", reason="wind", first=day(0), last=day(0))
    gate = facts(begun, over, bans=[closed])
    assert gate.asks["burn"] == gate.asks["closes"] == []
    (barrier,) = gate.barriers
    assert (barrier.what, barrier.unit_id, barrier.to_date, barrier.reason) == ("closed_burn", "A", day(0), "wind")
    assert [(ask.acres, ask.to_date) for ask in barrier.waits] == [(6.0, day(0))]


def test_the_days_of_a_burn_plan_are_one_barrier_for_all_whose_plan_it_is() -> None:
    spring = YearlyDays(first=(3, 1), last=(4, 10))
    found = facts(thing("drying", from_date=day(0)), thing("drying", unit_id="B", from_date=day(0)), thing("piles"),
                  days=spring)  # fmt: skip
    assert [(one.what, one.unit_id, one.to_date, one.reason, len(one.waits)) for one in found.barriers] == [
        ("burn_plan", None, date(2026, 2, 28), "down_cedar", 3)
    ]
    open_ = facts(thing("drying", from_date=day(0)), days=YearlyDays(first=(2, 10), last=(2, 12)))
    assert [ask.to_date for ask in open_.asks["burn"]] == [date(2026, 2, 12)] and open_.barriers == []
    # what closes first ends it: closed days, a hold, the plan
    bans = [DatedBan(what="closed_burn", reason="hay", first=day(4), last=day(9))]
    assert facts(thing("piles"), bans=bans, days=spring).asks["burn"] == []
    (ask,) = facts(thing("piles"), bans=bans).asks["burn"]
    assert ask.to_date == day(3)


def test_upkeep_goes_by_fire_or_by_saw_as_far_as_each_is_open_and_closes_with_its_days() -> None:
    years = thing("upkeep", from_date=day(0), to_date=day(20))
    back = replace(years, name=COMING_BACK, acres=2.0, to_date=None)

    def told(found: Week) -> dict[str, list[tuple[float | None, date | None, bool]]]:
        return {
            section: [(ask.acres, ask.to_date, ask.is_without_fire) for ask in asks]
            for section, asks in found.asks.items()
            if asks
        }

    by_fire = {"burn": [(1.0, day(20), False)], "closes": [(1.0, day(20), False)]}
    assert told(facts(years)) == told(facts(replace(years, state="overdue"))) == by_fire
    assert told(facts(replace(years, state="coming"))) == told(facts(replace(years, from_date=day(1)))) == {}
    assert told(facts(replace(years, from_date=None))) == by_fire
    # cedars that come back are cut first, and burned where cutting is closed or nobody cuts
    assert told(facts(back)) == {"cut": [(2.0, None, True)]}
    assert told(facts(back, is_month_off=True)) == {"burn": [(2.0, None, False)]}
    no_cut = DatedBan(what="closed_cut", reason="fair", first=day(0), last=day(2))
    assert told(facts(back, bans=[no_cut])) == {"burn": [(2.0, None, False)]}
    assert told(facts(years, back)) == by_fire | {"cut": [(2.0, None, True)]}
    # by saw until the last day before cutting is closed, by fire until the last before burning is
    soon_cut = DatedBan(what="closed_cut", reason="fair", first=day(6), last=day(8))
    soon_burn = DatedBan(what="closed_burn", reason="dry", first=day(3), last=day(8))
    assert told(facts(back, bans=[soon_cut, soon_burn])) == {"cut": [(2.0, day(5), True)]}
    assert told(facts(years, bans=[soon_cut, soon_burn]))["burn"] == [(1.0, day(2), False)]
    no_burn = replace(soon_burn, first=day(0))
    assert told(facts(years, bans=[no_burn]))["cut"] == [(1.0, day(20), True)]
    # where neither is open it waits once
    shut = facts(years, bans=[no_burn, no_cut])
    assert told(shut) == {} and {one.what: len(one.waits) for one in shut.barriers} == {
        "closed_burn": 1,
        "closed_cut": 0,
    }
    shut = facts(back, bans=[no_burn, no_cut])
    assert told(shut) == {} and {one.what: len(one.waits) for one in shut.barriers} == {
        "closed_burn": 0,
        "closed_cut": 1,
    }


def test_a_contract_that_is_due_closes_unless_all_of_its_units_are_on_hold() -> None:
    item = thing("contract", unit_id="A;B", to_date=day(40), name="P 1 (314)")
    hold_a, hold_b = (HeldUnit(unit_id=name, reason="owls", first=None, last=day(9)) for name in "AB")

    def closes(*holds: HeldUnit, **fields: object) -> list[tuple[str | None, date | None]]:
        found = facts(replace(item, **fields), holds=holds)  # type: ignore[arg-type]
        assert sum(len(one.waits) for one in found.barriers) == (
            not found.asks["closes"] and fields.get("state") is None
        )
        return [(ask.unit_id, ask.to_date) for ask in found.asks["closes"]]

    assert closes() == closes(hold_a) == closes(hold_b) == [("A;B", day(40))]
    assert closes(hold_a, hold_b) == [] and closes(hold_a, unit_id="A") == []
    assert closes(state="overdue") == [("A;B", day(40))] and closes(unit_id=None) == [(None, day(40))]
    assert closes(state="open") == closes(state="done") == []
    # one that has not begun forbids, in each of its units, until the day before
    early = facts(replace(item, state="before its start date", from_date=day(5)))
    assert [(one.what, one.unit_id, one.to_date, one.reason) for one in early.barriers] == [
        ("contract", "A", day(4), "P 1 (314)"), ("contract", "B", day(4), "P 1 (314)"),
    ]  # fmt: skip
    everywhere = facts(replace(item, state="before its start date", from_date=day(5), unit_id=None))
    assert [one.unit_id for one in everywhere.barriers] == [None]
    assert facts(replace(item, state="before its start date", from_date=None)).barriers == []
    assert facts(replace(item, state="open", from_date=day(5))).barriers == []


def ranked(unit_id: str, *, tier: str = "next", closure: Closure | None = None) -> Ranked:
    return Ranked(order=1, unit_id=unit_id, name="", cover="cedar", tier=tier, score=None, reasons=(), parts={},  # type: ignore[arg-type]
                  firm_pct=None, close_call=False, remaining_acres=6.0, closure=closure)  # fmt: skip


def test_the_first_stand_of_the_order_that_nothing_keeps_is_cut_and_those_before_it_wait() -> None:
    waits = Closure(work="contract", reason="P 1", last=day(4))
    order = [ranked("U", tier="upkeep"), ranked("A"), ranked("B", closure=waits), ranked("C"), ranked("D")]
    hold = HeldUnit(unit_id="A", reason="owls", first=None, last=None)
    soon = DatedBan(what="closed_cut", reason="fair", first=day(3), last=day(8))
    found = facts(order=order, holds=[hold], bans=[soon])
    (cut,) = found.asks["cut"]
    assert (cut.unit_id, cut.acres, cut.bite_acres, cut.to_date, cut.passed) == ("C", 6.0, 3.0, day(2), ("A", "B"))
    # to be cut comes before what is kept up by saw
    back = thing("upkeep", name=COMING_BACK)
    assert [ask.what for ask in facts(back, order=order).asks["cut"]] == ["cut", "upkeep"]
    assert facts(order=order, is_month_off=True).asks["cut"] == []
    assert facts(order=order[:1]).asks["cut"] == []


def test_what_keeps_a_unit_is_its_own_hold_or_closed_days_with_their_own_end() -> None:
    """Holds of A, B and C, one of B that ends sooner, and days closed to cutting for all."""

    def held(unit_id: str, last: date | None) -> tuple[HeldUnit, Barrier]:
        hold = HeldUnit(unit_id=unit_id, reason="owls", first=None, last=last)
        return hold, Barrier(what="hold", unit_id=unit_id, to_date=last, reason="owls")

    soon, late = ON + timedelta(days=1), ON + timedelta(days=9)
    told = [held("A", late), held("B", soon), held("B", late), held("C", None)]
    ban = DatedBan(what="closed_cut", reason="fair", first=ON, last=soon)
    closed = Barrier(what="closed_cut", unit_id=None, to_date=soon, reason="fair")
    barriers = _Barriers(
        [*(barrier for _, barrier in told), closed], Closures(bans=[ban], holds=[hold for hold, _ in told]),
        lambda kind, _: PlanDays(kind=kind, is_signed=True, days=None), ON,
    )  # fmt: skip
    assert [barriers.before(name, "cut") for name in "ABCD"] == [told[0][1], told[2][1], told[3][1], closed]
    assert barriers.before("D", "burn") is None and len(barriers.all) == 5
    # what is not listed, as for strangers, is made once
    bare = _Barriers([], barriers.closures, lambda kind, _: PlanDays(kind=kind, is_signed=True, days=None), ON)
    assert bare.before("B", "cut") is bare.before("B", "cut") and bare.all == [told[2][1]]
