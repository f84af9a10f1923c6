"""What counts of a burn is the same however its rows came together, and whatever corrections it went through."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import shapely
from fakes import GRID, FakeStore
from hypothesis import given, settings
from hypothesis import strategies as st

from habmap.jobs.unite import unite
from habmap.records import BurnRecord, Entry, Row
from habmap.vocabulary import FIRE
from habmap.work.burns import burn_of, record_id
from habmap.work.ledger import corrections

GROUND = shapely.MultiPolygon([shapely.box(-98.01, 38.0, -98.0, 38.01)])
START = datetime(2026, 1, 1, tzinfo=UTC)
LAW = settings(max_examples=60, deadline=None)
ROWS = 12

#: Of each row: log, log, amend or void; burn or mow; whether it carries a record.
kinds = st.lists(st.tuples(st.integers(0, 3), st.booleans(), st.booleans()), min_size=ROWS, max_size=ROWS)
numbers = st.sets(st.integers(0, ROWS - 1))


def rows_of(number: int, kind: tuple[int, bool, bool]) -> list[Row]:
    """Return the row of a number, which corrects the one before it where it corrects at all, and its burn record."""
    action = ("log", "log", "amend", "void")[kind[0]]
    row = Entry(
        entry_id=f"row-{number:03d}",
        recorded_at=START + timedelta(minutes=number),
        action=action,  # type: ignore[arg-type]
        target=None if action == "log" else f"row-{max(number - 1, 0):03d}",
        why=None if action == "log" else "a slip",
        practice="burn" if kind[1] else "mow",
        date=date(2026, 1, 1),
        patch=None if action == "void" else GROUND,
    )
    if action == "void" or not kind[2]:
        return [row]
    record = BurnRecord(
        uuid=record_id(row.entry_id), entry_id=row.entry_id, ignition="13:30", rh_pct=float(number),
        recorded_at=row.recorded_at,
    )  # fmt: skip
    return [row, record]


def copy(chosen: set[int], told: list[tuple[int, bool, bool]]) -> FakeStore:
    return FakeStore([row for number in sorted(chosen) for row in rows_of(number, told[number])], grid=GRID)


def counting(store: FakeStore) -> dict[str, BurnRecord | None]:
    return {line.root.entry_id: burn_of(line, store.burns()) for line in corrections(store.entries())}


@LAW
@given(kinds, numbers, numbers)
def test_joined_in_either_order_the_same_burns_count(
    told: list[tuple[int, bool, bool]], one: set[int], other: set[int]
) -> None:
    here, there = copy(one, told), copy(other, told)
    unite(here, copy(other, told))
    unite(there, copy(one, told))
    assert counting(here) == counting(there) == counting(copy(one | other, told))


@LAW
@given(kinds)
def test_a_record_counts_only_for_fire_that_counts_and_is_of_its_own_line(told: list[tuple[int, bool, bool]]) -> None:
    store = copy(set(range(ROWS)), told)
    for line in corrections(store.entries()):
        record = burn_of(line, store.burns())
        if line.content is None or line.content.practice not in FIRE:
            assert record is None
        if record is not None:
            assert record.entry_id in {line.root.entry_id, *(row.entry_id for row in line.amends)}
            # No row of the line that was written after it, and not taken back, has a record of its own.
            later = {row.entry_id for row in line.amends if row.recorded_at > record.recorded_at} - line.withdrawn
            assert not later & {other.entry_id for other in store.burns()}


@LAW
@given(kinds, st.randoms(use_true_random=False))
def test_the_order_of_rows_in_the_store_does_not_matter(told: list[tuple[int, bool, bool]], random: object) -> None:
    store = copy(set(range(ROWS)), told)
    shuffled = list(store.rows())
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert counting(FakeStore(shuffled, grid=GRID)) == counting(store)
