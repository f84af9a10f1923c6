"""Smoothing, tracing and turning of the relief, against scipy, which the drawing does without, and against formulas."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from fakes import GRID
from pyproj import CRS
from scipy import ndimage

from habmap.show import relief as relief_module
from habmap.show.palette import INK, PAPER
from habmap.show.relief import Relief, draw_relief
from habmap.show.sheet.map import Frame, _cell_of, _shade

RNG = np.random.default_rng(11)


def test_smoothing_is_a_gaussians_and_takes_unknown_cells_out() -> None:
    heights = RNG.normal(300, 20, (40, 50))
    inner = (slice(8, -8), slice(8, -8))
    smooth = relief_module._smoothed(heights)
    assert smooth[inner] == pytest.approx(ndimage.gaussian_filter(heights, 1.6, radius=7)[inner], abs=1e-9)
    holed = np.where(RNG.random(heights.shape) < 0.1, np.nan, 300.0)
    found = relief_module._smoothed(holed)
    assert np.array_equal(np.isnan(found), np.isnan(holed))
    assert found[np.isfinite(found)] == pytest.approx(300)  # level ground stays level, beside a hole too


def test_a_finer_grid_lies_on_the_same_cubic_and_leaves_unknown_ground_unknown() -> None:
    def height(y: np.ndarray, x: np.ndarray) -> np.ndarray:
        return 200 + 3 * x - 0.2 * x**2 + 0.01 * x**3 - y + 0.05 * x * y

    rows, columns = np.mgrid[0:9, 0:12].astype(float)
    fine = relief_module._finer(height(rows, columns))
    assert fine.shape == (17, 23)
    y, x = np.mgrid[0:17, 0:23] / 2
    inside = (x >= 1) & (x <= 10)  # in the outermost steps a straight line
    assert fine[inside] == pytest.approx(height(y, x)[inside])
    holed = height(rows, columns)
    holed[4, 5] = np.nan
    unknown = {tuple(one) for one in np.argwhere(np.isnan(relief_module._finer(holed))).tolist()}
    assert unknown == {(y, x) for y in (7, 8, 9) for x in (9, 10, 11)}


def test_shade_thins_out_evenly_toward_the_end_of_what_is_known() -> None:
    known = np.zeros((40, 60), bool)
    known[:, 20:] = True
    share = 2 * relief_module._mean_about(known, 5) - 1
    assert share[20, 20:26] == pytest.approx((np.arange(6) * 2 + 1) / 11)
    assert share[20, 30] == pytest.approx(1)
    assert (share[20, :20] <= 0).all()


def test_the_shade_lies_where_each_dot_of_the_paper_does() -> None:
    """Dot by dot, each turned by itself and read by scipy, on ground of 6 by 5 km."""
    heights = ndimage.gaussian_filter(RNG.normal(0, 900, (180, 200)), 6)
    west, south, east, north = GRID.to_lonlat(shapely.box(-3000, -2500, 3000, 2500)).bounds
    transform = Affine((east - west) / 200, 0, west, 0, -(north - south) / 180, north)
    relief = draw_relief(heights, transform=transform, crs_wkt=CRS.from_epsg(4326).to_wkt())
    assert isinstance(relief, Relief)
    frame = Frame(30, 40, 300, 250, 24_000, (150.0, -80.0), GRID)
    image = _shade(relief, frame)
    rows, columns = image.shape[:2]
    x = 150 + ((np.arange(columns) + 0.5) / columns - 0.5) * 300 / frame.pt_per_ground_m
    y = -80 + (0.5 - (np.arange(rows) + 0.5) / rows) * 250 / frame.pt_per_ground_m
    row, column = _cell_of(relief, GRID, np.column_stack([part.ravel() for part in np.meshgrid(x, y)]))
    wanted = ndimage.map_coordinates(np.nan_to_num(relief.shade), [row, column], order=1).reshape(rows, columns)
    alpha = 255 * np.where(wanted > 0, wanted, -0.6 * wanted)
    inner = (slice(4, -4), slice(4, -4))
    assert np.abs(image[..., 3].astype(float) - alpha)[inner].max() <= 1.0
    assert alpha[inner].max() > 30
    ink = np.all(image[..., :3] == list(bytes.fromhex(INK[1:])), axis=2)
    paper = np.all(image[..., :3] == list(bytes.fromhex(PAPER[1:])), axis=2)
    assert (ink | paper).all() and (ink[inner] == (wanted[inner] <= 0)).mean() > 0.999
