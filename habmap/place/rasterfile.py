"""What a raster file must be before its numbers are taken for heights at a place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import ArrayLike
from pyproj import CRS

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
