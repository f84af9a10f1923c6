"""One raster file: what it must be before its numbers are taken for heights, and how they are read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS
from rasterio.enums import ColorInterp, MaskFlags, Resampling
from rasterio.errors import RasterioError
from rasterio.windows import Window

from habmap.errors import InputError
from habmap.land.datum import horizontal_crs
from habmap.land.terrain import Floats


def checked_crs(source: Any, path: Path) -> CRS:
    """Return the raster's coordinate system, refusing rasters that hold no heights at a known place."""
    if source.count == 0 or np.dtype(source.dtypes[0]).kind not in "iuf":
        raise InputError(
            "this raster has no band of heights",
            where=str(path),
            value=f"{source.count} bands" if source.count == 0 else source.dtypes[0],
            allowed="one band of whole or decimal numbers",
            mend="save the elevation as a single-band GeoTIFF",
        )
    if source.colorinterp[0] in {ColorInterp.palette, ColorInterp.red}:
        raise InputError(
            "this raster is a picture: its numbers are colors, not heights",
            where=str(path),
            value=f"first band: {source.colorinterp[0].name}",
            allowed="one band of heights",
            mend="get the elevation itself, not a shaded or colored image of it",
        )
    if source.crs is None:
        raise InputError(
            "this raster does not say in which coordinate system it lies",
            where=str(path),
            allowed="a raster with a coordinate system (CRS)",
            mend="find out from where you got it which one it is, and save it with that",
        )
    crs = CRS.from_user_input(source.crs.to_wkt())
    flat = horizontal_crs(crs)
    if not (flat.is_geographic or flat.is_projected):
        raise InputError(
            "this raster's coordinate system has no known place on Earth",
            where=str(path),
            value=crs.name,
            allowed="longitude and latitude, or a map projection",
            mend="save it in a system such as UTM, or EPSG:4326",
        )
    if source.transform.is_identity or source.transform.determinant == 0:
        raise InputError(
            "this raster does not say where on Earth its cells lie",
            where=str(path),
            allowed="a position in the file, or in a world file beside it",
            mend="copy its side files (.tfw, .aux.xml) too, or save it as GeoTIFF with its position",
        )
    return crs


#: No height is this large; what is, stands for "no data".
STRANGE: Final = 1e30


@dataclass(frozen=True, slots=True)
class StoredBand:
    """What a raster file says of its first band: asked once, since a library asks for all bands each time."""

    dtype: np.dtype[Any]
    scale: float
    offset: float
    nodata: float | None
    flags: tuple[MaskFlags, ...]

    @classmethod
    def of(cls, source: Any) -> StoredBand:
        """Ask an open rasterio dataset."""
        return cls(
            np.dtype(source.dtypes[0]), source.scales[0], source.offsets[0], source.nodata,
            tuple(source.mask_flag_enums[0]),
        )  # fmt: skip


def read_heights(
    source: Any,
    window: Window,
    *,
    band: StoredBand,
    m_per_height: float,
    shape: tuple[int, int] | None = None,
    room: NDArray[np.floating[Any]] | None = None,
    where: str,
) -> tuple[NDArray[np.floating[Any]], float, float]:
    """Read a window of heights in meters, NaN where there is none; with the lowest and the highest of them.

    Parameters
    ----------
    source
        Open rasterio dataset; its first band is read, its own scale and offset applied.
    window
        Part of the raster, inside it.
    band
        What the file says of that band.
    m_per_height
        Meters in one unit of the heights.
    shape
        Rows and columns to average the window to; ``None``: as stored.
    room
        Where the window may be put, if it lies in the file in that kind of numbers.
    where
        The file, for the error.

    Raises
    ------
    InputError
        The file breaks off or is damaged.
    """
    options: dict[str, Any] = {"window": window}
    if shape and shape != (window.height, window.width):
        options |= {"out_shape": shape, "resampling": Resampling.average}
    try:
        fits = room is not None and room.dtype == band.dtype
        stored = source.read(1, out=room if fits else None, **options)
        low, high = _span(stored)
        is_hole = _holes(source, band, stored, low, high, options)
    except RasterioError as error:
        raise InputError(
            "the raster cannot be read to its end",
            where=where,
            value=error.__cause__ or error,
            mend="look whether the copy is complete, and copy it again",
        ) from error
    # float32 stays as it is: sums run in float64 later, and turning here would double what one read holds.
    heights: NDArray[np.floating[Any]] = stored if stored.dtype.kind == "f" else stored.astype(np.float64)
    scale, offset = band.scale * m_per_height, band.offset * m_per_height
    if (scale, offset) != (1.0, 0.0):
        heights = heights.astype(np.float64) * scale + offset
        low, high = _span(heights)
    if is_hole is None and low > -STRANGE and high < STRANGE:
        return heights, low, high
    # NaN, infinity, and the lowest and highest float that some programs write for "no data" without saying so.
    is_strange = ~(np.abs(heights) < STRANGE)
    heights = np.where(is_strange if is_hole is None else is_hole | is_strange, np.nan, heights)
    return heights, float(np.fmin.reduce(heights, axis=None)), float(np.fmax.reduce(heights, axis=None))


def _span(values: NDArray[Any]) -> tuple[float, float]:
    """Return the lowest and the highest value, in two quick passes that carry a NaN on."""
    return float(values.min()), float(values.max())


def _holes(
    source: Any, band: StoredBand, stored: NDArray[Any], low: float, high: float, options: dict[str, Any]
) -> NDArray[np.bool_] | None:
    """Return where a band's mask or nodata value says that there is no height; ``None``: it says so nowhere."""
    if MaskFlags.all_valid in band.flags:
        return None
    nodata = band.nodata
    if band.flags == (MaskFlags.nodata,) and nodata is not None:
        # By hand: asking GDAL for the mask would decode every block a second time.
        if math.isnan(nodata):
            return np.asarray(np.isnan(stored), dtype=np.bool_)
        if nodata < low - abs(nodata) / 2 or nodata > high + abs(nodata) / 2:
            return None  # far from every value there is, and so a NaN is left to the caller
        if stored.dtype.kind == "f":
            # A nodata value written in decimals need not be the stored float to the last bit.
            return np.asarray(np.abs(stored - nodata) <= 4 * np.finfo(stored.dtype).eps * abs(nodata), dtype=np.bool_)
        return np.asarray(stored == nodata, dtype=np.bool_)
    return np.asarray(source.read_masks(1, **{**options, "resampling": Resampling.nearest}) == 0, dtype=np.bool_)


def raster_bounds(source: Any) -> tuple[float, float, float, float]:
    """Return left, bottom, right and top of a raster's rectangle, turned or not, in its own coordinate system."""
    cols = np.array([0, source.width, 0, source.width])
    rows = np.array([0, 0, source.height, source.height])
    x, y = applied(source.transform, cols, rows)
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def applied(transform: Affine, first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    """Apply an affine transform to arrays of coordinates."""
    u, v = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    return transform.a * u + transform.b * v + transform.c, transform.d * u + transform.e * v + transform.f


def subgrid(transform: Affine, *, col: float = 0.0, row: float = 0.0, wide: float = 1.0, high: float = 1.0) -> Affine:
    """Return the transform of a grid that starts at a cell of another and whose cells are that many of its cells.

    Written out because affine 3 warns of ``*`` and affine 2 has no ``@``.
    """
    x, y = applied(transform, col, row)
    return Affine(transform.a * wide, transform.b * high, float(x), transform.d * wide, transform.e * high, float(y))
