"""What a season has to hold, task by task, by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from habmap.work.closures import Closures
from habmap.work.effort_account import PracticeRate
from habmap.work.paperwork_records import Item
from habmap.work.plan_days import PlanDays
from habmap.work.schedule import Seasonal, Task, _pressing
from habmap.work.schedule_tasks import Stand, cut_tasks, ground_tasks, kind_rates, like_task
from habmap.work.seasons import COMING_BACK, ContractDate, DatedBan, DueItem, HeldUnit, UpkeepRule, YearlyDays

FIRST = date(2026, 1, 5)
ITEM = DueItem(unit_id="A", what="drying", state="", acres=2.0, since_date=None, from_date=date(2026, 2, 1),
               to_date=date(2026, 4, 1), words="felled", name="drying")  # fmt: skip
RATES = kind_rates([], {"burn": 3.0})
UPKEEP = {name: UpkeepRule(reason="r", years=4, is_asked=name == "B") for name in "AB"}


def contract(
    name: str = "P 1",
    *,
    units: tuple[str, ...] = ("A",),
    practice: str = "cut",
    not_before: date | None = None,
    due: date | None = None,
    left_acres: float | None = None,
) -> ContractDate:
    """Return a contract item of which so much is left, three acres of it applied."""
    planned = None if left_acres is None else left_acres + 3.0
    item = Item(
        program=name, item="", practice_code="314", units=units, planned_acres=planned, not_before=not_before, due=due
    )
    return ContractDate(item=item, applied_acres=3.0, practices=frozenset({practice}))


def plan_of(kind: str, unit_id: str) -> PlanDays:
    return PlanDays(kind=kind, is_signed=True, days=None)  # type: ignore[arg-type]


def tasks(*items: DueItem, terms: tuple[ContractDate, ...] = ()) -> list[Task]:
    return ground_tasks(items, terms, rates=RATES, plan_of=plan_of, upkeep=UPKEEP, first=FIRST)


def only(*items: DueItem, terms: tuple[ContractDate, ...] = ()) -> Task:
    (task,) = tasks(*items, terms=terms)
    return task


def test_hours_come_from_the_log_else_the_settings_else_are_assumed() -> None:
    def line(practice: str, entries: int, hours: float) -> PracticeRate:
        return PracticeRate(practice=practice, entries=entries, pass_acres=1.0, person_hours=hours,
                            hours_per_acre=hours, hours_per_acre_low=None, hours_per_acre_high=None)  # fmt: skip

    found = kind_rates(
        [line("burn", 1, 5.0), line("pile", 3, 7.0), line("checkup", 1, 0.0)], {"pile": 9.0, "pile_burn": 2.5}
    )
    assert {what: rate.hours_per_acre for what, rate in found.items()} == {
        "burn": 5.0, "pile": 7.0, "pile_burn": 2.5, "upkeep": 5.0, "checkup": 0.25,
    }  # fmt: skip
    assert [found[what].rests_on for what in ("burn", "pile", "pile_burn")] == [
        "one line of your own log", "3 lines of your own log", "rates.pile_burn in habmap.toml",
    ]  # fmt: skip
    assert "an assumption" in found["checkup"].rests_on and "rates.checkup" in found["checkup"].rests_on


def test_hours_of_which_nobody_says_anything_are_a_place_to_start_from() -> None:
    """Chosen, no source: an acre of slash is burned in two hours and piled in four, a fire of piles and one for upkeep
    take an hour and a half, a look a quarter of an hour."""
    found = kind_rates([], {})
    assert {what: 4 * rate.hours_per_acre for what, rate in found.items()} == {
        "burn": 8, "pile": 16, "pile_burn": 6, "upkeep": 6, "checkup": 1,
    }  # fmt: skip
    assert all(rate.rests_on.startswith("an assumption") for rate in found.values())


def test_slash_burns_between_its_drying_days_and_is_piled_after_them() -> None:
    task = only(ITEM)
    assert (task.what, task.acres, task.hours_per_acre, task.by_fire) == ("burn", 2.0, 3.0, True)
    assert (task.first, task.last, task.plan) == (date(2026, 2, 1), date(2026, 4, 1), plan_of("down_cedar", "A"))
    assert "2026-02-01" in task.first_why and "2026-04-01" in task.last_why
    ends_today, past = replace(ITEM, to_date=FIRST), replace(ITEM, to_date=date(2026, 1, 4))
    assert only(ends_today).what == "burn"
    piled = only(past)
    assert (piled.what, piled.first, piled.last, piled.by_fire, piled.plan) == ("pile", None, None, False, None)


def test_looks_after_fires_fall_on_their_one_day_whatever_the_ground() -> None:
    check = replace(ITEM, what="hand_check", to_date=date(2026, 2, 1))
    task = only(check)
    assert (task.what, task.first, task.last, task.hours) == ("hand_check", date(2026, 2, 1), date(2026, 2, 1), 1.0)
    # two grounds of one day are one walk
    both = only(check, replace(check, what="snag_check", acres=3.0, words="snags"))
    assert (both.acres, both.hours, both.words) == (5.0, 1.0, "felled; snags")


def test_upkeep_is_by_fire_where_it_is_asked_for_and_stems_coming_back_never_are() -> None:
    upkeep = replace(ITEM, what="upkeep", name="upkeep")
    assert (only(upkeep).by_fire, only(upkeep).plan) == (False, None)
    asked = only(replace(upkeep, unit_id="B"))
    assert (asked.by_fire, asked.plan, asked.first, asked.last) == (
        True, plan_of("grass", "B"), date(2026, 2, 1), date(2026, 4, 1),
    )  # fmt: skip
    assert not only(replace(upkeep, unit_id="B", name=COMING_BACK)).by_fire


def test_a_late_check_up_has_no_last_day() -> None:
    look = replace(ITEM, what="checkup")
    assert (only(look).first, only(look).last) == (date(2026, 2, 1), date(2026, 4, 1))
    late = only(replace(look, from_date=date(2025, 9, 1), to_date=date(2026, 1, 4)))
    assert (late.last, late.last_why) == (None, "")
    assert only(replace(look, to_date=FIRST)).last == FIRST
    assert (only(look).first_why, only(look).last_why) == ("its days begin on 2026-02-01", "its days end 2026-04-01")
    upkeep = only(replace(ITEM, what="upkeep", name="upkeep"))
    assert (upkeep.first_why, upkeep.last_why) == ("it falls due on 2026-02-01", "its days end 2026-04-01")


def test_what_is_no_ground_or_a_sliver_or_no_work_is_left_out() -> None:
    assert tasks(replace(ITEM, unit_id=None), replace(ITEM, acres=None), replace(ITEM, acres=0.0)) == []
    assert tasks(replace(ITEM, what="hold"), replace(ITEM, what="contract")) == []
    assert only(replace(ITEM, what="piles")).what == "pile_burn"


def test_alike_tasks_open_on_the_first_day_are_one() -> None:
    early = replace(ITEM, from_date=date(2025, 12, 1), words="felled 1")
    both = only(early, replace(early, from_date=FIRST, acres=3.0, words="felled 12"))
    assert (both.acres, both.first, both.first_why, both.words) == (5.0, None, "", "felled 12")
    later = tasks(early, replace(early, from_date=date(2026, 1, 6)))
    assert [task.first for task in later] == [None, date(2026, 1, 6)]


def test_contracts_bound_what_they_pay_for() -> None:
    march, june = date(2026, 3, 1), date(2026, 6, 1)
    burn = contract(practice="burn", not_before=march, due=june)
    other = contract("P 2", practice="burn", not_before=date(2026, 3, 9), due=date(2026, 5, 1))
    elsewhere = contract(practice="burn", units=("B",), not_before=date(2026, 9, 1), due=date(2026, 1, 9))
    task = only(ITEM, terms=(burn, other, elsewhere, contract(due=date(2026, 1, 10))))
    assert (task.first, task.due) == (date(2026, 3, 9), date(2026, 5, 1))
    assert task.first_why == "its contract begins on 2026-03-09 (P 2)"
    # one that began before the slash is dry moves nothing
    early = only(ITEM, terms=(contract(practice="burn", not_before=date(2026, 2, 1), units=()),))
    assert (early.first, early.due, early.first_why) == (ITEM.from_date, None, "its slash dries until 2026-02-01")
    piles = contract(practice="pile_burn", not_before=march, due=june)
    fire = like_task("pile_burn", "A", [piles], rates=RATES, plan_of=plan_of)
    assert (fire.first, fire.due, fire.words, fire.acres) == (march, june, "piles laid out here", 1.0)
    assert like_task("burn", "A", [], rates=RATES, plan_of=plan_of).words == ""


def test_what_contracts_want_is_cut_in_the_order_of_work_soonest_date_first() -> None:
    order = [
        Stand(unit_id=name, acres=acres, hours_per_acre=10.0) for name, acres in (("A", 4.0), ("B", 2.0), ("C", 1.0))
    ]
    autumn, spring = date(2026, 9, 1), date(2026, 3, 1)
    late = contract("late", units=(), due=autumn, left_acres=4.5)
    soon = contract("soon", units=("A", "C"), due=spring, left_acres=3.0)
    burning = contract("fire", practice="burn", units=(), due=date(2026, 2, 1))
    found = [
        (task.unit_id, task.acres, task.due, task.last, task.order) for task in cut_tasks(order, [late, soon, burning])
    ]
    assert found == [
        ("A", 3.0, spring, spring, 0),
        # then one acre of A, all of B and all of C are left for the later date: 4 of its 4.5
        ("A", 1.0, autumn, autumn, 0), ("B", 2.0, autumn, autumn, 1), ("C", 1.0, autumn, autumn, 2),
    ]  # fmt: skip
    part = cut_tasks(order, [contract("late", units=(), due=autumn, left_acres=1.5)])
    assert [(task.unit_id, task.acres, task.due) for task in part] == [
        ("A", 1.5, autumn), ("A", 2.5, None), ("B", 2.0, None), ("C", 1.0, None),
    ]  # fmt: skip
    assert [task.acres for task in cut_tasks(order, [contract("late", units=(), due=autumn)])] == [4.0, 2.0, 1.0]


def test_burning_is_paid_as_fire_and_never_as_cutting() -> None:
    fire = contract(practice="burn", due=date(2026, 5, 1))
    upkeep = replace(ITEM, what="upkeep", name="upkeep")
    paid = {task.what: task.due for task in tasks(ITEM, upkeep, replace(ITEM, what="piles"), terms=(fire,))}
    assert paid == {"burn": date(2026, 5, 1), "upkeep": date(2026, 5, 1), "pile_burn": None}
    (cut,) = cut_tasks([Stand(unit_id="A", acres=4.0, hours_per_acre=10.0)], [fire])
    assert (cut.due, cut.first) == (None, None)


def test_of_a_week_cuts_that_no_contract_wants_come_last_but_for_piling() -> None:
    kinds = ["burn", "pile_burn", "cut", "upkeep", "checkup"]
    wanted = [Task(what=what, unit_id="A", acres=1, hours_per_acre=1, due=date(2026, 5, 1)) for what in kinds]
    cut, pile = (Task(what=what, unit_id="A", acres=1, hours_per_acre=1) for what in ("cut", "pile"))
    assert sorted([pile, cut, *wanted[::-1]], key=_pressing) == [*wanted, cut, pile]
    # of one kind the one that ends sooner, whether its ground or its contract says so; then the order of work
    soon, late = replace(cut, last=date(2026, 3, 1)), replace(cut, last=date(2026, 3, 2))
    assert sorted([late, soon], key=_pressing) == [soon, late]
    urged = replace(wanted[2], due=date(2026, 4, 30))
    assert sorted([wanted[2], urged], key=_pressing) == [urged, wanted[2]]
    assert sorted([replace(cut, order=2), replace(cut, order=1, unit_id="Z")], key=_pressing)[0].order == 1


@pytest.mark.parametrize("least", ["aa ", "zz "])
def test_of_reasons_against_a_week_the_one_that_counts_most_is_told(least: str) -> None:
    """Whatever its words begin with: a burn of 3 February to 20 March, its plan for 1 to 10 February."""

    def day(month: int, of_month: int) -> date:
        return date(2026, month, of_month)

    closed = DatedBan(what="closed_burn", reason="nests", first=day(2, 5), last=day(2, 5))
    held = HeldUnit(unit_id="A", reason="bees", first=day(2, 1), last=day(2, 1))
    season = Seasonal(
        closures=Closures(bans=[closed], holds=[held]),
        working_months=(2,),
        drying_days=(30, 60),
        burns={},
        pile_burns={},
    )
    plan = PlanDays(kind="down_cedar", is_signed=True, days=YearlyDays(first=(2, 1), last=(2, 10)))
    burn = Task(what="burn", unit_id="A", acres=1, hours_per_acre=1, first=day(2, 3), last=day(3, 20), plan=plan,
                first_why=f"{least}too fresh", last_why=f"{least}too old")  # fmt: skip
    days = [day(2, 1), day(3, 21), day(2, 5), day(2, 2), day(3, 5), day(2, 15)]
    words = ["on hold until 2026-02-01: bees", f"{least}too old", "closed to burning until 2026-02-05: nests",
             f"{least}too fresh", "months off", "outside the days of its burn plan"]  # fmt: skip
    for at in range(len(days)):
        assert season.open_run(burn, days[at:][::-1]) == ((), words[at])
    assert season.why_not(burn, day(2, 3)) is None and season.why_not(burn, day(2, 10)) is None
    # the longest run of open days, the earlier of equals
    week = [day(2, number) for number in range(1, 11)]
    assert season.open_run(burn, week) == (week[5:], "")
    assert season.open_run(burn, week[:7]) == ([day(2, 3), day(2, 4)], "")
