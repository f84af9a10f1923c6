"""Areas, overlaps and pieces on figures that can be checked by hand."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from shapely import LineString, MultiPolygon, Point, Polygon, box

from habmap.errors import InputError
from habmap.jobs.acres import acres
from habmap.jobs.ground import ground
from habmap.jobs.history import history
from habmap.land import acreage
from habmap.land.acreage import (
    _noded,
    area_of_record_m2,
    crossing_words,
    divided,
    geodesic_area_m2,
    groups_apart,
    merged,
    multipolygon,
    pieces,
    stops_inside_m,
    tellable,
)
from habmap.land.neighbors import overlaps
from habmap.measures import M2_PER_ACRE, m2
from habmap.work.ground import stage_courses


def unit_sums_m2(units: list[Polygon], patches: list[Polygon]) -> list[float]:
    sums = [0.0] * len(units)
    for piece in pieces(units, patches):
        for index in piece.units:
            sums[index] += piece.area_m2
    return sums


def test_a_square_of_ten_chains_is_ten_acres() -> None:
    side_m = 660 * 0.3048  # ten chains of 66 feet
    lonlat = GRID.to_lonlat(box(0, 0, side_m, side_m))
    assert area_of_record_m2(lonlat, grid=GRID) / M2_PER_ACRE == pytest.approx(10, abs=1e-9)


def test_a_hole_is_taken_away_whichever_way_it_is_wound() -> None:
    outer = [(-98.0, 38.0), (-97.99, 38.0), (-97.99, 38.01), (-98.0, 38.01)]
    hole = [(-97.998, 38.002), (-97.994, 38.002), (-97.994, 38.006), (-97.998, 38.006)]
    whole, missing = geodesic_area_m2(Polygon(outer)), geodesic_area_m2(Polygon(hole))
    for shell in (outer, outer[::-1]):
        for ring in (hole, hole[::-1]):
            assert geodesic_area_m2(Polygon(shell, [ring])) == pytest.approx(whole - missing, rel=1e-12)


def test_a_figure_eight_has_no_geodesic_area() -> None:
    bow_tie = Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    with pytest.raises(InputError, match="no area"):
        geodesic_area_m2(bow_tie)


def test_only_overlaps_wider_than_a_hair_count() -> None:
    a = box(0, 0, 100, 100)
    touching, hair, wide = box(100, 0, 200, 100), box(99.96, 100, 199.96, 200), box(50, 99.9, 150, 150)
    found = overlaps([a, touching, hair, wide])
    assert [(pair.first, pair.second) for pair in found] == [(0, 3), (1, 3), (2, 3)]
    assert found[0].area_m2 == pytest.approx(50 * 0.1, abs=1e-9)
    assert found[2].area_m2 == pytest.approx(50.04 * 50, abs=1e-9)


def test_a_hair_along_a_ragged_border_does_not_count_as_one_wide_overlap() -> None:
    north = [(x, 0.02 if x % 20 else -0.02) for x in range(0, 401, 10)]
    above = Polygon([*north, (400, 100), (0, 100)])
    below = box(0, -100, 400, 0)
    assert shapely.intersection(above, below).area > 0.1
    assert overlaps([above, below]) == ()


def test_no_polygons_no_overlaps_no_pieces() -> None:
    assert overlaps([]) == ()
    assert overlaps([box(0, 0, 1, 1)]) == ()
    assert pieces([], []) == ()


def test_pieces_of_two_units_and_a_patch_across_their_border() -> None:
    found = pieces([box(0, 0, 10, 10), box(10, 0, 20, 10)], [box(5, 5, 15, 15)])
    assert sorted((piece.units, piece.patches, piece.area_m2) for piece in found) == [
        ((), (0,), 50.0),
        ((0,), (), 75.0),
        ((0,), (0,), 25.0),
        ((1,), (), 75.0),
        ((1,), (0,), 25.0),
    ]


def test_a_patch_inside_a_unit_and_a_hole_in_a_unit() -> None:
    ring = Polygon(box(0, 0, 10, 10).exterior, [box(4, 4, 6, 6).exterior])
    found = pieces([ring], [box(3, 3, 7, 7)])
    assert sorted((piece.units, piece.patches, piece.area_m2) for piece in found) == [
        ((), (0,), 4.0),
        ((0,), (), 84.0),
        ((0,), (0,), 12.0),
    ]


def test_the_same_outline_many_times_and_a_patch_equal_to_its_unit() -> None:
    square = box(0, 0, 10, 10)
    (piece,) = pieces([square], [square, square])
    assert (piece.units, piece.patches, piece.area_m2) == ((0,), (0, 1), 100.0)


def test_no_sliver_is_dropped() -> None:
    width_m = 1e-6
    found = pieces([box(0, 0, 100, 100)], [box(0, 0, 50, 100), box(50 - width_m, 0, 100, 100)])
    both = [piece.area_m2 for piece in found if piece.patches == (0, 1)]
    assert both == pytest.approx([100 * width_m], rel=1e-6)


def test_neighbors_drawn_apart_by_a_hair_each_close_on_their_own_outline() -> None:
    left = box(0, 0, 100, 100)
    right = Polygon([(99.97, 0), (200, 0), (200, 100), (100.02, 100), (99.98, 40)])
    sums = unit_sums_m2([left, right], [box(50, 20, 150, 60), Point(100, 50).buffer(30)])
    assert sums == pytest.approx([left.area, right.area], abs=1e-6)


def test_crossings_that_no_decimal_can_hold_still_close() -> None:
    rng = np.random.default_rng(11)
    units = [box(x * 200.0, 0, (x + 1) * 200.0, 200) for x in range(3)]
    patches = [
        shapely.affinity.rotate(box(x, y, x + 150, y + 40), angle)
        for x, y, angle in zip(rng.uniform(0, 600, 60), rng.uniform(0, 200, 60), rng.uniform(0, 180, 60), strict=True)
    ]
    assert unit_sums_m2(units, patches) == pytest.approx([40_000.0] * 3, abs=1e-6)


def test_the_account_of_a_small_place() -> None:
    side_m = m2(10) ** 0.5
    store = FakeStore(
        [
            unit("A", box(0, 0, side_m, side_m), acres_sd=0.2),
            unit("G", box(side_m, 0, 2 * side_m, side_m), cover="grass"),
            entry("cut", "2025-03-01", box(-side_m / 10, 0, side_m / 2, side_m)),
            entry("cut", "2025-03-05", box(0, 0, side_m / 2, side_m / 2)),
            entry("burn", "2025-09-01", box(0, 0, side_m * 1.5, side_m / 2)),
        ],
        grid=GRID,
    )
    result = acres(store)
    cedar, grass = result.units
    assert cedar.acres == pytest.approx(10, abs=1e-9)
    assert cedar.acres_sd == 0.2
    assert (cedar.stage_acres.burned, cedar.stage_acres.down) == pytest.approx((2.5, 2.5), abs=1e-9)
    assert (cedar.treated_acres, cedar.remaining_acres, cedar.treated_pct) == pytest.approx((5, 5, 50), abs=1e-8)
    assert grass.stage_acres.other == pytest.approx(10, abs=1e-9)
    cut, burn = result.practices
    assert (cut.practice, cut.practice_code, cut.entries) == ("cut", "314", 2)
    assert (cut.acres, cut.pass_acres, cut.outside_acres) == pytest.approx((6, 8.5, 1), abs=1e-9)
    assert (burn.acres, burn.pass_acres, burn.inside_acres) == pytest.approx((7.5, 7.5, 7.5), abs=1e-9)
    assert result.outside_acres == pytest.approx(1, abs=1e-9)
    assert result.on is not None and result.on.isoformat() == "2025-09-01"
    assert result.closure_m2 <= 1e-6


def test_on_a_day_only_the_work_up_to_then_counts() -> None:
    store = FakeStore([unit("A", box(0, 0, 100, 100)), entry("cut", "2025-03-01", box(0, 0, 50, 100))], grid=GRID)
    from datetime import date

    assert acres(store, on=date(2025, 2, 28)).totals.treated_acres == 0
    assert acres(store, on=date(2025, 3, 1)).totals.treated_acres == pytest.approx(5000 / M2_PER_ACRE, abs=1e-9)
    assert acres(store, on=date(2025, 2, 28)).on == date(2025, 2, 28)


def test_an_empty_place_has_an_empty_account() -> None:
    result = acres(FakeStore())
    assert (result.on, result.units, result.totals.acres, result.closure_m2) == (None, (), 0, 0)


def test_a_units_own_target_and_limit_rule() -> None:
    patch = box(0, 0, 100, 100)
    work = [
        entry("cut", "2025-03-01", patch, killed_pct=60),
        entry("checkup", "2025-06-01", patch, live_stems_per_acre=40),
    ]
    for target_pct, leave, stage in ((None, None, "part_cut"), (60.0, None, "coming_back"), (60.0, 40.0, "down")):
        store = FakeStore([unit("A", patch, target_pct=target_pct, leave_stems_per_acre=leave), *work], grid=GRID)
        assert {piece.stage for piece in ground(store).pieces} == {stage}


def test_pieces_of_one_history_are_merged_and_keep_their_area() -> None:
    store = FakeStore([unit("A", box(0, 0, 100, 100)), entry("cut", "2025-03-01", box(40, -10, 60, 110))], grid=GRID)
    found = ground(store).pieces
    assert sorted((len(piece.entry_ids), len(shapely.get_parts(piece.geometry))) for piece in found) == [
        (0, 2),
        (1, 1),
    ]
    assert sum(piece.geometry.area for piece in found) == pytest.approx(10_000, abs=1e-6)
    assert all(isinstance(piece.geometry, Polygon | MultiPolygon) and piece.geometry.is_valid for piece in found)


def test_redrawing_a_unit_loses_no_work() -> None:
    from datetime import date

    old = unit("A", box(0, 0, 200, 100))
    store = FakeStore([old, entry("cut", "2025-03-01", box(50, 0, 150, 100))], grid=GRID)
    before = acres(store).totals.treated_acres
    halves = [
        unit("A-west", box(0, 0, 100, 100), replaces=(old.uuid,), valid_from=date(2025, 6, 1)),
        unit("A-east", box(100, 0, 200, 100), replaces=(old.uuid,), valid_from=date(2025, 6, 1)),
    ]
    store.append(halves)
    result = acres(store)
    assert {line.unit_id for line in result.units} == {"A-west", "A-east"}
    assert result.totals.treated_acres == pytest.approx(before, abs=1e-9)
    assert [line.unit_id for line in acres(store, on=date(2025, 5, 31)).units] == ["A"]
    (change,) = history(store, unit_id="A").changes
    assert [line.unit_id for line in change.before] == ["A"]
    assert sum(line.treated_acres for line in change.after) == pytest.approx(before, abs=1e-9)


def test_history_tells_every_row_of_a_units_ground_and_no_other() -> None:
    from dataclasses import replace

    here = entry("cut", "2025-03-01", box(10, 10, 30, 30), who="A")
    moved = replace(entry("cut", "2025-03-01", box(110, 10, 130, 30)), action="amend", target=here.entry_id, why="slip")
    there = entry("cut", "2025-03-02", box(210, 10, 230, 30))
    end = entry("other", "2025-03-02", action="void", target=there.entry_id, why="twice")
    store = FakeStore(
        [
            *(unit(name, box(x, 0, x + 100, 100)) for name, x in (("A", 0), ("B", 100), ("C", 200))),
            here,
            moved,
            there,
            end,
        ],
        grid=GRID,
    )
    assert [line.entry_id for line in history(store).entries] == [r.entry_id for r in (here, moved, there, end)]
    assert [line.counts for line in history(store).entries] == [False, True, False, False]
    for name in ("A", "B"):
        found = history(store, unit_id=name).entries
        assert [line.entry_id for line in found] == [here.entry_id, moved.entry_id]
        assert [[touched.unit_id for touched in line.units] for line in found] == [["A"], ["B"]]
    with pytest.raises(InputError, match="no such unit") as refused:
        history(store, unit_id="D")
    assert refused.value.allowed == "A, B, C"


@pytest.mark.parametrize("turn_deg", [1e-10, 1e-8, 1e-6])
@pytest.mark.parametrize("away_m", [0.0, 9_000.0])
def test_ground_logged_again_with_rounded_corners_loses_no_piece(turn_deg: float, away_m: float) -> None:
    """Outlines that nearly coincide cross each other many times at angles no floating noding can resolve."""
    rng = np.random.default_rng(3)
    turns = np.sort(rng.uniform(0, 2 * np.pi, 30))
    reach_m = rng.uniform(40, 150, 30)
    first = Polygon(np.column_stack([away_m + reach_m * np.cos(turns), away_m + reach_m * np.sin(turns)]))
    patches = [first] + [shapely.affinity.rotate(first, step * turn_deg) for step in range(1, 12)]
    unit_m = box(away_m - 200, away_m - 200, away_m + 200, away_m + 50)
    found = pieces([unit_m], patches)
    assert sum(piece.area_m2 for piece in found if piece.units) == pytest.approx(unit_m.area, abs=1e-6)
    for index, patch in enumerate(patches):
        assert sum(piece.area_m2 for piece in found if index in piece.patches) == pytest.approx(patch.area, abs=1e-6)
    for odd in (0, 1):
        some = [piece for piece in found if len(piece.patches) % 2 == odd]
        joined = merged([piece.geometry for piece in some])
        assert joined.is_valid
        assert joined.area == pytest.approx(sum(piece.area_m2 for piece in some), abs=1e-6)
    worked = sum(piece.area_m2 for piece in found if piece.patches)
    assert worked == pytest.approx(shapely.union_all(patches).area, abs=1e-5)


def test_ground_far_away_does_not_spoil_closure() -> None:
    # One patch in two corners 120 km apart, and units with kilometer-long edges across no grid line.
    def star(x: float, y: float, r: float, turn: float) -> Polygon:
        bearing = np.linspace(0, 2 * np.pi, 37)[:-1] + turn
        reach = r * (0.8 + 0.2 * np.cos(5 * bearing))
        return Polygon(np.column_stack([x + reach * np.cos(bearing), y + reach * np.sin(bearing)]))

    units = [star(x, y, 700.3, 0.1) for x, y in ((-60_000.7, -3.1), (60_000.3, 41_000.9), (60_900.2, 41_400.4))]
    units[2] = units[2].difference(units[1])
    patch = MultiPolygon([star(-60_300, 100, 500, 0.3), star(60_200, 41_200, 600, 0.7)])
    for unit_m2, sum_m2 in zip([u.area for u in units], unit_sums_m2(units, [patch]), strict=True):
        assert sum_m2 == pytest.approx(unit_m2, abs=2e-7)
    inside_m2 = sum(piece.area_m2 for piece in pieces(units, [patch]) if piece.patches)
    assert inside_m2 == pytest.approx(patch.area, abs=2e-7)


def test_how_far_faces_are_off_is_told_by_the_worst_shape() -> None:
    # on a grid of 1 m the one stays as it is, and of the other the west side moves from 20.4 to 20: 4 m² more
    shapes = np.array([box(0, 0, 10, 10), box(20.4, 0, 30, 10)], dtype=object)
    assert _noded(shapes, shapely.boundary(shapes), grid_m=1.0).off_m2 == pytest.approx(4.0)
    assert _noded(shapes, shapely.boundary(shapes), grid_m=1e-9).off_m2 == pytest.approx(0, abs=1e-6)


def test_what_is_wrong_with_an_outline_is_said_with_its_place() -> None:
    crossed = Polygon([(-98, 38), (-97, 39), (-97, 38), (-98, 39)])
    assert crossing_words(crossed) == ("the outline crosses itself", "at lon -97.500000, lat 38.500000")


def test_the_course_of_a_piece_is_its_stage_before_any_work_and_after_each_years() -> None:
    """A hectare cut and piled in one winter, its piles burned the next; the hectare beside it was never touched."""
    west, both = box(0, 0, 100, 100), box(0, 0, 200, 100)
    rows = [entry(what, day, west) for what, day in (
        ("cut", "2025-01-05"), ("pile", "2025-02-05"), ("pile_burn", "2026-01-07"))]  # fmt: skip
    found = ground(FakeStore([unit("A", both), *rows], grid=GRID))
    courses = [course for _, course in stage_courses(found, group_of=lambda line: line.date.year)]
    assert sorted(courses, key=len) == [
        [(None, "standing")], [(None, "standing"), (2025, "piled"), (2026, "slash_gone")],
    ]  # fmt: skip


# --- outlines that can be told, and outlines cut in pieces ---------------------------------------------------------


def test_an_outline_that_holds_is_told_as_it_is_and_specks_are_not() -> None:
    square, speck = box(0, 0, 100, 100), box(200, 0, 200.1, 0.0997)
    assert tellable(square, grid=GRID).equals_exact(GRID.to_lonlat(MultiPolygon([square])), 0, normalize=True)
    # a hundredth of a square meter is told, less is not
    assert len(tellable(MultiPolygon([square, speck]), grid=GRID).geoms) == 1
    assert len(tellable(MultiPolygon([square, box(200, 0, 200.1, 0.1003)]), grid=GRID).geoms) == 2
    with pytest.raises(InputError, match="within a hair") as refused:
        tellable(speck, grid=GRID)
    assert refused.value.value == "0.0000 acres"


def test_a_touch_that_does_not_hold_is_opened_by_a_hair() -> None:
    """Two fields whose corners touch along their border within less than degrees can tell, as overlays leave them."""
    rng = np.random.default_rng(1)
    opened = 0
    for x, y in rng.uniform(-900, 900, (30, 2)).tolist():
        east = Polygon([(x + 31, y + 3), (x + 60, y), (x + 60, y + 20), (x + 31, y + 17), (x + 31 + 1e-10, y + 10)])
        ground = shapely.union_all([box(x, y, x + 31, y + 20), east])
        told = tellable(ground, grid=GRID)
        assert told.is_valid and GRID.to_grid(told).is_valid
        # 5 mm about the touch at most: straight edges come back to where they were
        assert GRID.to_grid(told).area == pytest.approx(ground.area, abs=1e-2)
        opened += not GRID.to_lonlat(MultiPolygon(shapely.get_parts(ground).tolist())).is_valid
    assert opened > 5


def test_only_polygons_with_an_area_are_ground() -> None:
    flat, line = Polygon([(0, 0), (1, 0), (2, 0)]), LineString([(0, 0), (9, 9)])
    found = multipolygon(shapely.GeometryCollection([box(0, 0, 1, 1), flat, line, box(5, 5, 7, 6).reverse()]))
    assert [part.area for part in found.geoms] == [1, 2]
    assert all(part.exterior.is_ccw for part in found.geoms)
    assert [part.area for part in multipolygon(found, least_m2=1.0).geoms] == [2]


@pytest.mark.parametrize(
    ("off_m2", "tried", "best"),
    [([1e-6], 1, 0), ([1.005e-6, 0.9e-6], 2, 1), ([3e-3, 2e-3, 1e-6], 3, 2), ([3e-3, 2e-3, 2.5e-3], 3, 1)],
)
@pytest.mark.parametrize(("side_m", "finest_m"), [(2, 1e-13), (600, 1e-11), (1998, 1e-11), (2000, 1e-10)])
def test_a_net_that_does_not_close_is_tried_on_coarser_grids(
    off_m2: list[float], tried: int, best: int, side_m: int, finest_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half of the side and a meter reach the next power of ten: the grid lies 14 digits below that."""
    asked: list[float] = []

    def noded(_shapes: object, _edges: object, *, grid_m: float) -> Any:
        asked.append(grid_m)
        which = len(asked) - 1
        nothing = np.array([], dtype=np.intp)
        return acreage._Net(
            np.array([box(0, 0, which, 1)], dtype=object), np.array([1.0]), nothing, nothing, off_m2[which]
        )

    monkeypatch.setattr(acreage, "_noded", noded)
    found = acreage._net(np.array([box(0, 0, side_m, side_m)], dtype=object))
    half_m = side_m / 2
    assert asked == pytest.approx([finest_m, 10 * finest_m, 100 * finest_m][:tried])
    assert found.off_m2 == off_m2[best]
    assert found.faces[0].bounds == (half_m, half_m, half_m + best, half_m + 1)


def test_lines_cut_an_outline_from_west_to_east() -> None:
    field = box(0, 0, 90, 10)
    lines = shapely.MultiLineString([[(60, -1), (60, 11)], [(20, -1), (20, 11)]])
    assert [piece.bounds for piece in divided(field, lines)] == [(0, 0, 20, 10), (20, 0, 60, 10), (60, 0, 90, 10)]
    # of pieces as far west, from south to north
    across = divided(box(0, 0, 10, 90), LineString([(-1, 20), (11, 20)]))
    assert [piece.bounds for piece in across] == [(0, 0, 10, 20), (0, 20, 10, 90)]
    # parts that are not cut stay with the largest piece
    two = MultiPolygon([box(100, 0, 110, 10), field])
    west, east = divided(two, LineString([(20, -1), (20, 11)]))
    assert isinstance(west, MultiPolygon) and isinstance(east, MultiPolygon)
    assert (west.area, east.area, len(east.geoms)) == (200, 700 + 100, 2)
    (whole,) = divided(two, LineString([(95, -1), (95, 11)]))
    assert whole.area == 1000 and len(whole.geoms) == 2
    # a line that stops inside cuts nothing off
    assert [piece.area for piece in divided(field, LineString([(20, -1), (20, 9)]))] == [900]


def test_polygons_cut_an_outline_in_what_lies_in_them_and_the_rest() -> None:
    field, wet = box(0, 0, 90, 10), box(80, -5, 200, 50)
    assert [piece.area for piece in divided(field, wet)] == [100, 800]
    assert [piece.area for piece in divided(field, box(-1, -1, 91, 11))] == [900]
    assert [piece.area for piece in divided(field, box(300, 0, 400, 10))] == [900]


def test_how_far_a_line_stops_inside() -> None:
    field = box(0, 0, 90, 10)
    lines = shapely.MultiLineString([[(20, -1), (20, 7)], [(40, 4), (40, 20)], [(1, 8), (-5, 8)], [(-9, 0), (200, 3)]])
    assert stops_inside_m(field, lines) == 4
    assert stops_inside_m(field, LineString([(20, -1), (20, 11)])) is None
    assert stops_inside_m(field, LineString([(20, 3), (20, 11)])) == 3


def test_shapes_whose_bounds_meet_through_others_are_one_group() -> None:
    shapes = [box(0, 0, 1, 1), box(10, 0, 11, 1), box(0.5, 0, 5, 1), box(4, 0, 10, 1), box(0, 50, 1, 51)]
    groups = groups_apart(np.array(shapes, dtype=object))
    assert [group.tolist() for group in groups] == [[0, 1, 2, 3], [4]]
    assert groups_apart(np.array([], dtype=object)) == []
    assert [group.tolist() for group in groups_apart(np.array(shapes[::4], dtype=object))] == [[0], [1]]


@pytest.mark.parametrize(
    ("kind", "words"),
    [("Ring Self-intersection", "touches or crosses itself"), ("Nested shells", "lies inside another part")],
)
def test_each_fault_of_an_outline_has_its_words(kind: str, words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shapely, "is_valid_reason", lambda _: f"{kind}[-97.12345649 38.5]")
    said, at = crossing_words(Polygon())
    assert words in said and at == "at lon -97.123456, lat 38.500000"
    monkeypatch.setattr(shapely, "is_valid_reason", lambda _: "Odd Thing")
    assert crossing_words(Polygon()) == ("the outline is not usable: odd thing", None)


@pytest.mark.parametrize(
    ("turned_badly", "slot_mm", "is_open"),
    [
        (0, 0.1, True),
        # twice a hair of 5 mm, of 10 and of 20
        (1, 10.05, True), (1, 9.95, False),
        (2, 20.1, True), (2, 19.9, False),
        (3, 40.2, True), (3, 39.8, False),
    ],
)  # fmt: skip
def test_a_hair_grows_until_the_outline_holds(turned_badly: int, slot_mm: float, is_open: bool) -> None:
    """A grid that gives so many outlines back that cross themselves."""
    crossing = Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    given = iter([crossing] * turned_badly)
    grid: Any = SimpleNamespace(to_lonlat=lambda shape: next(given, shape), to_grid=lambda shape: shape)
    slotted = box(0, 0, 10, 10) - box(5, 2, 5 + slot_mm / 1000, 10)
    found = tellable(slotted, grid=grid)
    assert found.area == pytest.approx(100 - (8 * slot_mm / 1000 if is_open else 0), abs=1e-5)


def test_what_never_holds_or_is_no_wider_than_a_hair_is_refused() -> None:
    crossing = Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    grid: Any = SimpleNamespace(to_lonlat=lambda _shape: crossing, to_grid=lambda shape: shape)
    with pytest.raises(InputError, match="crosses itself within a hair"):
        tellable(box(0, 0, 10, 10), grid=grid)
    # a speck of a hundredth of a square meter
    plain: Any = SimpleNamespace(to_lonlat=lambda shape: shape, to_grid=lambda shape: shape)
    assert tellable(box(0, 0, 1.005, 0.01), grid=plain).area == pytest.approx(0.01005)
    with pytest.raises(InputError, match="nothing of it is wider"):
        tellable(box(0, 0, 0.999, 0.01), grid=plain)
