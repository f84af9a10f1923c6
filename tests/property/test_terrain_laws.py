"""Laws of terrain that hold whatever the ground looks like."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from zone_sums import added, other_way, sums_on

from habmap.land.facerules import FaceRules
from habmap.land.terrain import GroundSteps, aspect_deg, block_average, horn_gradient, slope_deg
from habmap.land.zones import GradientTile, ZoneTable
from habmap.work.terrain import terrain_figures

SIZE = 24
seeds = st.integers(0, 2**32 - 1)
STEPS = GroundSteps(np.array([[10.0]]), np.array([[0.0]]), np.array([[0.0]]), np.array([[-10.0]]))


def ground(seed: int) -> np.ndarray:
    """Return rough random heights of some hundred meters."""
    random = np.random.default_rng(seed)
    return 300 + np.cumsum(np.cumsum(random.normal(0, 1, (SIZE, SIZE)), axis=0), axis=1)


def blob(seed: int) -> shapely.Polygon:
    """Return a star-shaped polygon inside the grid, in cells."""
    random = np.random.default_rng(seed)
    turn = np.sort(random.uniform(0, 2 * np.pi, 9))
    reach = random.uniform(2, 9, 9)
    return shapely.Polygon(np.column_stack([12 + reach * np.cos(turn), -12 + reach * np.sin(turn)])).buffer(0)


def gradients(heights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return STEPS.gradient(*horn_gradient(heights))


def sums(east: np.ndarray, north: np.ndarray, *shapes: shapely.Geometry, row: int = 0, col: int = 0) -> ZoneTable:
    return sums_on(tile(east, north, row=row, col=col), shapes, rules=FaceRules())


def tile(east: np.ndarray, north: np.ndarray, *, row: int = 0, col: int = 0) -> GradientTile:
    return GradientTile(
        first_row=row, first_col=col, east=east, north=north, steps=STEPS, lat_deg=38 - row * 1e-4,
        lat_per_row_deg=-1e-4, lat_per_col_deg=0.0,
    )  # fmt: skip


def assert_equal(a: ZoneTable, b: ZoneTable) -> None:
    # Shares are float32: 6e-8 of a cell's 100 m², over some 200 cells and gradients of a few hundred percent.
    assert a.plain == pytest.approx(b.plain, rel=2e-6, abs=1e-2)
    assert a.class_m2.sum(axis=0) == pytest.approx(b.class_m2.sum(axis=0), rel=2e-6, abs=1e-2)


@given(seed=seeds, lift=st.floats(-4000, 4000))
def test_lifting_the_ground_changes_no_slope(seed, lift):
    before, after = gradients(ground(seed)), gradients(ground(seed) + lift)
    # 4,000 m and 1e-16: heights move by 1e-12 m.
    assert slope_deg(*after) == pytest.approx(slope_deg(*before), abs=1e-9, nan_ok=True)


@given(seed=seeds)
def test_turning_the_ground_turns_its_aspect(seed):
    heights = ground(seed)
    before, after = gradients(heights), gradients(np.rot90(heights, -1))  # a quarter turn clockwise
    assert slope_deg(*after) == pytest.approx(np.rot90(slope_deg(*before), -1), abs=1e-9, nan_ok=True)
    turned = (np.rot90(aspect_deg(*before), -1) + 90 - aspect_deg(*after) + 180) % 360 - 180
    is_clear = np.rot90(np.hypot(*before), -1) > 1e-3
    assert np.abs(turned[is_clear]).max(initial=0) < 1e-8


@given(seed=seeds, scale=st.floats(0.1, 10))
def test_slope_percent_scales_with_the_heights(seed, scale):
    plain, scaled = gradients(ground(seed)), gradients(ground(seed) * scale)
    assert np.hypot(*scaled) == pytest.approx(scale * np.hypot(*plain), rel=1e-9, abs=1e-9, nan_ok=True)


@settings(max_examples=40)
@given(seed=seeds, cut_row=st.integers(1, SIZE - 1), cut_col=st.integers(1, SIZE - 1))
def test_parts_of_a_raster_add_up_to_the_whole(seed, cut_row, cut_col):
    east, north = gradients(ground(seed))
    shape = blob(seed)
    whole = sums(east, north, shape)
    parts = []
    for rows, row in ((slice(0, cut_row), 0), (slice(cut_row, None), cut_row)):
        for cols, col in ((slice(0, cut_col), 0), (slice(cut_col, None), cut_col)):
            parts.append(sums(east[rows, cols], north[rows, cols], shape, row=row, col=col))
    assert_equal(added(parts), whole)


@settings(max_examples=40)
@given(seed=seeds, cut=st.floats(3, 21))
def test_parts_of_a_polygon_add_up_to_the_whole(seed, cut):
    east, north = gradients(ground(seed))
    shape = blob(seed)
    left, right = (shapely.intersection(shape, shapely.box(a, -SIZE, b, 0)) for a, b in ((0, cut), (cut, SIZE)))
    pieces = [piece for piece in (left, right) if piece.area > 0]
    found = sums(east, north, shape, *pieces)
    assert_equal(added([found.part(at, at + 1) for at in range(1, len(found))]), found.part(0, 1))


@settings(max_examples=40)
@given(seed=seeds, start=st.integers(0, 40), is_reversed=st.booleans())
def test_ring_start_and_direction_do_not_matter(seed, start, is_reversed):
    east, north = gradients(ground(seed))
    shape = blob(seed)
    outline = shape if shape.geom_type == "Polygon" else max(shape.geoms, key=lambda part: part.area)
    ring = np.asarray(outline.exterior.coords)[:-1]
    other = np.roll(ring, start % len(ring), axis=0)
    found = sums(east, north, shapely.Polygon(ring), shapely.Polygon(other[::-1] if is_reversed else other))
    assert_equal(found.part(0, 1), found.part(1, 2))


@settings(max_examples=60)
@given(
    seed=seeds,
    scale=st.sampled_from([0.001, 0.03, 1.0]),
    sun=st.sampled_from([(112.5, 247.5), (300.0, 60.0), (10.0, 200.5)]),
    limits=st.sampled_from([(5.0, 30.0), (3.33, 12.345)]),
)
def test_figures_are_those_of_angles_and_masks_cell_by_cell(seed, scale, sun, limits):
    east, north = (scale * part for part in gradients(ground(seed)))
    shape = blob(seed).difference(shapely.Point(12, -12).buffer(1.3))
    rules = FaceRules(flat_below_pct=limits[0], sun_facing_deg=sun, machine_limit_pct=limits[1])
    (found,) = terrain_figures(
        sums_on(tile(east, north), [shape], rules=rules), unit_m2=np.array([shape.area * 100]), rules=rules
    )
    wanted = other_way(tile(east, north), shape, rules=rules, unit_m2=shape.area * 100)
    for name, value in asdict(wanted).items():
        if isinstance(value, float):
            # Shares are rounded to float32 both times, a unit of that apart now and then: 6e-8 of one cell in some 200.
            # Of a face whose parts nearly cancel that is a bit more: 1e-6°.
            hair = 1e-6 if name == "aspect_mean_deg" else 1e-7
            assert getattr(found, name) == pytest.approx(value, rel=3e-8, abs=hair), name
        elif value is None:
            assert getattr(found, name) is None, name
        elif found.flat_pct == pytest.approx(50, abs=1e-6) or found.aspect_concentration < 1e-6:
            continue  # a hair decides
        else:
            assert getattr(found, name) == value, name


@given(seed=seeds, factor=st.integers(1, 5))
def test_block_average_keeps_the_mean_of_whole_blocks(seed, factor):
    heights = ground(seed)
    side = SIZE // factor * factor
    assert block_average(heights, factor).mean() == pytest.approx(heights[:side, :side].mean(), rel=1e-12)
