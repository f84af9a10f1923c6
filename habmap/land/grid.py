"""The property's own equal-area grid, in which every acre of record is measured."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Final, TypeVar, cast

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Proj, Transformer
from shapely.geometry.base import BaseGeometry

from habmap.land.meridian import middle_lon, near
from habmap.memory import remembered

AnyGeometry = TypeVar("AnyGeometry", bound=BaseGeometry)

#: A grid's center is rounded to this [°], about a kilometer: it stands in files and pages, and must tell of no place.
CENTER_STEP_DEG: Final = 0.01
#: The center keeps at least this far from the middle of what was loaded first [m].
CENTER_KEEPS_OFF_M: Final = 300.0
#: Longest straight edge before it is turned to another projection [m]: it bows by less than 1 mm there.
EDGE_M: Final = 100.0
#: Rough length of a degree of latitude, for that distance alone [m].
_M_PER_DEG: Final = 111_000.0


@dataclass(frozen=True, slots=True)
class LocalGrid:
    """A Lambert azimuthal equal-area grid on WGS 84, meters, centered on the property.

    Attributes
    ----------
    lat, lon
        Center of the grid, WGS 84 [°]. Fixed when the first geometry is loaded and never recomputed, so that an
        acre measured this year is the same acre in ten years.

    Notes
    -----
    Areas are exact anywhere on such a grid (Snyder 1987, USGS Professional Paper 1395, chapter 24); within 20 km of the
    center lengths and angles are true to about 1 part in 400,000.
    """

    lat: float
    lon: float

    @property
    def crs(self) -> CRS:
        """The grid as a coordinate reference system."""
        return CRS.from_proj4(
            f"+proj=laea +lat_0={self.lat!r} +lon_0={self.lon!r} +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs"
        )

    def to_grid(self, geometry: AnyGeometry) -> AnyGeometry:
        """Return a lon/lat geometry (WGS 84, degrees) in grid meters; vertices are turned one by one, none added."""
        return _turned(self, geometry, to_lonlat=False)

    def each_to_grid(self, shapes: Iterable[BaseGeometry]) -> list[BaseGeometry]:
        """Return what `to_grid` gives for each of many shapes; those turned before are found quickly."""
        return [_turned_wkb(self, wkb) for wkb in wkbs(shapes)]

    def to_lonlat(self, geometry: AnyGeometry) -> AnyGeometry:
        """Return a grid geometry (meters) in lon/lat (WGS 84, degrees), such that `to_grid` gives it back.

        Longitudes are counted near the grid's center, past ±180 where an outline crosses it.
        """
        return _turned(self, geometry, to_lonlat=True)

    def to_lonlat_densely(self, shapes: Iterable[BaseGeometry]) -> list[BaseGeometry]:
        """Return grid geometries in lon/lat with vertices so close that their edges stay straight in the grid."""
        return list(self.to_lonlat(shapely.segmentize(shapely.GeometryCollection(list(shapes)), EDGE_M)).geoms)

    def dense_edges(self, geometries: Iterable[BaseGeometry]) -> list[BaseGeometry]:
        """Return lon/lat geometries with extra vertices along edges that are straight in the grid."""
        return self.to_lonlat_densely(self.to_grid(shapely.GeometryCollection(list(geometries))).geoms)

    def convergence_deg(self, lon: float, lat: float) -> float:
        """Return the grid's convergence at a WGS 84 point: a true bearing is a grid bearing plus this angle [°]."""
        return float(Proj(self.crs).get_factors(lon, lat).meridian_convergence)


def grid_around(shapes: Iterable[BaseGeometry]) -> LocalGrid:
    """Return the equal-area grid for lon/lat shapes [°], its center near their middle but on no place of theirs.

    Notes
    -----
    The center is a round number (``CENTER_STEP_DEG``) at least ``CENTER_KEEPS_OFF_M`` from the middle: where the first
    thing loaded is a nest or a grave, the center would else be that very place, and it stands in the public page. Areas
    are exact anywhere on such a grid; a kilometer off the center bends a kilometer's edge by less than 0.01 mm.
    """
    drawn = [shape for shape in shapes if not shape.is_empty]
    beside = middle_lon(drawn[0])
    west, south, east, north = (float(side) for side in shapely.total_bounds([near(shape, beside) for shape in drawn]))
    middle_lat, lon = (south + north) / 2, (west + east) / 2
    per_deg = round(1 / CENTER_STEP_DEG)
    center_lat, center_lon = round(middle_lat * per_deg), round(lon * per_deg)
    off_north_m = (center_lat / per_deg - middle_lat) * _M_PER_DEG
    off_east_m = (center_lon / per_deg - lon) * _M_PER_DEG * math.cos(math.radians(middle_lat))
    if math.hypot(off_north_m, off_east_m) < CENTER_KEEPS_OFF_M:
        center_lat -= int(math.copysign(1, center_lat))  # one step toward the equator: never past a pole
    turns = math.floor((center_lon / per_deg + 180) / 360)
    return LocalGrid(lat=center_lat / per_deg, lon=(center_lon - 360 * per_deg * turns) / per_deg)


@lru_cache(maxsize=8)
def _transformers(grid: LocalGrid) -> tuple[Transformer, Transformer]:
    lonlat = CRS.from_epsg(4326)
    return (
        Transformer.from_crs(lonlat, grid.crs, always_xy=True),
        Transformer.from_crs(grid.crs, lonlat, always_xy=True),
    )


def _turned(grid: LocalGrid, geometry: AnyGeometry, *, to_lonlat: bool) -> AnyGeometry:
    if isinstance(geometry, BaseGeometry):
        return cast("AnyGeometry", _turned_shape(grid, geometry, to_lonlat))
    return shapely.transform(geometry, partial(_lonlat if to_lonlat else _planar, grid))  # an array of shapes


@remembered
def _turned_shape(grid: LocalGrid, shape: BaseGeometry, to_lonlat: bool) -> BaseGeometry:
    return shapely.transform(shape, partial(_lonlat if to_lonlat else _planar, grid))


@remembered
def _turned_wkb(grid: LocalGrid, wkb: bytes) -> BaseGeometry:
    return _turned_shape(grid, shapely.from_wkb(wkb), to_lonlat=False)


def wkbs(shapes: Iterable[BaseGeometry]) -> list[bytes]:
    """Return shapes as WKB: as a key it is hashed and compared far quicker than a geometry, and as exact."""
    found: list[bytes] = shapely.to_wkb(np.array([*shapes], dtype=object)).tolist()
    return found


def _planar(grid: LocalGrid, lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.column_stack(_transformers(grid)[0].transform(lonlat[:, 0], lonlat[:, 1]))


def _lonlat(grid: LocalGrid, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    forward, inverse = _transformers(grid)
    x, y = xy[:, 0], xy[:, 1]
    lon, lat = inverse.transform(x, y)
    # PROJ's inverse takes the latitude from a short series and misses by about a millimeter, except at the
    # center itself: without this step ground saved and read again would not fit its neighbor.
    back_x, back_y = forward.transform(lon, lat)
    lon, lat = inverse.transform(2 * x - back_x, 2 * y - back_y)
    return np.column_stack([lon + 360 * np.round((grid.lon - lon) / 360), lat])
