"""Elevation rasters: read by windows around units, never whole."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar, Literal, TypeAlias

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.land.terrain import Floats, block_average, horn_gradient
from habmap.land.zones import FaceRules, GradientTile, ZoneSums, tile_sums
from habmap.measures import VerticalUnit
from habmap.place.groundraster import Bounds, GroundRaster, Progress, open_source
from habmap.place.rasterfile import applied, subgrid
from habmap.work.terrain import DemInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class CoarseHeights:
    """Averaged heights for a picture: metres, NaN where not valid, and where they lie."""

    heights_m: NDArray[np.float32]
    transform: Affine
    crs_wkt: str


#: A rectangle of analysis cells: first row, first column, end row, end column.
CellWindow: TypeAlias = tuple[int, int, int, int]


def _is_empty(window: CellWindow) -> bool:
    return window[2] <= window[0] or window[3] <= window[1]


@dataclass(frozen=True, slots=True)
class _Rise:
    """Rise of the ground from cell to cell [m], of a rectangle whose first row and column these are."""

    first_row: int
    first_col: int
    dz_dcol: Floats
    dz_drow: Floats


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

    def info(self, path: Path | None = None) -> DemInfo:
        """Return what is said of the raster; ``path``: of a copy that lies there."""
        return DemInfo(
            path=str(path or self.path), crs=self.crs_name, cell_m=self.cell_m, analysis_cell_m=self.analysis_cell_m,
            vertical_unit=self.vertical_unit,
        )  # fmt: skip

    def bounds_lonlat(self) -> Bounds:
        """Return west, south, east, north of the whole raster, WGS 84 [°]."""
        from rasterio.warp import transform_bounds

        west, south, east, north = transform_bounds(self._source.crs, "EPSG:4326", *self._source.bounds)
        return west, south, east, north

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
        return self.zone_sums_of([polygons], rules=rules, progress=progress)[0]

    def zone_sums_of(
        self,
        sets: Sequence[Sequence[BaseGeometry]],
        *,
        rules: FaceRules,
        progress: Progress | None = None,
    ) -> list[list[ZoneSums]]:
        """Sum the terrain under several sets of polygons in one pass: for each what `zone_sums` gives, to the bit."""
        sums = [[ZoneSums() for _ in polygons] for polygons in sets]
        for own, members, tile, outlines_wkb in self._tiles_of(sets, progress=progress):
            pieces = tile_sums(tile, outlines_wkb, rules=rules)
            for i, piece in zip(members, pieces, strict=True):
                if piece.covered_m2:
                    sums[own][i] = sums[own][i] + piece if sums[own][i].covered_m2 else piece
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
        for _, members, tile, outlines_wkb in self._tiles_of([polygons], progress=progress):
            yield members, tile, outlines_wkb

    def _tiles_of(
        self, sets: Sequence[Sequence[BaseGeometry]], *, progress: Progress | None
    ) -> Iterator[tuple[int, list[int], GradientTile, list[bytes]]]:
        """Yield `gradient_tiles` of several sets of polygons, the number of the set first; heights are read once."""
        outlines = [self._in_cells(polygons) for polygons in sets]
        tiles = [self._tiles(shapely.bounds(own)) for own in outlines]
        places = sorted({place for own in tiles for place in own})
        for done, place in enumerate(places):
            if progress:
                progress(done / len(places), "reading the elevation")
            windows = {
                number: self._tile_window(*place, shapely.total_bounds(outlines[number][own[place]]))
                for number, own in enumerate(tiles)
                if place in own
            }
            windows = {number: window for number, window in windows.items() if not _is_empty(window)}
            if not windows:
                continue
            first_rows, first_cols, end_rows, end_cols = zip(*windows.values(), strict=True)
            rise = self._rise((min(first_rows), min(first_cols), max(end_rows), max(end_cols)))
            for number, window in windows.items():
                members = tiles[number][place]
                tile = self._gradients(rise, window)
                yield number, members, tile, [shapely.to_wkb(outlines[number][i]) for i in members]
        self._judge_heights()
        if progress:
            progress(1.0, "reading the elevation")

    def steep_ground(self, polygon: BaseGeometry, *, above_pct: float) -> list[BaseGeometry]:
        """Return the outlines of the analysis cells around a polygon whose slope is above a limit (lon/lat [°]).

        Parameters
        ----------
        polygon
            WGS 84 lon/lat, valid.
        above_pct
            Limit, 100 × rise/run [%].
        """
        from rasterio.features import shapes

        to_source = self._analysis_transform

        def turn(cells: Floats) -> Floats:
            x, y = applied(to_source, cells[:, 0], cells[:, 1])
            return np.column_stack(self._to_lonlat.transform(x, y))

        found: list[BaseGeometry] = []
        for _, tile, _ in self.gradient_tiles([polygon]):
            is_steep = 100 * np.hypot(tile.east, tile.north) > above_pct
            at_tile = Affine.translation(tile.first_col, tile.first_row)
            outlines = shapes(is_steep.astype(np.uint8), mask=is_steep, transform=at_tile)
            found += [shapely.transform(shapely.geometry.shape(outline), turn) for outline, _ in outlines]
        return found

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

    def _rise(self, window: CellWindow) -> _Rise:
        """Read a rectangle of analysis cells with one cell around it, and return its rise from cell to cell."""
        first_row, first_col, end_row, end_col = window
        rows, cols = self._analysis_shape
        halo = (max(first_row - 1, 0), max(first_col - 1, 0), min(end_row + 1, rows), min(end_col + 1, cols))
        factor = self._factor
        read = Window(halo[1] * factor, halo[0] * factor, (halo[3] - halo[1]) * factor, (halo[2] - halo[0]) * factor)
        return _Rise(halo[0], halo[1], *horn_gradient(block_average(self._heights(read), factor)))

    def _gradients(self, rise: _Rise, window: CellWindow) -> GradientTile:
        """Return the ground gradients of a rectangle of analysis cells inside what was read."""
        first_row, first_col, end_row, end_col = window
        inner = (
            slice(first_row - rise.first_row, end_row - rise.first_row),
            slice(first_col - rise.first_col, end_col - rise.first_col),
        )
        steps, lat = self._steps(first_row, end_row, (first_col + end_col) / 2)
        east, north = steps.gradient(rise.dz_dcol[inner], rise.dz_drow[inner])
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
