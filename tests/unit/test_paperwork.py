"""Practice acres for the form, by hand-worked squares of 100 m."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from shapely import MultiPolygon, box

from habmap.measures import M2_PER_ACRE
from habmap.work.paperwork import Item, Range, applied_lines, program_year
from habmap.work.records import Entry
from habmap.work.seasons import HeldUnit

UNIT = MultiPolygon([box(0, 0, 100, 100)])
LEFT, RIGHT = MultiPolygon([box(0, 0, 60, 100)]), MultiPolygon([box(40, 0, 120, 100)])
ITEM = Item(program="P", item="1", practice_code="314", units=("C1",), planned_acres=3.0, rate=100.0)
YEAR = Range(first=date(2025, 10, 1), last=date(2026, 9, 30))


def entry(entry_id: str, day: str, practice: str = "cut", who: str | None = "Ada") -> Entry:
    return Entry(
        entry_id=entry_id,
        recorded_at=datetime(2026, 1, 1, tzinfo=UTC),
        practice=practice,
        date=date.fromisoformat(day),
        who=who,
    )


def report(item: Item, entries: list[Entry], holds: tuple[HeldUnit, ...] = ()):  # type: ignore[no-untyped-def]
    return applied_lines(
        [item],
        entries=entries,
        patches={"a": LEFT, "b": RIGHT},
        units={"C1": UNIT},
        codes={"cut": "314", "burn": "338"},
        span=YEAR,
        holds=holds,
    )


def test_ground_worked_twice_counts_once_and_stays_inside_the_unit() -> None:
    lines, totals = report(ITEM, [entry("a", "2026-01-05"), entry("b", "2026-02-01")])
    assert lines[0].applied_acres == pytest.approx(10_000 / M2_PER_ACRE)
    assert lines[0].pass_acres == pytest.approx(12_000 / M2_PER_ACRE)
    assert (lines[0].first_date, lines[0].last_date) == (date(2026, 1, 5), date(2026, 2, 1))
    assert totals[0].short_acres == pytest.approx(3.0 - 10_000 / M2_PER_ACRE)
    assert totals[0].payment == pytest.approx(100 * 10_000 / M2_PER_ACRE)
    assert "short of the plan" in totals[0].remarks[0]


def test_payment_stops_at_the_planned_acres() -> None:
    small = Item(program="P", item="1", practice_code="314", units=("C1",), planned_acres=1.0, rate=100.0)
    assert report(small, [entry("a", "2026-01-05"), entry("b", "2026-02-01")])[1][0].payment == 100.0


def test_work_outside_the_range_or_of_another_code_does_not_count() -> None:
    lines, totals = report(ITEM, [entry("a", "2025-09-30"), entry("b", "2026-02-01", "burn")])
    assert lines == () and totals[0].applied_acres == 0


def test_work_before_approval_is_left_out_and_pointed_out() -> None:
    early = Item(program="P", item="1", practice_code="314", units=(), not_before=date(2026, 1, 15))
    lines, totals = report(early, [entry("a", "2026-01-14"), entry("b", "2026-01-15")])
    assert lines[0].applied_acres == pytest.approx(6_000 / M2_PER_ACRE)
    assert totals[0].remarks == ("1.5 acres on C1 are dated before 2026-01-15 and not counted",)


def test_work_on_a_hold_is_counted_and_pointed_out() -> None:
    hold = HeldUnit(unit_id="C1", reason="nesting", first=date(2026, 1, 1), last=None)
    lines, _ = report(ITEM, [entry("a", "2025-12-31"), entry("b", "2026-05-01")], (hold,))
    assert lines[0].remarks == ("worked on 2026-05-01 although held: nesting",)


def test_a_contract_unit_that_is_not_on_the_map_is_said() -> None:
    lost = Item(program="P", item="1", practice_code="314", units=("C9",))
    assert "not on the map" in report(lost, [entry("a", "2026-01-05")])[1][0].remarks[0]


@pytest.mark.parametrize(
    ("year", "starts", "first", "last"),
    [
        (2026, "10-01", date(2025, 10, 1), date(2026, 9, 30)),
        (2026, "01-01", date(2026, 1, 1), date(2026, 12, 31)),
        (2024, "03-01", date(2023, 3, 1), date(2024, 2, 29)),
    ],
)
def test_program_year_is_named_after_the_year_it_ends_in(year: int, starts: str, first: date, last: date) -> None:
    assert program_year(year, starts=starts) == Range(first=first, last=last)
