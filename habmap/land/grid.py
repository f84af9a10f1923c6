"""The property's own equal-area grid, in which every acre of record is measured."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Proj, Transformer
from shapely.geometry.base import BaseGeometry

AnyGeometry = TypeVar("AnyGeometry", bound=BaseGeometry)


@dataclass(frozen=True, slots=True)
class LocalGrid:
    """A Lambert azimuthal equal-area grid on WGS 84, metres, centred on the property.

    Attributes
    ----------
    lat, lon
        Centre of the grid, WGS 84 [°]. Fixed when the first geometry is loaded and never recomputed, so that an
        acre measured this year is the same acre in ten years.

    Notes
    -----
    Areas are exact anywhere on such a grid (Snyder 1987, USGS Professional Paper 1395, chapter 24); within 20 km of the
    centre lengths and angles are true to about 1 part in 400,000.
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
        """Return a lon/lat geometry (WGS 84, degrees) in grid metres; vertices are turned one by one, none added."""
        return _turned(geometry, _transformers(self)[0])

    def to_lonlat(self, geometry: AnyGeometry) -> AnyGeometry:
        """Return a grid geometry (metres) in lon/lat (WGS 84, degrees), such that `to_grid` gives it back."""
        forward, inverse = _transformers(self)

        def turn(xy: NDArray[np.float64]) -> NDArray[np.float64]:
            x, y = xy[:, 0], xy[:, 1]
            lon, lat = inverse.transform(x, y)
            # PROJ's inverse takes the latitude from a short series and misses by about a millimetre, except at the
            # centre itself: without this step ground saved and read again would not fit its neighbour.
            back_x, back_y = forward.transform(lon, lat)
            return np.column_stack(inverse.transform(2 * x - back_x, 2 * y - back_y))

        return shapely.transform(geometry, turn)

    def convergence_deg(self, lon: float, lat: float) -> float:
        """Return the grid's convergence at a WGS 84 point: a true bearing is a grid bearing plus this angle [°]."""
        return float(Proj(self.crs).get_factors(lon, lat).meridian_convergence)


@lru_cache(maxsize=8)
def _transformers(grid: LocalGrid) -> tuple[Transformer, Transformer]:
    lonlat = CRS.from_epsg(4326)
    return (
        Transformer.from_crs(lonlat, grid.crs, always_xy=True),
        Transformer.from_crs(grid.crs, lonlat, always_xy=True),
    )


def _turned(geometry: AnyGeometry, transformer: Transformer) -> AnyGeometry:
    def turn(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        x, y = transformer.transform(xy[:, 0], xy[:, 1])
        return np.column_stack([x, y])

    return shapely.transform(geometry, turn)
