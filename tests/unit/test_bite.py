"""Bites off ground that can be reckoned by hand: where they lie, how large they are, what they leave."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon, box

from habmap.land import bite
from habmap.land.bite import AREA_WITHIN_FRAC, SCRAP_FRAC, Bite, bites, sparing_bite
from habmap.land.contiguous import contiguous, spared, widened
from habmap.land.grid import LocalGrid
from habmap.land.growing import ALL, SPEEDS, BoxedGround, Boxes, parts_at
from habmap.records import Feature
from habmap.vocabulary import FEATURE_WORDS
from habmap.work.bite import (
    Beside,
    beside_words,
    openings,
    part_killed_words,
    place_words,
    private_words,
    size_words,
    states_under,
    steep_words,
    sun_words,
    which_words,
)
from habmap.work.closures import Closure
from habmap.work.priority import Ranked

ACRE_M2 = 4046.8564224
SIDE_M = ACRE_M2**0.5


def test_a_strip_off_the_open_end_of_a_lane_of_ground() -> None:
    # 40 m wide and 1,000 m long, opened at its west end: an acre is its first 4046.86 / 40 = 101.17 m
    (one, *_) = bites(box(0, 0, 1000, 40), wanted_m2=ACRE_M2, opened=[box(-50, 0, 0, 40)])
    assert one.geometry.symmetric_difference(box(0, 0, ACRE_M2 / 40, 40)).area < 0.01
    assert one.new_edge_m == pytest.approx(40, abs=0.2)
    assert one.beside_m == pytest.approx(40 + 2 * 10, abs=0.5)  # the end, and what of both sides is nearer than 10 m


def test_a_corner_of_a_wide_ground_is_as_good_as_square() -> None:
    # both sides of the corner are opened: the least new edge for an acre is 2 sides of a square, 127.2 m
    (one, *_) = bites(box(0, 0, 500, 500), wanted_m2=ACRE_M2, opened=[box(-50, -50, 0, 500), box(-50, -50, 500, 0)])
    assert one.geometry.covers(shapely.Point(1, 1))
    assert 2 * SIDE_M - 0.3 <= one.new_edge_m <= 1.1 * 2 * SIDE_M
    assert one.area_m2 == pytest.approx(ACRE_M2, rel=1e-6)


def test_ground_on_both_sides_of_a_lane() -> None:
    lane = LineString([(-20, 300), (620, 300)])
    (one, *_) = bites(box(0, 0, 600, 600), wanted_m2=ACRE_M2, opened=[lane])
    assert one.geometry.distance(lane) < 1e-6 and one.area_m2 == pytest.approx(ACRE_M2, rel=0.03)


@pytest.mark.parametrize(
    ("acres", "taken", "is_whole"),
    [
        (0.4, 0.4, True),  # less than asked: all that is left
        (0.98, 0.98, True),  # as good as asked
        (1.03, 1.03, True),
        (1.05, 1.05, True),  # an acre off it would leave a scrap of 0.05, 0.97 acres one of 0.08: whole
        (1.08, 0.98, False),  # 0.98 leaves a tenth
        (1.2, 1.0, False),
    ],
)
def test_what_is_left_of_the_last_piece_is_never_a_scrap(acres: float, taken: float, is_whole: bool) -> None:
    width_m = 50.0
    (one, *_) = bites(box(0, 0, acres * ACRE_M2 / width_m, width_m), wanted_m2=ACRE_M2)
    assert one.area_m2 / ACRE_M2 == pytest.approx(taken, abs=0.001)
    assert one.is_whole is is_whole


def test_a_neck_with_a_small_head_goes_with_the_bite() -> None:
    # a head of 0.05 acre behind the first acre's ground would be cut off as a scrap
    body = box(0, 0, 400, 40)
    head = box(60, 40, 60 + 0.05 * ACRE_M2 / 10, 50)
    (one, *_) = bites(shapely.union_all([body, head]), wanted_m2=ACRE_M2, opened=[box(-50, 0, 0, 40)])
    rest = shapely.union_all([body, head]).difference(one.geometry)
    assert abs(one.area_m2 / ACRE_M2 - 1) <= AREA_WITHIN_FRAC
    assert min(part.area for part in shapely.get_parts(rest)) >= SCRAP_FRAC * ACRE_M2


#: Asked of the star.
STAR_M2 = 0.6 * ACRE_M2


def star() -> Polygon:
    """Return a hub of a tenth of an acre with 24 arms of a twentieth each: a scrap, where six tenths are asked for."""
    hub = shapely.Point(0, 0).buffer((0.1 * ACRE_M2 / np.pi) ** 0.5, quad_segs=40)
    arm = box(10, -0.5, 10 + 0.05 * ACRE_M2, 0.5)
    arms = [shapely.affinity.rotate(arm, turn, origin=(0, 0)) for turn in np.arange(0, 360, 15)]
    return max(shapely.get_parts(shapely.union_all([hub, *arms])), key=lambda part: float(part.area))


def test_arms_that_would_be_scraps_go_with_the_half_of_the_hub_that_they_hang_on() -> None:
    (one, *_) = bites(star(), wanted_m2=STAR_M2)
    rest = star().difference(one.geometry)
    assert one.area_m2 == pytest.approx(STAR_M2, rel=AREA_WITHIN_FRAC) and one.scraps_m2 == 0
    assert min(part.area for part in contiguous(rest) if part.area > 1e-6) >= SCRAP_FRAC * STAR_M2


def test_where_nothing_keeps_all_promises_the_area_is_kept_and_the_scraps_are_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("habmap.land.bite._Search.settled", lambda _: [])
    (one,) = bites(star(), wanted_m2=STAR_M2)
    rest = [part.area for part in contiguous(star().difference(one.geometry)) if part.area > 1e-6]
    assert one.area_m2 == pytest.approx(STAR_M2, rel=AREA_WITHIN_FRAC)
    assert one.scraps_m2 == pytest.approx(sum(area for area in rest if area < SCRAP_FRAC * STAR_M2))


def test_pieces_that_touch_in_a_point_or_by_a_hair_are_apart() -> None:
    touching = shapely.union_all([box(0, 0, 100, 100), box(100, 100, 150, 150)])
    assert [round(piece.area) for piece in contiguous(touching)] == [10_000, 2_500]
    by_a_hair = shapely.union_all([box(0, 0, 100, 100), box(99, 50, 120, 50.004), box(119, 0, 169, 100)])
    assert [round(piece.area) for piece in contiguous(by_a_hair)] == [10_000, 5_000]
    (one, *_) = bites(by_a_hair, wanted_m2=12_000)
    assert one.area_m2 == pytest.approx(10_000, abs=0.1)  # never both


def test_what_is_liked_is_taken_first_where_edges_are_alike() -> None:
    def in_the_east(shapes: NDArray[np.object_]) -> NDArray[np.float64]:
        share: NDArray[np.float64] = shapely.area(shapely.intersection(shapes, box(150, -1, 400, 400)))
        return share / shapely.area(shapes)

    (one, *_) = bites(box(0, 0, 300, 300), wanted_m2=ACRE_M2, opened=[box(0, -50, 300, 0)], liking=in_the_east)
    assert box(150, -1, 400, 400).covers(one.geometry)


def test_asking_how_bites_are_liked_only_where_it_matters_changes_no_choice(monkeypatch) -> None:
    ground = Polygon([(0, 0), (300, 20), (280, 200), (150, 260), (10, 180)])
    asked: list[int] = []

    def in_the_middle(shapes: NDArray[np.object_]) -> NDArray[np.float64]:
        asked.append(len(shapes))
        return np.clip(1 - shapely.distance(shapely.centroid(shapes), shapely.Point(140, 150)) / 120, 0, 1)

    found, counts = [], []
    for at_once in (10**6, 32, 1):
        monkeypatch.setattr("habmap.land.bite._ASKED_AT_ONCE", at_once)
        asked.clear()
        found.append(bites(ground, wanted_m2=ACRE_M2, opened=[box(0, -50, 300, 0)], liking=in_the_middle))
        counts.append(sum(asked))
    assert found[1] == found[0] and found[2] == found[0]
    assert counts[2] < counts[0] / 2


def test_the_same_each_time_and_whatever_ring_begins_where() -> None:
    ground = Polygon([(0, 0), (300, 20), (280, 200), (150, 260), (10, 180)])
    turned = Polygon([*ground.exterior.coords[2:-1], *ground.exterior.coords[:2]])
    first, other = (bites(shape, wanted_m2=ACRE_M2)[0] for shape in (ground, turned))
    assert first.geometry.equals(bites(ground, wanted_m2=ACRE_M2)[0].geometry)
    assert first.area_m2 == pytest.approx(other.area_m2, rel=1e-6)


# --- ground that is spared ----------------------------------------------------------------------------------


def test_the_outline_of_steep_cells_holds_them_all_without_their_steps() -> None:
    # cells of 10 m along a diagonal: 20 steps
    cells = [box(10 * k, 10 * row, 10 * k + 10, 10 * row + 10) for k in range(20) for row in range(k)]
    whole = box(-50, -50, 250, 250)
    outline = widened(cells, cell_m=10, within=whole)
    assert shapely.union_all(cells).difference(outline).area < 1e-6
    assert len(shapely.get_coordinates(outline)) < 12
    free = spared(whole, outline, least_m2=100)
    assert free.intersection(shapely.union_all(cells)).area < 1e-6
    assert free.area > 0.6 * (whole.area - shapely.union_all(cells).area)


def test_a_steep_spot_smaller_than_a_scrap_stays_and_a_larger_one_does_not() -> None:
    ground = MultiPolygon([box(0, 0, 200, 200)])
    spot = box(90, 90, 110, 110)
    assert spared(ground, spot, least_m2=401).area == pytest.approx(40_000)
    assert spared(ground, spot, least_m2=399).area == pytest.approx(39_600, rel=1e-6)


def test_no_strip_narrower_than_ten_meters_stays_beside_steep_ground() -> None:
    free = spared(box(0, 0, 200, 200), box(0, 8, 200, 120), least_m2=10)
    assert free.bounds[1] == pytest.approx(120) and free.area == pytest.approx(200 * 80)


def test_a_corner_too_narrow_beside_steep_ground_goes_with_the_bite_that_would_cut_it_off() -> None:
    # the west end of the ground runs out in a wedge of 8 m, which is too narrow to begin with and a scrap by itself
    ground = shapely.union_all([box(0, 0, 600, 40), Polygon([(-30, 16), (0, 16), (0, 24)])])
    found = sparing_bite(ground, box(500, 0, 600, 40), wanted_m2=ACRE_M2, opened=[box(-60, -50, -30, 50)])
    assert found is not None
    one, spared_m2 = found
    rest = [part.area for part in contiguous(ground.difference(one.geometry)) if part.area > 1e-6]
    assert min(rest) >= SCRAP_FRAC * ACRE_M2 and one.area_m2 == pytest.approx(ACRE_M2, rel=AREA_WITHIN_FRAC)
    assert spared_m2 == pytest.approx(100 * 40, rel=0.01)
    assert sparing_bite(ground, box(-100, -100, 700, 100), wanted_m2=ACRE_M2) is None


def test_what_a_boxed_ground_has_in_a_box_is_what_any_overlay_says() -> None:
    rng = np.random.default_rng(3)
    blobs = [shapely.Point(*rng.uniform(0, 300, 2)).buffer(rng.uniform(30, 80)) for _ in range(7)]
    ground = max(shapely.get_parts(shapely.union_all(blobs)), key=lambda part: float(part.area))
    ground = ground.difference(shapely.Point(*ground.centroid.coords[0]).buffer(20))
    assert isinstance(ground, Polygon)
    at = rng.choice(shapely.get_coordinates(ground), 200)
    turns = rng.uniform(0, 2 * np.pi, 200)
    speeds = np.column_stack([rng.choice(np.array(SPEEDS), 200), np.full(200, ALL)])[:, [0, 1, 3, 2]]
    tries = Boxes(at, np.column_stack([np.cos(turns), np.sin(turns)]), speeds)
    sizes_m = rng.uniform(5, 200, 200)
    found = BoxedGround(ground).areas_m2(tries, sizes_m, reach_m=1000)
    overlaid = shapely.intersection(ground, tries.boxes(sizes_m, reach_m=1000))
    told = shapely.area(parts_at(overlaid, tries.inside))
    assert np.ptp(told) > 1000
    np.testing.assert_allclose(found, told, atol=1e-6)


def test_what_a_boxed_ground_has_where_an_edge_lies_along_a_limit() -> None:
    # by a hair askew, as a place's grid has a unit drawn along the meridians: GEOS clips it to more than there is
    ground = Polygon([
        (150.00002925292497, 1409.9636551937397), (300.00005850584995, 1409.9636547331),
        (300.00005809108836, 1207.9628270200556), (300.00005809108836, 1207.9628270200558), (0, 1207.9628279765195),
        (0, 1409.9636556543794), (150.00002925292497, 1409.9636551937397),
    ])  # fmt: skip
    tries = Boxes(
        np.array([[270.00005265526494, 1409.9636548252279]]),
        np.array([[-1.0, 3.070931e-09]]),
        np.array([[ALL, 1.0, ALL, 2.0]]),
    )
    # 30 m to the east and all between 63.6 and 20 m to the west, 2 x 20 m deep
    (found_m2,) = BoxedGround(ground).areas_m2(tries, np.array([20.0]), reach_m=724.0)
    assert found_m2 == pytest.approx((30 + 20) * 40, rel=1e-3)


def test_a_hair_between_two_outlines_of_one_edge_is_no_opened_ground() -> None:
    def opened(*shapes: Polygon) -> list[str]:
        pieces = [SimpleNamespace(unit_id="A", stage="down", geometry=shape) for shape in shapes]
        state: Any = SimpleNamespace(pieces=pieces, units=(), grid=LocalGrid(38.0, -98.0))
        one = Bite(geometry=box(0, 0, 60, 60))
        return list(beside_words(one, openings(state, (), near=box(0, 0, 200, 60))))

    cut, hair = box(-50, 0, 0, 60), box(0, 60, 60, 60 + 1e-6)
    # 60 m of the west side and 10 m of either side next to it are 262 ft
    assert opened(cut) == opened(cut, hair) == ["opened ground of A (cut, slash on ground), along 262 ft"]
    assert opened(hair) == []


def test_lanes_firebreaks_and_open_units_within_reach_are_lain_beside_and_private_places_never() -> None:
    """A bite of 60 m by 60 m; ten meters off is near enough, and less than five meters of edge are not told."""
    grid = LocalGrid(38.0, -98.0)

    def told(kind: str, line: LineString, *, name: str | None = "N", is_sensitive: bool = False) -> list[str]:
        feature = Feature(uuid="f", kind=kind, name=name, geometry=grid.to_lonlat(line), sensitive=is_sensitive,
                          recorded_at=datetime(2026, 1, 1, tzinfo=UTC))  # fmt: skip
        state: Any = SimpleNamespace(pieces=[], units=(), grid=grid)
        one = Bite(geometry=box(0, 0, 60, 60))
        return [
            words.split(", along ")[0] for words in beside_words(one, openings(state, [feature], near=one.geometry))
        ]

    def south(at_m: float, *, first: float = 0.0, last: float = 60.0) -> LineString:
        return LineString([(first, -at_m), (last, -at_m)])

    assert [told("lane", south(at_m)) for at_m in (9.5, 10.5)] == [["lane N"], []]
    assert told("line", south(2), name=None) == [FEATURE_WORDS["line"]]
    assert told("lane", south(2), is_sensitive=True) == told("nest", south(2)) == []
    assert told("fence", south(2)) == told("house", south(2)) == []
    # a lane that ends 9.8 m off has 4 m of the edge within reach, one that ends 9 m off 8.7 m
    assert told("lane", LineString([(-50, 30), (-9.8, 30)])) == []
    assert told("lane", LineString([(-50, 30), (-9.0, 30)])) == ["lane N"]


def test_ten_meters_are_near_in_any_direction_and_what_is_lain_beside_longest_comes_first() -> None:
    """A bite of 60 m by 60 m; lanes that run off from its corner diagonally, and lines that lie in its middle."""
    grid, one = LocalGrid(38.0, -98.0), Bite(geometry=box(0, 0, 60, 60))

    def off_the_corner(at_m: float) -> LineString:
        return LineString([(60 + at_m / 2**0.5, 60 + at_m / 2**0.5), (200, 200)])

    def lane(line: LineString) -> Feature:
        return Feature(uuid="f", kind="lane", name="N", geometry=grid.to_lonlat(line),
                       recorded_at=datetime(2026, 1, 1, tzinfo=UTC))  # fmt: skip

    empty: Any = SimpleNamespace(pieces=[], units=(), grid=grid)
    for at_m, is_near in ((9.97, True), (10.03, False)):
        assert bool(openings(empty, [lane(off_the_corner(at_m))], near=one.geometry)) is is_near
        far = off_the_corner(at_m).buffer(1e-9)
        fallen: Any = SimpleNamespace(pieces=[SimpleNamespace(geometry=far, state="snags")])
        assert bool(states_under(fallen, one.geometry)) is is_near
        unit: Any = SimpleNamespace(pieces=[], grid=grid, units=[SimpleNamespace(unit_id="G", cover="grass")],
                                    unit_shapes={"G": far})  # fmt: skip
        assert bool(openings(unit, [], near=one.geometry)) is is_near
        corner_m = 60 + at_m / 2**0.5
        square = SimpleNamespace(unit_id="T", stage="down", geometry=box(corner_m, corner_m, 200, 200))
        treated: Any = SimpleNamespace(pieces=[square], units=(), grid=grid)
        assert bool(openings(treated, [], near=one.geometry)) is is_near

    def inside(long_m: float, words: str) -> Beside:
        return Beside(words=words, geometry=LineString([(20, 30), (20 + long_m, 30)]))

    # five meters are told, and twenty first; 25 m of the east side and 10 m on either side of that are longest
    found = [inside(4.99, "short"), inside(5.0, "five"), inside(20.0, "c"), inside(20.0, "b")]
    found.append(Beside(words="slash", geometry=box(60, 35, 90, 60)))
    assert beside_words(one, found)[1:] == ("b, along 66 ft", "c, along 66 ft", "five, along 16 ft")
    assert beside_words(one, found)[0] == "slash, along 148 ft"


def test_private_places_in_a_bite_are_named_and_neither_others_nor_those_beside_it() -> None:
    grid, one = LocalGrid(38.0, -98.0), Bite(geometry=box(0, 0, 60, 60))

    def place(kind: str, x_m: float, name: str = "", *, is_sensitive: bool = False) -> Feature:
        return Feature(uuid=f"{kind}{x_m}", kind=kind, name=name, geometry=grid.to_lonlat(shapely.Point(x_m, 30)),
                       sensitive=is_sensitive, recorded_at=datetime(2026, 1, 1, tzinfo=UTC))  # fmt: skip

    found = private_words(
        one,
        [place("nest", 30, "owl"), place("nest", 61, "hawk"), place("house", 30, "barn"), place("lane", 59, "old road",
         is_sensitive=True), place("grave", 10)],
        grid=grid,
    )  # fmt: skip
    assert [words.partition(" lies in it")[0] for words in found] == sorted(
        ["nest owl", f"{FEATURE_WORDS['lane']} old road", FEATURE_WORDS["grave"]]
    )


def test_units_of_open_ground_are_lain_beside() -> None:
    covers = ("grass", "hardwood", "grass")
    state: Any = SimpleNamespace(
        pieces=[], grid=LocalGrid(38.0, -98.0),
        units=[SimpleNamespace(unit_id=name, cover=cover) for name, cover in zip("GHF", covers, strict=True)],
        unit_shapes={"G": box(0, 60, 60, 90), "H": box(-30, 0, 0, 60), "F": box(0, 80, 60, 90)},
    )  # fmt: skip
    found = openings(state, (), near=box(0, 0, 60, 60))
    assert [one.words for one in found] == ["grass of G"] and found[0].geometry.area == pytest.approx(1800)


def test_why_this_unit_is_said_with_what_would_come_before_it() -> None:
    def ranked(order: int, unit_id: str, *, name: str = "", closure: Closure | None = None) -> Ranked:
        return Ranked(order=order, unit_id=unit_id, name=name, cover="cedar", tier="next", score=None,
                      reasons=("cedar", "dense", "owls near"), parts={}, firm_pct=None, close_call=False,
                      remaining_acres=2.0, closure=closure, remarks=("owls near",))  # fmt: skip

    held = ranked(1, "A", closure=Closure(work=None, reason="owls", last=None))
    one, late = ranked(2, "B", name="Bench"), ranked(3, "C", closure=held.closure)
    assert which_words(one, [held, one, late], is_asked=True) == ("B (Bench) was asked for", "owls near")
    assert which_words(one, [held, one, late], is_asked=False) == (
        "A would come before it but is on hold, no end is written: owls",
        "B (Bench) comes next in the order of work: cedar; dense", "owls near",
    )  # fmt: skip
    assert which_words(replace(one, name=""), [one], is_asked=False)[0].startswith("B comes next")


def test_ground_that_would_read_as_none_is_told_as_little() -> None:
    tiny = Bite(geometry=box(0, 0, 4, 4), is_whole=True)  # 16 m² are 0.004 acre
    words = size_words(tiny, asked_acres=1.0, left_acres=0.003, left_pieces=1)
    assert words.startswith("under 0.01 acre in one piece, which is all that remains there")
    assert "under 0.01 acre remains in the unit after it" in words
    assert "0.00" not in words


def test_where_a_bite_lies_is_said_by_what_it_lies_beside() -> None:
    assert place_words(["slash of 2026", "the north lane"], []) == "it lies beside slash of 2026; the north lane"
    assert place_words([], [SimpleNamespace()]).startswith(
        "no bite beside opened ground, a lane or a firebreak leaves no scrap"
    )
    assert place_words([], []).startswith("no opened ground, lane or firebreak of the map lies beside")


@pytest.mark.parametrize(
    ("acres", "is_whole", "scraps_acres", "left", "words"),
    [
        (1.0, False, 0, (4, 1), "1.00 acres in one piece; 4.00 acres remain in the unit after it, in one piece, "
         "none cut smaller than 10% of it"),
        (1.019, False, 0, (4, 2), "1.02 acres in one piece; 4.00 acres remain in the unit after it, in 2 pieces, "
         "none cut smaller than 10% of it"),
        (1.2, False, 0.05, (4, 2), "1.20 acres in one piece: the ground is so ragged that no contiguous piece of "
         "1.00 acres was found; it leaves 0.05 acres in scraps, because no bite found here leaves none; 4.00 acres "
         "remain in the unit after it, in 2 pieces"),
        (0.5, True, 0, (3, 3), "0.50 acres in one piece, which is all that remains there in one piece; 3.00 acres "
         "remain in the unit after it, in 3 pieces"),
        (1.2, True, 0, (0, 0), "1.20 acres in one piece: cutting only 1.00 acres off it would leave a scrap, so it is "
         "taken whole; nothing remains in the unit after it"),
        (1.0, True, 0, (0.004, 1), "1.00 acres in one piece, a piece by itself; under 0.01 acre remains in the unit "
         "after it, in one piece"),
        (1.0, True, 0, (0.00499, 1), "1.00 acres in one piece, a piece by itself; under 0.01 acre remains in the unit "
         "after it, in one piece"),
        # from here on it is told as a hundredth, in the plural
        (1.0, True, 0, (0.005, 1), "1.00 acres in one piece, a piece by itself; 0.01 acres remain in the unit after "
         "it, in one piece"),
    ],
)  # fmt: skip
def test_how_large_a_bite_is_and_why_it_is_not_what_was_asked(
    acres: float, is_whole: bool, scraps_acres: float, left: tuple[float, int], words: str
) -> None:
    """An acre was asked."""
    one = Bite(geometry=box(0, 0, acres * ACRE_M2, 1), is_whole=is_whole, scraps_m2=scraps_acres * ACRE_M2)
    assert size_words(one, asked_acres=1.0, left_acres=left[0], left_pieces=left[1]) == words


def test_steep_and_sunny_ground_of_a_bite_is_told_where_there_is_some() -> None:
    assert steep_words(limit_pct=30.0, hand_only_pct=None, spared_acres=0.0) == ()
    assert steep_words(limit_pct=30.0, hand_only_pct=0.49, spared_acres=0.0) == ()
    assert steep_words(limit_pct=30.0, hand_only_pct=0.5, spared_acres=1.5) == (
        "1.50 acres of what remains here are hand-only (steeper than 30%) or lie in between, and are left out; "
        "--hand-only takes them too",
        "0% of it is hand-only, steeper than 30%",
    )
    assert sun_words(None, 40.0) == sun_words(60.0, None) == ()
    assert sun_words(60.4, 40.0) == ("60% of it is sun-facing, of all that remains in the unit 40%",)


def test_how_much_of_a_bite_is_part_killed_and_whose_snags_reach_it() -> None:
    def piece(unit_id: str, stage: str, planar: Polygon) -> SimpleNamespace:
        return SimpleNamespace(unit_id=unit_id, stage=stage, geometry=planar, state=f"{unit_id} {stage}")

    one = Bite(geometry=box(0, 0, 100, 100), is_whole=False)
    state: Any = SimpleNamespace(pieces=[
        piece("A", "part_cut", box(50, 0, 200, 100)), piece("A", "standing", box(0, 0, 50, 100)),
        piece("B", "part_cut", box(0, 0, 100, 100)), piece("B", "down", box(109.9, 0, 120, 100)),
        piece("C", "down", box(110.1, 0, 120, 100)),
    ])  # fmt: skip
    # half a hectare is 1.24 acres
    told = ("1.24 acres of it are part killed already; its hours count it as not begun",)
    assert part_killed_words(one, state, "A") == told
    assert part_killed_words(one, state, "C") == ()
    # ten meters round it is near enough to fall into it
    assert states_under(state, one.geometry) == ("A part_cut", "A standing", "B part_cut", "B down")


def a_search(piece: Polygon, beside: Polygon | None = None) -> Any:
    """Return the search for bites of an acre off a piece: 10 m are narrow, a side is 63.6 m."""
    opened = [] if beside is None else [beside]
    return bite._Search(piece, ACRE_M2, opened, bite._near(opened), None, only_beside=False)


def test_ground_narrower_than_ten_meters_is_measured() -> None:
    search = a_search(box(0, 0, 200, 200))
    assert search._narrow_m2(box(0, 0, 50, 9.9)) == pytest.approx(495)
    assert search._narrow_m2(box(0, 0, 50, 10.1)) == pytest.approx(0, abs=1e-6)
    assert search._narrow_m2(shapely.union(box(0, 0, 50, 50), box(50, 20, 80, 26))) == pytest.approx(180, abs=1e-6)


@pytest.mark.parametrize(
    ("shape", "score"),
    [
        (box(0, 0, SIDE_M, SIDE_M), 2.0),  # a corner: two sides of new edge
        (box(0, 0, 2 * SIDE_M, SIDE_M / 2), 2.5),
        (box(100, 100, 100 + SIDE_M, 100 + SIDE_M), 4.0),
        # 12 m broad: (12 − 10) / 12 · (80 − 10) / 80 of it lie 5 m inside, three times what is missing to a half
        (box(0, 0, 80, 12), (80 + 12) / SIDE_M + 3 * (0.5 - 2 / 12 * 70 / 80)),
        # two squares joined by a strip 8 m broad hang together by a neck
        (shapely.union_all([box(0, 0, 60, 60), box(60, 26, 70, 34), box(70, 0, 130, 60)]),
         (60 + 52 + 2 * 10 + 52 + 2 * 60 - 0 + 0) / SIDE_M + 0.5),
    ],
)  # fmt: skip
def test_a_bite_is_as_good_as_it_needs_little_new_edge(shape: Polygon, score: float) -> None:
    ground = box(0, 0, 400, 400)
    assert a_search(ground)._least(np.array([shape], dtype=object))[0] == pytest.approx(score, abs=0.01)


def test_what_a_bite_lies_beside_makes_it_better_up_to_two_sides() -> None:
    ground, west = box(0, 0, 400, 400), box(-50, 0, 0, 400)
    for north_m, sides in ((SIDE_M, 1.0), (1.5 * SIDE_M, 1.5), (2 * SIDE_M, 2.0), (3 * SIDE_M, 2.0)):
        shape = box(0, 0, 40, north_m)  # its west side, and 10 m of the sides next to it
        beside = min(2.0, sides + (10 + 10) / SIDE_M)
        least = a_search(ground, west)._least(np.array([shape], dtype=object))[0]
        assert least == pytest.approx((40 + north_m) / SIDE_M - 0.6 * beside, abs=0.01)
