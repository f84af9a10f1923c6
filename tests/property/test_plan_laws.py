"""A season never breaks its own windows, never spends hours twice, and comes out the same each time."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
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
STANDS = st.tuples(*(st.floats(0.1, 30) for _ in UNITS)).map(
    lambda acres: [Stand(unit_id=u, acres=a, hours_per_acre=8.0) for u, a in zip(UNITS, acres, strict=True)]
)


@given(
    stands=STANDS,
    bans=BANS,
    holds=st.lists(HOLDS, max_size=2),
    hours=st.floats(1, 80),
    weeks=st.integers(1, 40),
    months=st.lists(st.integers(1, 12), min_size=1, unique=True),
)
def test_every_slot_lies_inside_every_window(
    stands: list[Stand], bans: list[Ban], holds: list[HeldUnit], hours: float, weeks: int, months: list[int]
) -> None:
    windows = Windows(bans=bans, holds=holds, working_months=months, drying_days=(30, 60))
    last = FIRST + timedelta(weeks=weeks)
    slots, unfit = season_plan(stands, first=FIRST, last=last, hours_per_week=hours, windows=windows)
    spent: dict[date, float] = {}
    for slot in slots:
        assert slot.week_from >= FIRST and slot.week_to <= last
        for day in (slot.week_from + timedelta(days=n) for n in range(7)):
            assert day.month in months
            for ban in bans:
                assert not (ban.what == "closed_cut" and (not ban.units or slot.unit_id in ban.units) and ban.has(day))
            for hold in holds:
                assert not (
                    hold.unit_id == slot.unit_id
                    and hold.first is not None
                    and hold.first <= day <= (hold.last or date.max)
                )
        drying = [slot.burn_from + timedelta(days=n) for n in range((slot.burn_to - slot.burn_from).days + 1)]
        assert (slot.burn_from - slot.week_to).days == 30 and (slot.burn_to - slot.week_to).days == 60
        assert any(
            not any(b.what == "closed_burn" and (not b.units or slot.unit_id in b.units) and b.has(d) for b in bans)
            for d in drying
        )
        spent[slot.week_from] = spent.get(slot.week_from, 0.0) + slot.person_hours
    assert all(total <= hours + 1e-9 for total in spent.values())
    for stand in stands:
        fitted = sum(slot.acres for slot in slots if slot.unit_id == stand.unit_id)
        missing = sum(line.acres for line in unfit if line.unit_id == stand.unit_id)
        assert fitted + missing == pytest.approx(stand.acres)
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
