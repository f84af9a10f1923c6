"""A season never breaks its own windows, never spends hours twice, and comes out the same each time.

What a closed day, a hold and a drying window are is told here once more, in ordinals of days and days of the year, so
that none of habmap's own tellers of days judges itself.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from habmap.work.plan import Stand, Windows, season_plan
from habmap.work.seasons import Ban, DatedBan, HeldUnit, YearlyBan

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


@st.composite
def drawn_stands(draw: st.DrawFn) -> list[Stand]:
    return [
        Stand(
            unit_id=unit_id,
            acres=draw(st.floats(0.1, 30)),
            hours_per_acre=draw(st.floats(0.5, 40)),
            not_before=draw(st.none() | DAYS),
        )
        for unit_id in draw(st.permutations(UNITS))
    ]


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


def is_open_week(
    stand: Stand, monday: int, *, months: list[int], drying: tuple[int, int], bans: list[Ban], holds: list[HeldUnit]
) -> bool:
    """Tell whether a stand may have a week: every day open to cutting, and a day to burn when its slash is dry."""
    week = range(monday, monday + 7)
    if stand.not_before is not None and monday < stand.not_before.toordinal():
        return False
    if any(date.fromordinal(day).month not in months for day in week):
        return False
    if any(is_shut(day, stand.unit_id, "closed_cut", bans, holds) for day in week):
        return False
    dry = range(week[-1] + drying[0], week[-1] + drying[1] + 1)
    return not all(is_shut(day, stand.unit_id, "closed_burn", bans, holds) for day in dry)


@given(
    stands=drawn_stands(),
    bans=BANS,
    holds=st.lists(HOLDS, max_size=2),
    hours=st.floats(1, 80),
    weeks=st.integers(1, 40),
    months=st.lists(st.integers(1, 12), min_size=1, unique=True),
    drying=DRYING,
)
@settings(deadline=None)
def test_every_slot_lies_inside_every_window_and_every_open_hour_goes_to_the_best_stand_that_may_have_it(
    stands: list[Stand],
    bans: list[Ban],
    holds: list[HeldUnit],
    hours: float,
    weeks: int,
    months: list[int],
    drying: tuple[int, int],
) -> None:
    windows = Windows(bans=bans, holds=holds, working_months=months, drying_days=drying)
    last = FIRST + timedelta(weeks=weeks)
    slots, unfit = season_plan(stands, first=FIRST, last=last, hours_per_week=hours, windows=windows)
    mondays = [FIRST.toordinal() + 7 * number for number in range(weeks)]
    rank = {stand.unit_id: at for at, stand in enumerate(stands)}
    rate = {stand.unit_id: stand.hours_per_acre for stand in stands}
    spent: defaultdict[tuple[int, str], float] = defaultdict(float)
    for slot in slots:
        begins, ends = slot.week_from.toordinal(), slot.week_to.toordinal()
        assert begins in mondays and ends == begins + 6
        assert (slot.burn_from.toordinal(), slot.burn_to.toordinal()) == (ends + drying[0], ends + drying[1])
        assert slot.acres > 0
        assert slot.person_hours == pytest.approx(slot.acres * rate[slot.unit_id], rel=1e-12)
        assert (begins, slot.unit_id) not in spent  # one line for a stand and a week
        spent[begins, slot.unit_id] = slot.person_hours
    # By week, and in a week by the order of work.
    order = [(slot.week_from.toordinal(), rank[slot.unit_id]) for slot in slots]
    assert all(one < other for one, other in pairwise(order))
    left = {stand.unit_id: stand.acres * stand.hours_per_acre for stand in stands}
    for monday in mondays:
        free = hours
        for stand in stands:
            if is_open_week(stand, monday, months=months, drying=drying, bans=bans, holds=holds):
                # All that is left of the week goes to the stand, or all that the stand still needs.
                assert spent[monday, stand.unit_id] == pytest.approx(min(free, left[stand.unit_id]), abs=HOURS_EPS)
            else:
                assert spent[monday, stand.unit_id] == 0
            free -= spent[monday, stand.unit_id]
            left[stand.unit_id] -= spent[monday, stand.unit_id]
        assert free >= -HOURS_EPS
    for stand in stands:
        missing = [line for line in unfit if line.unit_id == stand.unit_id]
        assert len(missing) <= 1
        assert sum(line.person_hours for line in missing) == pytest.approx(left[stand.unit_id], abs=HOURS_EPS)
        laid = sum(slot.acres for slot in slots if slot.unit_id == stand.unit_id)
        assert laid + sum(line.acres for line in missing) == pytest.approx(stand.acres, rel=1e-9)
    assert (slots, unfit) == season_plan(stands, first=FIRST, last=last, hours_per_week=hours, windows=windows)


def test_the_best_stand_comes_first_and_reasons_are_said() -> None:
    stands = [
        Stand(unit_id="A", acres=1.0, hours_per_acre=10.0, not_before=date(2026, 1, 12)),
        Stand(unit_id="B", acres=3.0, hours_per_acre=10.0),
        Stand(unit_id="C", acres=1.0, hours_per_acre=10.0),
    ]
    hold = HeldUnit(unit_id="C", reason="nesting", first=date(2026, 1, 1), last=None)
    windows = Windows(bans=[], holds=[hold], working_months=range(1, 13), drying_days=(30, 60))
    slots, unfit = season_plan(stands, first=FIRST, last=date(2026, 1, 18), hours_per_week=15, windows=windows)
    # week 1: A may not begin yet, so B has it; week 2: A first, then B
    assert [(s.unit_id, s.person_hours) for s in slots] == [("B", 15.0), ("A", 10.0), ("B", 5.0)]
    assert [(u.unit_id, u.acres, u.why) for u in unfit] == [
        ("B", 1.0, "the hours ran out"),
        ("C", 1.0, "on hold, no end is written: nesting"),
    ]
