"""Exact shares of raster cells inside polygons."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import shapely
from exactextract import exact_extract
from exactextract.feature import Feature, FeatureSource
from exactextract.raster import NumPyRasterSource
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

#: Fewer cells than this under a polygon, and one more or less moves a share by over 3 points. Chosen, no source.
FEW_CELLS: Final = 30
#: A cell wider than this share of a polygon's breadth: slope is taken over three cells in a row (Horn 1981), and then
#: mostly over ground outside. Chosen, no source.
WIDE_CELL_FRAC: Final = 0.25

#: A circle inside ground has at least about area ÷ edge as its radius, but for what corners that point inward add;
#: with so much room to spare that need not be looked at.
BROAD: Final = 2.0

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def is_too_coarse(outline: BaseGeometry, *, cell_m: float) -> bool:
    """Tell whether cells are too coarse for a polygon: too few lie on it, or they are too wide for its breadth.

    Parameters
    ----------
    outline
        Planar polygon [m]. Its breadth is that of the largest circle inside it.
    cell_m
        Side of a cell [m].
    """
    return bool(are_too_coarse(np.array([outline], dtype=object), cell_m=cell_m).item())


def are_too_coarse(outlines: NDArray[np.object_], *, cell_m: float) -> NDArray[np.bool_]:
    """Tell of each of many polygons what `is_too_coarse` tells of one."""
    area, length = shapely.area(outlines), shapely.length(outlines)
    found = area < FEW_CELLS * cell_m**2
    # the quick answer for most: the circle is wider than the area over the edge's length
    at = np.flatnonzero(~found & ~(WIDE_CELL_FRAC * 2 * area > BROAD * cell_m * length))
    # nor need it be looked for where one around the middle is wide enough already
    middles = shapely.centroid(outlines[at])
    reach = np.where(
        shapely.covers(outlines[at], middles), shapely.distance(middles, shapely.boundary(outlines[at])), 0.0
    )
    step = cell_m / 100
    at = at[~(cell_m < WIDE_CELL_FRAC * 2 * (reach - step))]
    radii = shapely.length(shapely.maximum_inscribed_circle(outlines[at], step))
    found[at] = cell_m > WIDE_CELL_FRAC * 2 * radii
    return np.asarray(found, dtype=np.bool_)


def cell_shares(
    values: NDArray[np.floating[Any]], polygons_wkb: Sequence[bytes], *, first_row: int, first_col: int
) -> tuple[Ints, Floats, Ints]:
    """Return cell numbers within a tile, the share of each inside a polygon, and the polygon's number.

    Parameters
    ----------
    values
        The tile, shape ``(rows, cols)``; cells that are NaN are left out.
    polygons_wkb
        Polygons in cell coordinates: x = column, y = −row of the whole raster. Parts outside the tile are left out.
    first_row, first_col
        Place of the tile in the raster.
    """
    rows, cols = values.shape
    left, top = first_col, -first_row
    source = NumPyRasterSource(values, left, top - rows, left + cols, top)
    found = exact_extract(source, _Polygons(polygons_wkb), ["cell_id", "coverage"])
    properties = [piece["properties"] for piece in found]
    cells = np.concatenate([np.asarray(piece["cell_id"], dtype=np.int64) for piece in properties])
    shares = np.concatenate([np.asarray(piece["coverage"], dtype=np.float64) for piece in properties])
    owners = np.repeat(np.arange(len(properties)), [len(piece["cell_id"]) for piece in properties])
    is_valid = np.isfinite(values.ravel()[cells]) & (shares > 0)
    return cells[is_valid], shares[is_valid], owners[is_valid]


class _Polygon(Feature):  # type: ignore[misc]
    """One polygon as the library wants it, from WKB: half the time of GeoJSON."""

    def __init__(self, wkb: bytes) -> None:
        super().__init__()
        self._wkb = wkb
        self._values: dict[str, Any] = {}

    def geometry(self) -> bytes:
        return self._wkb

    def get(self, name: str) -> Any:
        return self._values[name]

    def set(self, name: str, value: Any) -> None:
        self._values[name] = value


class _Polygons(FeatureSource):  # type: ignore[misc]
    def __init__(self, polygons_wkb: Sequence[bytes]) -> None:
        super().__init__()
        self._polygons_wkb = polygons_wkb

    def count(self) -> int:
        return len(self._polygons_wkb)

    def __iter__(self) -> Iterator[_Polygon]:
        return iter([_Polygon(wkb) for wkb in self._polygons_wkb])

    def srs_wkt(self) -> None:
        return None
