"""Where the invented property lies: a local frame in meters that points to true north, and its way to the map."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Proj, Transformer
from shapely.geometry.base import BaseGeometry

EPSG = 26914  # NAD83 / UTM zone 14N
#: Center of the local frame, WGS 84 [°]: rolling tallgrass country, nobody's farm in particular.
CENTRE_LON, CENTRE_LAT = -96.318, 37.062
CENTRE_X_M, CENTRE_Y_M = 600.0, 560.0

AnyGeometry = TypeVar("AnyGeometry", bound=BaseGeometry)
Floats = NDArray[np.float64]

_to_utm = Transformer.from_crs(4326, EPSG, always_xy=True)
_to_lonlat = Transformer.from_crs(EPSG, 4326, always_xy=True)
_E0, _N0 = _to_utm.transform(CENTRE_LON, CENTRE_LAT)
_TURN = math.radians(Proj(f"EPSG:{EPSG}").get_factors(CENTRE_LON, CENTRE_LAT).meridian_convergence)


def to_utm(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Turn local meters (x east, y true north) into easting and northing."""
    dx, dy = x - CENTRE_X_M, y - CENTRE_Y_M
    return (
        _E0 + dx * math.cos(_TURN) - dy * math.sin(_TURN),
        _N0 + dx * math.sin(_TURN) + dy * math.cos(_TURN),
    )


def from_utm(east: Floats, north: Floats) -> tuple[Floats, Floats]:
    """Turn easting and northing into local meters."""
    de, dn = east - _E0, north - _N0
    return (
        CENTRE_X_M + de * math.cos(_TURN) + dn * math.sin(_TURN),
        CENTRE_Y_M - de * math.sin(_TURN) + dn * math.cos(_TURN),
    )


def lonlat(geometry: AnyGeometry, *, digits: int = 8) -> AnyGeometry:
    """Turn a local geometry into lon/lat, rounded (8 digits: a millimeter), so that shared vertices stay shared."""

    def turn(xy: Floats) -> Floats:
        east, north = to_utm(xy[:, 0], xy[:, 1])
        return np.round(np.column_stack(_to_lonlat.transform(east, north)), digits)

    return shapely.transform(geometry, turn)  # type: ignore[no-any-return]
