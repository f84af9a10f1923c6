"""Heights come out of every kind of file as meters, with holes where there is none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from habmap.errors import InputError
from habmap.land.facerules import FaceRules
from habmap.land.grid import LocalGrid
from habmap.place.elevation import open_elevation
from habmap.work.terrain import UnitTerrain, terrain_figures

GRID = LocalGrid(38.0, -98.0)
SIZE = 40
RULES = FaceRules()


def plane(slope: float = 0.2) -> np.ndarray:
    """Return heights that fall toward east by ``slope`` on 10 m cells."""
    return np.broadcast_to(500 - slope * 10 * np.arange(SIZE), (SIZE, SIZE)).copy()


def write(path: Path, heights: np.ndarray, **profile: object) -> Path:
    bands = heights[None] if heights.ndim == 2 else heights
    options = {
        "driver": "GTiff", "height": SIZE, "width": SIZE, "count": len(bands), "dtype": bands.dtype,
        "crs": GRID.crs.to_wkt(), "transform": Affine(10, 0, -200, 0, -10, 200),
    }  # fmt: skip
    with rasterio.open(path, "w", **(options | profile)) as target:
        target.write(bands)
    return path


def figures(path: Path, shape: shapely.Geometry, **options: object) -> UnitTerrain:
    options = {"vertical_unit": "m", "analysis_cell_m": 10} | options
    with open_elevation(path, **options) as dem:
        sums = dem.zone_table([GRID.to_lonlat(shape)], rules=RULES)
    return terrain_figures(sums, unit_m2=np.array([shape.area]), rules=RULES)[0]


BOX = shapely.box(-100, -100, 100, 100)


def test_plane(tmp_path):
    found = figures(write(tmp_path / "p.tif", plane()), BOX)
    assert found.slope_mean_pct == pytest.approx(20, abs=1e-6)
    assert found.aspect_mean_deg == pytest.approx(90, abs=1e-4)
    assert found.coverage_pct == 100


@pytest.mark.parametrize(
    ("dtype", "nodata", "written"),
    [
        ("float32", -9999.0, -9999.0),
        ("float64", np.nan, np.nan),
        ("float32", None, np.nan),
        ("float32", None, np.inf),
        ("float32", None, -3.4028235e38),
        ("float32", -3.4028235e38, -3.4028235e38),
        ("int16", -32768, -32768),
        ("uint16", 0, 0),
    ],
)
def test_holes_of_every_kind_leave_their_neighbors_without_a_slope(tmp_path, dtype, nodata, written):
    heights = plane()
    heights[20, 20] = written
    with np.errstate(invalid="ignore"):
        raster = write(tmp_path / "h.tif", heights.astype(dtype), nodata=nodata)
    found = figures(raster, BOX)
    assert found.slope_mean_pct == pytest.approx(20, abs=1e-4)
    # Nine cells of 100 m² around the hole, in 40,000 m².
    assert found.coverage_pct == pytest.approx(100 * (1 - 900 / 40_000), abs=1e-3)


def test_mask_band_makes_holes(tmp_path):
    raster = write(tmp_path / "m.tif", plane())
    inside = np.full((SIZE, SIZE), 255, dtype=np.uint8)
    inside[20, 20] = 0
    with rasterio.open(raster, "r+") as target:
        target.write_mask(inside)
    assert figures(raster, BOX).coverage_pct == pytest.approx(100 * (1 - 900 / 40_000), abs=1e-3)


def test_scale_offset_and_whole_numbers(tmp_path):
    raster = write(tmp_path / "s.tif", np.round(plane() * 100 - 30_000).astype(np.int16))
    with rasterio.open(raster, "r+") as target:
        target.scales, target.offsets = (0.01,), (300.0,)
    assert figures(raster, BOX).slope_mean_pct == pytest.approx(20, abs=1e-6)


def test_feet_are_turned_to_metres(tmp_path):
    raster = write(tmp_path / "f.tif", plane() / 0.3048)
    assert figures(raster, BOX, vertical_unit="ft").slope_mean_pct == pytest.approx(20, abs=1e-6)


def test_south_up_raster(tmp_path):
    raster = write(tmp_path / "u.tif", plane().T.copy(), transform=Affine(10, 0, -200, 0, 10, -200))
    assert figures(raster, BOX).aspect_mean_deg == pytest.approx(0, abs=1e-4)  # falls toward later rows: north


def test_fine_cells_are_averaged_to_the_analysis_cell(tmp_path):
    raster = write(tmp_path / "fine.tif", plane(), transform=Affine(3, 0, -60, 0, -3, 60))
    with open_elevation(raster, vertical_unit="m", analysis_cell_m=10) as dem:
        assert (dem.cell_m, dem.analysis_cell_m) == (pytest.approx(3, rel=1e-6), pytest.approx(9, rel=1e-6))
    # 2 m per 3 m cell; 13 whole blocks of 9 m, one ring of them without nine neighbors: 99 m of 120 m each way.
    found = figures(raster, shapely.box(-60, -60, 60, 60))
    assert found.slope_mean_pct == pytest.approx(200 / 3, abs=1e-4)
    assert found.coverage_pct == pytest.approx(100 * (99 / 120) ** 2, abs=1e-3)


def test_tiles_are_seamless(tmp_path, monkeypatch):
    random = np.random.default_rng(5)
    heights = 400 + np.cumsum(np.cumsum(random.normal(0, 1, (SIZE, SIZE)), axis=0), axis=1) / 10
    raster = write(tmp_path / "r.tif", heights)
    whole = figures(raster, shapely.Point(3, 4).buffer(150))
    monkeypatch.setattr("habmap.place.groundraster.READ_CELLS", 49)  # tiles of 7 cells
    tiled = figures(raster, shapely.Point(3, 4).buffer(150))
    assert tiled.slope_mean_deg == pytest.approx(whole.slope_mean_deg, rel=1e-6)
    assert tiled.aspect_mean_deg == pytest.approx(whole.aspect_mean_deg, abs=1e-4)
    assert tiled.slope_p90_pct == pytest.approx(whole.slope_p90_pct, abs=0.05)


def test_several_bands_and_strange_heights_are_told(tmp_path):
    raster = write(tmp_path / "b.tif", np.stack([plane() + 20_000, plane()]))
    with open_elevation(raster, vertical_unit="m") as dem:
        dem.zone_table([GRID.to_lonlat(BOX)], rules=RULES)
        told = " ".join(dem.warnings)
    assert "2 bands" in told and "which no ground has" in told


def test_truncated_raster_is_refused(tmp_path):
    raster = write(tmp_path / "t.tif", np.random.default_rng(1).normal(400, 1, (SIZE, SIZE)), compress="deflate")
    content = raster.read_bytes()
    raster.write_bytes(content[: len(content) // 2])
    with pytest.raises(InputError):
        figures(raster, BOX)


def test_raster_without_a_position_is_refused(tmp_path):
    with pytest.warns(rasterio.errors.NotGeoreferencedWarning):
        raster = write(tmp_path / "n.tif", plane(), transform=Affine(1, 0, 0, 0, 1, 0))
    with pytest.raises(InputError, match="where on Earth"):
        figures(raster, BOX)


def test_coarse_heights_are_averaged_and_placed(tmp_path):
    raster = write(tmp_path / "c.tif", plane())
    lonlat = GRID.to_lonlat(shapely.box(-200, -200, 200, 200)).bounds
    with open_elevation(raster, vertical_unit="m") as dem:
        coarse = dem.coarse_heights(lonlat, 100)
        with pytest.raises(InputError, match="covers none"):
            dem.coarse_heights(GRID.to_lonlat(shapely.box(900, 900, 950, 950)).bounds, 100)
    assert coarse.heights_m.shape == (10, 10)
    assert coarse.heights_m[0] == pytest.approx(plane()[0].reshape(10, 4).mean(axis=1), abs=1e-3)
    assert (coarse.transform.a, coarse.transform.e) == (40, -40)
    assert (coarse.transform.c, coarse.transform.f) == (-200, 200)


@pytest.mark.parametrize(("west", "lon"), [(261.998, -98.0), (179.998, 180.0), (-180.002, 180.0)])
def test_longitudes_from_0_to_360_and_across_the_date_line(tmp_path, west, lon):
    grid = LocalGrid(38.0, lon)
    raster = write(tmp_path / "l.tif", plane(), crs="EPSG:4326", transform=Affine(1e-4, 0, west, 0, -1e-4, 38.002))
    with open_elevation(raster, vertical_unit="m") as dem:
        sums = dem.zone_table([grid.to_lonlat(BOX)], rules=RULES)
    (found,) = terrain_figures(sums, unit_m2=np.array([BOX.area]), rules=RULES)
    # 2 m on 1e-4° of longitude at 38°: 8.784 m (N cos φ, Snyder 1987 equation 4-20 with the prime vertical radius).
    assert found.slope_mean_pct == pytest.approx(22.77, abs=0.01)
    assert found.coverage_pct == 100
