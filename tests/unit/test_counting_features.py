"""Which feature rows count, told from the rows alone, in any order."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta

from shapely import Point

from habmap.records import Feature
from habmap.work.features import counting_features

MORNING = datetime(2026, 1, 1, tzinfo=UTC)


def row(
    name: str, *supersedes: str, minutes: int = 0, is_void: bool = False, sensitive: bool = False, said: str = ""
) -> Feature:
    return Feature(
        uuid=name,
        kind="house",
        name=said or name,
        geometry=Point(0, 0),
        sensitive=sensitive,
        recorded_at=MORNING + timedelta(minutes=minutes),
        is_void=is_void,
        supersedes=supersedes or None,
    )


def names(*rows: Feature) -> list[list[tuple[str, bool]]]:
    """What counts, for every order of the rows; one answer where the order does not matter."""
    found = []
    for order in itertools.permutations(rows):
        answer = [(one.uuid, one.sensitive) for one in counting_features(order)]
        if answer not in found:
            found.append(answer)
    return found


def test_a_correction_counts_and_a_clock_that_runs_back_does_not_matter() -> None:
    first, second, third = row("a", minutes=9), row("b", "a", minutes=5), row("c", "b", minutes=1)
    assert names(first, second, third) == [[("c", False)]]


def test_rows_told_by_themselves_stand_beside_each_other() -> None:
    assert names(row("a"), row("b", minutes=1)) == [[("a", False), ("b", False)]]


def test_apart_a_withdrawal_wins_and_private_stays_private() -> None:
    first, renamed = row("a"), row("b", "a", minutes=2)
    assert names(first, renamed, row("v", "a", minutes=1, is_void=True)) == [[]]
    assert names(first, renamed, row("s", "a", minutes=1, sensitive=True)) == [[("b", True)]]
    answered = row("z", "b", "s", minutes=3)
    assert names(first, renamed, row("s", "a", minutes=1, sensitive=True), answered) == [[("z", False)]]
