"""What is said of units that are drawn anew, on squares drawn in the grid."""

from __future__ import annotations

import pytest
from fakes import GRID, unit
from shapely import Polygon, box

from habmap.errors import InputError
from habmap.measures import M2_PER_ACRE
from habmap.records import Unit
from habmap.work.unit_outlines import far_away, hardly_there, lie_beside, overlap_faults, trimmed
from habmap.work.unit_shares import whole_ground


def fresh(*units: Unit) -> list[tuple[str, Unit]]:
    return [(f"row {number}", one) for number, one in enumerate(units, 1)]


def test_ground_in_two_units_is_refused_with_its_place_and_width() -> None:
    new = [unit("A", box(0, 0, 100, 100)), unit("B", box(98, 0, 200, 100))]
    kept = [unit("C", box(0, 99, 100, 200)), unit("D", box(0, 190, 100, 300))]
    faults = overlap_faults(fresh(*new), kept, GRID, "units.gpkg")
    # A and B share 2 m, A and C 1 m, each 100 m long but for the corner; C and D were there before.
    said = [(str(fault).partition(":")[0], fault.value) for fault in faults]  # type: ignore[attr-defined]
    assert [(words.partition(" cover")[0], value) for words, value in said] == [
        ("A and B", f"{200 / M2_PER_ACRE:.4f} acres, 2.00 m wide at the widest"),
        ("A and C", f"{100 / M2_PER_ACRE:.4f} acres, 1.00 m wide at the widest"),
        ("B and C", f"{2 / M2_PER_ACRE:.4f} acres, 1.00 m wide at the widest"),
    ]
    where = [fault.where for fault in faults]  # type: ignore[attr-defined]
    assert where[0].startswith("units.gpkg; widest at lon -97.99")
    assert where[1].startswith("units.gpkg; C is in the property already; widest at lon ")
    assert overlap_faults(fresh(*new[:1]), kept[1:], GRID, "units.gpkg") == []


def test_a_ring_that_crosses_itself_in_the_grid_is_named_alone() -> None:
    bow = unit("A", Polygon([(0, 0), (100, 100), (100, 0), (0, 100)]))
    (fault,) = overlap_faults(fresh(bow, unit("B", box(0, 0, 100, 100))), [], GRID, "units.gpkg")
    assert fault.where == "row 1"  # type: ignore[attr-defined]


def test_units_are_cut_back_to_those_before_them() -> None:
    kept = [unit("K", box(0, 0, 100, 100))]
    over, beside = unit("A", box(90, 0, 200, 100)), unit("B", box(150, 0, 300, 100))
    inside, alone = unit("C", box(10, 10, 20, 20)), unit("D", box(500, 0, 600, 100))
    done, words, faults = trimmed(fresh(over, beside, inside, alone), kept, GRID)
    areas = [(where, one.unit_id, round(GRID.to_grid(one.geometry).area, 3)) for where, one in done]
    assert areas == [("row 1", "A", 10_000), ("row 2", "B", 10_000), ("row 4", "D", 10_000)]
    assert words == [
        f"A: {1000 / M2_PER_ACRE:.4f} acres cut off, which lie in K",
        f"B: {5000 / M2_PER_ACRE:.4f} acres cut off, which lie in A",
        f"C: {100 / M2_PER_ACRE:.4f} acres cut off, which lie in K",
    ]
    assert [(fault.where, fault.value) for fault in faults] == [("row 3", "all of it lies in K")]  # type: ignore[attr-defined]
    assert done[2][1] is alone


def test_gaps_are_told_largest_first_and_hairs_by_their_sum() -> None:
    new = [unit("A", box(300, 0, 400, 100)), unit("B", box(0, 0, 100, 100)), unit("C", box(101, 0, 200, 100))]
    new.append(unit("D", box(700, 0, 800.04, 100)))
    kept = [unit("K", box(400.5, 0, 500, 100)), unit("L", box(501.5, 0, 600, 100)), unit("M", box(800, 0, 900, 100))]
    notes = lie_beside(new, kept, GRID)
    assert len(notes) == 3  # K and L lie a meter apart too, but were there before
    assert [note.partition(", at")[0] for note in notes[:2]] == [
        f"a gap of {100 / M2_PER_ACRE:.4f} acres, 1.00 m wide at the widest, lies between B and C",
        f"a gap of {50 / M2_PER_ACRE:.4f} acres, 0.50 m wide at the widest, lies between A and K",
    ]
    assert notes[-1].startswith(f"{4 / M2_PER_ACRE:.4f} acres count twice: 1 pair of units overlap by a hair")
    assert lie_beside([unit("A", box(0, 0, 100, 100))], [unit("B", box(100, 0, 200, 100))], GRID) == []


def test_units_far_away_or_hardly_there_are_asked_about() -> None:
    near, far = unit("N", box(49_900, 0, 49_990, 90)), unit("F", box(50_010, 0, 50_100, 90))
    assert far_away(fresh(near, far), GRID) == ["row 2 lies 50 km from the rest of the property: is that right?"]
    # Half of a hundredth of an acre is 20.2 m².
    small, large = unit("S", box(0, 0, 4, 5)), unit("L", box(0, 0, 4, 5.1))
    assert hardly_there(fresh(small, large), GRID) == [
        "row 1 measures 20 m², which prints as 0.00 acres: is that right?"
    ]


@pytest.mark.parametrize(("east", "north"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_fifty_kilometers_are_far_on_every_side_of_the_property(east: int, north: int) -> None:
    def at(from_m: float) -> Unit:
        side = box(from_m, -20, from_m + 90, 20) if east + north > 0 else box(-from_m - 90, -20, -from_m, 20)
        return unit("U", side if east else box(side.bounds[1], side.bounds[0], side.bounds[3], side.bounds[2]))

    assert far_away(fresh(at(49_999.4)), GRID) == []
    assert len(far_away(fresh(at(50_000.6)), GRID)) == 1


@pytest.mark.parametrize(("count", "told"), [(20, 20), (22, 21)])
def test_of_many_gaps_the_smallest_are_added_up(count: int, told: int) -> None:
    wide = [unit(f"U{i}", box(101 * i, 0, 101 * i + 100, 10)) for i in range(count + 1)]
    notes = lie_beside(wide, [], GRID)
    assert len(notes) == told
    if told > 20:
        assert notes[-1] == f"2 smaller gaps between units hold {20 / M2_PER_ACRE:.4f} acres"


def test_whole_units_are_their_ground_once_in_their_last_drawing() -> None:
    units = [unit("A", box(0, 0, 100, 100)), unit("B", box(100, 0, 200, 100)), unit("A", box(0, 0, 90, 100))]
    assert GRID.to_grid(whole_ground(["A", "B", "A"], units)).area == pytest.approx(19_000, abs=0.01)
    assert whole_ground(["A"], units) == units[2].geometry
    for named in (["A", "Z"], []):
        with pytest.raises(InputError, match="there is no such unit"):
            whole_ground(named, units)


@pytest.mark.parametrize(("length_m", "is_told"), [(5.04, False), (5.08, True)])
def test_hairs_are_told_from_half_of_the_last_decimal_of_an_acre_on(length_m: float, is_told: bool) -> None:
    """0.00005 acre are 0.2023 m², a strip of 4 cm by 5.06 m; a hair between units that were there is not theirs."""
    new = [unit("A", box(0, 0, 100, length_m))]
    kept = [unit("K", box(99.96, 0, 200, length_m)), unit("L", box(199.96, 0, 300, length_m))]
    notes = lie_beside(new, kept, GRID)
    assert [note.partition(":")[0] for note in notes] == ["0.0001 acres count twice"] * is_told


def test_a_name_of_forty_characters_is_told_whole_and_a_longer_one_is_cut() -> None:
    for count, shown in ((40, "N" * 40), (41, "N" * 39 + "…")):
        (note,) = lie_beside([unit("N" * count, box(0, 0, 100, 10)), unit("B", box(101, 0, 200, 10))], [], GRID)
        assert f" lies between {shown} and B, at lon " in note


def test_a_ring_that_crosses_itself_is_not_cut_back() -> None:
    bow = unit("A", Polygon([(0, 0), (100, 100), (100, 0), (0, 100)]))
    done, words, faults = trimmed(fresh(bow), [unit("K", box(0, 0, 50, 100))], GRID)
    assert (done, words, faults) == (fresh(bow), [], [])
