"""A raster of heights on the ground: opened with every doubt settled, and cut into tiles around polygons."""

from __future__ import annotations

import math
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, ClassVar, Final, Literal

import numpy as np
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import Transformer
from pyproj.enums import TransformDirection
from rasterio.errors import NotGeoreferencedWarning
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.land.datum import horizontal_crs, transformer_to_wgs84
from habmap.land.pieces import Outlines
from habmap.land.terrain import Floats, GroundSteps, block_factor, metres_per_degree
from habmap.measures import M_PER_VERTICAL_UNIT, VerticalUnit
from habmap.place.drivers import open_raster
from habmap.place.rasterfile import StoredBand, applied, checked_crs, raster_bounds, read_heights, subgrid
from habmap.place.userfiles import check_readable, quiet_raster_log
from habmap.place.vertical import file_vertical_unit
from habmap.place.zonework import outlines_of

#: GDAL's block cache [MB]; its own default, 5% of memory, lets a big raster fill it.
CACHE_MB: Final = 64
#: Most source cells in one read, and widest ground in one tile [m] (within it one column stands for true north).
READ_CELLS: Final = 1_500_000
TILE_M: Final = 2_000.0

Bounds = tuple[float, float, float, float]


def as_window(cells: tuple[int, int, int, int]) -> Window:
    """Return first row, first column, end row and end column as the raster library wants them."""
    first_row, first_col, end_row, end_col = cells
    return Window(first_col, first_row, end_col - first_col, end_row - first_row)


#: Side to which a window is averaged where only the presence of heights is asked for [cells].
SEARCH_CELLS: Final = 256


@contextmanager
def open_source(path: Path, *, kind: str) -> Iterator[Any]:
    """Open a raster file; ``kind`` says in words what it should be, for the error.

    It is looked at anew each time it is opened, the one that a place points at too: what lies there may have changed.

    Raises
    ------
    InputError
        There is no such file, it is no raster, or it names other files or addresses.
    """
    # A raster may be a folder in some formats; everything else is looked at before GDAL opens it.
    is_folder = False
    with suppress(OSError):  # a name too long
        is_folder = path.is_dir()
    if not is_folder:
        check_readable(path)
    with (
        rasterio.Env(GDAL_CACHEMAX=CACHE_MB, GTIFF_REPORT_COMPD_CS=True),
        warnings.catch_warnings(),
        quiet_raster_log(),
    ):
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # refused later, in our own words
        with open_raster(path, what=kind) as source:
            yield source


class GroundRaster:
    """An open raster of heights.

    Attributes
    ----------
    path, crs, bounds
        The file, its horizontal coordinate system, and ``left, bottom, right, top`` in it.
    vertical_unit
        Unit of the heights.
    cell_m, analysis_cell_m
        Side of a cell on the ground in the raster's middle (geometric mean of its sides), as stored and as used [m].
    warnings
        What a person should know about how the file was taken.
    thing, plausible_m
        What has the heights, in one word, and the lowest and highest that it can have [m].
    """

    thing: ClassVar[str]
    plausible_m: ClassVar[tuple[float, float]]

    def __init__(
        self,
        source: Any,
        path: Path,
        *,
        vertical_unit: VerticalUnit | None,
        analysis_cell_m: float | Literal["native"],
    ) -> None:
        self._source = source
        self._band = StoredBand.of(source)
        self.path = path
        self.warnings: list[str] = []
        whole_crs = checked_crs(source, path)
        self.crs = horizontal_crs(whole_crs)
        self.bounds: Bounds = raster_bounds(source)
        self._to_lonlat: Transformer = transformer_to_wgs84(self.crs, bounds=self.bounds, where=str(path))
        if source.count > 1:
            self.warnings.append(f"{path.name} has {source.count} bands; the first one is taken as the heights")
        self.vertical_unit, unit_warning = file_vertical_unit(
            source.units[0], whole_crs, said=vertical_unit, where=str(path)
        )
        if unit_warning:
            self.warnings.append(unit_warning)
        self._m_per_height = M_PER_VERTICAL_UNIT[self.vertical_unit]
        self.cell_m = self._cell_m()
        self._factor = block_factor(self.cell_m, analysis_cell_m)
        self.analysis_cell_m = self._factor * self.cell_m
        self._low_m, self._high_m = math.inf, -math.inf
        self._lock = threading.Lock()

    @property
    def crs_name(self) -> str:
        """Name people know the horizontal coordinate system by, with its code where it has one."""
        code = self.crs.to_authority(min_confidence=100)
        return f"{self.crs.name} ({':'.join(code)})" if code else self.crs.name

    @property
    def files(self) -> tuple[Path, ...]:
        """The raster's file and its side files, the raster first; none where it is a folder, or a list of other files
        that it would not find any more from another folder.
        """
        if self._source.driver == "VRT" or not self.path.is_file():
            return ()
        others = [Path(name) for name in self._source.files]
        return (self.path, *(file for file in others if file.is_file() and file.resolve() != self.path.resolve()))

    def touches(self, polygons: Sequence[BaseGeometry]) -> NDArray[np.bool_]:
        """Tell which lon/lat polygons have any ground inside the raster's rectangle."""
        rows, cols = self._analysis_shape
        return np.asarray(shapely.intersects(self._in_cells(polygons), shapely.box(0, -rows, cols, 0)), dtype=np.bool_)

    def any_heights(self, polygons: Sequence[BaseGeometry]) -> bool:
        """Tell whether there is a height in the box around any lon/lat polygon; the first one found ends the search.

        Raises
        ------
        InputError
            The file breaks off there.
        """
        is_found = False
        for left, bottom, right, top in shapely.bounds(self._in_cells(polygons)) * self._factor:
            if not left < right:
                continue
            first_col, first_row = max(0, math.floor(left)), max(0, math.floor(-top))
            width = min(self._source.width, math.ceil(right)) - first_col
            height = min(self._source.height, math.ceil(-bottom)) - first_row
            if width <= 0 or height <= 0:
                continue
            shape = (min(height, SEARCH_CELLS), min(width, SEARCH_CELLS))
            window = Window(first_col, first_row, width, height)
            if np.isfinite(self._heights(window, shape=shape)).any():
                is_found = True
                break
        self._judge_heights()
        return is_found

    def cell_of(self, lonlat: Floats) -> Floats:
        """Return column and row in analysis cells of lon/lat points, shape ``(points, 2)``; NaN where there is none."""
        points: Any = shapely.points(lonlat)
        cells, number = shapely.get_coordinates(self._in_cells(points), return_index=True)
        found = np.full((len(lonlat), 2), np.nan)
        found[number] = cells * [1, -1]
        return found

    @property
    def analysis_shape(self) -> tuple[int, int]:
        """Rows and columns of analysis cells."""
        return self._analysis_shape

    # --- where things lie -----------------------------------------------------------------------------------

    @property
    def _analysis_shape(self) -> tuple[int, int]:
        return self._source.height // self._factor, self._source.width // self._factor

    @property
    def _analysis_transform(self) -> Affine:
        return subgrid(self._source.transform, wide=self._factor, high=self._factor)

    def _turned(self, lonlat: Floats) -> Floats:
        """Return lon/lat points in analysis cells, shape ``(points, 2)``: x = column, y = −row."""
        to_cell = ~self._analysis_transform
        middle_x = (self.bounds[0] + self.bounds[2]) / 2

        x, y = self._to_lonlat.transform(lonlat[:, 0], lonlat[:, 1], direction=TransformDirection.INVERSE)
        if self.crs.is_geographic:
            # Rasters may count longitude from 0 to 360, or lie across the date line.
            x = x + 360 * np.round((middle_x - x) / 360)
        col, row = applied(to_cell, x, y)
        return np.column_stack([col, -row])

    def _in_cells(self, polygons: Sequence[BaseGeometry]) -> NDArray[np.object_]:
        """Return lon/lat polygons in analysis cells: x = column, y = −row."""
        turned: NDArray[np.object_] = shapely.transform(np.array(polygons, dtype=object), self._turned)
        bounds = shapely.bounds(turned)
        # A place that the raster's projection cannot show lies off the raster; an empty outline says so.
        turned[~np.isfinite(bounds).all(axis=1)] = shapely.MultiPolygon()
        return turned

    def _outlines(self, polygons: Sequence[BaseGeometry]) -> Outlines:
        """Return lon/lat polygons as rings in analysis cells."""
        return outlines_of(np.array(polygons, dtype=object), self._turned)

    @property
    def _tile_cells(self) -> int:
        """Side of a tile in analysis cells: bounded on the ground, and in source cells read at once."""
        by_ground = max(TILE_M / self.analysis_cell_m, 16)
        by_memory = math.sqrt(READ_CELLS) / self._factor
        return max(1, int(min(by_ground, by_memory)))

    def _tiles(self, bounds: Floats) -> dict[tuple[int, int], list[int]]:
        """Return which outlines reach into which tile. Tiles in order follow the file's own rows."""
        rows, cols = self._analysis_shape
        side = self._tile_cells
        tiles: dict[tuple[int, int], list[int]] = {}
        for i, (left, bottom, right, top) in enumerate(bounds):
            if not right > 0 or not left < cols or not -bottom > 0 or not -top < rows:
                continue
            row_range = range(int(max(-top, 0) // side), int(min(-bottom, rows - 1) // side) + 1)
            col_range = range(int(max(left, 0) // side), int(min(right, cols - 1) // side) + 1)
            for tile_row in row_range:
                for tile_col in col_range:
                    tiles.setdefault((tile_row, tile_col), []).append(i)
        return tiles

    def _tile_window(self, tile_row: int, tile_col: int, reach: Floats) -> tuple[int, int, int, int]:
        """Return first row, first column, end row and end column of a tile's part that outlines reach [cells]."""
        rows, cols = self._analysis_shape
        side = self._tile_cells
        left, bottom, right, top = reach
        return (
            max(tile_row * side, math.floor(max(-top, 0))),
            max(tile_col * side, math.floor(max(left, 0))),
            min((tile_row + 1) * side, rows, math.ceil(-bottom)),
            min((tile_col + 1) * side, cols, math.ceil(right)),
        )

    def _steps(self, first_row: float, end_row: float, col: float) -> tuple[GroundSteps, Floats, float]:
        """Return ground steps for every row between two, measured around a column, both ends' latitudes and a column's.

        The steps come from WGS 84 positions a few cells to each side; between the two end rows they change so evenly
        that a straight line is within 2e-8 over a tile.
        """
        count = max(1, round(end_row - first_row))
        rows = np.array([first_row + 0.5, end_row - 0.5])
        *ends, lat, per_col = self._steps_at(rows, np.array([col, col]))
        share = (np.arange(count) / max(1, count - 1))[:, None]
        return GroundSteps(*(end[0] + (end[1] - end[0]) * share for end in ends)), lat, float(per_col[0])

    def _steps_at(self, row: Floats, col: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
        """Return the ground steps at places in the grid of analysis cells, their latitudes, and the change a column.

        In the order of the fields of `GroundSteps` [m]; the latitude and its change [°].
        """
        reach = 4.0
        at_col = np.array([0, reach, -reach, 0, 0])
        at_row = np.array([0, 0, 0, reach, -reach])
        x, y = applied(self._analysis_transform, col[:, None] + at_col, row[:, None] + at_row)
        lon, lat = (np.asarray(values) for values in self._to_lonlat.transform(x, y))
        east_per_deg, north_per_deg = metres_per_degree(lat[:, 0])

        def along(values: Floats, plus: int, minus: int) -> Floats:
            return ((values[:, plus] - values[:, minus] + 180) % 360 - 180) / (2 * reach)

        per_col = along(lat, 1, 2)
        return (
            along(lon, 1, 2) * east_per_deg,
            per_col * north_per_deg,
            along(lon, 3, 4) * east_per_deg,
            along(lat, 3, 4) * north_per_deg,
            lat[:, 0],
            (lat[:, 1] - lat[:, 2]) / (2 * reach),
        )

    def _cell_m(self) -> float:
        middle = self._source.height / 2
        self._factor = 1
        with np.errstate(all="ignore"):  # what is no number is refused here
            steps, *_ = self._steps(middle - 0.5, middle + 0.5, self._source.width / 2)
            cell_m = math.sqrt(float(steps.cell_m2[0, 0]))
        if not math.isfinite(cell_m) or cell_m <= 0:
            raise InputError(
                "this raster's cells have no size on the ground",
                where=str(self.path),
                value=tuple(self._source.transform)[:6],
                mend="check its coordinate system and its position",
            )
        return cell_m

    # --- reading --------------------------------------------------------------------------------------------

    @property
    def _stored_type(self) -> np.dtype[Any]:
        """Type of the heights as `_heights` gives them."""
        stored = self._band.dtype
        is_scaled = (self._band.scale * self._m_per_height, self._band.offset) != (1.0, 0.0)
        return stored if stored.kind == "f" and not is_scaled else np.dtype(np.float64)

    def _heights(
        self,
        window: Window,
        *,
        shape: tuple[int, int] | None = None,
        source: Any = None,
        room: NDArray[np.floating[Any]] | None = None,
    ) -> NDArray[np.floating[Any]]:
        """Read a window of heights [m], from another open copy of the file, and into room for it, where given."""
        heights_m, low_m, high_m = read_heights(
            source or self._source,
            window,
            band=self._band,
            m_per_height=self._m_per_height,
            shape=shape,
            room=room,
            where=str(self.path),
        )
        if not math.isnan(low_m):
            with self._lock:
                self._low_m, self._high_m = min(self._low_m, low_m), max(self._high_m, high_m)
        lowest_m, highest_m = self.plausible_m
        if low_m < lowest_m or high_m > highest_m:
            heights_m = np.where((heights_m < lowest_m) | (heights_m > highest_m), np.nan, heights_m)
        return heights_m

    def _judge_heights(self) -> None:
        low_m, high_m = self.plausible_m
        if self._low_m < low_m or self._high_m > high_m:
            self.warnings.append(
                f"{self.path.name} holds heights from {self._low_m:,.0f} to {self._high_m:,.0f} m, which no "
                f"{self.thing} has; such cells are left out: check its vertical unit and its nodata value"
            )
