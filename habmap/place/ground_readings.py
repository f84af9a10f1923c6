"""What the elevation that a place names says of ground: terrain under outlines, what is to be cut, a burn block."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.land.bite import Liking
from habmap.land.contiguous import widened
from habmap.land.downhill import Surface, sample_many
from habmap.land.facerules import FaceRules
from habmap.land.facing import FaceClass, facing_class_m2
from habmap.land.frames import framed
from habmap.land.grid import LocalGrid
from habmap.place.elevation import Elevation, open_named
from habmap.place.settings import TerrainSection
from habmap.progress import Progress
from habmap.records import ElevationSource
from habmap.work.burn.block_terrain import COLD_AIR_M, BlockTerrain
from habmap.work.fuel_moisture import STEEP_ABOVE_PCT
from habmap.work.terrain import DemInfo, UnitTerrain, rules_here, terrain_figures


@dataclass(frozen=True, slots=True)
class TerrainSums:
    """Terrain under outlines, these in grids of their own [m]; the raster behind it, and what is odd about that."""

    dem: DemInfo
    under: tuple[UnitTerrain, ...]
    planar: tuple[BaseGeometry, ...]
    warnings: tuple[str, ...]


def terrain_under(
    source: ElevationSource,
    sets: Sequence[Sequence[BaseGeometry]],
    *,
    rules: FaceRules,
    terrain: TerrainSection,
    progress: Progress | None = None,
) -> list[TerrainSums]:
    """Return the terrain under sets of valid lon/lat outlines [°], in one pass over the raster.

    Raises
    ------
    InputError
        The file is gone or unreadable.
    """
    with open_named(source, analysis_cell_m=terrain.analysis_cell_m) as dem:
        # The unit was settled, and any difference told, when the raster was loaded.
        told_at_loading = set(dem.warnings)
        shapes = [framed(outlines) for outlines in sets]
        tables = dem.zone_tables([list(own.lonlat) for own in shapes], rules=rules, progress=progress)
        warnings = tuple(words for words in dem.warnings if words not in told_at_loading)
        info = dem.info()
    return [
        TerrainSums(info, tuple(terrain_figures(table, unit_m2=own.area_m2, rules=rules)), tuple(own.planar), warnings)
        for own, table in zip(shapes, tables, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class CuttingGround:
    """Ground in grid meters over an elevation that is open."""

    remains: MultiPolygon
    grid: LocalGrid
    dem: Elevation
    terrain: TerrainSection

    def sun_facing(self) -> Liking:
        """Return what tells how much of outlines inside the ground is sun-facing."""
        (outline,) = self.grid.to_lonlat_densely([self.remains])
        shares = self.dem.sun_shares(outline, rules=rules_here(self.terrain.rules, self.grid))
        turned: Any = self.grid.to_lonlat  # of arrays too
        return lambda outlines: shares(turned(outlines))

    def steep(self) -> BaseGeometry | None:
        """Return what of the ground is too steep for a machine, its outline straightened; ``None``: nothing."""
        (outline,) = self.grid.to_lonlat_densely([self.remains])
        cells = self.dem.steep_ground(outline, above_pct=self.terrain.machine_limit_pct)
        shapes = [self.grid.to_grid(one) for one in cells]
        return widened(shapes, cell_m=self.dem.analysis_cell_m, within=self.remains) if shapes else None


@contextmanager
def cutting_ground(
    source: ElevationSource | None, remains: MultiPolygon, *, grid: LocalGrid | None, terrain: TerrainSection
) -> Iterator[CuttingGround | None]:
    """Open a place's elevation over ground that remains; ``None`` where there is none."""
    if source is None or grid is None:
        yield None
        return
    with open_named(source, analysis_cell_m=terrain.analysis_cell_m) as dem:
        yield CuttingGround(remains, grid, dem, terrain)


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
