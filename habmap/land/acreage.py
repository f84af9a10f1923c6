"""Acres: planar areas of record, their geodesic check, outlines cut into pieces, and what is wrong with one."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Geod
from shapely import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from habmap.errors import InputError
from habmap.land.grid import LocalGrid
from habmap.measures import acres
from habmap.memory import remembered

#: Pieces of a unit or patch add up to its area within this.
_CLOSES_WITHIN_M2: Final = 1e-6
#: Digits that the noding grid leaves to coordinates: a double holds nearly 16.
_GRID_DIGITS: Final = 14
#: Half the breadth of necks and slots that no outline needs [m], the least that works first.
HAIRS_M: Final = (0.0, 0.005, 0.01, 0.02)
#: A piece smaller than this is left over from an overlay [m²].
SLIVER_M2: Final = 0.01

_WGS84: Final = Geod(ellps="WGS84")


@dataclass(frozen=True, slots=True)
class Piece:
    """A face of the net that all edges make together.

    Attributes
    ----------
    geometry
        The face, grid meters.
    units, patches
        Positions, rising, of the units and patches that it lies in; empty where it lies in none.
    area_m2
        Its planar area [m²].
    """

    geometry: Polygon
    units: tuple[int, ...]
    patches: tuple[int, ...]
    area_m2: float


def area_of_record_m2(lonlat: BaseGeometry, *, grid: LocalGrid) -> float:
    """Return the planar area [m²] of a WGS 84 lon/lat outline in the property's equal-area grid.

    The outline is taken as given: each vertex is turned into the grid, none is added, moved or dropped, and edges are
    straight in the grid.
    """
    return float(shapely.area(grid.to_grid(lonlat)))


def geodesic_area_m2(lonlat: Polygon | MultiPolygon) -> float:
    """Return the area [m²] of a WGS 84 lon/lat outline on the ellipsoid, its edges geodesics.

    This checks the area of record: for units up to about 2 km across the two agree within 1e-6 of the area.

    Raises
    ------
    InputError
        The outline crosses itself: such a ring has no area (a figure-eight would come out as nought).

    References
    ----------
    Karney 2013, J. Geodesy 87:43-55, doi 10.1007/s00190-012-0578-z (through PROJ).
    """
    if not shapely.is_valid(lonlat):
        raise InputError(
            "this outline has no area that can be told",
            value=shapely.is_valid_reason(lonlat),
            allowed="a ring that does not cross itself",
            mend="redraw it, or load it with --repair",
            where="the outline",
        )
    # Holes must run against their shell, or the ellipsoid's area adds them instead of taking them away.
    turned = [shapely.orient_polygons(part) for part in shapely.get_parts(lonlat)]
    return float(sum(_WGS84.geometry_area_perimeter(part)[0] for part in turned))


def multipolygon(geometry: BaseGeometry, *, least_m2: float = 0.0) -> MultiPolygon:
    """Return the polygons of a grid geometry larger than a limit [m²], outer rings counter-clockwise."""
    parts = [part for part in shapely.get_parts(geometry) if isinstance(part, Polygon) and part.area > least_m2]
    return MultiPolygon([orient(part) for part in parts])


def tellable(ground: BaseGeometry, *, grid: LocalGrid) -> MultiPolygon:
    """Return ground in lon/lat [°] whose outline stays valid there and when it is turned back.

    Parameters
    ----------
    ground
        Ground in grid meters, such as an overlay leaves: its edges may touch within less than the turn there and back.

    Raises
    ------
    InputError
        No part of it is wider than a few hairs.

    Notes
    -----
    Necks and slots narrower than twice a hair are opened and closed with mitred corners, which puts straight edges back
    where they were; a hair grows from 5 mm to 2 cm (neighbors may overlap by 5 cm) until the outline holds.
    """
    for hair_m in HAIRS_M:
        opened = ground.buffer(-hair_m, join_style="mitre").buffer(2 * hair_m, join_style="mitre")
        told = opened.buffer(-hair_m, join_style="mitre")
        parts = multipolygon(told, least_m2=SLIVER_M2)
        if parts.is_empty:
            break
        lonlat = grid.to_lonlat(parts)
        if lonlat.is_valid and grid.to_grid(lonlat).is_valid:
            return lonlat
    raise InputError(
        "this outline crosses itself within a hair, or nothing of it is wider than one",
        value=f"{acres(ground.area):.4f} acres",
        mend="trace it with fewer fixes, or draw the outline anew",
        where="the outline",
    )


def pieces(units: Sequence[BaseGeometry], patches: Sequence[BaseGeometry]) -> tuple[Piece, ...]:
    """Cut all ground along all edges at once and tell which units and patches each piece lies in.

    Parameters
    ----------
    units, patches
        Valid planar polygons or multipolygons [m]; patches may overlap each other and reach out of the units.

    Returns
    -------
    tuple of Piece
        Every face that lies in a unit or a patch, however thin.

    Notes
    -----
    All edges are noded in one pass on a grid of about a ten-billionth of a meter, and polygonized; each face is
    labeled by a point inside it. Overlaying patch after patch gathers error and time instead, and a millimeter grid
    breaks closure. Noding without any grid is not enough: where outlines nearly coincide, as when ground is exported,
    rounded and logged again, it leaves edges that cross between nodes, and faces are lost whole (in one random trial
    in eight). Every shape's faces are added up and compared with its area; should they not agree, a coarser grid is
    tried. Shapes whose bounds do not meet are cut apart from each other, each group around its own middle: the fewer
    digits the coordinates need, the finer the grid, so that closure does not suffer from ground far away.

    Neighbors drawn apart by a hair (``HAIR_WIDTH_M``) overlap in thin pieces that lie in both units. Such a piece
    counts for each, so that the pieces of every unit add up to its outline as given within 1e-6 m². Inserting the
    neighbor's vertices would move the acre of record by more than that.
    """
    shapes = np.asarray([*units, *patches], dtype=object)
    count = len(units)
    found = []
    # Part by part: one day's work may lie in two far corners.
    parts, owners = shapely.get_parts(shapes, return_index=True)
    for members in groups_apart(parts):
        net = _net(parts[members])
        holders: defaultdict[int, list[int]] = defaultdict(list)
        for face, shape in zip(net.face_index.tolist(), net.shape_index.tolist(), strict=True):
            holders[face].append(int(owners[members[shape]]))
        for face in sorted(holders):
            inside = sorted(holders[face])
            found.append(
                Piece(
                    net.faces[face],
                    tuple(shape for shape in inside if shape < count),
                    tuple(shape - count for shape in inside if shape >= count),
                    float(net.area_m2[face]),
                )
            )
    return tuple(found)


def merged(ground: Sequence[Polygon | MultiPolygon]) -> Polygon | MultiPolygon:
    """Join pieces of one call of `pieces`, or what was joined of some, into one geometry [m]."""
    return _merged(tuple(ground))


@remembered
def _merged(ground: tuple[Polygon | MultiPolygon, ...]) -> Polygon | MultiPolygon:
    if len(ground) == 1:
        return ground[0]
    faces = shapely.get_parts(np.array(ground, dtype=object)).tolist()
    try:
        # Pieces share noded edges and do not overlap, which is what this fast way asks for.
        joined = shapely.coverage_union_all(faces)
    except shapely.GEOSException:
        # Faces thinner than the noding grid can fold over each other.
        joined = shapely.union_all(faces)
    if not joined.is_valid:
        joined = shapely.union_all(faces)
    polygons = [part for part in shapely.get_parts(joined) if isinstance(part, Polygon)]
    return polygons[0] if len(polygons) == 1 else MultiPolygon(polygons or faces)


@dataclass(frozen=True, slots=True)
class _Net:
    """Faces and their areas; which shape holds which face, as two lists side by side; how far the sums are off."""

    faces: NDArray[np.object_]
    area_m2: NDArray[np.float64]
    shape_index: NDArray[np.intp]
    face_index: NDArray[np.intp]
    off_m2: float


def groups_apart(shapes: NDArray[np.object_]) -> list[NDArray[np.intp]]:
    """Tell shapes apart whose bounds do not meet, straight or through others; positions rising in each group."""
    leader = list(range(shapes.size))

    def head(index: int) -> int:
        while leader[index] != index:
            leader[index] = leader[leader[index]]
            index = leader[index]
        return index

    first, second = shapely.STRtree(shapes).query(shapes)
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        one, other = head(a), head(b)
        leader[max(one, other)] = min(one, other)
    groups: defaultdict[int, list[int]] = defaultdict(list)
    for index in range(shapes.size):
        groups[head(index)].append(index)
    return [np.array(members, dtype=np.intp) for members in groups.values()]


def _net(shapes: NDArray[np.object_]) -> _Net:
    west, south, east, north = shapely.total_bounds(shapes)
    # Whole meters, so that taking them away rounds nothing.
    middle = np.round([(west + east) / 2, (south + north) / 2])
    near = shapely.transform(shapes, lambda xy: xy - middle)
    edges = shapely.get_parts(shapely.boundary(near))
    reach_m = max(east - west, north - south) / 2 + 1
    finest_m = 10.0 ** (math.ceil(math.log10(reach_m)) - _GRID_DIGITS)
    best: _Net | None = None
    for grid_m in (finest_m, 10 * finest_m, 100 * finest_m):
        net = _noded(near, edges, grid_m=grid_m)
        if best is None or net.off_m2 < best.off_m2:
            best = net
        if best.off_m2 <= _CLOSES_WITHIN_M2:
            break
    assert best is not None
    return replace(best, faces=shapely.transform(best.faces, lambda xy: xy + middle))


def _noded(shapes: NDArray[np.object_], edges: NDArray[np.object_], *, grid_m: float) -> _Net:
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.union_all(edges, grid_size=grid_m))))
    # The tree holds the points and the polygons ask: so each polygon, not each point, is prepared once.
    tree = shapely.STRtree(shapely.point_on_surface(faces))
    shape_index, face_index = tree.query(shapes, predicate="contains")
    area_m2 = shapely.area(faces)
    sums_m2 = np.bincount(shape_index, weights=area_m2[face_index], minlength=shapes.size)
    return _Net(faces, area_m2, shape_index, face_index, float(np.abs(sums_m2 - shapely.area(shapes)).max()))


# --- one outline cut in two or more -------------------------------------------------------------------------


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


# --- what is wrong with one ---------------------------------------------------------------------------------


_REASONS: Final = {
    "Self-intersection": "the outline crosses itself",
    "Ring Self-intersection": "the outline touches or crosses itself",
    "Nested shells": "one part of the outline lies inside another part",
    "Nested holes": "one hole of the outline lies inside another hole",
    "Hole lies outside shell": "a hole lies outside its outline",
    "Holes are nested": "one hole of the outline lies inside another hole",
    "Interior is disconnected": "a hole cuts the outline in two",
    "Too few points in geometry component": "the outline has too few points to hold ground",
    "Duplicate Rings": "the same ring is drawn twice",
}


def crossing_words(geometry: BaseGeometry) -> tuple[str, str | None]:
    """Say what is wrong with an invalid outline and where, ``lon lat`` [°]."""
    reason = shapely.is_valid_reason(geometry)
    kind, _, place = reason.partition("[")
    spot = None
    with suppress(ValueError):
        lon, lat = (float(number) for number in place.rstrip("]").split()[:2])
        spot = f"at lon {lon:.6f}, lat {lat:.6f}"
    return _REASONS.get(kind.strip(), f"the outline is not usable: {kind.strip().lower()}"), spot
