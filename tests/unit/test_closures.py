"""What keeps a unit from work on a day, and how it is said, by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from habmap.work.closures import Closure, Closures, with_closures
from habmap.work.order_of_work import first_due, owners_remarks, pressing_words
from habmap.work.paperwork_records import Item
from habmap.work.seasons import ContractDate, DatedBan, DueItem, HeldUnit, YearlyBan, calendar_due

DAY = date(2026, 3, 10)
NEST = HeldUnit(unit_id="A", reason="nest", first=date(2026, 3, 1), last=date(2026, 7, 31))
SALE = HeldUnit(unit_id="A", reason="sale", first=date(2026, 9, 1), last=None)
OWLS = DatedBan(what="closed_cut", reason="owls", first=date(2026, 3, 10), last=date(2026, 3, 20), units=("A",))
DEER = YearlyBan(what="closed_cut", reason="deer", first=(3, 5), last=(3, 15))
DRY = DatedBan(what="closed_burn", reason="dry", first=date(2026, 3, 1), last=date(2026, 3, 12))
ALL = Closures(bans=[OWLS, DEER, DRY], holds=[NEST, SALE])
DAYS_ONLY = replace(ALL, holds=[])
ITEM = DueItem(unit_id="A", what="drying", state="due", acres=1.0, since_date=None, from_date=None, to_date=None,
               words="felled", name="drying")  # fmt: skip


def test_a_hold_goes_before_closed_days_and_the_longest_counts() -> None:
    assert ALL.on(DAY, "A", work=("cut",)) == Closure(work=None, reason="nest", last=NEST.last)
    assert replace(ALL, holds=[NEST, replace(SALE, first=DAY)]).on(DAY, "A") == Closure(
        work=None, reason="sale", last=None
    )
    assert DAYS_ONLY.on(DAY, "A", work=("cut",)) == Closure(work="cut", reason="owls", last=OWLS.last)
    assert DAYS_ONLY.on(DAY, "B", work=("cut", "burn")) == Closure(work="cut", reason="deer", last=date(2026, 3, 15))
    assert DAYS_ONLY.on(date(2026, 3, 21), "A", work=("cut",)) is None and DAYS_ONLY.on(DAY, "A") is None
    assert ALL.on(DAY, "B") is None


def test_upkeep_is_kept_back_by_a_hold_or_by_days_closed_to_saw_and_fire_both() -> None:
    both = DAYS_ONLY.on_upkeep(DAY, "A")
    assert both == Closure(work="burn", reason="dry", last=DRY.last)
    assert DAYS_ONLY.on_upkeep(date(2026, 3, 13), "A") is None  # only closed to cutting
    assert DAYS_ONLY.on_upkeep(date(2026, 3, 2), "A") is None  # only closed to burning
    assert ALL.on_upkeep(date(2026, 3, 2), "A") == Closure(work=None, reason="nest", last=NEST.last)


@pytest.mark.parametrize(
    ("day", "work", "last"),
    [
        (date(2026, 2, 1), ("cut",), date(2026, 2, 28)),  # the hold from March 1
        (date(2026, 3, 1), (), date(2026, 8, 31)),  # this one has begun, the next comes in September
        (DAY, ("cut",), date(2026, 8, 31)),  # closed from that very day on: of what is closed no day is open
        (date(2026, 9, 1), (), None),
        (date(2026, 9, 1), ("cut",), date(2027, 3, 4)),  # the deer's days come round
    ],
)
def test_the_last_open_day_comes_before_what_begins_next(day: date, work: tuple[str, ...], last: date | None) -> None:
    assert ALL.last_open_day(day, "A", work=work) == last  # type: ignore[arg-type]
    assert DAYS_ONLY.last_open_day(DAY, "B", work=("burn",)) is None


def test_the_owner_reads_until_when_and_why_and_the_public_neither() -> None:
    told = {
        Closure(work=None, reason="nest", last=DAY): ("on hold until 2026-03-10: nest", "on hold"),
        Closure(work=None, reason="", last=None): ("on hold, no end is written", "on hold"),
        Closure(work="burn", reason="dry", last=DAY): ("closed to burning until 2026-03-10: dry", "closed to burning"),
        Closure(work="cut", reason="", last=None): ("closed to cutting", "closed to cutting"),
        Closure(work="contract", reason="P 1", last=DAY): ("waiting until 2026-03-10: P 1 has not begun", "waiting"),
    }
    assert {one: (one.words, one.public_words) for one in told} == told


def test_due_things_on_closed_ground_stand_there_and_ask_for_nothing() -> None:
    fire_check, felled, mown = replace(ITEM, what="hand_check"), ITEM, replace(ITEM, what="checkup", words="")
    done = replace(ITEM, what="contract", state="done")
    items = (fire_check, felled, mown, replace(ITEM, unit_id="B"), replace(ITEM, unit_id=None), done)
    held = with_closures(items, replace(ALL, bans=[]), on=DAY)
    assert [(one.state, one.words) for one in held] == [
        ("due", "felled"), ("on hold", "felled; on hold until 2026-07-31: nest"),
        ("on hold", "on hold until 2026-07-31: nest"), ("due", "felled"), ("due", "felled"), ("done", "felled"),
    ]  # fmt: skip
    assert with_closures([felled], ALL, on=DAY, is_public=True)[0].words == "felled; on hold"
    closed = with_closures([felled, mown], DAYS_ONLY, on=DAY)
    assert [(one.state, one.words) for one in closed] == [
        ("closed", "felled; closed to burning until 2026-03-12: dry"), ("due", ""),
    ]  # fmt: skip
    # upkeep goes with fire or without, so that only days closed to both keep it back
    upkeep = replace(ITEM, what="upkeep")
    assert with_closures([upkeep], DAYS_ONLY, on=DAY)[0].state == "closed"
    assert with_closures([upkeep], DAYS_ONLY, on=date(2026, 3, 13))[0].state == "due"


@pytest.mark.parametrize(
    ("units", "state", "after", "words"),
    [
        ("A;B", "due", "due", "felled; A on hold until 2026-07-31: nest"),
        ("A", "due", "on hold", "due; felled; A on hold until 2026-07-31: nest"),
        ("A", "open", "on hold", "felled; A on hold until 2026-07-31: nest"),
        ("B", "due", "due", "felled"),
    ],
)
def test_a_contract_waits_only_where_all_its_units_are_held(units: str, state: str, after: str, words: str) -> None:
    item = replace(ITEM, what="contract", unit_id=units, state=state)
    (found,) = with_closures([item], ALL, on=DAY)
    assert (found.state, found.words) == (after, words)


def test_holds_to_come_and_contract_dates_are_said_with_a_unit() -> None:
    lines = [
        Item(program="P", item="1", practice_code="314", units=("A",), not_before=date(2026, 3, 11)),
        Item(program="P", item="2", practice_code="338", units=(), not_before=DAY, due=date(2026, 5, 1)),
        Item(program="P", item="3", practice_code="314", units=("B",), due=date(2026, 6, 1)),
    ]

    def said(unit_id: str, closure: Closure | None) -> tuple[str, ...]:
        return owners_remarks(unit_id, closure, closures=ALL, contracts=lines, on=DAY)

    assert said("A", ALL.on(DAY, "A"))[0] == "on hold until 2026-07-31: nest"
    assert said("A", ALL.on(DAY, "A"))[1].endswith("2026-09-01: sale")
    assert said("A", ALL.on(DAY, "A"))[2:] == ("contract P 1: not before 2026-03-11", "contract P 2: due 2026-05-01")
    assert said("B", None) == ("contract P 2: due 2026-05-01", "contract P 3: due 2026-06-01")
    waiting = Closure(work="contract", reason="P 1", last=DAY)
    assert said("A", waiting)[0].endswith("2026-09-01: sale")


def test_of_several_contract_items_the_one_due_first_presses() -> None:
    def line(name: str, units: tuple[str, ...], due: date) -> ContractDate:
        item = Item(program=name, item="", practice_code="314", units=units, planned_acres=3.0, due=due)
        return ContractDate(item=item, applied_acres=1.0)

    late, soon = line("late", ("A",), date(2026, 3, 9)), line("soon", (), date(2026, 4, 1))
    far = line("far", ("B",), date(2026, 12, 1))
    items = calendar_due(on=DAY, bans=[], holds=[], contract=[soon, far, late])
    found = first_due(items, ["A", "B"])
    assert {unit_id: pressing_words(item) for unit_id, item in found.items()} == {
        "A": "contract late (314): overdue since 2026-03-09, 2.0 acres to do",
        "B": "contract soon (314): due soon, by 2026-04-01, 2.0 acres to do",
    }
    assert first_due(calendar_due(on=DAY, bans=[], holds=[], contract=[far]), ["A", "B"]) == {}
