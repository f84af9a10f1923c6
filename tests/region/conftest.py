"""A small region: rolling ground as one raster and as tiles, and stands on it, over its edge and off it."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

CRS = "EPSG:32614"
WEST, NORTH, CELL_M, SIZE = 550_000.0, 4_220_000.0, 3.0, 1100
STANDS = 160
#: Small parts, so that there are some dozens of them.
PART_CELLS = "200"


@pytest.fixture(scope="session")
def region(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with ground.tif, four tiles of it that overlap, and stands.gpkg."""
    folder = tmp_path_factory.mktemp("region")
    random = np.random.default_rng(4)
    x = np.arange(SIZE) * CELL_M
    y = x[:, None]
    heights = 400 + 60 * np.sin(x / 900) * np.cos(y / 700) + 15 * np.sin((x + y) / 160)
    heights = (heights + random.normal(0, 0.05, (SIZE, SIZE))).astype(np.float32)
    heights[:60, :60] = -9999
    write(folder / "ground.tif", heights)
    number = 0
    for top, bottom in ((0, 600), (520, SIZE)):
        for left, right in ((0, 500), (500, SIZE)):
            write(folder / f"tile-{number}.tif", heights[top:bottom, left:right], row=top, col=left)
            number += 1
    shapes = []
    for at in range(STANDS):
        middle = random.uniform(-60, SIZE * CELL_M + 60, 2)
        turn = np.linspace(0, 2 * np.pi, 20, endpoint=False)
        reach = math.sqrt(random.uniform(0.2, 12) * 4046.86 / math.pi) * random.uniform(0.8, 1.2, 20)
        ring = np.column_stack([WEST + middle[0] + reach * np.cos(turn), NORTH - middle[1] + reach * np.sin(turn)])
        shape = shapely.Polygon(ring)
        shapes.append(shape.difference(shape.centroid.buffer(12)) if at % 5 == 0 else shape)
    shapes[7] = shapely.box(WEST - 9_000, NORTH, WEST - 8_800, NORTH + 200)  # off the elevation
    write_stands(folder / "stands.gpkg", shapes)
    return folder


def write(path: Path, heights: np.ndarray, *, row: int = 0, col: int = 0, crs: str = CRS) -> None:
    """Write heights in meters, tiled and compressed, at their place in the region."""
    with rasterio.open(
        path, "w", driver="GTiff", height=heights.shape[0], width=heights.shape[1], count=1, dtype="float32", crs=crs,
        transform=Affine(CELL_M, 0, WEST + col * CELL_M, 0, -CELL_M, NORTH - row * CELL_M), nodata=-9999.0,
        tiled=True, blockxsize=256, blockysize=256, compress="deflate",
    ) as target:  # fmt: skip
        target.write(heights, 1)
        target.units = ("m",)


def write_stands(path: Path, shapes: list[shapely.Polygon]) -> None:
    """Write stands as a layer of units."""
    labels = [f"S{at}" for at in range(len(shapes))]
    geopandas.GeoDataFrame({"unit_id": labels, "cover": "cedar"}, geometry=shapes, crs=CRS).to_file(path)


@pytest.fixture(scope="session")
def wanted(region: Path, run) -> bytes:
    """Return the table that one process writes of one raster in one part."""
    told = run("region", "terrain", region / "stands.gpkg", region / "ground.tif", "-o", region / "wanted.csv",
                  "--workers", 1)  # fmt: skip
    assert told.returncode == 0, told.stderr
    return (region / "wanted.csv").read_bytes()


def command(*words: object) -> list[str]:
    """Return the words that run the command."""
    return [sys.executable, "-m", "habmap", *map(str, words)]


@pytest.fixture(scope="session")
def run(run_habmap) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Return what runs the command."""

    def run(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
        outcome = run_habmap(*words, timeout_s=300, **options)
        return subprocess.CompletedProcess(words, outcome.code, outcome.out, outcome.err)

    return run


@pytest.fixture
def words() -> Callable[..., list[str]]:
    """Return what makes the words that run the command."""
    return command
