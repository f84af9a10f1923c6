"""Elevation rasters: read by windows around units, never whole."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, ClassVar, Literal, TypeAlias

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.land.facerules import FaceRules
from habmap.land.pieces import SPARE_COLS, Outlines, Pieces, PieceSums
from habmap.land.suncells import SunCells
from habmap.land.terrain import Floats, block_average, horn_gradient
from habmap.land.zones import GradientTile, Ints, ZonePieces
from habmap.measures import VerticalUnit
from habmap.place.blocks import Blocks
from habmap.place.groundraster import Bounds, GroundRaster, as_window, open_source
from habmap.place.rasterfile import applied, subgrid
from habmap.place.zonework import Cut, Way, adding, do_each, get_ready, spread, summing, threads_here, way_for
from habmap.progress import Progress, Share
from habmap.records import ElevationSource
from habmap.work.terrain import DemInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class CoarseHeights:
    """Averaged heights for a picture: meters, NaN where not valid, and where they lie."""

    heights_m: NDArray[np.float32]
    transform: Affine
    crs_wkt: str


#: A rectangle of analysis cells: first row, first column, end row, end column.
CellWindow: TypeAlias = tuple[int, int, int, int]
Heights: TypeAlias = NDArray[np.floating[Any]]


def _on_parabolas(at: Floats) -> Floats:
    """Return how much values at 0, ½ and 1 weigh in the one at a place between, one more axis after the first."""
    return np.stack([(2 * at - 1) * (at - 1), 4 * at * (1 - at), at * (2 * at - 1)], axis=1)


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


def open_named(
    source: ElevationSource, *, analysis_cell_m: float | Literal["native"] = "native"
) -> AbstractContextManager[Elevation]:
    """Open the elevation that a place names; else as `open_elevation`."""
    return open_elevation(Path(source.path), vertical_unit=source.vertical_unit, analysis_cell_m=analysis_cell_m)


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

    def zone_table(
        self,
        polygons: Sequence[BaseGeometry],
        *,
        rules: FaceRules,
        progress: Progress | None = None,
        threads: int | None = None,
        way: Way | None = None,
    ) -> ZonePieces:
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
        threads
            How many read at once; ``None``: as many as there are processors.
        way
            The plain way or the compiled one; ``None``: whichever is quicker. The sums are the same.
        """
        return self.zone_tables([polygons], rules=rules, progress=progress, threads=threads, way=way)[0]

    def zone_tables(
        self,
        sets: Sequence[Sequence[BaseGeometry]],
        *,
        rules: FaceRules,
        progress: Progress | None = None,
        threads: int | None = None,
        way: Way | None = None,
    ) -> list[ZonePieces]:
        """Sum the terrain under several sets of polygons in one pass: for each what `zone_table` gives, to the bit."""
        counts = [len(polygons) for polygons in sets]
        if way != "plain":
            get_ready(sum(counts))
        outlines = self._outlines([polygon for polygons in sets for polygon in polygons])
        cut = Cut.of(outlines.bounds, side=self._tile_cells, shape=self._analysis_shape)
        way = way or way_for(cut)
        sums = self._sums_of(cut, outlines, rules=rules, progress=progress, threads=threads, way=way)
        self._judge_heights()
        found = ZonePieces.of(sums, count=sum(counts), adding=adding(way), do_each=partial(do_each, threads=threads))
        ends = list(itertools.accumulate(counts, initial=0))
        return [found.part(first, end) for first, end in itertools.pairwise(ends)]

    def _sums_of(
        self,
        cut: Cut,
        outlines: Outlines,
        *,
        rules: FaceRules,
        progress: Progress | None,
        threads: int | None,
        way: Way,
    ) -> list[tuple[Ints, PieceSums]]:
        blocks = Blocks(
            height=self._source.height,
            width=self._source.width,
            block=tuple(self._source.block_shapes[0]),
            dtype=self._stored_type,
        )
        side = self._tile_cells
        tasks = cut.by_tile(band_tiles=blocks.band_cols(side * self._factor) // (side * self._factor))

        reaches = {own.start: cut.reach(own) for own in tasks}
        for reach in reaches.values():
            blocks.expect(self._stored_window(reach))

        def prepared() -> tuple[Floats, Floats, Callable[..., PieceSums]]:
            return *self._corners(cut), summing(way)

        def begin(source: Any, own: slice) -> tuple[Heights, tuple[int, int]]:
            return self._around(reaches[own.start], source, blocks)

        def finish(own: slice, around: tuple[Heights, tuple[int, int]], ready: Any) -> tuple[Ints, PieceSums]:
            steps, latitudes, sums_of = ready
            pieces = Pieces(cut.owners[own], cut.windows[own], steps[own], latitudes[own])
            return pieces.owners, sums_of(*around, outlines, pieces, rules=rules)

        def done(count: int) -> None:
            if progress and tasks:
                progress(Share(done=count, count=len(tasks), what="tiles of elevation"))

        found = spread(
            tasks, begin, finish, self._source, self._another_source,
            prepared=prepared, threads=threads_here() if threads is None else threads, done=done,
        )  # fmt: skip
        done(len(tasks))
        # Pieces are added in the order of the tiles' rows, whatever order they were done in.
        return [found[at] for at in sorted(range(len(tasks)), key=lambda at: tasks[at].start)]

    def _another_source(self) -> AbstractContextManager[Any]:
        return open_source(self.path, kind="an elevation raster")

    def _corners(self, cut: Cut) -> tuple[Floats, Floats]:
        """Return the ground steps and the latitudes of pieces, as `habmap.land.pieces.Pieces` has them.

        Each tile's are measured at three by three places, and run between these on parabolas: within 1e-12 of those
        measured at each corner, which would take longer than all the rest.
        """
        windows, side = cut.windows, self._tile_cells
        tiles, tile_of = cut.tiles[cut.begins_tile], np.cumsum(cut.begins_tile) - 1
        lasts = np.minimum((tiles + 1) * side, self._analysis_shape) - 1
        # Places in a tile count from 0, its first cell's middle, to 1, its last one's.
        thirds = [tiles * side + 0.5 + (lasts - tiles * side) * third for third in (0.0, 0.5, 1.0)]
        known = np.array([
            np.column_stack(self._steps_at(row[:, 0], col[:, 1])[:5]) for row in thirds for col in thirds
        ])  # fmt: skip
        wide = np.maximum(1, lasts - tiles * side)[tile_of]
        ends = np.stack([windows[:, :2], windows[:, 2:] - 1]) - tiles[tile_of] * side
        weights = _on_parabolas(ends / wide)
        of_pieces = known.reshape(3, 3, len(tiles), 5)[:, :, tile_of]
        by_row = np.einsum("eip,ijpq->ejpq", weights[..., 0], of_pieces)
        corners = np.einsum("fjp,ejpq->pefq", weights[..., 1], by_row)
        steps = np.ascontiguousarray(corners[..., :4])
        first, right, below = corners[:, 0, 0, 4], corners[:, 0, 1, 4], corners[:, 1, 0, 4]
        per_row = (below - first) / np.maximum(1, windows[:, 2] - windows[:, 0] - 1)
        per_col = (right - first) / np.maximum(1, windows[:, 3] - windows[:, 1] - 1)
        rad = np.radians(first)
        return steps, np.column_stack([first, per_row, per_col, np.sin(rad), np.cos(rad)])

    def _around(self, reach: CellWindow, source: Any, blocks: Blocks) -> tuple[Heights, tuple[int, int]]:
        """Return the heights of a rectangle of cells as `plain_sums` wants them, and their first cell."""
        first_row, first_col, end_row, end_col = reach
        factor = self._factor
        kind = self._stored_type if factor == 1 else np.float64
        heights_m = np.empty((end_row - first_row + 2, end_col - first_col + 2 + SPARE_COLS), dtype=kind)
        top, left, bottom, right = self._with_edge(reach)
        high = slice(top - first_row + 1, bottom - first_row + 1)
        wide = slice(left - first_col + 1, right - first_col + 1)
        for beyond in (
            heights_m[: high.start],
            heights_m[high.stop :],
            heights_m[:, : wide.start],
            heights_m[:, wide.stop :],
        ):
            beyond[:] = np.nan
        inner = heights_m[high, wide]
        window = self._stored_window(reach)

        def decode(block: CellWindow, room: Heights | None) -> Heights:
            return self._heights(as_window(block), source=source, room=room)

        if factor == 1:
            blocks.read(window, decode, out=inner)
        else:
            stored = np.empty((window[2] - window[0], window[3] - window[1]), dtype=self._stored_type)
            blocks.read(window, decode, out=stored)
            inner[:] = block_average(stored, factor)
        return heights_m, (first_row - 1, first_col - 1)

    def gradient_tiles(self, polygons: Sequence[BaseGeometry]) -> Iterator[tuple[list[int], GradientTile, list[bytes]]]:
        """Yield the ground's gradients tile by tile: which polygons reach into it, the tile, and their outlines.

        Parameters
        ----------
        polygons
            As for `zone_sums`.

        Yields
        ------
        members, tile, outlines_wkb
            Numbers of the polygons, and their outlines in cell coordinates as `habmap.land.zones.tile_sums` wants them.
        """
        outlines = self._in_cells(polygons)
        tiles = sorted(self._tiles(shapely.bounds(outlines)).items())
        for place, members in tiles:
            window = self._tile_window(*place, shapely.total_bounds(outlines[members]))
            if _is_empty(window):
                continue
            tile = self._gradients(self._rise(window), window)
            yield members, tile, [shapely.to_wkb(outlines[i]) for i in members]
        self._judge_heights()

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

    def sun_shares(
        self, polygon: BaseGeometry, *, rules: FaceRules
    ) -> Callable[[NDArray[np.object_]], NDArray[np.float64]]:
        """Read the ground around a polygon once, and return what tells how much of outlines inside it is sun-facing.

        Parameters
        ----------
        polygon
            WGS 84 lon/lat, valid.
        rules
            What counts as flat and as sun-facing.

        Returns
        -------
        callable
            Of an array of lon/lat outlines their shares, 0–1; only while the raster is open. They differ from those of
            `zone_table` by rounding: good for a choice between outlines, not to be told.
        """
        cells = SunCells.of((tile for _, tile, _ in self.gradient_tiles([polygon])), rules)
        return lambda outlines: cells.shares(self._outlines(list(outlines)))

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
        halo = self._with_edge(window)
        factor = self._factor
        read = as_window((halo[0] * factor, halo[1] * factor, halo[2] * factor, halo[3] * factor))
        return _Rise(halo[0], halo[1], *horn_gradient(block_average(self._heights(read), factor)))

    def _with_edge(self, window: CellWindow) -> CellWindow:
        """Return a rectangle of analysis cells with one cell around it where the raster has one."""
        rows, cols = self._analysis_shape
        return max(window[0] - 1, 0), max(window[1] - 1, 0), min(window[2] + 1, rows), min(window[3] + 1, cols)

    def _stored_window(self, reach: CellWindow) -> CellWindow:
        """Return the same in cells as they are stored."""
        top, left, bottom, right = (side * self._factor for side in self._with_edge(reach))
        return top, left, bottom, right

    def _gradients(self, rise: _Rise, window: CellWindow) -> GradientTile:
        """Return the ground gradients of a rectangle of analysis cells inside what was read."""
        first_row, first_col, end_row, end_col = window
        inner = (
            slice(first_row - rise.first_row, end_row - rise.first_row),
            slice(first_col - rise.first_col, end_col - rise.first_col),
        )
        steps, lat, per_col = self._steps(first_row, end_row, (first_col + end_col) / 2)
        east, north = steps.gradient(rise.dz_dcol[inner], rise.dz_drow[inner])
        per_row = (lat[1] - lat[0]) / max(1, end_row - first_row - 1)
        return GradientTile(
            first_row=first_row,
            first_col=first_col,
            east=east,
            north=north,
            steps=steps,
            lat_deg=float(lat[0] - per_col * ((end_col - first_col) / 2 - 0.5)),
            lat_per_row_deg=float(per_row),
            lat_per_col_deg=per_col,
        )
