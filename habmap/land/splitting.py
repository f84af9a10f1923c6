"""Cutting one outline in two or more along a line or around a polygon, in the property's grid [m]."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.land.acreage import merged


def divided(shape: BaseGeometry, by: BaseGeometry) -> tuple[MultiPolygon, ...]:
    """Return the pieces of ground that a line or polygon cuts an outline into.

    Parameters
    ----------
    shape
        Valid polygons [m].
    by
        Lines that cross it, or polygons that cover part of it [m].

    Returns
    -------
    tuple of MultiPolygon
        By a line: every piece that it cuts off, from west to east; parts of the outline that it does not cross stay
        with the largest. By a polygon: what lies in it, then the rest. One piece alone where nothing is cut.

    Notes
    -----
    All edges are noded once and polygonized, so that the pieces share their corners and add up to the whole.
    """
    edges = shapely.boundary(by) if shapely.get_dimensions(by) == 2 else by
    net = shapely.union_all([shapely.boundary(shape), edges])
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(net)))
    inner = shapely.point_on_surface(faces)
    faces, inner = (found[shapely.contains(shape, inner)] for found in (faces, inner))
    if shapely.get_dimensions(by) == 2:
        is_in = shapely.contains(by, inner)
        sides = [faces[is_in], faces[~is_in]]
        return tuple(_whole(list(side)) for side in sides if side.size)
    parts = shapely.get_parts(shape)
    owner = [int(np.argmax(shapely.contains(parts, point))) for point in inner]
    is_cut = np.array([owner.count(part) > 1 for part in owner], dtype=bool)
    if not is_cut.any():
        return (_whole(list(faces)),)
    cut = sorted(faces[is_cut], key=lambda face: (face.centroid.x, face.centroid.y))
    largest = max(range(len(cut)), key=lambda index: float(cut[index].area))
    return tuple(_whole([face, *faces[~is_cut]] if index == largest else [face]) for index, face in enumerate(cut))


def stops_inside_m(shape: BaseGeometry, line: BaseGeometry) -> float | None:
    """Return how far from the outline's edge the ends of lines stop inside it, at most [m]; ``None``: none does."""
    ends = [Point(end) for part in shapely.get_parts(line) for end in (part.coords[0], part.coords[-1])]
    edge = shapely.boundary(shape)
    inside = [float(shapely.distance(end, edge)) for end in ends if shapely.contains(shape, end)]
    return max(inside, default=None)


def _whole(faces: list[Polygon]) -> MultiPolygon:
    joined = merged(faces)
    return joined if isinstance(joined, MultiPolygon) else MultiPolygon([joined])
