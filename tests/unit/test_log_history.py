"""What became of rows of the log and of versions of units, and which lines say the same, on squares of a hectare."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from fakes import GRID, entry, ground_lonlat, unit
from shapely import box

from habmap.measures import M2_PER_ACRE
from habmap.records import BurnRecord, Entry, Unit
from habmap.work.ledger import corrections, line_numbers
from habmap.work.log_history import UnitAcresThen, history_lines, speaks_of, unit_changes, version_lines
from habmap.work.logged import is_same_work, not_counted, redrawn, same_work
from habmap.work.versions import ends, heirs, made_together

HECTARE = 10_000 / M2_PER_ACRE
WHOLE, WEST, EAST = box(0, 0, 100, 100), box(0, 0, 40, 100), box(40, 0, 100, 100)
SPLIT_ON, BACK_ON = date(2026, 3, 1), date(2026, 5, 1)


def written(*versions: Unit) -> tuple[Unit, ...]:
    end = ends(versions)
    return tuple(replace(one, valid_to=end[one.uuid]) for one in versions)


def version(unit_id: str, planar: object, uuid: str, *replaces: str, on: date | None = None, day: int = 1,
            **fields: object) -> Unit:  # fmt: skip
    moment = datetime(2026, 1, day, tzinfo=UTC)
    return unit(unit_id, planar, uuid=uuid, replaces=replaces, valid_from=on, recorded_at=moment, **fields)  # type: ignore[arg-type]


OLD, OTHER = version("A", WHOLE, "a"), version("B", box(200, 0, 300, 100), "b")
SPLIT = (version("A-1", WEST, "w", "a", on=SPLIT_ON, day=2), version("A-2", EAST, "e", "a", on=SPLIT_ON, day=2))


def test_versions_of_a_unit_with_what_it_came_from_and_went_into() -> None:
    gone = version("B", box(200, 0, 300, 100), "x", "b", on=SPLIT_ON, day=3, is_retired=True)
    versions = written(OLD, OTHER, *SPLIT, gone)
    told = version_lines(versions, "A", grid=GRID)
    assert [(one.unit_id, one.state, one.follows, one.valid_to) for one in told] == [
        ("A", "ended", (), SPLIT_ON), ("A-1", "holds", ("A",), None), ("A-2", "holds", ("A",), None),
    ]  # fmt: skip
    assert [one.acres for one in told] == pytest.approx([HECTARE, 0.4 * HECTARE, 0.6 * HECTARE], rel=1e-6)
    assert [one.unit_id for one in version_lines(versions, "A-2", grid=GRID)] == ["A", "A-2"]
    assert [(one.unit_id, one.state) for one in version_lines(versions, "B", grid=GRID)] == [
        ("B", "ended"), ("B", "retired"),
    ]  # fmt: skip
    assert version_lines(versions, "C", grid=GRID) == ()
    assert [one.acres for one in version_lines(versions, "B", grid=None)] == [0.0, 0.0]


def test_versions_that_were_taken_back_never_held_and_are_followed_by_none() -> None:
    back = version("A", WHOLE, "z", "w", "e", "a", on=SPLIT_ON, day=4)
    told = version_lines(written(OLD, *SPLIT, back), "A", grid=GRID)
    assert [(one.unit_id, one.state, one.follows) for one in told] == [
        ("A", "ended", ()), ("A-1", "taken back", ("A",)), ("A-2", "taken back", ("A",)), ("A", "holds", ("A",)),
    ]  # fmt: skip


def accounted(units: Sequence[Unit], lines: tuple[Entry, ...], day: date) -> tuple[UnitAcresThen, ...]:
    """Tell which units and lines an account is asked of, and on which day, in place of acres."""
    return tuple(UnitAcresThen(one.unit_id, float(len(lines)), day.toordinal(), 0.0, 0.0) for one in units)


def test_each_change_of_units_is_told_on_both_drawings_with_the_work_up_to_its_day() -> None:
    moved = version("B", box(200, 0, 300, 90), "m", "b", on=BACK_ON, day=5)
    retired = version("A-1", WEST, "r", "w", on=BACK_ON, day=6, is_retired=True)
    work = [entry("cut", day, WEST) for day in ("2026-02-28", "2026-03-01", "2026-03-02")]
    versions = written(OLD, OTHER, *SPLIT, moved, retired)
    changes = list(unit_changes(versions, work, accounted))
    said = [
        (one.date, one.recorded_at.day, [u.unit_id for u in one.before], [u.unit_id for u in one.after])
        for one in changes
    ]
    assert said == [
        (SPLIT_ON, 2, ["A"], ["A-1", "A-2"]), (BACK_ON, 5, ["B"], ["B"]), (BACK_ON, 6, ["A-1"], []),
    ]  # fmt: skip
    # the old drawing as of the day before, the new one as of the day, both with the two lines up to it
    first = changes[0]
    assert {(u.acres, u.treated_acres) for u in first.before} == {(2.0, date(2026, 2, 28).toordinal())}
    assert {(u.acres, u.treated_acres) for u in first.after} == {(2.0, SPLIT_ON.toordinal())}
    of_part = [one.date for one in unit_changes(versions, work, accounted, unit_id="A-1")]
    assert of_part == [SPLIT_ON, BACK_ON]
    assert [one.date for one in unit_changes(versions, work, accounted, unit_id="B")] == [BACK_ON]


def test_versions_tied_by_what_they_replace_are_one_change() -> None:
    # A and B are redrawn as X and Y: X takes A and some of B, Y the rest of B, Z follows C by itself
    third = version("C", box(400, 0, 500, 100), "c")
    news = [
        version("X", WHOLE, "x", "a", "b", on=SPLIT_ON), version("Z", WHOLE, "z", "c", on=SPLIT_ON),
        version("Y", WHOLE, "y", "b", on=SPLIT_ON, day=4),
    ]  # fmt: skip
    changes = list(unit_changes(written(OLD, OTHER, third, *news), [], accounted))
    # told as of when the last of them was written
    assert {one.after[0].unit_id: one.recorded_at.day for one in changes} == {"X": 4, "Z": 1}
    pairs = {frozenset(u.unit_id for u in one.before): {u.unit_id for u in one.after} for one in changes}
    assert pairs == {frozenset("AB"): {"X", "Y"}, frozenset("C"): {"Z"}}


def test_a_change_that_was_taken_back_is_none_and_so_is_what_took_it_back() -> None:
    back = version("A", WHOLE, "z", "w", "e", "a", on=SPLIT_ON, day=4)
    assert list(unit_changes(written(OLD, *SPLIT, back), [], accounted)) == []
    # put back with another outline it is a change of its own
    other = version("A", box(0, 0, 100, 99), "z", "w", "e", "a", on=SPLIT_ON, day=4)
    assert [one.date for one in unit_changes(written(OLD, *SPLIT, other), [], accounted)] == [SPLIT_ON]
    # and so it is where one of two units that a merge had taken up comes back drawn otherwise
    x, y = version("X", WEST, "x"), version("Y", EAST, "y")
    merged = version("M", WHOLE, "m", "x", "y", on=SPLIT_ON, day=2)
    for east, told in ((EAST, []), (box(40, 0, 100, 99), [SPLIT_ON])):
        undone = [
            version(name, planar, name, "m", "x", "y", on=SPLIT_ON, day=3)
            for name, planar in (("X", WEST), ("Y", east))
        ]
        assert [one.date for one in unit_changes(written(x, y, merged, *undone), [], accounted)] == told


def test_rows_of_the_log_with_the_ground_they_lie_on() -> None:
    first = entry("cut", "2026-01-05", box(50, 0, 150, 100))
    amend = replace(first, entry_id="amend", action="amend", target=first.entry_id, patch=ground_lonlat(WEST),
                    recorded_at=datetime(2026, 2, 1, tzinfo=UTC))  # fmt: skip
    void = replace(amend, entry_id="void", action="void", target="amend", patch=None,
                   recorded_at=datetime(2026, 2, 2, tzinfo=UTC))  # fmt: skip
    # it touches C by a hair of 4 cm only
    hair = entry("cut", "2026-01-06", box(0, 0, 100.04, 100))
    lost = entry("cut", "2026-01-07", None, action="amend", target="nobody")
    rows = [first, amend, void, hair, lost]
    units = [OLD, version("C", box(100, 0, 200, 100), "c")]
    line_of = {row.entry_id: line for line in corrections(rows) for row in line.rows}
    told = history_lines(rows, line_of, units=units, burns=[], numbers=line_numbers(rows), grid=GRID)
    assert [(one.entry_id, one.number, one.state, one.counts) for one in told] == [
        (first.entry_id, 1, "counts", True), ("amend", 1, "withdrawn", False), ("void", 1, "in force", False),
        (hair.entry_id, 2, "counts", True), (lost.entry_id, None, "unknown", False),
    ]  # fmt: skip
    assert [[(u.unit_id, round(u.acres, 4)) for u in one.units] for one in told] == [
        [("A", round(HECTARE / 2, 4)), ("C", round(HECTARE / 2, 4))], [("A", round(0.4 * HECTARE, 4))], [],
        [("A", round(HECTARE, 4))], [],
    ]  # fmt: skip
    assert told[0].acres == pytest.approx(HECTARE, rel=1e-6) and told[0].outside_acres == pytest.approx(0, abs=1e-6)
    assert (told[2].acres, told[2].outside_acres) == (None, None)
    nowhere = history_lines(rows[:1], line_of, units=[], burns=[], numbers={}, grid=GRID)
    assert (nowhere[0].outside_acres, nowhere[0].units) == (pytest.approx(HECTARE, rel=1e-6), ())
    # before the place has a grid nothing is measured
    bare = history_lines(rows, line_of, units=units, burns=[], numbers={}, grid=None)
    assert {(one.acres, one.units, one.outside_acres, one.number) for one in bare} == {(None, (), None, None)}
    assert [one.state for one in bare] == [one.state for one in told]


def test_a_line_speaks_of_the_units_it_names_or_lies_on_in_any_drawing() -> None:
    def of(planar: object, **fields: object) -> bool:
        (line,) = corrections([entry("cut", "2026-01-05", planar, **fields)])  # type: ignore[arg-type]
        return speaks_of(line, "A", [OLD, version("A", EAST, "e", "a"), OTHER], grid=GRID)

    assert of(WEST) and of(box(90, 0, 150, 100)) and of(None, unit_ids=("A",))
    assert of(box(99.94, 0, 150, 100))  # 6 cm are ground, 4 a hair
    assert not of(box(99.96, 0, 150, 100)) and not of(box(200, 0, 300, 100)) and not of(None, unit_ids=("B",))
    (line,) = corrections([entry("cut", "2026-01-05", WEST)])
    assert speaks_of(line, "A", [OLD], grid=None) is False


def test_the_same_work_told_twice_is_found_whoever_told_it() -> None:
    first = entry("cut", "2026-01-05", WEST, killed_pct=90.0, who="Ann")
    again = replace(first, entry_id="again", who="Bo", note="x")
    assert is_same_work(first, again) and same_work(again, [first]) is first
    assert same_work(first, [first]) is None
    # read from another file, or begun at another corner, it is the same ground
    read = replace(again, patch=ground_lonlat(box(*WEST.bounds, ccw=False)))
    assert read.patch is not first.patch and same_work(read, [first]) is first
    amend = replace(first, entry_id="amend", action="amend", target=first.entry_id)
    assert same_work(amend, [first]) is None  # a correction is no second line
    assert same_work(replace(amend, target="nobody"), [first]) is first
    for other in (
        replace(again, practice="girdle"), replace(again, date=date(2026, 1, 6)), replace(again, killed_pct=80.0),
        replace(again, patch=ground_lonlat(EAST)), replace(again, patch=None),
    ):  # fmt: skip
        assert not is_same_work(first, other) and same_work(other, [first]) is None
    assert is_same_work(replace(first, patch=None), replace(again, patch=None))


def test_facts_that_a_practice_does_not_count_are_named() -> None:
    assert not_counted(entry("cut", "2026-01-05", WEST, killed_pct=90.0)) == ()
    (words,) = not_counted(entry("pile", "2026-01-05", WEST, killed_pct=90.0))
    assert "killed" in words


def test_a_whole_unit_drawn_otherwise_on_the_day_of_the_work_is_named() -> None:
    now, then = [replace(OLD, uuid="new"), OTHER], [OLD, OTHER]
    line = entry("cut", "2026-01-05", WHOLE, unit_ids=("A", "B", "Z"))
    assert redrawn(line, now=now, then=then) == ("A",)
    assert redrawn(line, now=then, then=then) == ()
    assert redrawn(replace(line, patch=ground_lonlat(box(0, 0, 100, 99))), now=now, then=then) == ()
    assert redrawn(line, now=now, then=[OTHER]) == () and redrawn(line, now=[OTHER], then=then) == ()
    assert redrawn(replace(line, patch=None), now=now, then=then) == ()


def test_what_a_correction_takes_out_of_a_burn_is_told_by_the_record_that_counted_below() -> None:
    """The burn said 60 °F and 40%; a first correction left its weather alone, a second says 40% and no more."""
    burn = entry("burn", "2026-03-05", WHOLE, note="smoky")
    first = replace(burn, entry_id="first", action="amend", target=burn.entry_id, note=None,
                    recorded_at=datetime(2026, 4, 1, tzinfo=UTC))  # fmt: skip
    second = replace(first, entry_id="second", target="first", recorded_at=datetime(2026, 4, 2, tzinfo=UTC))
    rows = [burn, first, second]
    record = BurnRecord(uuid="r", entry_id=burn.entry_id, temp_f=60.0, rh_pct=40.0, recorded_at=burn.recorded_at)
    newer = replace(record, uuid="s", entry_id="second", temp_f=None, recorded_at=second.recorded_at)

    def cleared(*burns: BurnRecord) -> list[tuple[str, ...]]:
        line_of = {row.entry_id: line for line in corrections(rows) for row in line.rows}
        told = history_lines(rows, line_of, units=[OLD], burns=burns, numbers=line_numbers(rows), grid=GRID)
        return [one.cleared for one in told]

    assert cleared(record, newer) == [(), ("note",), ("temp_f",)]
    assert cleared(record) == [(), ("note",), ()]
    assert cleared(newer) == [(), ("note",), ()]
    assert cleared(replace(record, entry_id="first"), newer) == [(), ("note",), ("temp_f",)]


def test_versions_made_together_hang_together_from_one_to_the_next() -> None:
    """U follows a and b, V b and c, W c and d; X follows e; Y follows a, written on another day."""
    made = {name: version(name, WHOLE, name, *follows, on=SPLIT_ON) for name, follows in (
        ("U", "ab"), ("V", "bc"), ("W", "cd"), ("X", "e"))}  # fmt: skip
    later = version("Y", WHOLE, "Y", "a", on=SPLIT_ON, day=2)
    for name in "UVW":
        assert {one.unit_id for one in made_together(made[name], [*made.values(), later])} == set("UVW")
    assert made_together(made["X"], [*made.values(), later]) == (made["X"],)
    assert made_together(later, [*made.values(), later]) == (later,)


def test_of_two_versions_that_follow_one_the_earlier_ends_it() -> None:
    early, late = version("X", WEST, "x", "a", on=SPLIT_ON), version("Y", EAST, "y", "a", on=BACK_ON)
    for followers in ((early, late), (late, early)):
        assert ends([OLD, *followers]) == {"a": SPLIT_ON, "x": None, "y": None}


def test_ground_of_a_unit_that_is_gone_is_its_heirs() -> None:
    """A was split into A-1 and A-2, and A-1 then merged with B as M; a split of A-2 was taken back."""
    merged = version("M", WHOLE, "m", "w", "b", on=BACK_ON, day=3)
    tried = version("T", EAST, "t", "e", on=BACK_ON, day=3)
    undone = version("A-2", EAST, "e2", "t", "e", on=BACK_ON, day=4)
    found = heirs(written(OLD, OTHER, *SPLIT, merged))
    assert {former: set(units) for former, units in found.items()} == {"A": {"A-2", "M"}, "A-1": {"M"}, "B": {"M"}}
    assert heirs(written(OLD, OTHER)) == {}
    assert "T" not in heirs(written(OLD, *SPLIT, tried, undone))
    retired = version("A", WHOLE, "r", "a", on=SPLIT_ON, is_retired=True, day=5)
    assert heirs(written(OLD, retired)) == {}
    # a part that is no unit any more is nobody's heir
    gone = version("A-1", WEST, "r", "w", on=BACK_ON, day=6, is_retired=True)
    assert heirs(written(OLD, *SPLIT, gone)) == {"A": ("A-2",)}
