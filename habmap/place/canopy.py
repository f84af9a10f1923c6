"""Rasters of canopy height above the ground: read by windows around units, never whole."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import ClassVar

import shapely
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from habmap.land.cover import CoverSums, cover_sums
from habmap.land.grid import LocalGrid
from habmap.land.shares import is_too_coarse
from habmap.measures import VerticalUnit
from habmap.place.groundraster import GroundRaster, open_source
from habmap.records import CanopySource, Unit
from habmap.work.density_records import UnitCanopy


@contextmanager
def open_canopy(path: Path, *, vertical_unit: VerticalUnit | None) -> Iterator[Canopy]:
    """Open a raster of canopy heights above the ground.

    Parameters
    ----------
    path
        Any raster file that GDAL reads.
    vertical_unit
        Unit of the heights as the person said it; ``None``: take it from the file.

    Raises
    ------
    InputError
        There is no such file, it is no raster of heights with a place on Earth, its datum cannot be turned to WGS 84
        closely enough, or nobody said what unit the heights have.
    """
    with open_source(path, kind="a raster of canopy heights") as source:
        yield Canopy(source, path, vertical_unit=vertical_unit, analysis_cell_m="native")


class Canopy(GroundRaster):
    """An open raster of canopy heights, used on its own cells. Made by :func:`open_canopy`."""

    thing: ClassVar[str] = "canopy"
    #: The tallest tree known stands 116 m; rasters made by subtraction dip some meters below the ground.
    plausible_m: ClassVar[tuple[float, float]] = (-30.0, 130.0)

    def cover(self, polygons: Sequence[BaseGeometry], *, limit_m: float) -> list[CoverSums]:
        """Sum the ground of each polygon whose canopy is at or above a height.

        Parameters
        ----------
        polygons
            WGS 84 lon/lat, valid, with vertices close enough that it does not matter in which projection an edge is
            straight.
        limit_m
            Height from which ground counts as covered [m].
        """
        sums = [CoverSums() for _ in polygons]
        outlines = self._in_cells(polygons)
        for (tile_row, tile_col), members in sorted(self._tiles(shapely.bounds(outlines)).items()):
            reach = shapely.total_bounds(outlines[members])
            first_row, first_col, end_row, end_col = self._tile_window(tile_row, tile_col, reach)
            if end_row <= first_row or end_col <= first_col:
                continue
            steps, *_ = self._steps(first_row, end_row, (first_col + end_col) / 2)
            pieces = cover_sums(
                self._heights(Window(first_col, first_row, end_col - first_col, end_row - first_row)),
                [shapely.to_wkb(outlines[i]) for i in members],
                first_row=first_row,
                first_col=first_col,
                cell_m2=steps.cell_m2,
                limit_m=limit_m,
            )
            for i, piece in zip(members, pieces, strict=True):
                sums[i] += piece
        self._judge_heights()
        return sums


def canopy_of_units(
    source: CanopySource | None, units: Sequence[Unit], *, grid: LocalGrid | None, limit_m: float
) -> tuple[dict[str, UnitCanopy], tuple[str, ...]]:
    """Measure the canopy of units by ``unit_id``; units off the raster are left out, as all are without a raster.

    Parameters
    ----------
    limit_m
        Height from which ground counts as covered [m].

    Returns
    -------
    canopy, warnings

    Raises
    ------
    InputError
        The raster that the place names is gone or unreadable.
    """
    if source is None or grid is None or not units:
        return {}, ()
    outlines = [unit.geometry for unit in units]
    shapes = list(grid.to_grid(shapely.GeometryCollection(outlines)).geoms)
    with open_canopy(Path(source.path), vertical_unit=source.vertical_unit) as raster:
        told_at_loading, cell_m = set(raster.warnings), raster.cell_m
        sums = raster.cover(grid.dense_edges(outlines), limit_m=limit_m)
        warnings = tuple(words for words in raster.warnings if words not in told_at_loading)
    return {
        unit.unit_id: UnitCanopy(
            canopy_pct=total.canopy_pct,
            coverage_pct=total.coverage_pct(unit_m2=shape.area),
            too_coarse=is_too_coarse(shape, cell_m=cell_m),
        )
        for unit, total, shape in zip(units, sums, shapes, strict=True)
        if total.canopy_pct is not None
    }, warnings
