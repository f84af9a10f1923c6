"""A choice between outlines is made from one read of the ground, by the shares that the exact sums give."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from habmap.land.facerules import SUN_FACING_SOUTH_DEG, FaceRules
from habmap.land.grid import LocalGrid
from habmap.place.elevation import open_elevation

GRID = LocalGrid(38.0, -98.0)
SIZE = 80


@pytest.fixture
def hills(tmp_path: Path) -> Path:
    """Return 10 m cells that face every way, some of them flat, with a hole of no heights."""
    row, col = np.mgrid[:SIZE, :SIZE]
    heights = 500 + 12 * np.sin(row / 7) * np.cos(col / 9) + np.random.default_rng(5).normal(0, 0.2, (SIZE, SIZE))
    heights[30:36, 50:58] = np.nan
    path = tmp_path / "hills.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=SIZE, width=SIZE, count=1, dtype="float64", nodata=np.nan,
        crs=GRID.crs.to_wkt(), transform=Affine(10, 0, -400, 0, -10, 400),
    ) as target:  # fmt: skip
        target.write(heights[None])
    return path


@pytest.mark.parametrize("rules", [FaceRules(), FaceRules(sun_facing_deg=SUN_FACING_SOUTH_DEG, flat_below_pct=8.0)])
@pytest.mark.parametrize("tile_cells", [None, 16])
def test_shares_are_those_of_the_sums_that_are_told(hills, rules, tile_cells, monkeypatch):
    if tile_cells:  # the rectangle laid together of many tiles
        monkeypatch.setattr("habmap.place.elevation.Elevation._tile_cells", tile_cells)
    ring = shapely.Point(80, 60).buffer(70).difference(shapely.Point(80, 60).buffer(25))
    corners = np.random.default_rng(7).uniform(-450, 380, (40, 2))
    boxes = [shapely.affinity.rotate(shapely.box(x, y, x + 90, y + 40), 3 * x) for x, y in corners]
    in_parts = shapely.MultiPolygon([shapely.box(-300, -300, -200, -250), shapely.box(100, 100, 130, 180)])
    ground = [GRID.to_lonlat(one) for one in (*boxes, ring, in_parts)]
    with open_elevation(hills, vertical_unit="m", analysis_cell_m=10) as dem:
        _, covered_m2, _, sun_m2, _ = dem.zone_table(ground, rules=rules).by_slope(rules)
        shares_of = dem.sun_shares(GRID.to_lonlat(shapely.box(-400, -400, 400, 400)), rules=rules)
        shares = shares_of(np.array(ground, dtype=object))
    told = np.where(covered_m2 > 0, sun_m2 / np.where(covered_m2 > 0, covered_m2, 1.0), 0.0)
    assert told.min() < 0.05 < 0.6 < told.max()
    np.testing.assert_allclose(shares, told, atol=1e-3)


def test_ground_that_no_elevation_covers_is_not_sun_facing(hills):
    with open_elevation(hills, vertical_unit="m", analysis_cell_m=10) as dem:
        far = GRID.to_lonlat(shapely.box(5000, 5000, 5200, 5200))
        assert dem.sun_shares(far, rules=FaceRules())(np.array([far, shapely.Polygon()], dtype=object)).tolist() == [
            0,
            0,
        ]
