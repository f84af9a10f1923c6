"""Each cell of a stand has its own true north and its own size, whatever lies beside it and wherever tiles end."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import Proj, Transformer

from habmap.land.facerules import FaceRules
from habmap.place.elevation import open_elevation
from habmap.place.zonework import Cut
from habmap.work.terrain import figure_columns

#: Far from its middle meridian and far north, true north turns by 0.016° in a kilometer there.
CRS = "EPSG:32614"
CELL_M, SIZE = 10.0, 400
WEST, NORTH = 660_000.0, 6_600_000.0
RISE = np.array([0.13, -0.21])
#: Broad in the west and thin in the east: its middle of mass lies far from the middle of its box.
STAND = shapely.Polygon([(660_505, 6_599_955), (662_395, 6_599_805), (660_507, 6_598_065)])


def written(path: Path, *, off: int = 0) -> Path:
    """Write a plane in the map's own directions, its first cell so many cells farther to the northwest."""
    col, row = np.meshgrid(np.arange(SIZE) + 0.5 - off, np.arange(SIZE) + 0.5 - off)
    heights = 500 + CELL_M * (RISE[0] * col - RISE[1] * row)
    with rasterio.open(
        path, "w", driver="GTiff", height=SIZE, width=SIZE, count=1, dtype="float64", crs=CRS,
        transform=Affine(CELL_M, 0, WEST - off * CELL_M, 0, -CELL_M, NORTH + off * CELL_M),
    ) as target:  # fmt: skip
        target.write(heights, 1)
    return path


def figures(path: Path) -> dict[str, float]:
    to_lonlat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lonlat = shapely.transform(
        shapely.segmentize(STAND, 25.0), lambda xy: np.column_stack(to_lonlat.transform(xy[:, 0], xy[:, 1]))
    )
    with open_elevation(path, vertical_unit="m") as dem:
        table = dem.zone_table([lonlat], rules=FaceRules(), way="plain")
    columns = figure_columns(table, unit_m2=np.array([1e6]), rules=FaceRules())
    return {"covered_m2": float(table.sums("covered_m2")[0]), **{name: column[0] for name, column in columns.items()}}


def test_true_north_and_the_size_of_a_cell_are_each_cells_own(tmp_path) -> None:
    """Against the projection's own convergence and scale in every cell (PROJ), shares by shapely."""
    found = figures(written(tmp_path / "plane.tif"))
    x, y = np.meshgrid(WEST + CELL_M * (np.arange(SIZE) + 0.5), NORTH - CELL_M * (np.arange(SIZE) + 0.5))
    half = CELL_M / 2
    cells = shapely.box(x - half, y - half, x + half, y + half)
    share = shapely.area(shapely.intersection(cells, STAND)) / CELL_M**2
    lon, lat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(x, y)
    factors = Proj(CRS).get_factors(lon, lat)
    turn, scale = np.radians(factors.meridian_convergence), factors.meridional_scale
    ground = share * CELL_M**2 / scale**2
    # a vector of the map is turned from the map's north to true north; a meter of the map is 1/scale on the ground
    east = scale * (RISE[0] * np.cos(turn) + RISE[1] * np.sin(turn))
    north = scale * (RISE[1] * np.cos(turn) - RISE[0] * np.sin(turn))
    bearing = np.degrees(np.arctan2(-(ground * east).sum(), -(ground * north).sum())) % 360
    assert found["covered_m2"] == pytest.approx(ground.sum(), rel=2e-8)
    assert found["aspect_mean_deg"] == pytest.approx(bearing, abs=1e-6)
    mean_rise = (ground * np.hypot(east, north)).sum() / ground.sum()
    assert found["slope_mean_pct"] == pytest.approx(100 * mean_rise, rel=1e-8)


def test_where_tiles_end_moves_no_figure(tmp_path) -> None:
    whole, apart = figures(written(tmp_path / "whole.tif")), figures(written(tmp_path / "apart.tif", off=77))
    for name, value in whole.items():
        assert apart[name] == (value if isinstance(value, str) else pytest.approx(value, rel=1e-8)), name


@pytest.mark.parametrize(
    ("crs", "transform"),
    [(CRS, Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH)), ("EPSG:4326", Affine(1e-4, 0, -98, 0, -1e-4, 59.5))],
)
def test_what_a_tile_tells_of_its_corners_is_what_is_measured_there(tmp_path, crs, transform) -> None:
    """Three by three places of a tile against each corner's own; rounding of degrees leaves some 1e-10."""
    with rasterio.open(
        tmp_path / "flat.tif", "w", driver="GTiff", height=SIZE, width=SIZE, count=1, dtype="float32", crs=crs,
        transform=transform,
    ) as target:  # fmt: skip
        target.write(np.zeros((SIZE, SIZE), dtype=np.float32), 1)
    random = np.random.default_rng(3)
    left, top = random.uniform(0, SIZE - 90, (2, 50))
    boxes = np.column_stack([left, -top - 80, left + random.uniform(1, 80, 50), -top])
    with open_elevation(tmp_path / "flat.tif", vertical_unit="m") as dem:
        cut = Cut.of(boxes, side=dem._tile_cells, shape=dem.analysis_shape)
        steps, latitudes = dem._corners(cut)
        for row in range(2):
            for col in range(2):
                at_row, at_col = (cut.windows[:, 2 * far + axis] + 0.5 - far for axis, far in ((0, row), (1, col)))
                *measured, lat_deg, _ = dem._steps_at(at_row, at_col)
                assert steps[:, row, col] == pytest.approx(np.column_stack(measured), abs=2e-9 * steps.max())
                if (row, col) == (0, 0):
                    assert latitudes[:, 0] == pytest.approx(lat_deg, abs=1e-11)
    assert len(cut.owners) > 60
