"""Elevation rasters: read by windows around units, never whole."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar, Literal

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.land.terrain import block_average, horn_gradient
from habmap.land.zones import FaceRules, GradientTile, ZoneSums, tile_sums
from habmap.measures import VerticalUnit
from habmap.place.groundraster import Bounds, GroundRaster, Progress, open_source
from habmap.place.rasterfile import subgrid


@dataclass(frozen=True, slots=True, kw_only=True)
class CoarseHeights:
    """Averaged heights for a picture: metres, NaN where not valid, and where they lie."""

    heights_m: NDArray[np.float32]
    transform: Affine
    crs_wkt: str


@contextmanager
def open_elevation(
    path: Path, *, vertical_unit: VerticalUnit | None, analysis_cell_m: float | Literal["native"] = "native"
) -> Iterator[Elevation]:
    """Open an elevation raster for terrain work.

    Parameters
    ----------
    path
        Any raster file that GDAL reads.
    vertical_unit
        Unit of the heights as the person said it; ``None``: take it from the file.
    analysis_cell_m
        Wanted cell of the terrain figures [m]; finer rasters are averaged to about this.

    Raises
    ------
    InputError
        There is no such file, it is no raster of heights with a place on Earth, its datum cannot be turned to WGS 84
        closely enough, or nobody said what unit the heights have.
    """
    with open_source(path, kind="an elevation raster") as source:
        yield Elevation(source, path, vertical_unit=vertical_unit, analysis_cell_m=analysis_cell_m)


class Elevation(GroundRaster):
    """An open elevation raster. Made by :func:`open_elevation`."""

    thing: ClassVar[str] = "ground"
    #: What no ground on Earth exceeds; a raster that does probably has the wrong unit or no nodata value.
    plausible_m: ClassVar[tuple[float, float]] = (-500.0, 9_000.0)

    def zone_sums(
        self,
        polygons: Sequence[BaseGeometry],
        *,
        rules: FaceRules,
        progress: Progress | None = None,
    ) -> list[ZoneSums]:
        """Sum the terrain under each polygon.

        Parameters
        ----------
        polygons
            WGS 84 lon/lat, valid, with vertices close enough that it does not matter in which projection an edge is
            straight.
        rules
            What counts as flat, sun-facing and hand-only.
        progress
            Called with the fraction done and what is being done.
        """
        sums = [ZoneSums() for _ in polygons]
        for members, tile, outlines_wkb in self.gradient_tiles(polygons, progress=progress):
            pieces = tile_sums(tile, outlines_wkb, rules=rules)
            for i, piece in zip(members, pieces, strict=True):
                if piece.covered_m2:
                    sums[i] = sums[i] + piece if sums[i].covered_m2 else piece
        return sums

    def gradient_tiles(
        self, polygons: Sequence[BaseGeometry], *, progress: Progress | None = None
    ) -> Iterator[tuple[list[int], GradientTile, list[bytes]]]:
        """Yield the ground's gradients tile by tile: which polygons reach into it, the tile, and their outlines.

        Parameters
        ----------
        polygons, progress
            As for `zone_sums`.

        Yields
        ------
        members, tile, outlines_wkb
            Numbers of the polygons, and their outlines in cell coordinates as `habmap.land.zones.tile_sums` wants them.
        """
        outlines = self._in_cells(polygons)
        tiles = self._tiles(shapely.bounds(outlines))
        for done, ((tile_row, tile_col), members) in enumerate(sorted(tiles.items())):
            if progress:
                progress(done / len(tiles), "reading the elevation")
            window = self._tile_window(tile_row, tile_col, shapely.total_bounds(outlines[members]))
            tile = self._gradients(*window)
            if tile is not None:
                yield members, tile, [shapely.to_wkb(outlines[i]) for i in members]
        self._judge_heights()
        if progress:
            progress(1.0, "reading the elevation")

    def coarse_heights(self, bounds_lonlat: Bounds, max_cells: int) -> CoarseHeights:
        """Read the heights around a region, averaged so that no more than ``max_cells`` cells come back.

        Parameters
        ----------
        bounds_lonlat
            West, south, east, north, WGS 84 [°].
        max_cells
            Most cells wanted.

        Raises
        ------
        InputError
            The region lies off the raster.
        """
        region = shapely.segmentize(shapely.box(*bounds_lonlat), max(bounds_lonlat[2] - bounds_lonlat[0], 1e-6) / 20)
        left, bottom, right, top = shapely.bounds(self._in_cells([region])[0]) * self._factor
        first_col, first_row = max(0, math.floor(left)), max(0, math.floor(-top))
        last_col = min(self._source.width, math.ceil(right))
        last_row = min(self._source.height, math.ceil(-bottom))
        if last_col <= first_col or last_row <= first_row:
            raise InputError(
                "the elevation covers none of this ground",
                where=str(self.path),
                mend="load an elevation raster of the property with `habmap load dem FILE --overwrite`",
            )
        width, height = last_col - first_col, last_row - first_row
        step = max(1.0, math.sqrt(width * height / max_cells))
        shape = (max(1, math.floor(height / step)), max(1, math.floor(width / step)))
        window = Window(first_col, first_row, width, height)
        heights_m = self._heights(window, shape=shape)
        transform = subgrid(
            self._source.transform, col=first_col, row=first_row, wide=width / shape[1], high=height / shape[0]
        )
        return CoarseHeights(heights_m=heights_m.astype(np.float32), transform=transform, crs_wkt=self.crs.to_wkt())

    # --- reading --------------------------------------------------------------------------------------------

    def _gradients(self, first_row: int, first_col: int, end_row: int, end_col: int) -> GradientTile | None:
        """Read a rectangle of analysis cells with one cell around it, and return its ground gradients."""
        if end_row <= first_row or end_col <= first_col:
            return None
        rows, cols = self._analysis_shape
        halo = (max(first_row - 1, 0), max(first_col - 1, 0), min(end_row + 1, rows), min(end_col + 1, cols))
        factor = self._factor
        window = Window(halo[1] * factor, halo[0] * factor, (halo[3] - halo[1]) * factor, (halo[2] - halo[0]) * factor)
        heights = block_average(self._heights(window), factor)
        dz_dcol, dz_drow = horn_gradient(heights)
        inner = (
            slice(first_row - halo[0], end_row - halo[0]),
            slice(first_col - halo[1], end_col - halo[1]),
        )
        steps, lat = self._steps(first_row, end_row, (first_col + end_col) / 2)
        east, north = steps.gradient(dz_dcol[inner], dz_drow[inner])
        per_row = (lat[1, 0] - lat[0, 0]) / max(1, end_row - first_row - 1)
        per_col = (lat[0, 3] - lat[0, 4]) / 8
        return GradientTile(
            first_row=first_row,
            first_col=first_col,
            east=east,
            north=north,
            steps=steps,
            lat_deg=float(lat[0, 0] - per_col * ((end_col - first_col) / 2 - 0.5)),
            lat_per_row_deg=float(per_row),
            lat_per_col_deg=float(per_col),
        )
