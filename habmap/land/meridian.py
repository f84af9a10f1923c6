"""Outlines beside and across the 180° meridian: one outline, wherever its longitudes are counted from.

Three forms are kept apart. *Running on*: each outline whole, its west edge from −180 up to 180, and past 180 where it
crosses (179.998 … 180.002); so it stands in the store, every vertex as given, for a shift by a whole turn loses no bit
there. *Near*: moved by whole turns to lie beside a longitude, the center of the property's grid; so everything here
works, and two units on both sides are neighbors. *Cut*: at ±180, as RFC 7946 wants it; so it leaves for others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import GeometryCollection, LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

AnyGeometry = TypeVar("AnyGeometry", bound=BaseGeometry)

#: How far past ±180 longitudes may run on in a file [°]: islands and coasts lie there, and no property is wider.
RUNS_ON_DEG: Final = 10.0
#: Vertices this close to ±180 lie on it: a tenth of a millimeter, far above rounding [°].
_ON_LINE_DEG: Final = 1e-9


def near(geometry: AnyGeometry, lon: float) -> AnyGeometry:
    """Return a lon/lat geometry [°] moved by whole turns so that its middle lies within 180° of a longitude."""
    if geometry.is_empty:
        return geometry
    west, _south, east, _north = geometry.bounds
    return _moved(geometry, round((lon - (west + east) / 2) / 360))


def running_on(geometry: AnyGeometry) -> AnyGeometry:
    """Return a lon/lat geometry [°] moved by whole turns so that its west edge lies from −180 up to 180."""
    if geometry.is_empty:
        return geometry
    return _moved(geometry, -math.floor((geometry.bounds[0] + 180) / 360))


def middle_lon(geometry: BaseGeometry) -> float:
    """Return the middle of a geometry's longitudes, as they are counted in it [°]."""
    west, _south, east, _north = geometry.bounds
    return float((west + east) / 2)


def unwound(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return lon/lat vertices [°], shape (n, 2), each moved by whole turns to within 180° of the first."""
    turns = np.round((xy[0, 0] - xy[:, 0]) / 360)
    return np.column_stack([xy[:, 0] + 360 * turns, xy[:, 1]]) if turns.any() else xy


def joined(geometry: BaseGeometry) -> BaseGeometry:
    """Return a shape that was cut at ±180 (RFC 7946, section 3.1.9) as one that runs on past 180 [°].

    Only a shape with parts that end on 180 and others that begin on −180 is touched. Its parts to the east are moved a
    turn on; polygons that then share their cut become one, lines that meet there are drawn through.
    """
    if geometry.is_empty:
        return geometry
    parts = shapely.get_parts(geometry)
    bounds = shapely.bounds(parts)
    begins, ends = bounds[:, 0] <= -180 + _ON_LINE_DEG, bounds[:, 2] >= 180 - _ON_LINE_DEG
    if parts.size < 2 or not begins.any() or not ends.any() or (begins & ends).any():
        return geometry

    def on_line(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack([np.where(np.abs(xy[:, 0] - 180) <= _ON_LINE_DEG, 180.0, xy[:, 0]), xy[:, 1]])

    is_east = bounds[:, 2] < 0
    whole = [shapely.transform(_moved(part, int(east)), on_line) for part, east in zip(parts, is_east, strict=True)]
    at_cut = begins | ends
    cut = [part for part, is_at in zip(whole, at_cut, strict=True) if is_at]
    rest = [part for part, is_at in zip(whole, at_cut, strict=True) if not is_at]
    if all(part.geom_type == "Polygon" and part.is_valid for part in cut):
        cut = list(shapely.get_parts(shapely.union_all(cut)))
    elif all(part.geom_type == "LineString" for part in cut):
        cut = list(shapely.get_parts(shapely.line_merge(shapely.multilinestrings(cut))))
    return _together([*cut, *rest])


def cut(geometry: BaseGeometry) -> BaseGeometry:
    """Return a lon/lat geometry [°] with all longitudes from −180 to 180, cut at ±180 where it crosses (RFC 7946).

    Notes
    -----
    The cut's ends lie where the outline's edges, straight in degrees, meet the meridian; the acre of record has them
    straight in the grid, a difference of less than a millimeter for edges up to 200 m.
    """
    whole = running_on(geometry)
    if whole.is_empty or whole.bounds[2] <= 180:
        return whole
    dimensions = shapely.get_dimensions(whole)
    _west, south, _east, north = whole.bounds
    sides = [
        shapely.intersection(whole, shapely.box(west, south - 1, west + 360, north + 1)) for west in (-180.0, 180.0)
    ]
    parts = [
        part
        for turn, side in zip((0, -1), sides, strict=True)
        for part in shapely.get_parts(_moved(side, turn))
        if shapely.get_dimensions(part) == dimensions
    ]
    return _together(parts)


def _together(parts: Sequence[BaseGeometry]) -> BaseGeometry:
    if len(parts) == 1:
        return parts[0]
    polygons = [part for part in parts if isinstance(part, Polygon)]
    if len(polygons) == len(parts):
        return MultiPolygon(polygons)
    lines = [part for part in parts if isinstance(part, LineString)]
    return MultiLineString(lines) if len(lines) == len(parts) else GeometryCollection(list(parts))


def _moved(geometry: AnyGeometry, turns: int) -> AnyGeometry:
    return shapely.transform(geometry, lambda xy: xy + np.array([360.0 * turns, 0.0])) if turns else geometry
