"""Ground cut into pieces on squares of a hectare: what a unit's figures hang on, shared hairs, work in no unit."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, entry, unit
from shapely import MultiPolygon, affinity, box

from habmap.errors import PlaceError
from habmap.memory import forget
from habmap.records import Entry, Unit
from habmap.work.ground import (
    Ground,
    GroundPiece,
    _near,
    cut_ground,
    joined_in,
    refuse_unknown_words,
    stage_courses,
    unit_rules,
)

LIMITS: Any = SimpleNamespace(target_pct=80.0, leave_stems_per_acre=25.0)
A = unit("A", box(0, 0, 100, 100))


def ground(units: tuple[Unit, ...], *lines: Entry) -> Ground:
    return cut_ground(units, lines, grid=GRID, limits=LIMITS)


def strip(practice: str, day: str, west: float, east: float, **fields: Any) -> Entry:
    return entry(practice, day, box(west, 10, east, 90), **fields)


def told(pieces: tuple[GroundPiece, ...], *lines: Entry) -> dict[tuple[str, str], float]:
    """Return square meters by unit and what was done there, in the order of work, by its lines' numbers."""
    number = {line.entry_id: str(at) for at, line in enumerate(lines)}
    return {(one.unit_id, "".join(number[i] for i in one.entry_ids)): round(one.area_m2, 2) for one in pieces}


def test_a_unit_that_only_touches_changes_nothing_to_the_last_bit() -> None:
    """A neighbor of 30 km would make a coarser net of edges, and with it other last digits."""
    line = strip("cut", "2025-01-01", 10.123456789, 120)
    alone = ground((A,), line).by_unit[0]
    for neighbors in ([unit("F", box(100, 0, 30_000, 100))], [unit("F", box(-30_000, -5, 0, 100))]):
        forget()
        cut = ground((*neighbors, A), line).by_unit[1]
        assert [one.geometry.wkb for one in cut.pieces] == [one.geometry.wkb for one in alone.pieces]
        assert [one.area_m2 for one in cut.pieces] == [one.area_m2 for one in alone.pieces]
        assert ground((A, *neighbors), line).by_unit[0] is cut  # what decides about it is the same


@pytest.mark.parametrize("turned", [False, True])
def test_ground_that_two_units_hold_counts_in_both_and_once_among_overlays(turned: bool) -> None:
    """B begins 4 cm within A, far off lies C; a cut 80 m high lies over both, within it a burn 60 m high."""
    others = (unit("B", box(99.96, 0, 200, 100)), unit("C", box(300, 0, 400, 100)))
    units = (*others[::-1], A) if turned else (A, *others)
    cut, burn = strip("cut", "2025-01-01", 50, 150), entry("burn", "2025-02-01", box(80, 20, 120, 80))
    state = ground(units, cut, burn)
    assert told(state.pieces, cut, burn) == pytest.approx({
        ("A", ""): 6000, ("A", "0"): 2800, ("A", "01"): 1200,
        ("B", ""): 6000.8, ("B", "0"): 2800.8, ("B", "01"): 1202.4, ("C", ""): 10_000,
    }, abs=0.02)  # fmt: skip
    shared = tuple(one.unit_id for one in units if one.unit_id != "C")
    number = {cut.entry_id: "0", burn.entry_id: "1"}
    overlays = {(one.unit_ids, "".join(number[i] for i in one.entry_ids)): one.area_m2 for one in state.overlays}
    assert overlays == pytest.approx({
        (("A",), ""): 5999.2, (("A",), "0"): 2799.2, (("A",), "01"): 1197.6,
        (("B",), ""): 6000, (("B",), "0"): 2800, (("B",), "01"): 1200,
        (shared, ""): 0.8, (shared, "0"): 0.8, (shared, "01"): 2.4, (("C",), ""): 10_000,
    }, abs=0.02)  # fmt: skip
    first, second = shared
    # each square meter once, in the unit that comes first
    of_unit = {unit_id: {one.unit_ids for one in cut_unit.overlays} for unit_id, cut_unit in state.cuts.items()}
    assert of_unit == {first: {(first,), shared}, second: {(second,)}, "C": {("C",)}}
    assert sum(one.area_m2 for one in state.overlays) == pytest.approx(30_000, rel=2e-6)


def test_each_unit_has_its_own_lines_and_courses() -> None:
    b = unit("B", box(100, 0, 200, 100), target_pct=40.0)
    late, early = strip("pile", "2025-03-01", 20, 150), strip("cut", "2025-01-01", 20, 150, killed_pct=50)
    away, bare = strip("mow", "2025-02-01", 300, 310), entry("seed", "2025-02-02")
    state = ground((A, b), late, bare, away, early)
    assert state.cuts["A"].lines == state.cuts["B"].lines == (early, late)
    assert [set(one.courses) for one in state.by_unit] == [
        {("standing",), ("standing", "part_cut", "part_cut")}, {("standing",), ("standing", "down", "piled")},
    ]  # fmt: skip
    steps = {one.unit_id: course for one, course in stage_courses(state, group_of=lambda line: line.date.year)
             if one.entry_ids}  # fmt: skip
    # of one year the stage after its last line
    assert steps == {"A": [(None, "standing"), (2025, "part_cut")], "B": [(None, "standing"), (2025, "piled")]}
    assert set(state.patches) == {early.entry_id, away.entry_id, late.entry_id} and set(state.unit_shapes) == {"A", "B"}
    assert state.entries == (late, bare, away, early)


def test_work_in_no_unit_is_cut_group_by_group() -> None:
    """Of a cut 80 m high, 20 m lie east of A; a burn crosses that by half; a mowing lies far off, one all within A."""
    cut, burn = strip("cut", "2025-01-01", 50, 120), strip("burn", "2025-02-01", 110, 140)
    mow, inside = strip("mow", "2025-03-01", 500, 510), strip("seed", "2025-04-01", 5, 8)
    state = ground((A,), cut, burn, mow, inside)
    ids = {cut.entry_id: "cut", burn.entry_id: "burn", mow.entry_id: "mow"}
    outside = {tuple(ids[i] for i in one.entry_ids): round(one.area_m2, 1)
               for one in state.overlays if not one.unit_ids}  # fmt: skip
    assert outside == {("cut",): 800, ("cut", "burn"): 800, ("burn",): 1600, ("mow",): 800}
    assert {one.entry_ids for one in state.by_unit[0].overlays} == {(), (cut.entry_id,), (inside.entry_id,)}
    # ground between two units of which neither holds it all
    parts = ground((A, unit("B", box(110, 0, 200, 100))), cut)
    assert [round(one.area_m2, 1) for one in parts.overlays if not one.unit_ids] == [800]
    assert ground((), mow).overlays[0].area_m2 == pytest.approx(800, rel=1e-5)


@pytest.mark.parametrize("turn_deg", range(3, 90, 7))
def test_work_on_all_of_a_unit_leaves_nothing_outside(turn_deg: int) -> None:
    """Nor where a neighbor's outline crosses the unit's by a hair, at any bearing."""
    a, b = (affinity.rotate(box(x, 0, x + 100.0, 100), turn_deg, origin=(0, 0)) for x in (0, 99.96))
    whole = entry("cut", "2025-01-01", a)
    state = ground((replace(A, geometry=whole.patch), unit("B", affinity.translate(b, 0.01, 7.3))), whole)
    assert [one for one in state.overlays if not one.unit_ids] == []


def test_a_patch_far_larger_than_a_unit_is_cut_with_its_own_edges_within() -> None:
    """A burn of 60 km around the unit but for a hole in it is here what a burn of a square around it is."""
    hole = box(40.5, 40.5, 60.5, 60.5)
    near, far = (entry("burn", "2025-01-01", box(-reach, -reach, reach, reach).difference(hole))
                 for reach in (102.0, 30_000.0))  # fmt: skip
    cuts = [ground((A,), line).by_unit[0] for line in (near, far)]
    small, large = ([one.area_m2 for one in cut.pieces] for cut in cuts)
    assert small == large
    assert sorted(round(one.area_m2) for one in cuts[1].pieces) == [400, 9600]


def test_of_a_patch_what_reaches_a_meter_beyond_the_unit_is_cut_off_and_a_nearer_one_is_left_as_it_is() -> None:
    shape, here = MultiPolygon([box(10, 20, 110, 220)]), MultiPolygon([box(9, 19, 111, 221)])
    beyond = MultiPolygon([box(8.999, 0, 50, 1000), box(500, 500, 501, 501)])
    left, cut = _near(shape, [here, beyond])
    assert left is here
    assert cut.bounds == (9, 19, 50, 221) and len(cut.geoms) == 1


def test_a_unit_s_rules_are_its_own_and_else_the_place_s() -> None:
    rules = unit_rules(A, LIMITS)
    assert (rules.target_frac, rules.leave_stems_per_acre, rules.is_cedar) == (0.8, 25.0, True)
    own = unit_rules(replace(A, target_pct=60.0, leave_stems_per_acre=0.0, cover="mixed"), LIMITS)
    assert (own.target_frac, own.leave_stems_per_acre, own.is_cedar) == (0.6, 0.0, True)
    assert unit_rules(replace(A, cover="grass", target_pct=0.0), LIMITS).is_cedar is False
    # after all lines, in whatever order they are given
    cut, pile, gone = (strip(one, f"2025-0{at}-01", 0, 9) for at, one in enumerate(("cut", "pile", "pile_burn"), 1))
    for lines, stage in (([], "standing"), ([cut], "down"), ([pile, cut], "piled"), ([gone, pile, cut], "slash_gone")):
        assert rules.state_of(lines).stage == stage
    assert unit_rules(replace(A, cover="grass"), LIMITS).state_of([cut]).stage == "other"


def test_ground_in_some_stages_is_one_geometry() -> None:
    cut = ground((A,), strip("cut", "2025-01-01", 0, 20), strip("keep", "2025-01-01", 20, 30)).by_unit[0]
    west = joined_in(cut, ("down", "keep"))
    assert west is not None and west.geom_type == "Polygon" and west.area == pytest.approx(2400, rel=1e-5)
    kept = joined_in(cut, ("keep",))
    assert kept is not None and kept.area == pytest.approx(800, rel=1e-5)
    assert joined_in(cut, ("piled",)) is None


def test_without_a_grid_or_ground_units_have_no_pieces() -> None:
    bare = cut_ground((A, replace(A, unit_id="B")), (), grid=None, limits=LIMITS)
    assert [(one.lines, one.pieces, one.courses, one.overlays) for one in bare.by_unit] == [((), (), (), ())] * 2
    empty = ground((replace(A, geometry=MultiPolygon(), unit_id="E"), A), strip("cut", "2025-01-01", 0, 20))
    assert (empty.by_unit[0].pieces, len(empty.by_unit[1].pieces)) == ((), 2)
    assert ground(()).overlays == () and ground(()).by_unit == ()


def test_words_that_nobody_knows_are_refused_and_named() -> None:
    line = strip("cut", "2025-01-01", 0, 9)
    refuse_unknown_words([A], [line])
    with pytest.raises(PlaceError, match=r"the practice of a log line is not known") as refused:
        refuse_unknown_words([replace(A, cover="lava")], [replace(line, practice="sing")])
    assert (refused.value.where, refused.value.value) == (f"line {line.entry_id}", "sing")
    with pytest.raises(PlaceError, match=r"the cover of a unit is not known") as refused:
        refuse_unknown_words([A, replace(A, unit_id="B", cover="lava")], [line])
    assert (refused.value.where, refused.value.value) == ("unit B", "lava")
