"""Laws of the week: each line agrees with what is due and with the log, and nothing at rest is asked for."""

from __future__ import annotations

from datetime import date, timedelta

import hypothesis.strategies as st
import pytest
from drawn_logs import FEW, UNITS, entries
from fakes import GRID, FakeStore, entry
from hypothesis import given
from shapely import box

from habmap.jobs.acres import acres
from habmap.jobs.due import due
from habmap.jobs.ground import ground
from habmap.jobs.rank import rank
from habmap.jobs.week import week
from habmap.place.settings import Settings
from habmap.records import Entry
from habmap.show.week_words import SCREEN_ROWS, week_lines

DAYS = st.integers(0, 1100).map(lambda n: date(2024, 1, 1) + timedelta(days=n))
SPANS = st.tuples(st.sampled_from(["A", "B", "G"]), DAYS, st.integers(0, 300))
CLOSED = st.tuples(st.sampled_from(["cut", "burn"]), st.lists(st.sampled_from(["A", "B"]), max_size=1), DAYS,
                   st.integers(0, 200))  # fmt: skip
FIRE_CHECKS = {"hand_check", "snag_check"}


@FEW
@given(
    log=st.lists(entries(), max_size=6), on=DAYS, holds=st.lists(SPANS, max_size=2), closed=st.lists(CLOSED, max_size=2)
)
def test_each_line_of_a_week_agrees_with_what_is_due(
    log: list[Entry], on: date, holds: list[tuple[str, date, int]],
    closed: list[tuple[str, list[str], date, int]],
) -> None:  # fmt: skip
    settings = Settings.model_validate(
        {
            "hold": [
                {"unit": unit, "reason": "owl", "from": first, "to": first + timedelta(days=days)}
                for unit, first, days in holds
            ],
            "closed": [
                {"work": work, "units": units, "from": first, "to": first + timedelta(days=days)}
                for work, units, first, days in closed
            ],
        }
    )
    store = FakeStore([*UNITS, *log], settings=settings, grid=GRID)
    asked, rows = week(store, on=on), due(store, on=on).items
    held = {unit for unit, first, days in holds if first <= on <= first + timedelta(days=days)}

    def shut(work: str) -> set[str]:
        return {
            unit
            for kind, units, first, days in closed
            if kind == work and first <= on <= first + timedelta(days=days)
            for unit in (units or ["A", "B", "G"])
        }

    in_force = {(row.unit_id, row.what) for row in rows if row.state == "in force"}
    assert {(item.unit_id, item.what) for item in asked.forbidden} == in_force
    for item in (*asked.closes, *asked.burn, *asked.cut, *asked.check):
        assert item.what in FIRE_CHECKS or item.unit_id not in held
    assert not {item.unit_id for item in asked.burn} & shut("burn")
    assert not {item.unit_id for item in asked.cut} & shut("cut")

    parts = {(row.unit_id, row.what): row.parts for row in rows}
    for item in (*asked.closes, *asked.burn, *asked.check):
        mine = parts[item.unit_id, item.what]
        assert (item.acres or 0) <= sum(part.acres or 0 for part in mine) + 1e-9
    for item in asked.closes:
        if item.what == "drying":
            open_ = [
                p for p in parts[item.unit_id, "drying"] if p.from_date and p.to_date and p.from_date <= on <= p.to_date
            ]
            assert item.acres == pytest.approx(sum(part.acres or 0 for part in open_), abs=1e-9)
            assert item.to_date is not None and on <= item.to_date <= min(
                part.to_date for part in open_ if part.to_date
            )
    # every window that is open now is told, or waits for what forbids it
    waiting = {words.split()[0] for item in asked.forbidden if item.unit_id is None for words in item.waits}
    waiting |= {item.unit_id for item in asked.forbidden if item.waits}
    for (unit_id, what), mine in parts.items():
        if what == "drying" and any(p.state == "in its drying days" for p in mine):
            assert unit_id in waiting or (unit_id, what) in {(item.unit_id, item.what) for item in asked.burn}

    ranked = rank(store, on=on, today=on)
    cuts = [item for item in asked.cut if item.what == "cut"]
    assert [item.unit_id for item in cuts] == ([] if ranked.next_unit_id is None else [ranked.next_unit_id])
    left = {unit.unit_id: unit.remaining_acres for unit in acres(store, on=on).units}
    for item in cuts:
        assert item.acres == pytest.approx(left[item.unit_id], abs=1e-6)
    # slash that is asked about lies on ground with felled cedar, by the ledger's own state
    lying = {piece.unit_id for piece in ground(store, on=on).pieces if piece.state.lying_frac > 0}
    assert {item.unit_id for item in asked.burn if item.what == "drying"} <= lying
    for name in ("forbidden", "closes", "burn", "cut", "check"):
        ends = [item.to_date or date.max for item in getattr(asked, name)]
        assert ends == sorted(ends)
        one_each = [(item.unit_id, item.what) for item in getattr(asked, name) if name != "forbidden"]
        assert len(one_each) == len(set(one_each)) or name in ("closes", "burn", "cut")
    lines = week_lines(asked)
    assert len(lines) <= SCREEN_ROWS and all(len(line) <= 80 for line in lines)


@given(st.integers(0, 10))
def test_burned_piles_are_checked_on_days_one_three_and_seven(days: int) -> None:
    burned = date(2026, 2, 9)
    store = FakeStore([*UNITS, entry("pile_burn", burned, box(0, 0, 50, 50))], grid=GRID)
    on = burned + timedelta(days=days)
    days_left = [n for n in (1, 3, 7) if n >= days]
    found = [item for item in week(store, on=on).check if item.what == "hand_check"]
    assert [item.to_date for item in found] == ([burned + timedelta(days=days_left[0])] if days_left else [])
