"""Joining copies of a place is a union of rows: in any order, any grouping, any number of times."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import shapely
from fakes import FakeStore
from hypothesis import given, settings
from hypothesis import strategies as st

from habmap.jobs.unite import unite
from habmap.records import Entry, Row, key_of
from habmap.work.union import union

GROUND = shapely.MultiPolygon([shapely.box(-98.01, 38.0, -98.0, 38.01)])
START = datetime(2026, 1, 1, tzinfo=UTC)
LAW = settings(max_examples=80, deadline=None)


def line(number: int, action: int) -> Entry:
    """Return the one row of a number: every third corrects the row before it, so ids and contents always agree."""
    kind = ("log", "log", "amend", "void")[action]
    return Entry(
        entry_id=f"row-{number:03d}",
        recorded_at=START + timedelta(minutes=number),
        action=kind,  # type: ignore[arg-type]
        target=None if kind == "log" else f"row-{max(number - 1, 0):03d}",
        why=None if kind == "log" else "a slip",
        practice="cut",
        date=date(2026, 1, 1) + timedelta(days=number % 7),
        patch=None if kind == "void" else GROUND,
    )


numbers = st.sets(st.integers(0, 30), max_size=14)
actions = st.lists(st.integers(0, 3), min_size=31, max_size=31)


def copy(chosen: set[int], kinds: list[int]) -> FakeStore:
    return FakeStore([line(number, kinds[number]) for number in sorted(chosen)])


def content(store: FakeStore) -> dict[str, Row]:
    return {key_of(row): row for row in store.rows()}


@LAW
@given(actions, numbers, numbers)
def test_the_order_does_not_matter(kinds: list[int], one: set[int], other: set[int]) -> None:
    here, there = copy(one, kinds), copy(other, kinds)
    unite(here, copy(other, kinds))
    unite(there, copy(one, kinds))
    assert content(here) == content(there)
    assert set(content(here)) == {f"row-{number:03d}" for number in one | other}


@LAW
@given(actions, numbers, numbers, numbers)
def test_the_grouping_does_not_matter(kinds: list[int], one: set[int], two: set[int], three: set[int]) -> None:
    left, right, middle = copy(one, kinds), copy(one, kinds), copy(two, kinds)
    unite(left, copy(two, kinds))
    unite(left, copy(three, kinds))
    unite(middle, copy(three, kinds))
    unite(right, middle)
    assert content(left) == content(right)


@LAW
@given(actions, numbers, numbers)
def test_twice_changes_nothing(kinds: list[int], one: set[int], other: set[int]) -> None:
    here, there = copy(one, kinds), copy(other, kinds)
    unite(here, there)
    once = here.rows()
    again = unite(here, there)
    assert here.rows() == once
    assert again.known == len(other)
    assert union(here.rows(), here.rows()).news == ()


@LAW
@given(actions, numbers, numbers)
def test_the_other_copy_is_only_read(kinds: list[int], one: set[int], other: set[int]) -> None:
    there = copy(other, kinds)
    before = there.rows()
    unite(copy(one, kinds), there)
    assert there.rows() == before
