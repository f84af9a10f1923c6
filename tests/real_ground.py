"""Real elevation that a package carries, and units drawn on it."""

from __future__ import annotations

from pathlib import Path

import matplotlib.cbook
import numpy as np
import rasterio
import shapely
from affine import Affine
from pyproj import Transformer


def jacksboro() -> tuple[np.ndarray, Affine]:
    """Real ground: SRTM 3″ that matplotlib ships. Its ymin and ymax are swapped; the CRS is taken as WGS 84."""
    with np.load(matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as data:
        heights = data["elevation"].astype(np.float64)
        north, south = sorted((float(data["ymin"]), float(data["ymax"])), reverse=True)
        west, east = float(data["xmin"]), float(data["xmax"])
    rows, cols = heights.shape
    return heights, Affine((east - west) / cols, 0, west, 0, -(north - south) / rows, north)


def write(path: Path, heights: np.ndarray, transform: Affine, crs: str, unit: str = "m") -> Path:
    rows, cols = heights.shape
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=cols, count=1, dtype="float64", crs=crs, transform=transform
    ) as target:
        target.write(heights, 1)
        target.units = (unit,)
    return path


def squares(count: int, side_m: float, *, crs: str = "EPSG:32616", seed: int = 7) -> list[shapely.Polygon]:
    """Turned squares within the real elevation, lon/lat, drawn in a projection and close enough in vertices."""
    west, south, east, north = 735_000, 4_037_000, 757_000, 4_060_000
    random = np.random.default_rng(seed)
    to_lonlat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    found = []
    for _ in range(count):
        x, y, turn = random.uniform(west, east), random.uniform(south, north), random.uniform(0, 90)
        square = shapely.affinity.rotate(shapely.box(x, y, x + side_m, y + side_m), turn)
        square = shapely.segmentize(square, 30)
        found.append(shapely.transform(square, lambda xy: np.column_stack(to_lonlat.transform(xy[:, 0], xy[:, 1]))))
    return found
