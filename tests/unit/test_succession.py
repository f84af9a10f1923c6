"""Which of several rows counts: told by whom each was written in sight of, before any clock is asked."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from shapely import Point

from habmap.records import Feature, Photo, Plot
from habmap.work.succession import (
    counting,
    counting_features,
    counting_plots,
    in_order,
    in_sight,
    newest,
    newest_photos,
    standing,
)

MORNING = datetime(2026, 1, 1, tzinfo=UTC)


def row(
    name: str, supersedes: Sequence[str] | None = (), *, minutes: int = 0, is_void: bool = False, plot: str = "p"
) -> Plot:
    return Plot(
        uuid=name, plot_id=plot, method="fixed", plot_acres=0.1, stems=3, is_void=is_void,
        recorded_at=MORNING + timedelta(minutes=minutes), supersedes=None if supersedes is None else tuple(supersedes),
    )  # fmt: skip


def names(rows: Sequence[Plot]) -> str:
    return "".join(one.uuid for one in rows)


OLD = [row("b", None, minutes=2), row("a", None, minutes=1), row("c", None, minutes=3)]
SEEN = [row("a", minutes=9), row("b", "a", minutes=5), row("c", "b", minutes=1)]
APART = [row("a"), row("b", "a", minutes=5), row("c", "a", minutes=4), row("d", "a", minutes=5)]
CIRCLE = [row("a", "b", minutes=2), row("b", "a", minutes=1)]


@pytest.mark.parametrize(
    ("rows", "stand", "told", "sight"),
    [
        (OLD, "c", "abc", "abc"),  # only the clock tells their order, so that all are stood in place of
        (SEEN, "c", "abc", "c"),
        (APART, "cbd", "acbd", "bcd"),  # the later by the clock, then by the id
        (CIRCLE, "ba", "ba", "ab"),  # another program's work
        ([row("a", None), row("b", None, minutes=1), row("c", "b", minutes=-9)], "c", "abc", "abc"),
        ([], "", "", ""),
    ],
)
def test_who_stands_who_counts_and_whom_a_row_written_now_stands_in_place_of(
    rows: list[Plot], stand: str, told: str, sight: str
) -> None:
    for order in itertools.permutations(rows):
        assert names(standing(order)) == stand
        assert names(in_order(order)) == told
        assert "".join(in_sight(order)) == sight
        last = newest(order)
        assert (last.uuid if last else "") == stand[-1:]


def test_what_stands_under_what_may_be_known_otherwise_than_from_the_rows() -> None:
    """By themselves c is the last of these; told otherwise a stands in place of b alone, and c of nothing."""
    under = {"a": ["b"], "b": [], "c": []}
    for rows in (OLD, SEEN):
        assert names(standing(rows, under=under)) == ("ac" if rows is OLD else "ca")
        assert names(in_order(rows, under=under)) == ("bac" if rows is OLD else "cba")


@pytest.mark.parametrize(
    ("voids", "counts"), [("", "d"), ("a", "d"), ("b", None), ("d", None), ("bcd", None)]
)  # fmt: skip
def test_of_rows_written_apart_a_withdrawal_beats_a_correction(voids: str, counts: str | None) -> None:
    rows = [replace(one, is_void=one.uuid in voids) for one in APART]
    found = counting(rows)
    assert (found and found.uuid) == counts
    # told anew in sight of all of them it counts again
    again = counting([*rows, row("e", "bcd", minutes=-5)])
    assert again is not None and again.uuid == "e"
    assert counting([]) is None


def test_each_plot_counts_once_the_oldest_first() -> None:
    others = [row("x", plot="q", minutes=3), row("y", plot="r", is_void=True)]
    assert names(counting_plots([*APART, *others])) == "xd"


def test_of_features_in_a_circle_the_later_counts_and_private_stays_private() -> None:
    """Rows that name each other are another program's work: nobody can have seen both."""
    ground = Point(-98, 38)
    early = Feature(
        uuid="a", kind="house", name="", geometry=ground, recorded_at=MORNING, sensitive=True, supersedes=("b",)
    )
    late = Feature(
        uuid="b", kind="house", name="", geometry=ground, recorded_at=MORNING + timedelta(minutes=1), supersedes=("a",)
    )
    (found,) = counting_features([early, late])
    assert (found.uuid, found.sensitive, found.supersedes) == ("b", True, ("a",))
    # a row that names only what is not there stands by itself
    alone = replace(late, uuid="c", supersedes=("z",))
    assert [one.uuid for one in counting_features([early, late, alone])] == ["b", "c"]
    assert counting_features([replace(early, supersedes=None)])[0].supersedes is None


FIRST, OTHER_FIRST = "0000000f-0000-5000-8000-000000000001", "0000000e-0000-5000-8000-000000000002"
ANEW, OTHER_ANEW = "00000001-0000-4000-8000-000000000003", "00000002-5000-4500-8500-500000000004"


def photo(
    uuid: str, supersedes: Sequence[str] | None = None, *, minutes: int = 0, is_private: bool = False, of: str = "s"
) -> Photo:
    return Photo(
        uuid=uuid, file_name="a.jpg", sha256=of, picture="a.jpg", taken_at=MORNING, taken_on=MORNING.date(),
        geometry=Point(-98, 38), is_private=is_private, recorded_at=MORNING + timedelta(minutes=minutes),
        supersedes=None if supersedes is None else tuple(supersedes),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "counts", "is_private"),
    [
        # a row of chance counts before any first one, however late that was loaded, and opens nothing unseen
        ([photo(FIRST, minutes=9), photo(ANEW, ())], ANEW, False),
        ([photo(FIRST, minutes=9, is_private=True), photo(ANEW, ())], ANEW, True),
        ([photo(FIRST, minutes=9, is_private=True), photo(ANEW, [FIRST])], ANEW, False),
        ([photo(OTHER_FIRST, minutes=9), photo(FIRST, minutes=1)], FIRST, False),  # of first ones the id alone tells
        ([photo(OTHER_FIRST, minutes=9, is_private=True), photo(FIRST)], FIRST, True),
        ([photo(ANEW, (), minutes=2), photo(OTHER_ANEW, (), minutes=1)], ANEW, False),
        ([photo(ANEW, (), minutes=1), photo(OTHER_ANEW, (), minutes=1)], OTHER_ANEW, False),
        ([photo(ANEW, minutes=2, is_private=True), photo(OTHER_ANEW, minutes=3)], OTHER_ANEW, True),  # by the clock
        # a circle is another program's work: nobody has seen both
        ([photo(ANEW, [OTHER_ANEW], minutes=2), photo(OTHER_ANEW, [ANEW], is_private=True)], ANEW, True),
    ],
)
def test_what_counts_of_a_photo_and_whether_it_is_private(rows: list[Photo], counts: str, is_private: bool) -> None:
    for order in itertools.permutations(rows):
        (found,) = newest_photos(order)
        assert (found.uuid, found.is_private) == (counts, is_private)


def test_photos_stand_in_the_order_in_which_they_were_taken() -> None:
    late = replace(photo(FIRST, of="late"), taken_at=MORNING + timedelta(days=1))
    twins = [photo(ANEW, of="one"), photo(OTHER_ANEW, of="two")]
    for order in itertools.permutations([late, *twins]):
        assert [one.uuid for one in newest_photos(order)] == [ANEW, OTHER_ANEW, FIRST]
