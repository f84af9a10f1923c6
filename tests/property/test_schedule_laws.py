"""A season never breaks its own windows, never spends hours twice, and comes out the same each time.

What a closed day, a hold, a plan's day and a drying window are is told here once more, in ordinals of days and days of
the year, so that none of habmap's own tellers of days judges itself.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from habmap.work.closures import Closures
from habmap.work.paperwork_records import Item
from habmap.work.plan_days import PlanDays
from habmap.work.schedule import ScheduledWeek, Seasonal, Task, Unfit, lay_out
from habmap.work.schedule_tasks import Stand, cut_tasks
from habmap.work.seasons import Ban, ContractDate, DatedBan, HeldUnit, YearlyBan, YearlyDays

FIRST = date(2026, 1, 5)
DAYS = st.integers(0, 400).map(lambda n: FIRST + timedelta(days=n))
SPOTS = st.tuples(st.integers(1, 12), st.integers(1, 28))
UNITS = ("A", "B", "C")
NAMED = st.lists(st.sampled_from(UNITS), max_size=2, unique=True).map(tuple)
KINDS = st.sampled_from(["closed_cut", "closed_burn"])


@st.composite
def dated_bans(draw: st.DrawFn) -> DatedBan:
    first = draw(DAYS)
    last = first + timedelta(days=draw(st.integers(0, 90)))
    return DatedBan(what=draw(KINDS), reason="r", first=first, last=last, units=draw(NAMED))


YEARLY = st.builds(YearlyBan, what=KINDS, reason=st.just("y"), first=SPOTS, last=SPOTS, units=NAMED)
HOLDS = st.builds(
    lambda unit, first, days: HeldUnit(
        unit_id=unit, reason="h", first=first, last=None if days is None else first + timedelta(days=days)
    ),
    st.sampled_from(UNITS),
    DAYS,
    st.none() | st.integers(0, 120),
)
BANS = st.lists(st.one_of(dated_bans(), YEARLY), max_size=4)
DRYING = st.tuples(st.integers(0, 60), st.integers(0, 60)).map(sorted).map(tuple)
HOURS_EPS = 1e-7  # sums of some forty doubles below 1e4


def season_of(
    *, bans: list[Ban], holds: list[HeldUnit], months: list[int], drying: tuple[int, int], plan: YearlyDays | None
) -> Seasonal:
    """Return bounds in which every unit's slash and piles are burned by one plan with these days."""
    days = {kind: PlanDays(kind=kind, is_signed=True, days=plan) for kind in ("down_cedar", "piles")}
    return Seasonal(
        closures=Closures(bans=bans, holds=holds),
        working_months=months,
        drying_days=drying,
        burns={u: Task(what="burn", unit_id=u, acres=1, hours_per_acre=2.0, plan=days["down_cedar"]) for u in UNITS},
        pile_burns={
            u: Task(what="pile_burn", unit_id=u, acres=1, hours_per_acre=1.5, plan=days["piles"]) for u in UNITS
        },
    )


@st.composite
def drawn_tasks(draw: st.DrawFn) -> list[Task]:
    """Return cuts of all units in some order, and some piling, piles, upkeep, check-ups and a check after a fire."""
    acres, rates = st.floats(0.1, 30), st.floats(0.5, 40)
    tasks = [
        Task(what="cut", unit_id=unit_id, acres=draw(acres), hours_per_acre=draw(rates), order=order,
             first=draw(st.none() | DAYS), first_why="its contract begins later")
        for order, unit_id in enumerate(draw(st.permutations(UNITS)))
    ]  # fmt: skip
    for what in draw(st.lists(st.sampled_from(["pile", "pile_burn", "upkeep", "checkup"]), max_size=4, unique=True)):
        unit_id = draw(st.sampled_from(UNITS))
        tasks.append(Task(what=what, unit_id=unit_id, acres=draw(acres), hours_per_acre=draw(rates)))
    if draw(st.booleans()):
        day = draw(DAYS)
        tasks.append(Task(what="hand_check", unit_id="A", acres=2.0, hours_per_acre=0.5, first=day, last=day))
    return tasks


def is_shut(day: int, unit_id: str, what: str, bans: list[Ban], holds: list[HeldUnit]) -> bool:
    """Tell whether a day (proleptic ordinal) is closed to some work in a unit, or the unit on hold."""
    for hold in holds:
        assert hold.first is not None
        until = day if hold.last is None else hold.last.toordinal()
        if hold.unit_id == unit_id and hold.first.toordinal() <= day <= until:
            return True
    for ban in bans:
        if ban.what != what or (len(ban.units) > 0 and unit_id not in ban.units):
            continue
        if isinstance(ban, DatedBan):
            if day in range(ban.first.toordinal(), ban.last.toordinal() + 1):
                return True
            continue
        # Every span that begins in the year before, of or after the day, written out; over the turn of the year it
        # ends in the next.
        runs_over = 100 * ban.last[0] + ban.last[1] < 100 * ban.first[0] + ban.first[1]
        for year in range(date.fromordinal(day).year - 1, date.fromordinal(day).year + 2):
            begins = date(year, *ban.first).toordinal()
            ends = date(year + 1 if runs_over else year, *ban.last).toordinal()
            if begins <= day <= ends:
                return True
    return False


def is_plan_day(day: int, plan: YearlyDays | None) -> bool:
    """Tell whether a day (ordinal) is one of a plan's, by day of the year written as a number."""
    if plan is None:
        return True
    spot = 100 * date.fromordinal(day).month + date.fromordinal(day).day
    first, last = 100 * plan.first[0] + plan.first[1], 100 * plan.last[0] + plan.last[1]
    return first <= spot <= last if first <= last else spot >= first or spot <= last


PLANS = st.none() | st.builds(YearlyDays, first=SPOTS, last=SPOTS)


@given(
    tasks=drawn_tasks(),
    bans=BANS,
    holds=st.lists(HOLDS, max_size=2),
    hours=st.floats(1, 80),
    weeks=st.integers(1, 40),
    months=st.lists(st.integers(1, 12), min_size=1, unique=True),
    drying=DRYING,
    plan=PLANS,
)
@settings(deadline=None)
def test_no_day_is_closed_no_hour_is_spent_twice_and_every_acre_is_laid_or_told(
    tasks: list[Task],
    bans: list[Ban],
    holds: list[HeldUnit],
    hours: float,
    weeks: int,
    months: list[int],
    drying: tuple[int, int],
    plan: YearlyDays | None,
) -> None:
    season = season_of(bans=bans, holds=holds, months=months, drying=drying, plan=plan)
    last = FIRST + timedelta(weeks=weeks)
    laid, unfit = lay_out(tasks, first=FIRST, last=last, hours_per_week=hours, season=season)
    assert (laid, unfit) == lay_out(list(reversed(tasks)), first=FIRST, last=last, hours_per_week=hours, season=season)
    assert [week.from_date for week in laid] == [FIRST + timedelta(weeks=n) for n in range(len(laid))]
    assert len(laid) == weeks and all((week.to_date - week.from_date).days == 6 for week in laid)
    cut_by: defaultdict[str, list[tuple[int, float]]] = defaultdict(list)
    for week in laid:
        assert sum(item.person_hours for item in week.items) <= hours + HOURS_EPS
        for item in week.items:
            assert item.acres > 0 and item.person_hours > 0
            assert week.from_date <= item.from_date <= item.to_date <= week.to_date
            days = range(item.from_date.toordinal(), item.to_date.toordinal() + 1)
            if item.what == "hand_check":
                continue  # fire wakes in piles for days, whatever is on hold
            if item.what in ("cut", "pile"):
                assert len(days) == 7
            fire = item.what in ("burn", "pile_burn")
            work = {"cut": "closed_cut", "pile": "closed_cut"}.get(item.what, "closed_burn" if fire else "nothing")
            for day in days:
                assert not is_shut(day, item.unit_id, work, bans, holds), (item.what, date.fromordinal(day))
                assert date.fromordinal(day).month in months
                if fire and item.words != "":  # burns that came of cutting or piling here have the plan
                    assert is_plan_day(day, plan)
                if item.what == "upkeep":  # by fire or without: never where both are closed
                    both = [is_shut(day, item.unit_id, kind, bans, []) for kind in ("closed_cut", "closed_burn")]
                    assert not all(both)
            if item.what == "cut":
                cut_by[item.unit_id].append((week.to_date.toordinal(), item.acres))
            if item.what == "burn":
                # every burn belongs to a cut whose slash is in its drying days on each of its days
                assert any(
                    ended + drying[0] <= days[0] and days[-1] <= ended + drying[1] for ended, _ in cut_by[item.unit_id]
                )
    _every_acre(tasks, laid, unfit)
    _checks_follow(laid, unfit)


def _every_acre(tasks: list[Task], laid: tuple[ScheduledWeek, ...], unfit: tuple[Unfit, ...]) -> None:
    done: defaultdict[tuple[str, str], float] = defaultdict(float)
    for item in [*(item for week in laid for item in week.items), *unfit]:
        done[item.what, item.unit_id] += item.acres
    for what in ("cut", "pile", "upkeep", "checkup"):
        for unit_id in UNITS:
            asked = sum(task.acres for task in tasks if (task.what, task.unit_id) == (what, unit_id))
            assert done[what, unit_id] == pytest.approx(asked, rel=1e-6, abs=1e-6)
    for unit_id in UNITS:
        cut = sum(item.acres for week in laid for item in week.items if (item.what, item.unit_id) == ("cut", unit_id))
        assert done["burn", unit_id] == pytest.approx(cut, rel=1e-6, abs=1e-6)


def _checks_follow(laid: tuple[ScheduledWeek, ...], unfit: tuple[Unfit, ...]) -> None:
    """Check that burned piles are looked at on days 1, 3 and 7, or that it is told which of these days lie outside."""
    items = [item for week in laid for item in week.items]
    checked = {(item.unit_id, item.from_date) for item in items if item.what == "hand_check"}
    outside = " ".join(line.why for line in unfit if line.what == "hand_check")
    for item in items:
        if item.what == "pile_burn":
            assert item.from_date == item.to_date
            for days in (1, 3, 7):
                day = item.from_date + timedelta(days=days)
                assert (item.unit_id, day) in checked or str(day) in outside


def test_a_season_by_hand() -> None:
    """Return to paper: 15 hours a week from Monday, January 5, 2026, for four weeks; A may begin on the 12th.

    Week 1 (5 to 11): A waits, B has 1.5 of its 3 acres. Week 2 (12 to 18): A's acre (10 h), B half an acre (5 h).
    Week 3 (19 to 25): slash of week 1 dries for 10 days after the 11th, to the 21st: its 1.5 acres burn at 2 h an acre
    (3 h) on the 21st to the 23rd, for the 24th and 25th are closed to burning; B has its last acre (10 h).
    Week 4 (26 on): slash of week 2 burns from the 28th: 1 acre of A (2 h) and half an acre of B (1 h). The last acre
    of B dries until February 4. C is on hold.
    """
    tasks = [
        Task(what="cut", unit_id="A", acres=1, hours_per_acre=10, first=date(2026, 1, 12), first_why="contract"),
        Task(what="cut", unit_id="B", acres=3, hours_per_acre=10, order=1),
        Task(what="cut", unit_id="C", acres=1, hours_per_acre=10, order=2),
    ]
    bans = [DatedBan(what="closed_burn", reason="wind", first=date(2026, 1, 24), last=date(2026, 1, 25))]
    holds = [HeldUnit(unit_id="C", reason="nesting", first=date(2026, 1, 1), last=None)]
    season = season_of(bans=bans, holds=holds, months=list(range(1, 13)), drying=(10, 20), plan=None)
    laid, unfit = lay_out(tasks, first=FIRST, last=date(2026, 2, 1), hours_per_week=15, season=season)
    assert [
        [(item.what, item.unit_id, item.acres, item.person_hours, item.from_date.day, item.to_date.day)
         for item in week.items]
        for week in laid
    ] == [
        [("cut", "B", 1.5, 15.0, 5, 11)],
        [("cut", "A", 1.0, 10.0, 12, 18), ("cut", "B", 0.5, 5.0, 12, 18)],
        [("burn", "B", 1.5, 3.0, 21, 23), ("cut", "B", 1.0, 10.0, 19, 25)],
        [("burn", "A", 1.0, 2.0, 28, 1), ("burn", "B", 0.5, 1.0, 28, 1)],
    ]  # fmt: skip
    assert [(line.what, line.unit_id, line.acres, line.why) for line in unfit] == [
        ("burn", "B", 1.0, "its slash dries until 2026-02-04, past the last of these weeks"),
        ("cut", "C", 1.0, "on hold, no end is written: nesting"),
    ]


def test_a_burn_never_reaches_into_a_later_hold_nor_over_a_closed_day() -> None:
    """Slash cut by January 11 may burn from the 21st to the 31st; a hold begins on the 23rd, the 22nd is closed."""
    cut = Task(what="cut", unit_id="A", acres=1, hours_per_acre=10)
    bans = [DatedBan(what="closed_burn", reason="wind", first=date(2026, 1, 22), last=date(2026, 1, 22))]
    holds = [HeldUnit(unit_id="A", reason="sale", first=date(2026, 1, 23), last=date(2026, 6, 1))]
    season = season_of(bans=bans, holds=holds, months=list(range(1, 13)), drying=(10, 20), plan=None)
    laid, _ = lay_out([cut], first=FIRST, last=date(2026, 3, 1), hours_per_week=15, season=season)
    burns = [(item.from_date, item.to_date) for week in laid for item in week.items if item.what == "burn"]
    assert burns == [(date(2026, 1, 21), date(2026, 1, 21))]
    # a hold from the 21st on leaves no day: then the ground is not cut at all, and it is said why
    holds = [HeldUnit(unit_id="A", reason="sale", first=date(2026, 1, 21), last=date(2026, 6, 1))]
    season = season_of(bans=bans, holds=holds, months=list(range(1, 13)), drying=(10, 20), plan=None)
    laid, unfit = lay_out([cut], first=FIRST, last=date(2026, 3, 1), hours_per_week=15, season=season)
    assert not any(week.items for week in laid)
    assert "no day to burn in its drying days: on hold until 2026-06-01: sale" in unfit[0].why


def test_months_off_are_not_said_of_ground_that_is_held() -> None:
    cut = Task(what="cut", unit_id="A", acres=1, hours_per_acre=10)
    holds = [HeldUnit(unit_id="A", reason="sale", first=None, last=None)]
    season = season_of(bans=[], holds=holds, months=[6], drying=(10, 20), plan=None)
    _, unfit = lay_out([cut], first=FIRST, last=date(2026, 3, 1), hours_per_week=15, season=season)
    assert [line.why for line in unfit] == ["on hold, no end is written: sale"]


def test_piles_burn_on_a_day_that_leaves_hours_for_the_checks_after_it() -> None:
    """Three acres of piles take 6 h; checks take an hour each, on days 1, 3 and 7.

    Of 8 hours a week: burned on Monday the 5th, 6 + 1 + 1 fill the first week and day 7 falls into the next. A week of
    7 hours holds 6 and one check: not on the 5th, the 6th or the 7th (both checks in that week) nor the 8th (the 9th
    and the 11th), but on the 9th (the 10th, then Monday the 12th and the 16th).
    """
    piles = Task(what="pile_burn", unit_id="A", acres=3, hours_per_acre=2)
    season = season_of(bans=[], holds=[], months=list(range(1, 13)), drying=(10, 20), plan=None)
    for hours, burned, checks in ((8, 5, [6, 8, 12]), (7, 9, [10, 12, 16])):
        laid, unfit = lay_out([piles], first=FIRST, last=date(2026, 2, 1), hours_per_week=hours, season=season)
        items = [item for week in laid for item in week.items]
        assert [item.from_date.day for item in items if item.what == "pile_burn"] == [burned]
        assert [item.from_date.day for item in items if item.what == "hand_check"] == checks
        assert not unfit


def test_what_a_contract_wants_by_a_date_comes_before_the_order_of_work() -> None:
    """B stands second but 1 of its acres is due on January 18: it has week 1; what is not done by then is told."""
    best = Stand(unit_id="A", acres=2, hours_per_acre=10)
    other = Stand(unit_id="B", acres=3, hours_per_acre=10)
    season = season_of(bans=[], holds=[], months=list(range(1, 13)), drying=(10, 20), plan=None)

    def first_week(left_acres: float, hours: float) -> tuple[list[tuple[str, float]], list[tuple[str, float, str]]]:
        item = Item(
            program="EQIP", item="7", practice_code="314", units=("B",), planned_acres=left_acres + 2,
            due=date(2026, 1, 18),
        )  # fmt: skip
        term = ContractDate(item=item, applied_acres=2.0, practices=frozenset({"cut"}))
        tasks = cut_tasks([best, other], [term])
        laid, unfit = lay_out(tasks, first=FIRST, last=date(2026, 2, 1), hours_per_week=hours, season=season)
        return (
            [(item.unit_id, item.acres) for item in laid[0].items],
            [(line.unit_id, line.acres, line.why) for line in unfit if line.what == "cut" and "contract" in line.why],
        )

    assert first_week(1.0, 15) == ([("B", 1.0), ("A", 0.5)], [])
    week, late = first_week(3.0, 10)
    assert week == [("B", 1.0)]
    assert late == [("B", 1.0, "the hours ran out before then: the contract wants it by 2026-01-18 (EQIP 7)")]


def test_minutes_left_over_in_a_week_cut_no_scrap() -> None:
    season = season_of(bans=[], holds=[], months=list(range(1, 13)), drying=(30, 60), plan=None)
    cuts = [
        Task(what="cut", unit_id="A", acres=0.795, hours_per_acre=10.0),
        Task(what="cut", unit_id="B", acres=1.2, hours_per_acre=10.0, order=1),
        Task(what="cut", unit_id="C", acres=0.04, hours_per_acre=10.0, order=2),  # all there is, however small
    ]
    weeks, _ = lay_out(cuts, first=FIRST, last=FIRST + timedelta(days=27), hours_per_week=8.0, season=season)
    laid = [[(item.unit_id, round(item.acres, 6)) for item in week.items if item.what == "cut"] for week in weeks]
    assert laid == [[("A", 0.795)], [("B", 0.8)], [("B", 0.4), ("C", 0.04)], []]
    # a week that holds no more than a scrap is used all the same
    weeks, _ = lay_out(cuts[1:2], first=FIRST, last=FIRST + timedelta(days=6), hours_per_week=0.5, season=season)
    assert [item.acres for item in weeks[0].items] == pytest.approx([0.05])
