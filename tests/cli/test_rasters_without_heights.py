"""Rasters that lie in the right place and hold no heights: refused when they are added, and nothing changes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from shapely import box

WEST, NORTH, CELL_DEG, SIDE = -97.105, 36.105, 0.0001, 100


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Any) -> Path:
    folder: Path = tmp_path_factory.mktemp("heights") / "place"
    assert run_habmap("start", folder, "--name", "Invented Hill").code == 0
    layer = folder.parent / "u.gpkg"
    units = {"unit_id": ["A"], "cover": ["cedar"], "geometry": [box(-97.102, 36.098, -97.098, 36.102)]}
    geopandas.GeoDataFrame(units, crs="EPSG:4326").to_file(layer)
    assert run_habmap("load", "units", layer, place=folder).code == 0
    return folder


def raster(path: Path, values: Any, *, bands: int = 1, **options: Any) -> Path:
    with rasterio.open(
        path, "w", driver="GTiff", width=SIDE, height=SIDE, count=bands, dtype=values.dtype, crs="EPSG:4326",
        transform=from_origin(WEST, NORTH, CELL_DEG, CELL_DEG), **options,
    ) as target:  # fmt: skip
        for band in range(1, bands + 1):
            target.write(values, band)
    return path


def slope() -> Any:
    return np.tile(np.linspace(300, 400, SIDE, dtype=np.float32), (SIDE, 1))


def cut_short(path: Path) -> Path:
    whole = raster(path, slope())
    whole.write_bytes(whole.read_bytes()[: whole.stat().st_size // 3])
    return whole


HOLLOW: dict[str, tuple[Callable[[Path], Path], str]] = {
    "all_nodata": (lambda p: raster(p, np.full((SIDE, SIDE), -9999, np.float32), nodata=-9999), "holds no heights"),
    "undeclared_fill": (lambda p: raster(p, np.full((SIDE, SIDE), -9999, np.float32)), "holds no heights"),
    "all_nan": (lambda p: raster(p, np.full((SIDE, SIDE), np.nan, np.float32)), "holds no heights"),
    "all_infinite": (lambda p: raster(p, np.full((SIDE, SIDE), np.inf, np.float32)), "holds no heights"),
    "palette": (lambda p: raster(p, slope().astype(np.uint8), photometric="palette"), "picture"),
    "photo": (lambda p: raster(p, slope().astype(np.uint8), bands=3, photometric="rgb"), "picture"),
    "cut_short": (cut_short, "read to its end"),
}


@pytest.mark.parametrize("kind", HOLLOW)
def test_a_raster_without_heights_is_refused(kind: str, place: Path, tmp_path: Path, run_habmap: Any) -> None:
    make, what = HOLLOW[kind]
    path = make(tmp_path / f"{kind}.tif")
    before = (place / "place.gpkg").read_bytes()
    done = run_habmap("load", "dem", path, "--vertical-unit", "m", "--json", place=place)
    assert (done.code, done.json["schema"]) == (3, "habmap/error/1")
    assert what in done.json["what"]
    assert (place / "place.gpkg").read_bytes() == before


def test_undeclared_fill_values_are_left_out_of_the_figures(place: Path, tmp_path: Path, run_habmap: Any) -> None:
    values = slope()
    values[:, SIDE // 2 :] = -9999  # the eastern half, under half of the unit, and nodata is not declared
    path = raster(tmp_path / "half.tif", values)
    added = run_habmap("load", "dem", path, "--vertical-unit", "m", place=place)
    assert added.code == 0
    assert "such cells are left out" in added.err
    (unit,) = run_habmap("terrain", "--json", place=place).json["units"]
    assert 40 < unit["coverage_pct"] < 50  # half of the unit, less the cells beside the hole
    # the plain slope of the good half: 100 m over 99 cells of 0.0001 degrees; one degree of longitude at 36.1 N is
    # 90.0 km (WGS 84), so 100 / (99 * 9.0) = 11.2%; with the fill value it would be thousands of percent
    assert unit["slope_mean_pct"] == pytest.approx(11.2, abs=0.15)
