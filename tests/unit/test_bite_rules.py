"""The rules of a bite one by one: where it may begin, how its size is found, how good it is; figures by hand."""

from __future__ import annotations

import math
from itertools import islice
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

from habmap.land import bite as rules
from habmap.land.bite import Bite, bites, sparing_bite
from habmap.land.growing import ALL, SPEEDS, Boxes

#: A square of 60 m is asked: a side is 60 m, 10 m are narrow, 360 m² a scrap.
WANTED_M2 = 3600.0
FIELD = box(0, 0, 300, 200)


def a_search(piece: Polygon, *opened: Any, liking: Any = None, only_beside: bool = False, wanted_m2: float = 0) -> Any:
    wanted_m2 = wanted_m2 or WANTED_M2
    return rules._Search(piece, wanted_m2, opened, rules._near(opened), liking, only_beside=only_beside)


def starts_of(search: Any) -> dict[tuple[float, ...], set[tuple[float, ...]]]:
    """Return the speeds of the boxes that begin at each place along each way."""
    found: dict[tuple[float, ...], set[tuple[float, ...]]] = {}
    tries = search._tries
    for at, along, speeds in zip(tries.at.tolist(), tries.along.tolist(), tries.speeds.tolist(), strict=True):
        found.setdefault((*(round(value, 6) for value in (*at, *along)),), set()).add(tuple(speeds))
    assert sum(map(len, found.values())) <= len(tries)
    return found


# --- where to begin -----------------------------------------------------------------------------------------


def test_a_bite_begins_at_corners_and_between_them_half_a_side_apart() -> None:
    found = starts_of(a_search(FIELD))
    south = [place for place in found if place[2:] == (1, 0)]
    # 300 m hold ten halves of a side: ten places between, 300/11 apart
    assert {place[:2] for place in south} <= {(0, 0), (300, 0), *((round(300 / 11 * k, 6), 0) for k in range(1, 11))}
    assert {(0, 0), (300, 0)} <= {place[:2] for place in south}
    # counterclockwise, ground to the left: 4 sides with 2 corners; 32 places between, of which 16 are looked at
    assert {place[2:] for place in found} == {(1, 0), (0, 1), (-1, 0), (0, -1)} and len(found) == 8 + 16
    # each with all speeds, and all behind taken
    speeds = {(back, forward, ALL, away) for back, forward, away in SPEEDS}
    assert all(own == speeds for own in found.values())
    short = starts_of(a_search(box(0, 0, 29.9, 200)))
    assert {place[:2] for place in short if place[2:] == (1, 0)} == {(0, 0), (29.9, 0)}
    assert (15.05, 0, 1, 0) in starts_of(a_search(box(0, 0, 30.1, 200)))


def test_small_bends_are_no_corners_and_holes_are_edges_too() -> None:
    bent = Polygon([(0, 0), (150, -5.9), (300, 0), (300, 200), (150, 206.1), (0, 200)])
    found = {place[:2] for place in starts_of(a_search(bent, wanted_m2=3600))}
    assert (150, -5.9) not in found and (150, 206.1) in found  # a tenth of a side is 6 m
    holed = starts_of(a_search(FIELD.difference(box(100, 80, 140, 120))))
    # round a hole the ground lies to the left as well
    assert {place for place in holed if place[:2] == (100, 80)} == {(100, 80, -1, 0), (100, 80, 0, 1)}


def test_where_ground_is_opened_only_what_lies_beside_it_is_looked_at() -> None:
    west = box(-50, 0, 0, 200)
    found = starts_of(a_search(FIELD, west, only_beside=True))
    # 10 m beside it and a tenth of a side: places up to 16 m off
    assert {place[0] for place in found} == {0.0}
    near = starts_of(a_search(FIELD, box(-50, 0, -15.9, 200), only_beside=True))
    assert near and not starts_of(a_search(FIELD, box(-50, 0, -16.1, 200), only_beside=True))
    assert len(starts_of(a_search(FIELD, only_beside=True))) == 0


def test_along_lines_in_it_bites_begin_at_their_ends_and_middles_to_both_sides() -> None:
    lane = LineString([(-20, 100), (200, 100)])
    found = starts_of(a_search(FIELD, lane, only_beside=True))
    inside = {place: own for place, own in found.items() if place[1] >= 100 and 0 < place[0] < 300}
    (east_end,) = {place[0] for place in inside if place[0] > 195 and place[1] == 100}
    assert east_end == 200
    wanted = {(round(0.05 + share * 199.95, 6), 100.0, way, 0.0) for share in (0, 0.5, 1) for way in (1, -1)}
    assert wanted <= inside.keys() and {place for place in inside if place[1] == 100 and place[3] == 0} == wanted
    assert not {place for place in inside if place[1] > 100 or place[3] != 0}
    # nothing behind the line is taken
    assert all(own == {(back, forward, 0.0, away) for back, forward, away in SPEEDS} for own in map(inside.get, wanted))
    assert starts_of(a_search(FIELD, lane)).keys().isdisjoint(wanted)
    for other in (LineString([(-20, 300), (200, 300)]), box(50, 50, 60, 60), LineString([(0, 0), (300, 0)])):
        along = a_search(FIELD, other)._lines_inside([other])
        assert along == []
    several = shapely.MultiLineString([[(50, 50), (50, 61)], [(90, 50), (90, 59)]])
    assert {place[:2] for place in a_search(FIELD)._lines_inside([several])} == {(50, 50), (50, 55.5), (50, 61)}


@pytest.mark.parametrize(("bend_m", "stretches"), [(5.9, 1), (6.1, 2)])
def test_along_a_lane_small_bends_are_left_out(bend_m: float, stretches: int) -> None:
    """A tenth of a side is 6 m."""
    lane = LineString([(50, 100), (150, 100 + bend_m), (250, 100)])
    # ends and middle of each stretch, both ways
    assert len(a_search(FIELD)._lines_inside([lane])) == stretches * 3 * 2


def test_a_long_list_of_places_is_thinned_evenly() -> None:
    places = [(float(k), 0.0, 1.0, 0.0) for k in range(10)]
    assert rules._thinned(places, 10) == rules._thinned(places, 11) == places
    assert [place[0] for place in rules._thinned(places, 4)] == [0, 3, 6, 9]
    assert [place[0] for place in rules._thinned(places, 9)] == [0, 1, 2, 3, 4, 6, 7, 8, 9]
    many = Polygon([(300 * math.cos(k / 50 * math.pi), 300 * math.sin(k / 50 * math.pi)) for k in range(100)])
    search = a_search(many, wanted_m2=100)  # 100 corners twice, 300 places between
    assert len(search._tries) == (32 + 16) * len(SPEEDS)
    # six lanes in it, each with six places along it: 16 of them
    lanes = [LineString([(50, y), (250, y)]) for y in range(20, 200, 30)]
    along = a_search(FIELD, *lanes, only_beside=True)._tries.speeds[:, 2] == 0
    assert along.sum() == 16 * len(SPEEDS)


@pytest.mark.parametrize(("dent_m", "corners"), [(1.485, 4), (1.515, 5)])
def test_sizes_are_sought_on_an_outline_that_is_plainer_by_a_fortieth_of_a_side(dent_m: float, corners: int) -> None:
    dented = Polygon([(0, 0), (150, dent_m), (300, 0), (300, 200), (0, 200)])
    assert shapely.get_num_coordinates(a_search(dented)._plain) == corners + 1


# --- how large ----------------------------------------------------------------------------------------------


def one_try(search: Any) -> Boxes:
    return Boxes(np.zeros((1, 2)), np.array([[1.0, 0.0]]), np.array([[1.0, 1.0, 0.0, 1.0]]))


@pytest.mark.parametrize("within_frac", [0.1, 1e-3, 1e-9])
def test_the_size_of_a_box_is_found_by_its_area(within_frac: float) -> None:
    search = a_search(FIELD)
    for power, size_m in ((1, 3600 / 25), (2, 60.0), (3, 3600 ** (1 / 3)), (1.5, 3600 ** (1 / 1.5))):
        factor = 25 if power == 1 else 1
        found, area = search._sizes(
            one_try(search), lambda _, size, p=power, f=factor: f * size**p, within_frac=within_frac, most_steps=100
        )
        assert area[0] == pytest.approx(3600, rel=max(within_frac, 2e-9)) and area[0] == pytest.approx(
            factor * found[0] ** power
        )
        assert found[0] == pytest.approx(size_m, rel=2 * within_frac)


def test_a_jump_of_the_area_is_narrowed_down_and_the_nearer_side_taken() -> None:
    search = a_search(FIELD)

    def found(below_m2: float, above_m2: float, at_m: float, within_frac: float) -> tuple[float, float]:
        size, area = search._sizes(
            one_try(search), lambda _, size: np.where(size < at_m, below_m2, above_m2), within_frac=within_frac,
            most_steps=100,
        )  # fmt: skip
        return float(size[0]), float(area[0])

    for at_m in (41.37, 97.3):
        size_m, area_m2 = found(3000, 4000, at_m, 1e-9)
        assert area_m2 == 4000 and at_m <= size_m < at_m + 60 * 1e-9
        size_m, area_m2 = found(3300, 4000, at_m, 0.025)
        assert area_m2 == 3300 and at_m - 0.06 < size_m < at_m  # a thousandth of a side


def test_a_box_that_never_reaches_the_area_grows_until_it_is_beyond_all() -> None:
    search = a_search(FIELD)
    reach_m = 2 * math.hypot(300, 200) + 1
    asked: list[float] = []

    def never(_: Boxes, size: np.ndarray) -> np.ndarray:
        asked.extend(size.tolist())
        return np.full(len(size), 1000.0)

    _, area = search._sizes(one_try(search), never, within_frac=0.025, most_steps=0)
    assert area[0] == 1000 and asked == [60, 120, 240, 480, 960] and 480 < reach_m < 960


def test_of_two_sizes_as_near_the_larger_is_taken() -> None:
    search = a_search(FIELD)
    for at_60_m2, size_m in ((7190.0, 60.0), (7200.0, 60.0), (7210.0, 0.0)):
        areas = lambda _, size, m2=at_60_m2: np.full(len(size), m2)  # noqa: E731
        assert search._sizes(one_try(search), areas, within_frac=1e-9, most_steps=0)[0].tolist() == [size_m]


def test_steps_end_when_they_are_used_up() -> None:
    search = a_search(FIELD)
    asked: list[float] = []

    def areas(_: Boxes, size: np.ndarray) -> np.ndarray:
        asked.extend(size.tolist())
        return np.asarray(np.where(size < 50, 0.0, 9000.0) + size)

    search._sizes(one_try(search), areas, within_frac=1e-9, most_steps=4)
    assert len(asked) == 1 + 4
    # by false position, held off the ends by a twentieth, and halved each third time
    first, second, third = asked[1:4]
    assert first == pytest.approx(60 * 3600 / 9060)
    assert second == pytest.approx(first + (60 - first) * (3600 - first) / (9060 - first))
    low, high = (second, 60.0) if second < 50 else (first, second)
    assert third == pytest.approx((low + high) / 2)


def test_the_area_to_cut_off_leaves_no_scrap_of_the_piece() -> None:
    for piece_m2, target_m2 in ((9999, 3600), (3961, 3600), (3700, 3700 - 360.36), (1000, 1000 - 360.36)):
        assert rules._target_m2(box(0, 0, piece_m2 / 10, 10), WANTED_M2) == pytest.approx(target_m2)


# --- how good -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("along_m", "liked", "score"),
    [(0, None, 0), (60, None, -0.6), (90, 0.25, -0.9 - 0.25), (120, None, -1.2), (180, 0.5, -1.2 - 0.5)],
)
def test_a_whole_piece_is_as_good_as_what_it_lies_beside_and_is_liked(
    along_m: float, liked: float | None, score: float
) -> None:
    beside = box(-1, -1, 1, along_m)
    one = rules._whole(
        box(0, 0, 100, 200), beside.difference(box(-1, -1, 9, 0)), WANTED_M2,
        None if liked is None else lambda shapes: np.full(len(shapes), liked),
    )  # fmt: skip
    met_m = along_m + (1 if along_m else 0)
    assert one.beside_m == pytest.approx(met_m) and one.is_whole and one.new_edge_m == one.scraps_m2 == 0
    assert one.score == pytest.approx(score - 0.6 * (1 / 60 if 0 < along_m < 120 else 0))


def test_opened_ground_reaches_ten_meters() -> None:
    near = rules._near([LineString([(0, 0), (100, 0)]), box(0, 100, 100, 200)])
    for y, is_near in ((9.99, True), (10.01, False), (89.99, False), (90.01, True), (-9.99, True)):
        assert near.intersects(Point(50, y)) is is_near
    # round a corner by chords: no nearer than cos 11.25° of it, four to a quarter of a circle
    reach = near.intersection(LineString([(100, 0), (120, 0)])).length
    assert reach == pytest.approx(10) and near.intersection(box(100, -20, 120, 20)).area == pytest.approx(
        10 * 10 * 4 * math.sin(math.pi / 8), rel=1e-6
    )


def test_a_plainer_outline_is_turned_and_stays_whole() -> None:
    clockwise = Polygon([(0, 0), (0, 10), (10, 10), (10, 0), (5, 0.9)], [[(4, 4), (6, 4), (6, 6), (4, 6)]])
    plain = rules._simple(clockwise, 1.0)
    assert plain.exterior.is_ccw and not plain.interiors[0].is_ccw and len(plain.exterior.coords) == 5
    assert len(rules._simple(clockwise, 0.8).exterior.coords) == 6
    # a hole that the plainer edge would leave outside: it stays as it is
    near_edge = Polygon([(0, 0), (50, -5), (100, 0), (100, 100), (0, 100)], [[(49, -3), (51, -3), (50, -2)]])
    assert rules._simple(near_edge, 6.0).is_valid


def test_scraps_go_with_the_bite_that_they_hang_on() -> None:
    taken = box(0, 0, 10, 10)
    assert rules._joined(taken, []) is taken
    assert rules._joined(taken, [box(10, 2, 12, 4), box(-3, 0, 0, 3)]).area == pytest.approx(113)
    assert rules._joined(taken, [box(50, 0, 52, 2)]).equals(taken)


def test_a_bite_is_told_with_its_edge_its_neighbors_and_what_it_leaves() -> None:
    """A strip of 30 m across a field of 300 by 100, and 40 m west of it."""
    field = box(0, 0, 300, 100)
    search = a_search(field, box(-50, 0, 0, 100))
    tries = Boxes(np.array([[40.0, 0.0]]), np.array([[1.0, 0.0]]), np.array([[0.0, 1.0, ALL, ALL]]))
    one = search._at(tries, 0, 30.0)
    assert one.geometry.equals(box(40, 0, 70, 100)) and not one.is_whole and one.scraps_m2 == 0
    assert one.new_edge_m == pytest.approx(2 * 99.9) and one.beside_m == 0
    # two pieces stay: half a side's worth more; and 3 times what is missing to half of it lying 5 m inside
    assert one.score == pytest.approx(2 * 99.9 / 60 + 0.5)
    near = search._at(Boxes(np.array([[0.0, 0.0]]), tries.along, tries.speeds), 0, 38.0)
    assert near.new_edge_m == pytest.approx(99.9) and near.beside_m == pytest.approx(100 + 2 * 10)
    assert near.score == pytest.approx(99.9 / 60 - 0.6 * 2)
    # what is left behind in a strip of 8 m is narrow; of 3 m it is a scrap
    narrow = search._at(Boxes(np.array([[8.0, 0.0]]), tries.along, tries.speeds), 0, 30.0)
    assert narrow.scraps_m2 == 0
    assert narrow.score == pytest.approx(2 * 99.9 / 60 - 0.6 * ((100 + 2 * 2) / 60) + 0.5 + 800 / 3600)
    scrap = search._at(Boxes(np.array([[3.0, 0.0]]), tries.along, tries.speeds), 0, 30.0)
    assert scrap.scraps_m2 == pytest.approx(300)
    joined = search._at(Boxes(np.array([[3.0, 0.0]]), tries.along, tries.speeds), 0, 30.0, with_scraps=True)
    assert joined.geometry.equals(box(0, 0, 33, 100)) and joined.scraps_m2 == 0
    whole = search._at(Boxes(np.array([[0.0, 0.0]]), tries.along, tries.speeds), 0, 500.0)
    assert whole.is_whole and whole.new_edge_m == 0


def test_a_bite_that_is_liked_is_better_by_a_side_and_half_liked_by_half() -> None:
    def liking(shapes: np.ndarray) -> np.ndarray:
        return np.asarray(np.where(shapely.get_x(shapely.centroid(shapes)) > 150, 1.0, 0.25))

    search, plain = a_search(FIELD, liking=liking), a_search(FIELD)
    shapes = np.array([box(0, 0, 60, 60), box(240, 0, 300, 60)], dtype=object)
    least = plain._least(shapes)
    assert search._least(shapes) == pytest.approx(least - 1.0)  # were both liked wholly
    assert search._liked(search._least(shapes), shapes) == pytest.approx(least - [0.25, 1.0])
    assert plain._liked(least, shapes) is least


def test_a_bite_that_misses_the_area_or_hangs_by_a_hair_is_none() -> None:
    search = a_search(FIELD)
    tries = Boxes(np.array([[0.0, 0.0]]), np.array([[1.0, 0.0]]), np.array([[0.0, 1.0, ALL, ALL]]))
    one = search._settle(tries, 0)
    assert one is not None and one.geometry.symmetric_difference(box(0, 0, 18, 200)).area < 0.01
    # two fields of 1,800 m², joined by a strip narrower than a hair: a box holds one of them, or both
    by_a_hair = shapely.union_all([box(0, 0, 18, 100), box(17, 50, 31, 50.004), box(30, 0, 400, 100)])
    assert a_search(by_a_hair)._settle(tries, 0) is None
    # the area jumps from 30 to 90 acres' worth round a corner: neither is near
    jump = shapely.union_all([box(0, 0, 20, 100), box(20, 90, 21, 100), box(21, 0, 121, 100)])
    across = Boxes(np.array([[0.0, 0.0]]), np.array([[1.0, 0.0]]), np.array([[ALL, ALL, ALL, 1.0]]))
    assert a_search(jump)._settle(across, 0) is None


# --- all of it ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("area_m2", "taken_m2", "is_whole"),
    [
        (3600 * 0.96, 3600 * 0.96, True),  # too little to leave anything of
        (3600 * 0.971, 3600 * 0.971, True),
        (3600 * 1.029, 3600 * 1.029, True),
        (3600 * 1.0699, 3600 * 1.0699, True),
        (3600 * 1.0705, 3600 * 0.9704, False),
        (3600 * 1.2, 3600, False),
    ],
)
def test_how_much_is_taken_of_a_last_piece(area_m2: float, taken_m2: float, is_whole: bool) -> None:
    (one, *_) = bites(box(0, 0, area_m2 / 50, 50), wanted_m2=WANTED_M2)
    assert one.area_m2 == pytest.approx(taken_m2, rel=1e-4) and one.is_whole is is_whole


def test_of_pieces_too_small_the_largest_is_taken_whole_and_of_nothing_nothing() -> None:
    ground = MultiPolygon([box(0, 0, 20, 20), box(50, 0, 90, 40), box(200, 0, 230, 40)])
    (one,) = bites(ground, wanted_m2=WANTED_M2)
    assert one.geometry.equals(box(50, 0, 90, 40)) and one.is_whole
    assert bites(MultiPolygon(), wanted_m2=WANTED_M2) == ()
    # a piece of the very area comes before others where nothing is opened, and among them where something is
    ground = MultiPolygon([box(0, 0, 300, 100), box(400, 0, 460, 60)])
    (exact,) = bites(ground, wanted_m2=WANTED_M2)
    assert exact.geometry.equals(box(400, 0, 460, 60))
    several = bites(ground, wanted_m2=WANTED_M2, opened=[box(-50, 0, 0, 100)])
    scores = [round(one.score, 6) for one in several]
    assert scores == sorted(scores) and len(several) == 1 + 6


def test_spots_to_be_spared_that_are_scraps_are_not() -> None:
    field = box(0, 0, 300, 60)
    for side_m, spared_m2 in ((18.9, 0.0), (19.1, 19.1**2)):  # a tenth of 3,600 m² is a square of 18.97 m
        found = sparing_bite(field, box(200, 20, 200 + side_m, 20 + side_m), wanted_m2=WANTED_M2)
        assert found is not None and found[1] == pytest.approx(spared_m2, abs=0.01)
    assert sparing_bite(field, None, wanted_m2=WANTED_M2) is not None
    one = sparing_bite(field, None, wanted_m2=WANTED_M2)
    assert isinstance(one, tuple) and isinstance(one[0], Bite) and one[1] == 0


@pytest.mark.parametrize(
    ("told", "best"),
    [
        ([(0.9, 0, 0), (1.0, 300, 0), (1.02, 0, 0), (0.98, 5, 0)], 2),  # within 3% the least in scraps
        ([(0.9, 0, 0), (1.0, 300, 0), (1.04, 0, 0)], 1),  # else the nearest to the area
        ([(0.9, 0, 0), (1.04, 9, 0), (1.06, 0, 0)], 1),
        ([(1.0, 7, 50), (0.98, 7, 10), (1.01, 7, 90)], 1),  # and among equals the westernmost
    ],
)
def test_where_no_bite_keeps_all_promises_the_least_bad_is_told(
    told: list[tuple[float, float, float]], best: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    search = a_search(FIELD)
    made = [Bite(geometry=box(x, 0, x + 60 * area, 60), scraps_m2=scraps_m2) for area, scraps_m2, x in told]
    monkeypatch.setattr(search.__class__, "_promising", lambda _: iter([(None, number) for number in range(len(made))]))
    monkeypatch.setattr(search.__class__, "_size_m", lambda *_, with_scraps: 9.0 if with_scraps else 1.0)
    monkeypatch.setattr(search.__class__, "_at", lambda _, tries, number, size_m: made[number] if size_m == 1 else None)
    assert search.least_bad() is made[best]


def test_ground_that_is_nearly_as_asked_is_taken_whole_before_the_least_bad(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("habmap.land.bite._Search.settled", lambda _: [])
    near, far = box(0, 0, 63, 60), box(100, 0, 400, 200)
    (one,) = bites(MultiPolygon([near, far]), wanted_m2=WANTED_M2)
    assert one.geometry.equals(near) and one.is_whole
    (other,) = bites(far, wanted_m2=WANTED_M2)
    assert other.area_m2 == pytest.approx(WANTED_M2, rel=0.03) and other.scraps_m2 == 0


def test_of_small_bites_a_quarter_of_a_side_is_narrow() -> None:
    small, large = a_search(FIELD, wanted_m2=400), a_search(FIELD)
    assert small._narrow_m2(box(0, 0, 50, 4.9)) == pytest.approx(245)
    assert small._narrow_m2(box(0, 0, 50, 5.1)) == pytest.approx(0, abs=1e-6) == large._narrow_m2(box(0, 0, 50, 10.1))


def test_a_narrow_piece_far_off_stays_out_and_the_best_bite_is_returned() -> None:
    field, far = box(0, 0, 300, 60), box(500, 0, 520, 8)
    found = sparing_bite(MultiPolygon([field, far]), box(200, 0, 300, 60), wanted_m2=WANTED_M2)
    assert found is not None and found[1] == pytest.approx(100 * 60 + 160, abs=0.1)
    plain = sparing_bite(field, None, wanted_m2=WANTED_M2)
    assert plain is not None and plain[0] == bites(field, wanted_m2=WANTED_M2)[0]


def test_sizes_of_many_boxes_are_found_at_once_and_steps_held_off_the_ends() -> None:
    search = a_search(FIELD)
    two = Boxes(np.zeros((2, 2)), np.array([[1.0, 0.0]] * 2), np.array([[1.0, 1.0, 0.0, 1.0]] * 2))
    slopes = {0: 90.0, 1: 12.0}  # the first has all it wants at 60 m, the other at 300

    def areas(tries: Boxes, size: np.ndarray) -> np.ndarray:
        return np.asarray(size * (slopes[1] if len(tries) == 1 else np.array([slopes[0], slopes[1]])))

    high: list[np.ndarray] = []
    size, area = search._sizes(two, lambda tries, size: high.append(size.copy()) or areas(tries, size),  # type: ignore[func-returns-value]
                               within_frac=0.5, most_steps=0)  # fmt: skip
    assert [one.tolist() for one in high] == [[60, 60], [120], [240], [480]]
    assert (size.tolist(), area.tolist()) == ([60, 240], [5400, 2880])  # the nearer to 3,600 m²
    for end_m2, asked_m in ((3610.0, 57.0), (9e6, 3.0)):
        asked: list[float] = []
        search._sizes(one_try(search), lambda _, size, e=end_m2, a=asked: a.extend(size) or np.where(size < 60, 0.0, e),
                      within_frac=1e-6, most_steps=1)  # fmt: skip
        assert asked == pytest.approx([60.0, asked_m])


def test_a_bite_takes_scraps_with_it_and_is_the_smaller_for_them() -> None:
    search = a_search(box(0, 0, 300, 100))
    tries = Boxes(np.array([[3.0, 0.0]]), np.array([[1.0, 0.0]]), np.array([[0.0, 1.0, ALL, ALL]]))
    one = search._settle(tries, 0)
    assert one is not None and one.scraps_m2 == 0
    assert one.geometry.symmetric_difference(box(0, 0, 36, 100)).area < 0.01


@pytest.mark.parametrize(("broad_m", "is_near"), [(36.75, True), (36.39, True), (36.365, False), (36.0, False)])
def test_a_bite_within_three_percent_will_do_where_the_area_jumps(broad_m: float, is_near: bool) -> None:
    """Two arms, joined at their ends: a box that grows along the first holds 3,528 m² of it, or much more."""
    arms = shapely.union_all([box(0, 0, broad_m, 96), box(100, 0, 400, 96), box(0, 96, 400, 97)])
    along = Boxes(np.array([[0.0, 0.0]]), np.array([[1.0, 0.0]]), np.array([[ALL, ALL, 0.0, 1.0]]))
    one = a_search(arms)._settle(along, 0)
    assert (one is not None) is is_near and (one is None or one.area_m2 == pytest.approx(96 * broad_m, rel=1e-5))


def test_a_bite_that_is_narrow_throughout_is_worse_by_half_of_three_sides() -> None:
    (least,) = a_search(FIELD)._least(np.array([box(0, 0, 80, 9)], dtype=object))
    assert least == pytest.approx((79.95 + 8.95) / 60 + 3 * 0.5, abs=0.002)
    (half,) = a_search(FIELD)._least(np.array([box(0, 0, 80, 12)], dtype=object))
    assert half == pytest.approx((79.95 + 11.95) / 60 + 3 * (0.5 - 2 / 12 * 70 / 80), abs=0.002)


def test_how_far_a_side_lies_that_takes_all_depends_on_the_ground_s_size_alone() -> None:
    east, north = 2000.0, -700.0
    moved = a_search(box(east, north, east + 300, north + 200))
    assert moved._reach_m == pytest.approx(a_search(FIELD)._reach_m) and moved._reach_m > math.hypot(300, 200)


def test_crumbs_of_the_arithmetic_are_no_rest() -> None:
    search = a_search(FIELD)
    for area_m2, count in ((0.99e-6, 0), (1.005e-6, 1)):
        side_m = math.sqrt(2 * area_m2)
        assert len(search._rest(FIELD.difference(Polygon([(0, 0), (side_m, 0), (0, side_m)])))) == count


# --- which are worked out first -----------------------------------------------------------------------------


def first_of(
    monkeypatch: pytest.MonkeyPatch, least: list[float], liked: list[float], *, taken: int | None = None
) -> tuple[list[int], list[int]]:
    """Return the numbers of so many bites in the order of their search, and of how many at once it was asked."""
    asked: list[int] = []

    def liking(numbers: np.ndarray) -> np.ndarray:
        asked.append(len(numbers))
        return np.array([liked[number] for number in numbers])

    search = a_search(FIELD, liking=liking)
    monkeypatch.setattr(search.__class__, "_least", lambda _self, _shapes: np.array(least))
    found = list(islice(search._best_first(np.arange(len(least))), taken))
    return found, asked


@pytest.mark.parametrize(
    ("least", "liked", "order"),
    [
        ([0.5, 0.1, 0.3], [1, 1, 1], [1, 2, 0]),
        ([0.5, 0.1, 0.3], [1, 0, 1], [2, 0, 1]),
        ([0.5, 0.1, 0.3], [1, 0.7, 0.9], [1, 2, 0]),  # 0.5, 0.4 and 0.4
        # what agrees to a millionth is equal, and stands as it was found
        ([0.1000003, 0.1], [1, 1], [0, 1]),
        ([0.100004, 0.1], [1, 1], [1, 0]),
        ([], [], []),
    ],
)
def test_bites_come_by_how_good_they_are_liked(
    least: list[float], liked: list[float], order: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert first_of(monkeypatch, least, liked)[0] == order


@pytest.mark.parametrize(
    ("last", "taken", "order", "asked"),
    [
        # 32 unliked bites have a score of 1; the other, liked, one of ``last``
        (0.99, 1, [0], [32, 1]),
        (1.0, 2, [0, 1], [32, 1]),
        (1.01, 32, [*range(1, 33)], [32]),
        (1.01, None, [*range(1, 33), 0], [32, 1]),
    ],
)
def test_what_is_liked_is_asked_only_of_bites_that_may_come_next(
    last: float, taken: int | None, order: list[int], asked: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert first_of(monkeypatch, [last, *[0.0] * 32], [1, *[0.0] * 32], taken=taken) == (order, asked)


def promising(monkeypatch: pytest.MonkeyPatch, areas_m2: list[float], shapes: list[Polygon]) -> list[int]:
    """Return which of some boxes are looked at, by the areas and shapes that they would have off a plainer outline."""
    search = a_search(FIELD)
    search._tries = Boxes(
        np.array([(number, 0.0) for number in range(len(shapes))]).reshape(-1, 2),
        np.tile([1.0, 0.0], (len(shapes), 1)),
        np.tile([1.0, 1.0, ALL, 1.0], (len(shapes), 1)),
    )  # fmt: skip
    by_number = np.array(shapes, dtype=object)
    monkeypatch.setattr(search.__class__, "_sizes", lambda *_args, **_more: (np.ones(len(shapes)), np.array(areas_m2)))
    monkeypatch.setattr(search.__class__, "_taken", lambda _self, _of, tries, _m: by_number[tries.at[:, 0].astype(int)])
    monkeypatch.setattr(search.__class__, "_best_first", lambda _self, found: iter(range(len(found))[::-1]))
    return [int(tries.at[number, 0]) for tries, number in search._promising()]


def test_bites_within_a_twentieth_of_the_area_off_a_plainer_outline_are_worked_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    apart = [box(100 * k, 0, 100 * k + 60, 60) for k in range(6)]
    shares = (0.9498, 0.9502, 1.0, 1.0498, 1.0502, 0.0)
    assert promising(monkeypatch, [3600 * share for share in shares], apart) == [3, 2, 1]
    assert promising(monkeypatch, [0.0] * 6, apart) == promising(monkeypatch, [], []) == []


@pytest.mark.parametrize(
    ("east_m", "north_m", "is_one"),
    [(4.9, 0, True), (5.1, 0, False), (-5.1, 0, False), (0, 4.9, True), (0, 5.1, False), (4.9, 4.9, True)],
)
def test_of_bites_within_half_of_what_is_narrow_one_is_worked_out(
    east_m: float, north_m: float, is_one: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten meters are narrow; sides are told apart by the nearest ten."""
    shapes = [box(0, 0, 60, 60), box(east_m, north_m, 60, 60), box(0, 0, 60 + east_m, 60 + north_m)]
    found = promising(monkeypatch, [3600.0] * 3, shapes)
    assert found == ([2] if is_one else [2, 1, 0])


def test_boxes_are_sized_on_the_plainer_outline_in_a_dozen_steps_to_half_of_what_is_let_through(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sizes: list[np.ndarray] = []
    search = a_search(FIELD)
    taken = search._taken
    monkeypatch.setattr(
        search.__class__, "_taken",
        lambda _self, of, tries, size_m: sizes.append(size_m) or taken(of, tries, size_m),  # type: ignore[func-returns-value]
    )  # fmt: skip
    monkeypatch.setattr(search.__class__, "_best_first", lambda _self, found: iter(range(len(found))))
    every = [(tries, number) for tries, number in search._promising()]
    off = [
        abs(float(taken(FIELD, tries[np.array([number])], sizes[0][[number]])[0].area) / 3600 - 1)
        for tries, number in every
    ]
    assert len(sizes) == 1 and len(off) > 50 and max(off) <= 0.025
    assert max(off) > 0.01  # and no closer than asked
    # an area that jumps is narrowed down for a dozen steps
    asked: list[float] = []
    search._tries = one_try(search)

    def jump(_: Boxes, size_m: np.ndarray) -> np.ndarray:
        asked.extend(size_m.tolist())
        return np.where(size_m < 30, 0.0, 1e9)

    monkeypatch.setattr(search.__class__, "_areas_of", lambda _self, _ground: jump)
    assert list(search._promising()) == [] and len(asked) == 1 + 12
