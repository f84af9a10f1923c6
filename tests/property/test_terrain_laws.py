"""Laws of terrain that hold whatever the ground looks like."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from habmap.land.terrain import GroundSteps, aspect_deg, block_average, horn_gradient, slope_deg
from habmap.land.zones import PLAIN_SUMS, FaceRules, GradientTile, ZoneSums, tile_sums

SIZE = 24
seeds = st.integers(0, 2**32 - 1)
STEPS = GroundSteps(np.array([[10.0]]), np.array([[0.0]]), np.array([[0.0]]), np.array([[-10.0]]))


def ground(seed: int) -> np.ndarray:
    """Return rough random heights of some hundred metres."""
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


def sums(east: np.ndarray, north: np.ndarray, *shapes: shapely.Geometry, row: int = 0, col: int = 0) -> list[ZoneSums]:
    tile = GradientTile(
        first_row=row, first_col=col, east=east, north=north, steps=STEPS, lat_deg=38 - row * 1e-4,
        lat_per_row_deg=-1e-4, lat_per_col_deg=0.0,
    )  # fmt: skip
    return tile_sums(tile, [shapely.to_wkb(shape) for shape in shapes], rules=FaceRules())


def assert_equal(a: ZoneSums, b: ZoneSums) -> None:
    # Shares are float32: 6e-8 of a cell's 100 m², over some 200 cells and gradients of a few hundred percent.
    for name in PLAIN_SUMS:
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=2e-6, abs=1e-2), name
    assert np.sum(a.slope_class_m2) == pytest.approx(np.sum(b.slope_class_m2), rel=2e-6, abs=1e-2)


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
    (whole,) = sums(east, north, shape)
    parts = ZoneSums()
    for rows, row in ((slice(0, cut_row), 0), (slice(cut_row, None), cut_row)):
        for cols, col in ((slice(0, cut_col), 0), (slice(cut_col, None), cut_col)):
            (part,) = sums(east[rows, cols], north[rows, cols], shape, row=row, col=col)
            parts = parts + part
    assert_equal(parts, whole)


@settings(max_examples=40)
@given(seed=seeds, cut=st.floats(3, 21))
def test_parts_of_a_polygon_add_up_to_the_whole(seed, cut):
    east, north = gradients(ground(seed))
    shape = blob(seed)
    left, right = (shapely.intersection(shape, shapely.box(a, -SIZE, b, 0)) for a, b in ((0, cut), (cut, SIZE)))
    pieces = [piece for piece in (left, right) if piece.area > 0]
    whole, *parts = sums(east, north, shape, *pieces)
    assert_equal(sum(parts, start=ZoneSums()), whole)


@settings(max_examples=40)
@given(seed=seeds, start=st.integers(0, 40), is_reversed=st.booleans())
def test_ring_start_and_direction_do_not_matter(seed, start, is_reversed):
    east, north = gradients(ground(seed))
    shape = blob(seed)
    outline = shape if shape.geom_type == "Polygon" else max(shape.geoms, key=lambda part: part.area)
    ring = np.asarray(outline.exterior.coords)[:-1]
    other = np.roll(ring, start % len(ring), axis=0)
    a, b = sums(east, north, shapely.Polygon(ring), shapely.Polygon(other[::-1] if is_reversed else other))
    assert_equal(a, b)


@given(seed=seeds, factor=st.integers(1, 5))
def test_block_average_keeps_the_mean_of_whole_blocks(seed, factor):
    heights = ground(seed)
    side = SIZE // factor * factor
    assert block_average(heights, factor).mean() == pytest.approx(heights[:side, :side].mean(), rel=1e-12)
