"""Corrections: which lines count, and which rows contradict each other."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from fakes import entry
from shapely import box

from habmap.records import Entry
from habmap.work.ledger import (
    _all_below,
    conflicts,
    corrections,
    effective_entries,
    line_number,
    line_numbers,
    sight,
    told_in_order,
)

PATCH = box(0, 0, 50, 50)


def amend(target: Entry, practice: str = "cut", day: str = "2025-03-01", **fields: object) -> Entry:
    return entry(practice, day, PATCH, action="amend", target=target.entry_id, why="measured again", **fields)


def void(target: Entry) -> Entry:
    return entry("other", "2025-03-01", action="void", target=target.entry_id, why="wrong place")


def test_a_line_without_corrections_counts_as_written() -> None:
    line = entry("cut", "2025-03-01", PATCH, killed_pct=60)
    assert effective_entries([line]) == (line,)


def test_an_amendment_carries_the_whole_content_under_the_roots_identity() -> None:
    line = entry("cut", "2025-03-01", PATCH, person_hours=6, who="A", source_id="7")
    change = amend(line, "girdle", "2025-04-02", killed_pct=90)
    (counting,) = effective_entries([line, change])
    assert counting == replace(
        change,
        entry_id=line.entry_id,
        recorded_at=line.recorded_at,
        source_id="7",
        action="log",
        target=None,
        why=None,
    )
    assert counting.person_hours is None


def test_a_void_beats_an_amendment_whichever_was_written_first() -> None:
    line = entry("cut", "2025-03-01", PATCH)
    first_void, change = void(line), amend(line)
    assert effective_entries([line, first_void, change]) == ()
    other = entry("cut", "2025-03-01", PATCH)
    change, late_void = amend(other), void(other)
    assert effective_entries([late_void, other, change]) == ()


def test_of_two_amendments_the_later_counts_and_equal_moments_go_by_id() -> None:
    line = entry("cut", "2025-03-01", PATCH)
    early, late = amend(line, person_hours=1), amend(line, person_hours=2)
    assert effective_entries([late, early, line])[0].person_hours == 2
    same_moment = replace(late, entry_id="zzz", person_hours=3)
    assert effective_entries([same_moment, late, line])[0].person_hours == 3


def test_correcting_a_correction_speaks_of_the_line_at_the_root() -> None:
    line = entry("cut", "2025-03-01", PATCH)
    change = amend(line, person_hours=1)
    second = amend(change, person_hours=2)
    (counting,) = effective_entries([line, change, second])
    assert (counting.entry_id, counting.person_hours) == (line.entry_id, 2)
    assert conflicts([line, change, second]) == ()


def test_voiding_a_correction_brings_back_what_stood_before_it() -> None:
    line = entry("cut", "2025-03-01", PATCH, person_hours=5)
    change = amend(line, person_hours=10)
    second = amend(change, person_hours=20)
    assert effective_entries([line, change, void(change)]) == (line,)
    (counting,) = effective_entries([line, change, second, void(second)])
    assert counting.person_hours == 10
    back = void(second)
    (counting,) = effective_entries([line, change, second, back, void(back)])
    assert counting.person_hours == 20
    (found,) = corrections([line, change, second, back])
    assert (found.basis, found.withdrawn, found.voids) == ((line, change), {second.entry_id}, (back,))


def test_a_correction_made_in_sight_of_another_beats_it_whatever_the_clocks_say() -> None:
    line = entry("cut", "2025-03-01", PATCH, person_hours=5)
    change = amend(line, person_hours=10)
    past = {"recorded_at": line.recorded_at - timedelta(days=2)}
    second = replace(amend(change, person_hours=20), **past)
    assert effective_entries([line, change, second])[0].person_hours == 20
    rival = amend(line, person_hours=7)  # made apart, and the latest of all by its clock
    assert effective_entries([line, change, second, rival])[0].person_hours == 7
    assert {conflict.kind for conflict in conflicts([line, change, second, rival])} == {"two_amendments"}
    (found,) = corrections([line, change, second, rival])
    settled = replace(amend(second, person_hours=9, supersedes=sight(found)), **past)
    assert effective_entries([line, change, second, rival, settled])[0].person_hours == 9
    assert conflicts([line, change, second, rival, settled]) == ()


def test_a_correction_made_after_one_was_withdrawn_stays_before_it_when_that_is_brought_back() -> None:
    line = entry("cut", "2025-03-01", PATCH, person_hours=5)
    change = amend(line, person_hours=10)
    gone = void(change)
    (found,) = corrections([line, change, gone])
    later = amend(line, person_hours=6, supersedes=sight(found))
    assert effective_entries([line, change, gone, later])[0].person_hours == 6
    back = void(gone)
    assert effective_entries([line, change, gone, later, back])[0].person_hours == 6
    assert conflicts([line, change, gone, later, back]) == ()


def test_what_was_made_apart_from_a_withdrawal_is_named() -> None:
    line = entry("cut", "2025-03-01", PATCH, person_hours=5)
    change = amend(line, person_hours=10)
    upon = amend(change, person_hours=11, supersedes=(change.entry_id,))
    rows = [line, change, upon, void(change)]
    assert effective_entries(rows)[0].person_hours == 11
    assert [conflict.kind for conflict in conflicts(rows)] == ["withdrawn_below"]
    past = {"recorded_at": line.recorded_at - timedelta(days=2)}
    blind, seeing = (replace(void(line), supersedes=ids, **past) for ids in ((), (change.entry_id,)))
    assert [conflict.kind for conflict in conflicts([line, change, blind])] == ["amended_and_void"]
    assert conflicts([line, change, seeing]) == ()
    assert conflicts([line, change, blind, seeing]) == ()
    # a withdrawal that was itself taken back has seen nothing for the one that counts
    assert [conflict.kind for conflict in conflicts([line, change, blind, seeing, void(seeing)])] == [
        "amended_and_void"
    ]


def test_a_correction_made_upon_withdrawn_ones_is_named_with_them_and_the_last_of_them_is_told() -> None:
    line = entry("cut", "2025-03-01", PATCH, person_hours=5)
    first = amend(line, person_hours=10)
    second = amend(first, person_hours=11)
    third = amend(second, person_hours=12)
    rows = [line, first, second, third, void(first), void(second)]
    (found,) = conflicts(rows)
    assert (found.kind, found.entry_id) == ("withdrawn_below", line.entry_id)
    assert found.row_ids == (first.entry_id, second.entry_id, third.entry_id)
    assert found.words == (
        f"line {line.entry_id} counts as {third.entry_id} has it, made upon {second.entry_id}, which is withdrawn"
    )
    # one that stands between is not named
    (found,) = conflicts([line, first, second, third, void(first)])
    assert found.row_ids == (first.entry_id, third.entry_id)


def test_what_lies_below_in_a_circle_of_corrections_is_named_once_and_ends() -> None:
    upon = {"a": ("b", "line"), "b": ("c",), "c": ("a",), "line": ()}
    assert _all_below("a", upon) == {"a", "b", "c", "line"}
    assert _all_below("line", upon) == _all_below("nobody", upon) == frozenset()


def test_long_chains_and_circles_of_withdrawals_are_followed() -> None:
    line = entry("cut", "2025-03-01", PATCH)
    chain = [void(line)]
    for _ in range(3001):
        chain.append(void(chain[-1]))
    assert effective_entries([line, *chain]) == (line,)
    assert effective_entries([line, *chain[:-1]]) == ()
    # a clock that was set back changes nothing
    end = void(line)
    lifted = replace(void(end), recorded_at=line.recorded_at - timedelta(days=2))
    assert effective_entries([line, end, lifted]) == (line,)
    assert corrections([line, end, lifted])[0].withdrawn == {end.entry_id}
    one, two = void(line), void(line)
    circle = [replace(one, target=two.entry_id), replace(two, target=one.entry_id)]
    assert effective_entries([line, *circle]) == (line,)


def test_a_void_that_is_itself_voided_no_longer_counts() -> None:
    line = entry("cut", "2025-03-01", PATCH)
    first = void(line)
    second = void(first)
    third = void(second)
    assert effective_entries([line, first]) == ()
    assert effective_entries([line, first, second]) == (line,)
    assert effective_entries([line, first, second, third]) == ()


def test_work_of_one_day_is_ordered_by_practice_then_moment_then_id() -> None:
    burn, cut, keep = (entry(practice, "2025-03-01", PATCH) for practice in ("burn", "cut", "keep"))
    before = entry("checkup", "2025-02-28", PATCH)
    again = replace(cut, entry_id="a-first")
    found = effective_entries([burn, cut, keep, before, again])
    assert [line.entry_id for line in found] == [
        before.entry_id,
        keep.entry_id,
        "a-first",
        cut.entry_id,
        burn.entry_id,
    ]


def test_corrections_keep_every_row_of_a_line() -> None:
    line = entry("cut", "2025-03-01", PATCH)
    change, end = amend(line), void(line)
    (found,) = corrections([end, line, change])
    assert (found.root, found.amends, found.voids, found.content) == (line, (change,), (end,), None)


@pytest.mark.parametrize("kind", ["two_amendments", "target_missing", "target_is_void", "circle", "amended_and_void"])
def test_contradictions_are_named(kind: str) -> None:
    line = entry("cut", "2025-03-01", PATCH)
    if kind == "two_amendments":
        rows = [line, amend(line), amend(line)]
    elif kind == "target_missing":
        rows = [line, entry("other", date(2025, 3, 1), action="void", target="nobody")]
    elif kind == "target_is_void":
        end = void(line)
        rows = [line, end, amend(end)]
    elif kind == "amended_and_void":
        rows = [line, void(line), amend(line)]
    else:
        first = amend(line)
        second = amend(first)
        rows = [line, replace(first, target=second.entry_id), second]
    assert {conflict.kind for conflict in conflicts(rows)} == {kind}
    assert all(conflict.words for conflict in conflicts(rows))


def test_a_row_whose_target_is_missing_touches_nothing() -> None:
    line = entry("cut", "2025-03-01", PATCH)
    assert effective_entries([line, entry("cut", "2025-03-01", PATCH, action="amend", target="nobody")]) == (line,)


def test_lines_are_numbered_as_they_were_recorded_and_what_corrects_them_has_their_number() -> None:
    first, change = entry("cut", "2025-03-01", PATCH), None
    change = amend(first)
    second = entry("mow", "2025-01-01", PATCH)
    rows = [second, void(first), change, first]
    assert line_numbers(rows) == {first.entry_id: 1, second.entry_id: 2}
    assert [line_number(row, rows) for row in (first, change, second)] == [1, 1, 2]
    assert line_number(amend(replace(first, entry_id="elsewhere")), rows) is None
    # of one moment, as loaded from one file, in the order of the work
    late, early, burn = (replace(entry(practice, day, PATCH), recorded_at=first.recorded_at, entry_id=name)
                         for practice, day, name in (("cut", "2025-02-02", "a"), ("cut", "2025-02-01", "z"),
                                                     ("burn", "2025-02-01", "b")))  # fmt: skip
    assert line_numbers([late, burn, early]) == {"z": 1, "b": 2, "a": 3}


def test_rows_are_told_after_what_they_were_made_in_sight_of_whatever_their_clocks_said() -> None:
    """A laptop two days behind corrects a line, corrects that, withdraws it; another line came between by its clock."""
    line = entry("cut", "2025-03-01", PATCH)
    other = replace(entry("mow", "2025-03-01", PATCH), recorded_at=line.recorded_at + timedelta(minutes=1))
    behind = {"recorded_at": line.recorded_at - timedelta(days=2)}
    change = replace(amend(line), entry_id="c", **behind)
    again = replace(amend(change, supersedes=("c",)), entry_id="b", **behind)
    end = replace(void(again), entry_id="a", **behind)
    back = replace(void(end), entry_id="0", **behind)
    rows = [other, back, end, again, change, line]
    assert told_in_order(rows) == (line, change, again, end, back, other)
    # with clocks that go right nothing is moved
    right = [line, amend(line), void(line), entry("mow", "2025-03-01", PATCH)]
    assert told_in_order(right[::-1]) == tuple(right)
    between = [line, entry("mow", "2025-03-01", PATCH), amend(line), entry("mow", "2025-03-02", PATCH)]
    assert told_in_order(between[::-1]) == tuple(between)
    alone = replace(void(line), target="nobody")
    assert told_in_order([alone, line]) == (line, alone)
    # of one moment it comes in the order of the work like any other
    for day, order in (("2025-03-02", (0, 1)), ("2025-02-28", (1, 0))):
        rows = (line, replace(alone, recorded_at=line.recorded_at, date=date.fromisoformat(day)))
        assert told_in_order(rows) == tuple(rows[at] for at in order)
