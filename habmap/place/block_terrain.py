"""What the elevation says of a burn block: its faces, the rise beyond its edges, the way cold air runs from it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from habmap.land.downhill import Surface, sample_many
from habmap.land.facing import FaceClass, facing_class_m2
from habmap.land.grid import LocalGrid
from habmap.place.elevation import Elevation, open_named
from habmap.place.settings import TerrainSection
from habmap.records import ElevationSource
from habmap.work.burn.block_terrain import COLD_AIR_M, BlockTerrain
from habmap.work.fuel_moisture import STEEP_ABOVE_PCT

#: Cells of the surface that it runs over, unless the elevation's own are wider [m].
SURFACE_CELL_M: Final = 10.0


def block_terrain(
    source: ElevationSource | None,
    block: BaseGeometry,
    outline: Sequence[BaseGeometry],
    *,
    grid: LocalGrid,
    terrain: TerrainSection,
) -> BlockTerrain | None:
    """Read the elevation in and around a block; ``None`` where there is none, or none of this ground.

    Parameters
    ----------
    block
        Polygons in grid meters.
    outline
        The same in lon/lat [°], its long edges with vertices enough.

    Raises
    ------
    InputError
        The elevation that the place names cannot be read.
    """
    if source is None:
        return None
    with open_named(source, analysis_cell_m=terrain.analysis_cell_m) as dem:
        if not bool(dem.touches(outline)[0]):
            return None
        class_m2: defaultdict[FaceClass, float] = defaultdict(float)
        for _, tile, outlines_wkb in dem.gradient_tiles(outline):
            (found,) = facing_class_m2(
                tile, outlines_wkb, flat_below_pct=terrain.flat_below_pct, steep_above_pct=STEEP_ABOVE_PCT
            )
            for name, area_m2 in found.items():
                class_m2[name] += area_m2
        return BlockTerrain(dict(class_m2), _surface(dem, grid, block))


def _surface(dem: Elevation, grid: LocalGrid, block: BaseGeometry) -> Surface:
    cell_m = max(SURFACE_CELL_M, dem.cell_m)
    west, south, east, north = shapely.bounds(shapely.buffer(block, COLD_AIR_M + 5 * cell_m)).tolist()
    xs, ys = np.arange(west, east + cell_m, cell_m), np.arange(south, north + cell_m, cell_m)
    x, y = (values.ravel() for values in np.meshgrid(xs, ys))
    # One line through all the places: a hundred thousand points of their own take longer than all the rest.
    lonlat = shapely.get_coordinates(grid.to_lonlat(LineString(np.column_stack([x, y]))))
    bounds = (lonlat[:, 0].min(), lonlat[:, 1].min(), lonlat[:, 0].max(), lonlat[:, 1].max())
    coarse = dem.coarse_heights(tuple(float(v) for v in bounds), len(x))  # type: ignore[arg-type]
    crs = CRS.from_wkt(coarse.crs_wkt)
    map_x, map_y = Transformer.from_crs(CRS.from_epsg(4326), crs, always_xy=True).transform(lonlat[:, 0], lonlat[:, 1])
    transform = coarse.transform
    if crs.is_geographic:
        # Rasters may count longitude from 0 to 360, or lie across the date line.
        map_x = map_x + 360 * np.round((transform.c - map_x) / 360)
    determinant = transform.a * transform.e - transform.b * transform.d
    dx, dy = map_x - transform.c, map_y - transform.f
    col = (transform.e * dx - transform.b * dy) / determinant - 0.5
    row = (transform.a * dy - transform.d * dx) / determinant - 0.5
    heights = sample_many(coarse.heights_m.astype(np.float64), row, col)
    return Surface(heights.reshape(len(ys), len(xs)), float(xs[0]), float(ys[0]), cell_m)
