"""Which feature rows count, told from the rows alone, in any order."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from shapely import Point

from habmap.errors import InputError
from habmap.records import Feature
from habmap.work.succession import counting_features, named_feature

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


def test_a_feature_is_named_by_its_id_its_name_or_the_beginning_of_its_row() -> None:
    barn = replace(row("abcdef12", said="Barn"), feature_id="7")
    shed, other, blank = row("abce0000", said="Shed"), row("abcf0000", said="Shed"), row("77777777", said="")
    known = [barn, shed, other, replace(blank, name="")]
    for name in ("7", "abcdef12", "Barn", "abcd", "ABCDEF"):
        assert named_feature(known, name) is barn
    assert named_feature(known, "abcf") is other
    # an id goes before a name, and a name before the beginning of a row's id
    namesake = replace(row("00000001", said="7"), feature_id="8")
    assert named_feature([*known, namesake], "7") is barn
    assert named_feature([*known, row("00000002", said="abce")], "abce").uuid == "00000002"
    for name, shown in (("Shed", "house abce0000, house abcf0000"), ("abc", ""), ("", ""), ("Bar", ""), ("zzzz", "")):
        with pytest.raises(InputError) as refused:
            named_feature(known, name)
        said = "several features are called so" if shown else "there is no such feature"
        assert str(refused.value).startswith(said)
        assert refused.value.allowed == (shown or "a feature_id, a name, or the id of its row")
        assert refused.value.value == (name or "blank")


def test_of_many_features_of_one_name_as_many_are_shown_as_four_hundred_characters_hold() -> None:
    with pytest.raises(InputError) as refused:
        named_feature([row(f"{number:08d}", said="Shed") for number in range(40)], "Shed")
    assert refused.value.allowed is not None
    assert len(refused.value.allowed) == 400 and refused.value.allowed.endswith("…")
