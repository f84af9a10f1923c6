"""The rules by which ground is told to strangers, each by a few lines and squares: figures by hand."""

from __future__ import annotations

import hashlib
import math
from fractions import Fraction

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

from habmap.land import veil as rules
from habmap.land.acreage import Piece
from habmap.land.veil import ends_there, runs_round, veil, veiled

#: A place at (0, 0), its cell's middle wherever the key puts it, at most half a cell's diagonal off.
HERE = veil([Point(0, 0)], key="k")


def middle_by_hand(key: str, x: float, y: float) -> tuple[float, float]:
    """Return the middle of a place's cell of 40 m: the lattice begins at two numbers of the key's digest."""
    digest = hashlib.blake2b(f"habmap veil {key}".encode(), digest_size=16).digest()
    found = []
    for at, given in ((0, x), (1, y)):
        share = Fraction(int.from_bytes(digest[8 * at : 8 * at + 8], "big"), 2**64)
        found.append(float(math.floor((Fraction(given) - 40 * share) / 40) * 40 + 40 * share + 20))
    return found[0], found[1]


@pytest.mark.parametrize("key", ["a", "b", "another"])
def test_a_place_is_told_by_its_cell_and_the_same_on_every_day(key: str) -> None:
    over = veil([Point(123.0, -77.0)], key=key)
    x, y = middle_by_hand(key, 123.0, -77.0)
    # 100 m and half the diagonal of a cell of 40 m; 315 m
    assert over.discs.bounds == pytest.approx((x - 128.284, y - 128.284, x + 128.284, y + 128.284), abs=1e-3)
    assert over.reach.bounds == pytest.approx((x - 315, y - 315, x + 315, y + 315))


def test_keys_put_the_lattice_anywhere() -> None:
    middles = np.array([min(rules._cells(Point(0, 0), f"key {n}")) for n in range(64)])
    assert np.abs(middles).max() <= 20
    quarters = np.floor(middles / 10 + 2).astype(int)
    assert all(set(quarters[:, axis]) == {0, 1, 2, 3} for axis in (0, 1))  # chance of a miss: 8 · 0.75^64


@pytest.mark.parametrize(
    "place",
    [
        Point(3, 4),
        LineString([(0, 0), (900, 0)]),
        LineString([(0, 0), (500, 370)]),
        box(0, 0, 170, 230),
        box(0, 0, 800, 620),
    ],
    ids=["point", "level line", "line", "area", "large area"],
)
def test_all_within_a_hundred_meters_of_a_place_lies_in_the_circles(place: shapely.Geometry) -> None:
    for key in "abcdef":
        assert veil([place], key=key).discs.buffer(1.0).covers(place.buffer(100.0))  # the circles are drawn by chords


def test_the_middles_along_a_line_lie_no_farther_off_than_a_quarter_and_half_a_diagonal() -> None:
    line = LineString([(0, 0), (800, 0)])
    for key in "abcdef":
        middles = shapely.multipoints(sorted(rules._cells(line, key)))
        off_m = [middles.distance(line.interpolate(at)) for at in range(0, 801, 5)]
        assert max(off_m) <= 10 + 20 * math.sqrt(2)


@pytest.mark.parametrize(
    "place",
    [
        LineString([(0, 0), (500, 370)]),
        Polygon([(0, 0), (900, 0), (0, 600)]),
        Polygon([(7, 3), (900, 600), (0, 600)]),
        box(0, 0, 800, 620).difference(box(300, 200, 520, 420)),
    ],
    ids=["line", "triangle", "triangle the other way", "area with a hole"],
)
@pytest.mark.parametrize("key", ["a", "b", "c", "d"])
def test_a_places_cells_are_those_that_it_fills_or_runs_through(place: shapely.Geometry, key: str) -> None:
    found = rules._cells(place, key)
    x, y = middle_by_hand(key, 0.0, 0.0)
    lattice = {
        (x + 40 * column, y + 40 * row): box(
            *(x + 40 * column - 20, y + 40 * row - 20, x + 40 * column + 20, y + 40 * row + 20)
        )
        for column in range(-3, 26)
        for row in range(-3, 20)
    }
    told = {middle: any(math.dist(middle, one) < 1e-6 for one in found) for middle in lattice}
    assert sum(told.values()) == len(found)
    edge = place.boundary if place.area else place
    for middle, cell in lattice.items():
        if not cell.intersects(place):
            assert not told[middle]
        # so long a bit of an outline holds one of its points, which lie half a cell apart at most
        elif place.covers(cell) or edge.intersection(cell).length > 20 * math.sqrt(2):
            assert told[middle]


def test_wherever_the_lattice_lies_no_cell_inside_is_left_out() -> None:
    place = box(33, 33, 233, 233)
    for key in "abcdefghijklmnopqrstuvwxyz":
        x, y = middle_by_hand(key, 0.0, 0.0)
        middles = [(x + 40 * column, y + 40 * row) for column in range(8) for row in range(8)]
        inside = [(x, y) for x, y in middles if place.covers(box(x - 20, y - 20, x + 20, y + 20))]
        found = shapely.multipoints(sorted(rules._cells(place, key)))
        assert len(inside) >= 16
        assert max(found.distance(Point(middle)) for middle in inside) < 1e-6, key


def test_a_ring_or_a_bend_about_a_place_runs_round_it_and_a_line_past_it_does_not() -> None:
    assert runs_round(box(-150, -150, 150, 150).exterior, HERE)
    assert runs_round(box(-150, -150, 150, 150), HERE)
    assert runs_round(Polygon(box(-900, -900, 900, 900).exterior, [box(-150, -150, 150, 150).exterior.coords]), HERE)
    assert not runs_round(box(-900, -900, 900, 900), HERE)  # a large unit
    assert not runs_round(LineString([(-900, 20), (900, 20)]), HERE)
    assert not runs_round(box(600, 600, 700, 700), HERE)
    by_the_side = box(200, -20, 240, 20).exterior.coords  # within reach, and the place is not in it
    assert not runs_round(Polygon(box(-900, -900, 900, 900).exterior, [by_the_side]), HERE)


def a_way(*legs: tuple[float, float]) -> LineString:
    """Return a line of legs, each as long as given and turned left from the last by so many degrees."""
    xy, heading_deg = [(0.0, 0.0)], 0.0
    for length_m, turn_deg in legs:
        heading_deg += turn_deg
        along = math.radians(heading_deg)
        xy.append((xy[-1][0] + length_m * math.cos(along), xy[-1][1] + length_m * math.sin(along)))
    return LineString(xy)


@pytest.mark.parametrize(
    ("turns_deg", "is_round"),
    [((10, 24.9, 10), 0), ((10, 25.1, 10), 1), ((10, -25.1, 10), 1), ((25.1, 10, 10), 1), ((10, 10, 25.1), 1)],
)
def test_a_line_that_turns_by_an_eighth_within_reach_runs_round(turns_deg: tuple[float, ...], is_round: int) -> None:
    """In from afar, two legs within reach, and out again: turns either way add up to 44.9° and 45.1°."""
    way = a_way((900, 0), (150, turns_deg[0]), (150, turns_deg[1]), (900, turns_deg[2]))
    here = Point(way.coords[2])
    assert runs_round(way, veil([here], key="k")) == bool(is_round)
    assert len(rules._turning(way, here.buffer(200))) == is_round


def test_a_turn_counts_where_the_legs_on_both_sides_lie_within_reach() -> None:
    near = box(-10, -200, 110, 200)
    line = LineString([(0, 0), (100, 0), (100, 100), (2000, 100), (2000, 0), (100, -50), (0, -200)])
    # from the first corner to the third; at (100, −50) a leg comes from afar, but it turns there by 55° to the last
    first, second = rules._turning(line, near)
    assert list(first.coords) == [(0, 0), (100, 0), (100, 100)]
    assert list(second.coords) == [(100, -50), (0, -200)]
    assert rules._turning(LineString([(0, 0), (100, 0)]), near) == []
    # what it turns by where it begins and ends, or beyond the leg that leads away, is nothing
    whole = box(-200, -200, 300, 300)
    for turn_deg, count in ((44.99, 0), (45.01, 1)):
        assert len(rules._turning(a_way((100, 0), (100, turn_deg)), whole)) == count
    assert rules._turning(a_way((100, 0), (100, 30), (900, 10), (100, 90)), whole) == []


def test_sides_that_keep_one_distance_from_a_place_are_about_it() -> None:
    """Cells' middles lie up to 28.3 m off, and a diagonal is 56.6 m: of two sides one may seem nearer by that."""
    x, y = HERE.middles[0]

    def sides(first_m: float, second_m: float, turn_deg: float = 45.0) -> LineString:
        """Two sides that stand off the middle by so much, turning left about it."""
        turn = math.radians(turn_deg)
        first, second = np.array([1.0, 0.0]), np.array([math.cos(turn), math.sin(turn)])
        foot = np.array([[-second[1], second[0]], [-first[1], first[0]]])
        at = np.linalg.solve(foot, [-second_m, -first_m]) + np.array([x, y])
        return LineString([at - 90 * first, at, at + 90 * second])

    assert rules._keeps_off(sides(200, 200), HERE)
    assert rules._keeps_off(sides(200, 256), HERE) and rules._keeps_off(sides(256, 200, 90), HERE)
    assert not rules._keeps_off(sides(200, 257), HERE)
    assert rules._keeps_off(sides(200, 200).reverse(), HERE) and rules._keeps_off(sides(1, 1), HERE)
    # it turns left and right again: about nothing
    bent = [(90, -200), (180, -200), (180, -170), (270, -170)]
    assert not rules._keeps_off(LineString(np.array(bent) + np.array([x, y])), HERE)
    assert not rules._keeps_off(sides(-200, -200), HERE)  # a corner that points at it
    # 200, 204 and 210 m off: it turns right by 5°, then left by 30°, so that it turns about what lies to the left
    legs = np.array([(200, -150), (200, -50), (208.7, 49.6), (166.4, 140.2)])
    assert rules._keeps_off(LineString(legs + np.array([x, y])), HERE)
    assert not rules._keeps_off(LineString(legs * [-1.0, 1.0] + np.array([x + 400, y])), HERE)
    assert not rules._keeps_off(
        LineString([(x - 90, y - 200), (x, y - 200), (x + 90, y + 200)]), HERE
    )  # to either side


def test_the_noise_of_a_walk_is_no_turn() -> None:
    zigzag = LineString([(float(x), 1.9 * (x // 10 % 2)) for x in range(-200, 210, 10)])
    assert not rules._turning(zigzag, HERE.reach)
    for off_m, corners in ((1.99, [0, 2]), (2.01, [0, 1, 2])):
        assert rules._corners(LineString([(0, 0), (50, off_m), (100, 0)])).tolist() == corners


def test_what_is_bent_between_corners_is_a_bend() -> None:
    flat = LineString([(0, 0), (50, 3.0), (100, 0)])  # 2·√(50² + 3²) = 100.180: within 1.002 of the chord
    bent = LineString([(0, 0), (50, 3.3), (100, 0)])  # 100.218
    assert (rules._bends(flat), len(rules._bends(bent))) == ([], 1)
    assert rules._bends(LineString([(0, 0), (50, 0), (50, 50)])) == []  # two straight sides
    # just under 30° is no corner, just over is one: then both sides are straight
    for turn_deg, count in ((29.9, 1), (30.1, 0)):
        turn = math.radians(turn_deg)
        end = (50 + 50 * math.cos(turn), 50 * math.sin(turn))
        assert len(rules._bends(LineString([(0, 0), (50, 0), end]))) == count
    away = LineString([(500, 900), (550, 903.3), (600, 900), (600, 800)])
    assert [list(bend.coords) for bend in rules._bends(away)] == [[(500, 900), (550, 903.3), (600, 900)]]
    # through west, where the bearing jumps by a whole turn
    assert len(rules._bends(LineString([(0, 0), (-50, 5), (-100, 0)]))) == 1


def test_the_middle_of_an_arc() -> None:
    arc = LineString(an_arc((900, -500), 240, 15, 61))
    assert rules._middle(arc).distance(Point(900, -500)) < 1e-6


def test_a_line_leads_to_a_place_by_its_ends_alone() -> None:
    assert ends_there(LineString([(900, 0), (10, 0)]), HERE)
    assert ends_there(LineString([(10, 0), (900, 0)]), HERE)
    assert not ends_there(LineString([(-900, 0), (900, 0)]), HERE)
    assert ends_there(LineString([(900, 0), (500, 9), (600, 9), (10, 0)]), HERE)
    assert not ends_there(LineString([(900, 0), (10, 0), (0, 10), (0, 900)]), HERE)
    for ring in (box(-10, -10, 10, 10).exterior, LineString(box(-10, -10, 10, 10).exterior), box(-10, -10, 10, 10)):
        assert not ends_there(ring, HERE)
    assert ends_there(shapely.MultiLineString([[(-900, 0), (900, 0)], [(0, 0), (0, 900)]]), HERE)


def test_how_far_a_vertex_stands_off() -> None:
    assert rules._off_m((0, 0), (5, 3), (10, 0)) == 3
    assert rules._off_m((1, 1), (5, 8), (4, 5)) == pytest.approx(abs(4 * 4 - 7 * 3) / 5)
    assert rules._off_m((1, 1), (5, 8), (1, 1)) == math.inf


def test_vertices_where_another_edge_met_go_and_the_units_own_stay() -> None:
    halves = [box(0, 0, 10, 10), box(10, 0, 20, 10)]
    plain = rules._Corners([]).without_seams(halves)
    assert plain.equals(box(0, 0, 20, 10)) and shapely.get_num_coordinates(plain) == 5
    # a unit's corner, told to a hundredth of a millimeter
    own = rules._Corners([Polygon([(10.000002, 0), (30, 0), (30, -9)])]).without_seams(halves)
    assert shapely.get_num_coordinates(own) == 6
    upright = rules._Corners([Polygon([(0, 10.000002), (-9, 30), (-9, 0)])])
    assert shapely.get_num_coordinates(upright.without_seams([box(0, 0, 10, 10), box(0, 10, 10, 20)])) == 6
    other = rules._Corners([Polygon([(10.0001, 0), (30, 0), (30, -9)])]).without_seams(halves)
    assert shapely.get_num_coordinates(other) == 5
    assert rules._Corners([]).without_seams([]) == MultiPolygon()
    # a millimeter off the line is a corner of its own
    bumped = Polygon([(0, 0), (5, -0.001005), (10, 0), (10, 10), (0, 10)])
    assert shapely.get_num_coordinates(rules._Corners([]).without_seams([bumped])) == 6
    smooth = Polygon([(0, 0), (5, -0.000995), (10, 0), (10, 10), (0, 10)])
    assert shapely.get_num_coordinates(rules._Corners([]).without_seams([smooth])) == 5
    # wherever its ring begins, and in a hole
    ring = [(5, 0), (10, 0), (10, 10), (0, 10), (0, 0)]
    turned = rules._Corners([]).without_seams([Polygon(ring, [[(2, 2), (3, 2), (4, 2), (4, 4), (2, 4)]])])
    assert [shapely.get_num_coordinates(turned), len(turned.geoms[0].interiors)] == [10, 1]


def test_a_hole_that_is_none_without_its_seams_is_dropped() -> None:
    thin = [(4, 5), (5, 5.0005), (6, 5)]
    assert rules._Corners([]).without_seams([Polygon(box(0, 0, 10, 10).exterior, [thin])]).equals(box(0, 0, 10, 10))
    sliver, spindle = Polygon(thin), Polygon([(20, 50), (50, 50.0009), (90, 50), (50, 49.9991)])
    assert rules._Corners([]).without_seams([sliver, box(20, 0, 30, 10), spindle]).equals(box(20, 0, 30, 10))
    wide = Polygon(box(0, 0, 10, 10).exterior, [[(4, 5), (5, 5.5), (6, 5)]])
    assert rules._Corners([]).without_seams([wide]).equals(wide)


def test_vertices_are_one_within_a_hundredth_of_a_millimeter() -> None:
    place = rules._Corners._place
    assert place((4.97e-6, -4.97e-6)) == place((0, 0))
    for other in ((5.03e-6, 0), (-5.03e-6, 0), (0, 5.03e-6), (0, -5.03e-6)):
        assert place(other) != place((0, 0))


@pytest.mark.parametrize(
    ("units", "ground"),
    [((0, 2, 3), (0,)), ((0, 1, 2), (0, 1)), ((2,), (2,)), ((2, 3, 4), (2, 3)), ((4,), ()), ((), ())],
)
def test_ground_is_that_of_the_units_drawn_now_or_else_of_former_ones(
    units: tuple[int, ...], ground: tuple[int, ...]
) -> None:
    """Units 0 and 1 are drawn now, 2 and 3 were, and 4 is the frame."""
    assert rules._ground_of(Piece(box(0, 0, 1, 1), units, (), 1.0), 2, 4) == ground


def test_groups_that_share_a_face_become_one() -> None:
    groups = [{1, 2}, {3, 4}, {5}]
    rules._add(groups, {2, 3, 6})
    rules._add(groups, {7})
    assert groups == [{5}, {1, 2, 3, 4, 6}, {7}]


def test_edges_are_the_lines_that_two_faces_of_one_ground_share() -> None:
    shapes = np.array([box(0, 0, 10, 10), box(10, 9.5, 20, 20), box(20, 20, 30, 30), box(0, 10, 10, 30)], dtype=object)
    apart = LineString([(9.99, 9.4), (9.99, 10.6)]).buffer(0.001)
    found = rules._edges(np.arange(4), shapes, [(0,), (0,), (0,), (1,)], apart)
    # of half a meter, and none where they meet in a point or where another ground begins
    assert [(edge.one, edge.other, edge.line.length) for edge in found] == [(0, 1, pytest.approx(0.5))]
    met = rules._edges(np.arange(2), shapes[:2], [(0,), (0,)], LineString([(10, 9), (10, 9.7)]).buffer(0.05))
    assert [edge.line.length for edge in met] == [pytest.approx(0.25)]
    assert rules._edges(np.arange(2), shapes[[0, 2]], [(0,), (0,)], apart) == []


#: A place whose cell has its middle at (0, 0).
AT = rules.Veil(Point(0, 0).buffer(128.28), Point(0, 0).buffer(315), np.array([[0.0, 0.0]]))


def an_arc(
    middle: tuple[float, float], radius_m: float, first_deg: float, last_deg: float
) -> list[tuple[float, float]]:
    """Return points of an arc, 2° apart."""
    turns = np.radians(np.arange(first_deg, last_deg + 1, 2 if last_deg > first_deg else -2))
    return [(middle[0] + radius_m * math.cos(turn), middle[1] + radius_m * math.sin(turn)) for turn in turns]


def with_tails(points: list[tuple[float, float]]) -> LineString:
    """Return a line that turned left comes from afar and goes off again, turning right by 6° at either end."""
    turn = math.radians(6)
    off = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    first, second, before, last = (np.array(points[at]) for at in (0, 1, -2, -1))
    start = first + 600 * off @ (first - second) / math.dist(first, second)
    end = last + 600 * off.T @ (last - before) / math.dist(last, before)
    return LineString([start, *points, end])


#: Two sides 200 m off the middle that turn about it by 25°.
SIDES = [
    (200.0, -80.0),
    (200.0, 44.3389),
    (200 - 90 * math.sin(math.radians(25)), 44.3389 + 90 * math.cos(math.radians(25))),
]
SHORT = LineString([(200, 0), (250, 0)])
ABOUT = LineString(an_arc((0, 0), 250, 0, 90))
GENTLE = LineString(an_arc((600, 0), 400, 180, 200))


@pytest.mark.parametrize(
    ("groups", "edges", "telling"),
    [
        # faces 0 and 1 are joined; of edges to others those are told that lie within reach
        ([{0, 1}], [(1, 2, SHORT)], [0]),
        ([{0, 1}], [(2, 1, SHORT)], [0]),
        ([{0, 1}], [(1, 2, LineString([(200, 0), (200.5, 0)]))], [0]),
        ([{0, 1}, {2, 3}], [(1, 2, SHORT)], [0]),
        ([{0, 1}], [(0, 1, SHORT)], []),
        ([{0, 1}], [(1, 2, LineString([(200, 0), (900, 0)]))], []),
        ([{0, 1}], [(2, 3, SHORT)], []),
        ([{0, 1}], [(1, 2, with_tails(an_arc((0, 0), 250, 0, 90)))], [0]),
        # a bend counts by itself though a longer line goes on from it, and only where all of it lies within reach
        ([{0, 1}], [(1, 2, GENTLE), (1, 3, LineString([GENTLE.coords[-1], (600, -600)]))], [0]),
        ([{0, 1}], [(1, 2, LineString(an_arc((600, 0), 400, 180, 240)))], []),
        # where an edge goes on from one that was joined over
        ([{0, 1}], [(0, 1, LineString([(100, 0), (150, 0)])), (2, 3, LineString([(151.99, 0), (200, 0)]))], [1]),
        ([{0, 1}], [(0, 1, LineString([(100, 0), (150, 0)])), (2, 3, LineString([(152.01, 0), (200, 0)]))], []),
        ([{0, 1}], [(0, 1, LineString([(100, 0), (150, 0)])), (2, 3, LineString([(151.0, 0), (900, 0)]))], []),
        # a part of a wide ring that no joined face lies along: its middle is at the place
        ([], [(2, 3, ABOUT)], [0]),
        ([{0, 1}], [(2, 3, ABOUT)], [0]),
        ([], [(2, 3, LineString(an_arc((0, 450), 250, 230, 310)))], []),
        ([], [(2, 3, LineString(an_arc((0, 0), 330, 0, 90)))], []),
        ([], [(2, 3, with_tails(an_arc((100, 0), 200, -60, 60)))], [0]),
        ([], [(2, 3, with_tails(an_arc((0, 450), 250, 230, 310)))], []),
        # two sides of it, that keep one distance from the place
        ([], [(2, 3, with_tails(SIDES))], [0]),
        ([{0, 1}], [(1, 3, with_tails(SIDES))], []),
        ([{0, 1}], [(3, 1, with_tails(SIDES))], []),
        ([], [(2, 3, with_tails([(x, y + 120) for x, y in SIDES]))], [0]),
        ([], [(2, 3, with_tails([(x, y + 140) for x, y in SIDES]))], []),  # 200 m off and 259
        ([], [(2, 3, with_tails([(400 - x, y) for x, y in SIDES]))], []),
    ],
)  # fmt: skip
def test_edges_that_run_round_a_place_are_told(
    groups: list[set[int]], edges: list[tuple[int, int, LineString]], telling: list[int]
) -> None:
    given = [rules._Edge(*edge) for edge in edges]
    found = rules._telling(groups, given, AT)
    assert [number for number, edge in enumerate(given) if any(one is edge for one in found)] == telling


@pytest.mark.parametrize(("turn_deg", "count"), [(19.9, 0), (20.1, 1)])
def test_sides_that_turn_by_twenty_degrees_are_two(turn_deg: float, count: int) -> None:
    half = math.radians(turn_deg / 2)
    corner = 200 / math.cos(half)
    east, north = corner - 150 * math.sin(half), 150 * math.cos(half)
    sides = LineString([(east, -north), (corner, 0), (east, north)])
    assert len(rules._telling([], [rules._Edge(2, 3, sides)], AT)) == count


def test_of_patches_that_each_cover_half_those_count_that_lie_together_on_most() -> None:
    def face(area_m2: float, *patches: int) -> Piece:
        return Piece(box(0, 0, 1, 1), (0,), patches, area_m2)

    assert rules._together([0, 1], {0: face(5, 0, 1), 1: face(6, 0), 2: face(3, 1)}) == {0}
    assert rules._together([0, 1], {0: face(4, 0, 1), 1: face(3, 0), 2: face(3, 1), 3: face(3, 0, 1)}) == {0, 1}
    assert rules._together([0, 1], {0: face(5, 0, 1), 1: face(5, 0)}) == {0}  # as much: the fewer
    assert rules._together([0], {0: face(5, 1, 2), 1: face(1, 0)}) == {0}  # others do not count
    assert rules._together([], {0: face(5, 1)}) == frozenset()


# --- all of it: one unit of 2 km, a place in its middle -----------------------------------------------------

UNIT = box(0, 0, 2000, 2000)
NEST = veil([Point(1000, 1000)], key="k")


def seen(
    *patches: shapely.Geometry, never: tuple[int, ...] = (), outlines: tuple[Polygon, ...] = (UNIT,)
) -> dict[int, float]:
    """Return the ground of the patches that strangers see otherwise [m²]."""
    found = veiled(patches, outlines=outlines, current=len(outlines), over=NEST, never=never)
    return {number: ground.area for number, ground in found.items()}


def about(radius_m: float) -> Polygon:
    return Point(1000, 1000).buffer(radius_m)


def test_a_hole_about_a_place_is_filled_and_a_spot_goes() -> None:
    assert seen(UNIT.difference(about(60))) == {0: pytest.approx(4e6)}
    assert seen(about(60)) == {0: 0}
    # an edge beyond the circle runs round the place too, but not one beyond reach
    assert seen(UNIT.difference(about(250))) == {0: pytest.approx(4e6)}
    assert seen(about(250)) == {0: 0}
    assert seen(UNIT.difference(about(400))) == seen(about(400)) == {}


def test_ground_left_on_purpose_never_counts_on_more() -> None:
    assert seen(UNIT.difference(about(60)), never=(0,)) == {0: 0}


def test_work_far_off_and_work_all_over_stay_as_they_are() -> None:
    assert seen(box(1500, 1500, 1900, 1900)) == seen(UNIT) == {}
    assert veiled([], outlines=[UNIT], current=1, over=NEST) == {}
    assert veiled([about(60)], outlines=[UNIT], current=1, over=veil([], key="k")) == {}
    assert veiled([], outlines=[UNIT], current=1, over=veil([], key="k")) == {}
    # far work beside work that changes keeps its own
    assert seen(about(60), box(1500, 1500, 1900, 1900)) == {0: 0}


def test_an_edge_by_a_place_moves_to_the_next_edge_of_work() -> None:
    """Strips from south to north, cut one after another; the place lies under the two in the middle."""
    strips = [box(0, y, 2000, y + 500) for y in (0, 500, 1000, 1500)]
    # of the 1,000 m that are joined each covers half: as large as they are, the first counts on both, the other on none
    found = seen(*strips)
    assert sorted(found.values()) == [0, pytest.approx(2e6)] and set(found) == {1, 2}
    # of 1,400 m that are joined the first covers most; ground beyond that was never worked stays so
    assert seen(box(0, 0, 2000, 1000), box(0, 1000, 2000, 1400)) == {0: pytest.approx(2.8e6), 1: 0}


def test_what_covers_half_of_what_is_joined_counts_there() -> None:
    assert seen(box(0, 0, 2000, 1020)) == {0: pytest.approx(4e6)}
    assert seen(box(0, 0, 2000, 980)) == {0: 0}
    assert seen(box(0, 0, 2000, 1000)) == {0: pytest.approx(4e6)}


def test_ground_is_joined_within_a_unit_only() -> None:
    west, east = box(0, 0, 1000, 2000), box(1000, 0, 2000, 2000)
    # the edge between two units is drawn anyway
    assert seen(west, outlines=(west, east)) == {}
    assert seen(UNIT.difference(about(60)), outlines=(west, east)) == {0: pytest.approx(4e6)}
    assert seen(about(60), west, outlines=(west, east)) == {0: 0}


def test_ground_outside_of_all_units_gives_way_but_round_a_hole() -> None:
    far = (box(5000, 5000, 5100, 5100),)
    assert seen(box(0, 0, 1000, 2000), outlines=far) == {0: 0}
    assert seen(UNIT.difference(about(60)), outlines=far) == {0: pytest.approx(4e6)}
    # two that meet there: open ground is on neither side, but no hole is filled either
    assert seen(box(0, 0, 1100, 2000), box(1100, 0, 2000, 2000), outlines=far) == {0: 0, 1: 0}


def test_units_of_former_days_count_where_none_is_drawn_now() -> None:
    found = veiled([UNIT.difference(about(60))], outlines=[box(5000, 0, 5100, 100), UNIT], current=1, over=NEST)
    assert {number: ground.area for number, ground in found.items()} == {0: pytest.approx(4e6)}


def test_a_vertex_where_an_edge_met_is_dropped_from_work_that_stays() -> None:
    met = Polygon([(0, 0), (1000, 0), (2000, 0), (2000, 2000), (0, 2000)])
    found = veiled([met], outlines=[UNIT], current=1, over=NEST)
    assert shapely.get_num_coordinates(found[0]) == 5 and found[0].equals(UNIT)
    own = Polygon([*met.exterior.coords[:-1]])  # a unit's own corner stays
    assert veiled([met], outlines=[own], current=1, over=NEST) == {}


@pytest.mark.parametrize(
    ("places", "keeps"),
    [
        ([(0, 0)], True),
        ([(0, 15)], False),  # beyond a side, though all sides are as far from it but for 30 m
        ([(15, 15)], False),
        ([(0, 15), (9, -9)], True),
        ([(0, 15), (0, -15), (15, 0), (-15, 0), (15, 15)], False),
        ([(0, 0), (0, 500)], True),
    ],
)
def test_a_ring_keeps_off_what_it_goes_round(places: list[tuple[float, float]], keeps: bool) -> None:
    """A square of 20 m about (0, 0), open at a corner."""
    ring = LineString([(-10, -10), (10, -10), (10, 10), (-10, 10), (-10, -9.9)])
    about = rules.Veil(AT.discs, AT.reach, np.array(places, dtype=float))
    assert rules._keeps_off(ring, about) is rules._keeps_off(ring.reverse(), about) is keeps
