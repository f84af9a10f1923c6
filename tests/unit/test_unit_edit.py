"""Units split, merged, redated and taken back, on squares of a hectare."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from fakes import GRID, unit
from shapely import LineString, MultiPolygon, Point, box
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, UsageError
from habmap.measures import M2_PER_ACRE
from habmap.records import Unit
from habmap.work.unit_edit import (
    Change,
    _check_alike,
    merge,
    present_unit,
    redate,
    redraw,
    refuse_too_early,
    retire,
    split,
    undo,
)
from habmap.work.versions import ends

DAY, LATER = date(2026, 3, 1), date(2026, 5, 1)
A = unit("A", box(0, 0, 100, 100), uuid="a", name="Bench", planned_acres=2.0, acres_sd=0.1, valid_from=date(2025, 1, 1))
B = unit("B", box(100, 0, 200, 100), uuid="b", planned_acres=3.0, notes="wet", valid_from=date(2025, 1, 1))
ACROSS = GRID.to_lonlat(LineString([(30, -10), (30, 110)]))


def divide(drawn: BaseGeometry, *versions: Unit, into: tuple[str, ...] = (), valid_from: date = DAY) -> Change:
    return split(versions or (A, B), "A", drawn, grid=GRID, into=into, valid_from=valid_from, where="line.gpx")


def areas_m2(change: Change) -> dict[str, float]:
    return {one.unit_id: round(GRID.to_grid(one.geometry).area, 2) for one in change.new}


def written(change: Change, versions: tuple[Unit, ...], *, day: int) -> tuple[Unit, ...]:
    """Return versions with a change written beside them, as a store would."""
    moment = datetime(2026, 1, day, tzinfo=UTC)
    news = [replace(one, uuid=f"{change.word}{day}{n}", recorded_at=moment) for n, one in enumerate(change.new)]
    together = (*versions, *news)
    end = ends(together)
    return tuple(replace(one, valid_to=end[one.uuid]) for one in together)


def test_a_line_cuts_from_west_to_east() -> None:
    change = divide(ACROSS)
    assert areas_m2(change) == {"A-1": 3000, "A-2": 7000}
    assert [(one.name, one.cover, one.planned_acres, one.acres_sd) for one in change.new] == [
        ("Bench 1", "cedar", None, None), ("Bench 2", "cedar", None, None),
    ]  # fmt: skip
    assert {(one.replaces, one.valid_from, one.valid_to) for one in change.new} == {(("a",), DAY, None)}
    assert (change.old, change.not_before, change.is_new_ground, len(change.notes)) == ((A,), (A,), False, 1)
    assert [one.name for one in divide(ACROSS, into=("A", "east")).new] == ["Bench", "Bench east"]


def test_a_piece_below_a_tenth_of_an_acre_is_asked_about() -> None:
    # 4.05 m by 100 m is 405 m², a tenth of an acre 404.7 m²
    (note,) = divide(GRID.to_lonlat(LineString([(4.0, -10), (4.0, 110)]))).notes[1:]
    assert note == f"A-1 holds {400 / M2_PER_ACRE:.4f} acres only: is the line where it should be?"
    assert len(divide(GRID.to_lonlat(LineString([(4.05, -10), (4.05, 110)]))).notes) == 1


@pytest.mark.parametrize(
    ("drawn", "what", "value"),
    [
        (Point(50, 50), "a unit is split by a line or a polygon", "Point"),
        (LineString([(30, -10), (30, 60)]), "the line does not cross", "an end stops 30.0 m inside A"),
        (LineString([(107, -10), (107, 60)]), "the line does not cross", "it lies 7.0 m away from A"),
        (LineString([(50, -10), (50, 30), (50, -10)]), "the line does not cross", "it cuts nothing off A"),
        (box(-10, -10, 110, 110), "the polygon does not cut", "it covers all of A"),
        (box(210, 0, 300, 100), "the polygon does not cut", "it covers none of A"),
    ],
)
def test_what_cuts_nothing_off_says_why(drawn: BaseGeometry, what: str, value: str) -> None:
    with pytest.raises(InputError, match=what) as refused:
        divide(GRID.to_lonlat(drawn))
    assert (refused.value.value, refused.value.where) == (value, "line.gpx")


@pytest.mark.parametrize("into", [("X",), ("X", "Y", "Z")])
def test_there_must_be_as_many_names_as_pieces(into: tuple[str, ...]) -> None:
    with pytest.raises(InputError, match="as many names as pieces") as refused:
        divide(ACROSS, into=into)
    assert refused.value.value == f"{len(into)} names, 2 pieces"


@pytest.mark.parametrize(
    ("into", "wrong"), [(("X", "B"), "B"), (("X", "X"), "X"), (("X", " "), "blank"), (("X;Y", "Z"), "X;Y")]
)
def test_names_that_are_taken_twice_or_blank_are_refused(into: tuple[str, ...], wrong: str) -> None:
    with pytest.raises(InputError, match="cannot be given") as refused:
        divide(ACROSS, into=into)
    assert (str(refused.value.value).strip() or "blank") == wrong


def test_a_name_is_free_from_the_day_on_which_its_unit_ended() -> None:
    old = replace(B, unit_id="X", uuid="x", valid_to=DAY)
    assert areas_m2(divide(ACROSS, A, old, into=("X", "Y"))) == {"X": 3000, "Y": 7000}
    with pytest.raises(InputError, match="cannot be given"):
        divide(ACROSS, A, replace(old, valid_to=LATER), into=("X", "Y"))
    # one that never held, taken back on its first day, takes no name even where that day comes later
    never = replace(old, valid_from=LATER, valid_to=LATER)
    assert areas_m2(divide(ACROSS, A, never, into=("X", "Y"))) == {"X": 3000, "Y": 7000}


def join(*units: Unit, into: str = "A", cover: str | None = None, named: tuple[str, ...] = ("A", "B")) -> Change:
    return merge(units, named, grid=GRID, into=into, cover=cover, valid_from=DAY)


def test_two_units_become_one_with_the_sum_of_what_adds_up() -> None:
    change = join(replace(A, notes="steep", stems_per_acre=100.0), replace(B, stems_per_acre=300.0))
    (whole,) = change.new
    assert (whole.unit_id, whole.name, whole.replaces) == ("A", "Bench", ("a", "b"))
    assert GRID.to_grid(whole.geometry).area == pytest.approx(20_000, abs=0.01)
    assert (whole.planned_acres, whole.acres_sd, whole.notes) == (5.0, None, "steep\nwet")
    assert (change.notes, change.not_before, change.is_new_ground) == ((), change.old, False)
    (renamed,) = join(A, B, into="C").new
    assert (renamed.unit_id, renamed.name) == ("C", "C")


def test_densities_are_weighted_by_ground_and_unknown_where_one_is() -> None:
    large = replace(B, geometry=unit("B", box(100, 0, 400, 100)).geometry)
    # one hectare of 100 and three of 300: 250
    (whole,) = join(replace(A, stems_per_acre=100.0), replace(large, stems_per_acre=300.0)).new
    assert whole.stems_per_acre == pytest.approx(250, rel=1e-6)
    (half,) = join(replace(A, stems_per_acre=100.0, planned_acres=None), large).new
    assert (half.stems_per_acre, half.canopy_pct, half.planned_acres) == (None, None, None)
    (alike,) = join(replace(A, canopy_pct=70.0), replace(large, canopy_pct=70.0)).new
    assert alike.canopy_pct == 70.0


def test_a_whole_of_parts_apart_or_of_several_strata_says_so() -> None:
    far = replace(B, geometry=unit("B", box(500, 0, 600, 100)).geometry, stratum="draw")
    change = join(replace(A, stratum="bench"), far)
    assert change.notes == ("A lies in 2 parts that do not touch", "the units differ in stratum: A has none")
    assert change.new[0].stratum is None
    assert join(replace(A, stratum="draw"), far).new[0].stratum == "draw"


def test_units_that_are_judged_otherwise_are_not_merged() -> None:
    mixed, other = replace(B, cover="mixed"), replace(B, target_pct=50.0)
    with pytest.raises(InputError, match="cannot be one") as refused:
        join(A, mixed)
    assert refused.value.value == "cover: A cedar, B mixed"
    assert join(A, mixed, cover="mixed").new[0].cover == "mixed"
    with pytest.raises(InputError, match="cannot be one"):
        join(A, other, cover="mixed")
    with pytest.raises(UsageError, match="two units or more"):
        join(A, B, named=("A", "A"))
    with pytest.raises(UsageError, match="cover is not known"):
        join(A, B, cover="forest")


def test_a_redrawn_unit_may_lie_over_others_and_one_that_was_retired_comes_back() -> None:
    outline = MultiPolygon(unit("A", box(0, 0, 150, 100)).geometry)
    change = redraw(replace(A, is_retired=True), outline, valid_from=DAY, notes=("n",))
    (new,) = change.new
    assert (change.is_new_ground, change.notes, change.not_before) == (True, ("n",), change.old)
    assert (new.is_retired, new.acres_sd, new.planned_acres, new.geometry) == (False, None, 2.0, outline)
    assert retire((A, B), "A", valid_from=DAY).new[0].is_retired


def test_the_day_before_the_unit_began_is_refused() -> None:
    change = merge((A, replace(B, valid_from=LATER)), ("A", "B"), grid=GRID, into="A", cover=None, valid_from=DAY)
    with pytest.raises(InputError, match="begins later") as refused:
        refuse_too_early(change)
    assert (refused.value.where, refused.value.allowed) == ("unit B, --from", f"{LATER} or later")
    refuse_too_early(replace(change, valid_from=LATER))


def test_what_is_no_unit_now_is_told_apart() -> None:
    gone = replace(A, valid_to=DAY)
    assert present_unit((gone, B), "B") is B
    with pytest.raises(InputError, match="there is no such unit"):
        present_unit((gone, B), "Z")
    with pytest.raises(InputError, match="was split") as refused:
        present_unit((gone, B), "A")
    assert refused.value.allowed == "B"
    retired = replace(A, is_retired=True)
    with pytest.raises(InputError, match="was retired") as refused:
        present_unit((retired,), "A")
    assert refused.value.allowed == "no units are loaded yet"
    assert present_unit((retired,), "A", or_retired=True) is retired


def test_a_change_is_redated_taken_back_and_made_again() -> None:
    first = written(divide(ACROSS), (A, B), day=2)
    moved = redate(first, "A-1", valid_from=LATER)
    assert [(one.unit_id, one.valid_from, one.valid_to) for one in moved.new] == [
        ("A-1", LATER, None), ("A-2", LATER, None),
    ]  # fmt: skip
    assert moved.not_before == moved.old and [one.uuid for one in moved.old] == ["a"]
    back = undo(first, "A-2")
    assert [(one.unit_id, one.valid_from, one.planned_acres) for one in back.new] == [("A", DAY, 2.0)]
    assert (back.valid_from, back.is_new_ground) == (DAY, True)
    # taken back again, the parts hold on the day that they had
    again = undo(written(back, first, day=3), "A")
    assert sorted((one.unit_id, one.valid_from) for one in again.new) == [("A-1", DAY), ("A-2", DAY)]


def test_what_was_never_changed_or_was_changed_since_is_refused() -> None:
    with pytest.raises(InputError, match="never changed"):
        undo((A, B), "A")
    first = written(divide(ACROSS), (A, B), day=2)
    second = written(retire(first, "A-1", valid_from=LATER), first, day=3)
    with pytest.raises(InputError, match="changed again since") as refused:
        undo(second, "A-2")
    assert refused.value.value == "A-1"
    assert [one.is_retired for one in undo(second, "A-1").new] == [False]


def test_a_whole_may_not_take_the_name_of_a_third_unit_nor_none() -> None:
    third = replace(B, unit_id="C", uuid="c")
    for into, shown in (("C", "C"), ("", "blank"), ("X;Y", "X;Y")):
        with pytest.raises(InputError, match="cannot be given") as refused:
            join(A, B, third, into=into)
        assert refused.value.value == shown
    assert [one.unit_id for one in join(A, B, replace(third, valid_to=DAY), into="C").new] == ["C"]


def test_a_change_that_was_redated_is_taken_back_to_what_stood_before_it() -> None:
    """Redrawn or retired, then given another day: what it was before is the first outline, not the wrong day's."""
    redrawn = written(redraw(A, B.geometry, valid_from=DAY), (A,), day=2)
    retired = written(retire((A,), "A", valid_from=DAY), (A,), day=2)
    for versions, is_same_ground, is_retired in ((redrawn, False, False), (retired, True, True)):
        moved = written(redate(versions, "A", valid_from=LATER), versions, day=3)
        now = present_unit(moved, "A", or_retired=True)
        assert (now.geometry == A.geometry, now.is_retired, now.valid_from) == (is_same_ground, is_retired, LATER)
        (back,) = undo(moved, "A").new
        assert (back.geometry, back.is_retired) == (A.geometry, False)


def test_a_long_list_of_units_is_cut_off_at_four_hundred_letters() -> None:
    gone = replace(A, is_retired=True)

    def allowed(*names: str) -> str:
        with pytest.raises(InputError) as refused:
            present_unit([gone, *(replace(B, unit_id=name, uuid=name) for name in names)], "A")
        return str(refused.value.allowed)

    assert allowed("z" * 199, "y" * 199) == f"{'y' * 199}, {'z' * 199}"  # in their order
    assert allowed("z" * 200, "y" * 199) != f"{'y' * 199}, {'z' * 200}"
    assert allowed() == "no units are loaded yet"


def test_of_many_units_that_differ_as_many_are_shown_as_four_hundred_characters_hold() -> None:
    units = [unit(f"U{n:02}", box(0, 0, 1, 1), cover="cedar" if n else "mixed") for n in range(60)]
    with pytest.raises(InputError) as refused:
        _check_alike(units, ["cover"])
    shown = str(refused.value.value)
    assert shown.startswith("cover: U00 mixed, U01 cedar, ") and len(shown) == 400 and shown.endswith("…")
    _check_alike(units[1:], ["cover"])
