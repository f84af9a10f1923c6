"""Exact shares and figures on grids small enough to be worked by hand."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
import shapely
from zone_sums import sums_on

from habmap.land.facerules import FaceRules
from habmap.land.pieces import PLAIN_SUMS, PieceSums
from habmap.land.shares import is_too_coarse
from habmap.land.terrain import GroundSteps
from habmap.land.zones import GradientTile, ZonePieces
from habmap.place.zonework import adding, do_each
from habmap.work.terrain import UnitTerrain, terrain_figures

RULES = FaceRules()


def tile(
    east: np.ndarray, north: np.ndarray, *, lat: float = 38.0, first_row: int = 0, first_col: int = 0
) -> GradientTile:
    """Return a tile of 10 m cells, north up."""
    return GradientTile(
        first_row=first_row,
        first_col=first_col,
        east=np.asarray(east, dtype=float),
        north=np.asarray(north, dtype=float),
        steps=GroundSteps(np.array([[10.0]]), np.array([[0.0]]), np.array([[0.0]]), np.array([[-10.0]])),
        lat_deg=lat,
        lat_per_row_deg=0.0,
        lat_per_col_deg=0.0,
    )


def figures(ground: GradientTile, shape: shapely.Geometry, *, rules: FaceRules = RULES) -> UnitTerrain:
    (found,) = terrain_figures(sums_on(ground, [shape], rules=rules), unit_m2=np.array([shape.area * 100]), rules=rules)
    return found


def test_shares_of_cells_weight_the_slope():
    # Left column 10%, right column 40%; the box covers half of the left cell and all of the right one.
    ground = tile([[0.1, 0.4]], [[0.0, 0.0]])
    found = figures(ground, shapely.box(0.5, -1, 2, 0))
    assert found.slope_mean_pct == pytest.approx((0.5 * 10 + 40) / 1.5)
    assert found.hand_only_pct == pytest.approx(100 / 1.5)
    assert found.coverage_pct == 100
    assert found.aspect_mean_deg == pytest.approx(270)  # rises toward east: faces west
    assert found.aspect_concentration == pytest.approx(1)
    assert (found.facing, found.sun_facing_pct, found.flat_pct) == ("W", 0, 0)


def test_cells_without_a_gradient_are_left_out_and_counted_as_not_covered():
    found = figures(tile([[0.1, np.nan]], [[0.0, np.nan]]), shapely.box(0, -1, 2, 0))
    assert found.slope_mean_pct == pytest.approx(10)
    assert found.coverage_pct == pytest.approx(50)


def test_unit_off_the_tile_has_no_figures():
    assert figures(tile([[0.1]], [[0.0]]), shapely.box(5, -9, 6, -8)) == UnitTerrain()


def test_opposite_faces_have_no_aspect_of_their_own():
    # 350° and 10° average to 0°, not to 180°; equal and opposite faces average to nothing.
    bearings = np.radians([[350.0, 10.0]])
    found = figures(tile(-0.2 * np.sin(bearings), -0.2 * np.cos(bearings)), shapely.box(0, -1, 2, 0))
    assert min(found.aspect_mean_deg, 360 - found.aspect_mean_deg) == pytest.approx(0, abs=1e-9)
    assert found.facing == "N"
    ridge = figures(tile([[0.2, -0.2]], [[0.0, 0.0]]), shapely.box(0, -1, 2, 0))
    assert ridge.aspect_mean_deg is None
    assert ridge.aspect_concentration == 0
    assert ridge.facing == "flat"


def test_flat_ground_faces_nowhere_but_keeps_its_heat_load():
    found = figures(tile([[0.0, 0.01]], [[0.0, 0.0]], lat=40.0), shapely.box(0, -1, 2, 0))
    assert (found.aspect_mean_deg, found.facing, found.flat_pct, found.sun_facing_pct) == (None, "flat", 100, 0)
    # McCune & Keon (2002) equation 3 on level ground at 40°: 0.339 + 0.808 cos 40° = 0.9580
    level = figures(tile([[0.0]], [[0.0]], lat=40.0), shapely.box(0, -1, 1, 0))
    assert level.heat_load_mean == pytest.approx(0.9580, abs=5e-5)
    assert level.aspect_concentration is None


def test_mostly_flat_unit_is_called_flat_but_says_where_the_rest_faces():
    found = figures(tile([[0.0, 0.0, 0.2]], [[0.0, 0.0, 0.0]]), shapely.box(0, -1, 3, 0))
    assert found.facing == "flat"
    assert found.aspect_mean_deg == pytest.approx(270)
    assert found.flat_pct == pytest.approx(200 / 3)


@pytest.mark.parametrize("lat", [25.0, 65.0, -38.0])
def test_heat_load_is_unknown_where_the_equation_was_not_fitted(lat):
    assert figures(tile([[0.2]], [[0.0]], lat=lat), shapely.box(0, -1, 1, 0)).heat_load_mean is None


@pytest.mark.parametrize(
    ("span", "inside", "outside"),
    [
        ((112.5, 247.5), (112.5 + 1e-9, 180, 247.5 - 1e-9), (112.5 - 1e-9, 247.5 + 1e-9, 0)),
        ((315, 45), (315, 359, 0, 45), (46, 180, 314)),
        ((90, 270), (90, 180, 270), (89.9, 0, 270.1)),
        ((200, 100), (200.1, 0, 99.9), (100.1, 150, 199.9)),
        ((0, 360), (0, 90, 359), ()),
    ],
)
def test_sun_facing_range_may_pass_through_north(span, inside, outside):
    rules = FaceRules(sun_facing_deg=span)

    def faces_sun(bearings: tuple[float, ...]) -> np.ndarray:
        faced = np.radians(np.array(bearings, dtype=float))
        return rules.faces_sun(-np.sin(faced).round(12), -np.cos(faced).round(12))  # it rises the other way

    assert faces_sun(inside).all()
    assert not faces_sun(outside).any()


def test_sun_facing_share_leaves_flat_ground_out():
    # Rises toward north, so it faces south: 2% (flat), 10%, 10%.
    found = figures(tile([[0.0, 0.0, 0.0]], [[0.02, 0.1, 0.1]]), shapely.box(0, -1, 3, 0))
    assert found.sun_facing_pct == pytest.approx(200 / 3)
    assert (found.facing, found.aspect_mean_deg) == ("S", pytest.approx(180))


def test_ninetieth_percentile_of_slope():
    slopes = np.linspace(0, 1, 1000, endpoint=False).reshape(1, -1)  # 0 to 99.9%
    found = figures(tile(slopes, np.zeros_like(slopes)), shapely.box(0, -1, 1000, 0))
    assert found.slope_p90_pct == pytest.approx(90, abs=0.1)  # the width of a class


def test_tile_lies_where_it_says():
    ground = tile([[0.1, 0.4]], [[0.0, 0.0]], first_row=100, first_col=50)
    assert figures(ground, shapely.box(51, -101, 52, -100)).slope_mean_pct == pytest.approx(40)


def test_many_polygons_keep_their_order():
    ground = tile([[0.1, 0.2, 0.3]], [[0.0, 0.0, 0.0]])
    boxes = [shapely.box(2, -1, 3, 0), shapely.box(9, -1, 10, 0), shapely.box(0, -1, 1, 0), shapely.box(0, -1, 3, 0)]
    found = [
        s.slope_mean_pct
        for s in terrain_figures(sums_on(ground, boxes, rules=RULES), unit_m2=np.full(4, 100.0), rules=RULES)
    ]
    assert found == [pytest.approx(30), None, pytest.approx(10), pytest.approx(20)]


def test_slopes_have_no_steepest_class():
    # 2,500% and 4,000%: cliffs stand in classes of their own
    cliffs = figures(tile([[25.0, 40.0]], [[0.0, 0.0]]), shapely.box(0, -1, 2, 0))
    # nine tenths of two equal cells: four fifths into the second class of 0.1%
    assert cliffs.slope_p90_pct == pytest.approx(4000.08)
    two = sums_on(tile([[25.0, 40.0]], [[0, 0]]), [shapely.box(0, -1, 1, 0), shapely.box(1, -1, 2, 0)], rules=RULES)
    found = [s.slope_p90_pct for s in terrain_figures(two, unit_m2=np.full(2, 100.0), rules=RULES)]
    assert found == [pytest.approx(2500.09), pytest.approx(4000.09)]


def test_percentile_within_the_first_class_is_counted_from_its_foot():
    # one cell of 10.03%: class 10.0 to 10.1, of which nine tenths
    assert figures(tile([[0.1003]], [[0.0]]), shapely.box(0, -1, 1, 0)).slope_p90_pct == pytest.approx(10.09)


def test_ground_of_exactly_the_flat_limit_is_not_flat():
    assert FaceRules().flat_below_pct == 5
    found = figures(tile([[0.0502, 0.0498]], [[0.0, 0.0]]), shapely.box(0, -1, 2, 0))
    assert found.flat_pct == pytest.approx(50)


@pytest.mark.parametrize(
    ("breadth", "length", "is_coarse"),
    [
        # cells of 10 m: wider than a quarter of the breadth …
        (39.8, 400, True), (40.6, 400, False),
        # … or fewer than 30 on it
        (54.7, 54.7, True), (54.9, 54.9, False),
    ],
)  # fmt: skip
def test_where_cells_are_too_coarse(breadth, length, is_coarse):
    assert is_too_coarse(shapely.box(0, 0, breadth, length), cell_m=10.0) == is_coarse


def test_a_bent_outline_is_as_broad_as_its_widest_circle():
    # two arms 38 m broad round a corner: the circle there touches both outer sides and the inner corner,
    # r = 38·√2 / (1 + √2)
    bent = shapely.Polygon([(0, 0), (400, 0), (400, 38), (38, 38), (38, 400), (0, 400)])
    across_m = 2 * 38 * np.sqrt(2) / (1 + np.sqrt(2))
    assert not is_too_coarse(bent, cell_m=0.25 * across_m - 0.15)
    assert is_too_coarse(bent, cell_m=0.25 * across_m + 0.15)


@pytest.mark.parametrize("way", ["plain", "compiled"])
def test_slope_figures_of_many_outlines_do_not_depend_on_what_lies_beside_them_or_on_who_adds(way):
    """Outlines of one to three pieces of 30 to 50 classes, by counting; on three threads, and each by itself."""
    random = np.random.default_rng(5)
    pieces, by_hand = [], []
    for first in range(0, 1300, 100):
        owners = np.sort(np.concatenate([np.arange(first, first + 100), random.integers(first, first + 100, 80)]))
        own = [np.sort(random.choice(400, random.integers(30, 50), replace=False)) for _ in owners]
        m2 = [random.integers(1, 9, (len(classes), 1)) * [8.0, 4.0, 1.0] for classes in own]
        counts = np.array([len(classes) for classes in own])
        plain = np.zeros((len(owners), len(PLAIN_SUMS)))
        pieces.append((owners, PieceSums(plain, counts, np.concatenate(own), np.concatenate(m2))))
        by_hand += [(int(owner), *one) for owner, one in zip(owners, zip(own, m2, strict=True), strict=True)]
    found = ZonePieces.of(pieces, count=1301, adding=adding(way), do_each=partial(do_each, threads=3))
    rules = FaceRules(flat_below_pct=10, machine_limit_pct=25)
    p90, ground_m2, flat_m2, sun_m2, hand_m2 = found.by_slope(rules)
    # flat: classes below 100; sun-facing: half of the rest; hand-only: above 25%, so not class 250's own lower limit
    for column, wanted in (
        (ground_m2, lambda classes, m2: m2[:, 0].sum()),
        (flat_m2, lambda classes, m2: m2[classes < 100, 0].sum()),
        (sun_m2, lambda classes, m2: m2[classes >= 100, 1].sum()),
        (hand_m2, lambda classes, m2: m2[classes >= 250, 0].sum() - m2[classes == 250, 2].sum()),
    ):
        sums = np.zeros(1301)
        for owner, classes, m2 in by_hand:
            sums[owner] += wanted(classes, m2)
        assert np.array_equal(column, sums)
    assert np.isnan(p90[1300]) and np.isfinite(p90[:1300]).all()
    for number in (0, 511, 512, 777, 1299):
        alone = found.part(number, number + 1).table().by_slope(rules)
        assert [float(column[0]) for column in alone] == [
            float(column[number]) for column in (p90, ground_m2, flat_m2, sun_m2, hand_m2)
        ]


def test_rows_of_a_table_are_those_of_their_outlines_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    ground = tile([[0.1, 0.2, np.nan, 0.3, 0.04]], [[0.0, 0.0, np.nan, -0.1, 0.0]])
    boxes = [shapely.box(2, -1, 4, 0), shapely.box(2, -1, 3, 0), shapely.box(0, -1, 2, 0), shapely.box(0, -1, 5, 0)]
    table = sums_on(ground, boxes, rules=RULES)
    whole = table.by_slope(RULES)
    for first in range(4):
        for end in range(first + 1, 5):
            part, alone = table.part(first, end), sums_on(ground, boxes[first:end], rules=RULES)
            for one, other in ((part.class_ends, alone.class_ends), (part.classes, alone.classes),
                               (part.class_m2, alone.class_m2), (part.plain, alone.plain)):  # fmt: skip
                np.testing.assert_array_equal(one, other)
            for row, own in zip(part.by_slope(RULES), whole, strict=True):
                np.testing.assert_array_equal(row, own[first:end])
    monkeypatch.setattr("habmap.land.zones._AT_ONCE", 1)
    for row, own in zip(table.by_slope(RULES), whole, strict=True):
        np.testing.assert_array_equal(row, own)
    # nothing is known of the second: no slope, and no ground of any kind
    assert np.isnan(whole[0]).tolist() == [False, True, False, False] and [row[1] for row in whole[1:]] == [0, 0, 0, 0]
    assert [row.tolist() for row in sums_on(ground, [boxes[1]], rules=RULES).by_slope(RULES)[1:]] == [[0]] * 4


def test_a_cliff_beside_a_plain_is_no_matter_of_how_many_classes_lie_between() -> None:
    # 0.15% on seven cells and 20,000% on one of eight, which is 12.5%: the tenth above begins a fifth above its foot
    ground = tile([[0.0015] * 7 + [200.0]], [[0.0] * 8])
    found = figures(ground, shapely.box(0, -1, 8, 0))
    assert found.slope_p90_pct == pytest.approx(20_000 + 0.1 * (1 - 0.8))


def test_an_outline_without_classes_has_none_from_0_to_minus_1() -> None:
    of_first = PieceSums(np.zeros((2, len(PLAIN_SUMS))), np.array([2, 0]), np.array([3, 5]), np.ones((2, 3)))
    found = ZonePieces.of([(np.array([0, 2]), of_first)], count=3)
    assert (found.low.tolist(), found.high.tolist()) == ([3, 0, 0], [5, -1, -1])
    empty = ZonePieces.of([], count=2)
    assert (empty.low.tolist(), empty.high.tolist(), empty.by_owner.tolist()) == ([0, 0], [-1, -1], [0, 0, 0])


def test_a_slope_at_a_limit_within_a_class_is_neither_below_nor_above_it():
    """Limits and slopes of 3.125% and 31.25%, which are whole in binary, and each a class's own part more or less."""
    rules = FaceRules(flat_below_pct=3.125, machine_limit_pct=31.25)
    row = tile([[0.03125, 0.0312, 0.0313, 0.3125, 0.3124, 0.3126, 0.3126, 0.3126]], [[0.0] * 8])
    found = figures(row, shapely.box(0, -1, 8, 0), rules=rules)
    assert (found.flat_pct, found.hand_only_pct) == (pytest.approx(100 / 8), pytest.approx(300 / 8))
