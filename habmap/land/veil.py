"""Ground told to strangers: work redrawn so that no hole, patch or edge of it tells where a private place is.

Near such a place all pieces of ground are joined with their neighbors, whole pieces at a time, and each line of work
counts on all of the joined ground or on none of it. So every edge that is left was an edge before and lies far from the
place; none is made. (A disc cut out, or filled, would be an edge of its own, and its middle would tell the place.)
"""

from __future__ import annotations

import hashlib
import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.land.acreage import Piece, merged, pieces
from habmap.land.neighbors import HAIR_WIDTH_M

#: No edge of work that strangers see is nearer than this to a private place, edges of the units themselves apart [m].
#: Published nest buffers for ground work begin at 100 m (330 ft, U.S. FWS bald eagle guidelines 2007).
CLEAR_WITHIN_M: Final = 100.0
#: Places within one cell of this lattice are treated alike, so that what is joined tells the cell at most [m].
LATTICE_M: Final = 40.0
#: A circle of this radius about a cell's middle holds all that is within `CLEAR_WITHIN_M` of any place in the cell [m].
RADIUS_M: Final = CLEAR_WITHIN_M + LATTICE_M / math.sqrt(2)
#: An edge that lies wholly within this of the cell's middle runs round the place, however far it keeps from it [m]: the
#: corners of a square at the same guidelines' widest buffer for it (660 ft), and half a cell's diagonal.
REACH_M: Final = 315.0
#: Points of a ring that stand off the line between their neighbors by less than this only mark where an edge met [m].
_SEAM_M: Final = 1e-3
#: An edge goes on beyond the outline of a unit where it begins again within this, met however flat [m].
_GOES_ON_M: Final = 2.0
#: A turn sharper than this is a corner [°]; a line longer than its chord by this factor is bent: an arc of 13°.
_CORNER_DEG: Final = 30.0
_STRAIGHT: Final = 1.002
#: A line that turns by this much in all where it lies within reach runs round what lies there [°]; turns are those of
#: the line drawn through its vertices no nearer than this [m], so that the noise of a walk is none.
_ROUND_DEG: Final = 45.0
_NOISE_M: Final = 2.0
#: Vertices that lie in one cell of a lattice of this width are one [m].
_SAME_M: Final = 1e-5
#: Sides whose distances from a place differ by less keep one distance from it, as those of a buffer of corners do [m]:
#: a cell's diagonal, by which its middle may be nearer to one and farther from another.
_ALIKE_M: Final = LATTICE_M * math.sqrt(2)
#: A line that turns by less in all is one side [°]: a corner of a ring of 16 sides turns by 22.5°.
_SIDES_DEG: Final = 20.0


@dataclass(frozen=True, slots=True)
class Veil:
    """The circles about private places' cells [m], the larger ones within which an edge is taken to run round, and the
    cells' middles.
    """

    discs: BaseGeometry
    reach: BaseGeometry
    middles: NDArray[np.float64]


def veil(places: Sequence[BaseGeometry], *, key: str) -> Veil:
    """Return the circles for private places in grid meters.

    Parameters
    ----------
    places
        Points, lines or areas [m].
    key
        A text that strangers don't know; the lattice is shifted by it. The same places and key give the same circles
        on every day, so that two copies laid over each other tell no more than one.
    """
    middles = sorted({cell for place in places for cell in _cells(place, key)})
    xy = np.array(middles, dtype=float).reshape(len(middles), 2)
    discs, reach = (shapely.union_all(shapely.buffer(shapely.points(xy), radius_m)) for radius_m in (RADIUS_M, REACH_M))
    return Veil(discs, reach, xy)


def _cells(place: BaseGeometry, key: str) -> set[tuple[float, float]]:
    digest = hashlib.blake2b(f"habmap veil {key}".encode(), digest_size=16).digest()
    shift = np.frombuffer(digest, dtype=">u8") / 2.0**64 * LATTICE_M

    def middle(cell: tuple[int, int]) -> tuple[float, float]:
        east, north = (shift + (np.array(cell) + 0.5) * LATTICE_M).tolist()
        return east, north

    # Half a cell beyond, so that no ground of an area falls between the vertices of its outline.
    xy = shapely.get_coordinates(shapely.segmentize(place, LATTICE_M / 2))
    found = {(column, row) for column, row in np.floor((xy - shift) / LATTICE_M).astype(int).tolist()}
    if shapely.area(place) > 0:
        # Cells of the last row and column with ground in them hold vertices of the outline too.
        ends = np.floor((np.array(place.bounds).reshape(2, 2) - shift) / LATTICE_M).astype(int).tolist()
        (west, south), (east, north) = ends
        cells = product(range(west, east), range(south, north))
        found |= {cell for cell in cells if shapely.covers(place, shapely.Point(middle(cell)))}
    return {middle(cell) for cell in found}


def veiled(
    patches: Sequence[BaseGeometry],
    *,
    outlines: Sequence[BaseGeometry],
    current: int,
    over: Veil,
    never: Collection[int] = (),
) -> dict[int, MultiPolygon]:
    """Return the patches that strangers see otherwise than they are, by position; an empty one is left out.

    Parameters
    ----------
    patches
        Ground of each line of work, grid meters.
    outlines
        Of the units, those drawn now first, then those of former days: ground is joined within a unit only.
    current
        How many of them are drawn now.
    over
        Where not to tell.
    never
        Positions of patches that never count on joined ground (left standing on purpose, perhaps for the place's sake).

    Notes
    -----
    A patch counts on joined ground if it covers at least half of it. Outside all units it gives way, unless it covers
    half of what it was joined with there, as round a hole. Of patches that each cover half, those count together that
    lie together on more of the ground than any others do: two halves that hardly meet are not told as both everywhere,
    which would kill more cedars than any of them did.
    """
    if shapely.is_empty(over.discs):
        return {}
    # Open ground all round, so that what lies outside of the units has edges with it that can be told.
    every = np.array([*outlines, *patches, over.reach], dtype=object)
    frame = shapely.buffer(shapely.box(*np.round(shapely.total_bounds(every))), REACH_M, join_style="mitre")
    faces = pieces([*outlines, frame], patches)
    grounds = [_ground_of(face, current, len(outlines)) for face in faces]
    gone: dict[int, set[int]] = defaultdict(set)
    added: dict[int, set[int]] = defaultdict(set)
    shapes = np.array([face.geometry for face in faces], dtype=object)
    near = np.flatnonzero(shapely.intersects(shapes, over.reach))
    along = shapely.union_all([shapely.boundary(outline) for outline in outlines]).buffer(HAIR_WIDTH_M)
    for joined in _joined(shapes, grounds, _edges(near, shapes, grounds, along), over):
        whole_m2 = math.fsum(faces[index].area_m2 for index in joined)
        # open ground has no end; what counts there lies wholly about a hole
        may_count = bool(grounds[next(iter(joined))]) or any(not faces[index].patches for index in joined)
        its_faces = {
            patch: {index for index in joined if patch in faces[index].patches}
            for patch in {patch for index in joined for patch in faces[index].patches}
        }
        halves = {
            patch
            for patch, its in its_faces.items()
            if may_count and patch not in never and math.fsum(faces[index].area_m2 for index in its) >= whole_m2 / 2
        }
        counting = _together(halves, {index: faces[index] for index in joined})
        for patch, its in its_faces.items():
            if patch in counting:
                added[patch] |= joined - its
            else:
                gone[patch] |= its
    changed = {patch for patch in (*gone, *added) if gone[patch] or added[patch]}
    kept: dict[int, list[Polygon]] = {patch: [] for patch in changed}
    for index, face in enumerate(faces):
        for patch in changed:
            if (patch in face.patches and index not in gone[patch]) or index in added[patch]:
                kept[patch].append(face.geometry)
    corners = _Corners([*outlines])
    redrawn = {patch: corners.without_seams(parts) for patch, parts in kept.items()}
    # Where an edge met it, a patch that is otherwise as it was has a vertex too many.
    for patch in set(_touched(patches, over)) - changed:
        plain = corners.without_seams(list(shapely.get_parts(patches[patch])))
        if shapely.get_num_coordinates(plain) < shapely.get_num_coordinates(patches[patch]):
            redrawn[patch] = plain
    return redrawn


def ends_there(shape: BaseGeometry, over: Veil) -> bool:
    """Return whether a line begins or ends by a private place: it leads there."""
    lines = [line for line in shapely.get_parts(shape) if line.geom_type == "LineString" and not line.is_closed]
    ends = [shapely.Point(line.coords[at]) for line in lines for at in (0, -1)]
    return bool(shapely.intersects(over.discs, ends).any())


def runs_round(shape: BaseGeometry, over: Veil) -> bool:
    """Return whether a line, or the edge of an area, by a private place turns about it within reach."""
    for part in shapely.get_parts(shape):
        for line in [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]:
            ground = shapely.convex_hull(line)
            if shapely.intersects(ground, over.discs) and (over.reach.covers(line) or _turning(line, over.reach)):
                return True
    return False


def _together(halves: Collection[int], joined: Mapping[int, Piece]) -> frozenset[int]:
    """Return those of the patches that lie together on more of the joined ground than any other set of them does."""
    areas_m2: dict[frozenset[int], float] = defaultdict(float)
    for face in joined.values():
        areas_m2[frozenset(face.patches) & frozenset(halves)] += face.area_m2
    areas_m2.pop(frozenset(), None)
    return max(areas_m2, key=lambda them: (areas_m2[them], -len(them), sorted(them)), default=frozenset())


def _touched(patches: Sequence[BaseGeometry], over: Veil) -> list[int]:
    return np.flatnonzero(shapely.intersects(np.array(patches, dtype=object), over.discs)).tolist()


def _ground_of(face: Piece, current: int, outlines: int) -> tuple[int, ...]:
    now = tuple(unit for unit in face.units if unit < current)
    return now or tuple(unit for unit in face.units if unit < outlines)


@dataclass(frozen=True, slots=True)
class _Edge:
    """The line that two faces of one ground share, but for what lies along the outline of a unit."""

    one: int
    other: int
    line: BaseGeometry


def _joined(
    shapes: NDArray[np.object_], grounds: Sequence[tuple[int, ...]], edges: Sequence[_Edge], over: Veil
) -> list[set[int]]:
    """Return the faces to be told as one: those under one circle, then those over every edge that runs round a place.

    Faces are joined within one ground only.
    """
    groups: list[set[int]] = []
    for disc in shapely.get_parts(over.discs):
        under: dict[tuple[int, ...], set[int]] = defaultdict(set)
        for index in np.flatnonzero(shapely.intersects(shapes, disc)).tolist():
            under[grounds[index]].add(index)
        for group in under.values():
            _add(groups, group)
    while telling := _telling(groups, edges, over):
        for edge in telling:
            _add(groups, {edge.one, edge.other})
    return groups


def _add(groups: list[set[int]], group: set[int]) -> None:
    for other in [each for each in groups if each & group]:
        groups.remove(other)
        group = group | other
    groups.append(group)


def _edges(
    near: NDArray[np.intp], shapes: NDArray[np.object_], grounds: Sequence[tuple[int, ...]], along: BaseGeometry
) -> list[_Edge]:
    """Return the edges between faces of one ground; hair-wide ground along outlines reaches far and is no edge."""
    first, second = shapely.STRtree(shapes[near]).query(shapes[near], predicate="intersects")
    pairs = [
        (a, b)
        for a, b in zip(near[first].tolist(), near[second].tolist(), strict=True)
        if a < b and grounds[a] == grounds[b]
    ]
    if not pairs:
        return []
    one, other = np.array(pairs).T
    shared = shapely.intersection(shapely.boundary(shapes[one]), shapely.boundary(shapes[other]))
    lines = shapely.difference(shared, along)
    return [_Edge(a, b, line) for (a, b), line in zip(pairs, lines, strict=True) if shapely.length(line) > 0]


def _telling(groups: Sequence[set[int]], edges: Sequence[_Edge], over: Veil) -> list[_Edge]:
    """Return the edges that run round a place: of joined ground, or going on from an edge that was joined over."""
    group_of = {index: number for number, group in enumerate(groups) for index in group}
    open_edges = [edge for edge in edges if edge.one not in group_of or group_of[edge.one] != group_of.get(edge.other)]
    found = []
    for number in range(len(groups)):
        own = [edge for edge in open_edges if number in (group_of.get(edge.one), group_of.get(edge.other))]
        found += _along(own, _lines_round(own, over))
    is_open = {id(edge) for edge in open_edges}
    over_joined = shapely.union_all([edge.line for edge in edges if id(edge) not in is_open])
    going_on = [line for line in _lines_round(open_edges, over) if line.distance(over_joined) < _GOES_ON_M]
    # Ground that no circle touches may hold a part of a wide ring: its arc has its middle at the place all the same,
    # and its sides keep one distance from it.
    loose = [edge for edge in open_edges if edge.one not in group_of and edge.other not in group_of]
    lines = _whole_lines(loose)
    arcs = [bend for line in lines for bend in _bends(line) if over.reach.covers(bend)]
    arcs += [turn for line in lines for turn in _turning(line, over.reach)]
    about = [arc for arc in arcs if shapely.intersects(over.discs, _middle(arc))]
    about += [turn for line in lines for turn in _turning(line, over.reach, _SIDES_DEG) if _keeps_off(turn, over)]
    return found + _along(open_edges, going_on) + _along(loose, about)


def _lines_round(edges: Sequence[_Edge], over: Veil) -> list[BaseGeometry]:
    """Return the lines within reach of a place: whole ones, and of longer ones the bends and turns that lie there."""
    lines = _whole_lines(edges)
    whole = [line for line in lines if over.reach.covers(line)]
    bends = [bend for edge in edges for line in _whole_lines([edge]) for bend in _bends(line)]
    turning = [turn for line in lines for turn in _turning(line, over.reach)]
    return whole + [bend for bend in bends if over.reach.covers(bend)] + turning


def _bends(line: BaseGeometry) -> list[BaseGeometry]:
    """Return the parts of a line between its sharp corners, those that are not straight."""
    xy = shapely.get_coordinates(line)
    steps = np.diff(xy, axis=0)
    turns = np.abs(np.diff(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))))
    corners = np.flatnonzero(np.concatenate([[math.inf], turns, [math.inf]]) > math.radians(_CORNER_DEG))
    parts = [xy[first : last + 1] for first, last in pairwise(corners)]
    return [
        shapely.LineString(part)
        for part in parts
        if np.hypot(*np.diff(part, axis=0).T).sum() > _STRAIGHT * math.hypot(*(part[-1] - part[0]))
    ]


def _middle(arc: BaseGeometry) -> BaseGeometry:
    """Return the middle of the circle nearest to a bent line, by least squares of x² + y² = 2ax + 2by + c."""
    xy = shapely.get_coordinates(arc)
    from_mean = xy - xy.mean(axis=0)
    fitted, *_ = np.linalg.lstsq(np.column_stack([2 * from_mean, np.ones(len(xy))]), (from_mean**2).sum(axis=1))
    return shapely.Point(xy.mean(axis=0) + fitted[:2])


def _keeps_off(line: BaseGeometry, over: Veil) -> bool:
    """Return whether a line turns about the middle of a private place's cell in sides that are all as far from it."""
    xy = shapely.get_coordinates(line)[_corners(line)]
    steps = np.diff(xy, axis=0)
    east, north = (steps / np.hypot(*steps.T)[:, None]).T
    away = over.middles - xy[:-1, None]
    off_m = east[:, None] * away[..., 1] - north[:, None] * away[..., 0]  # by side and place; left of a side is above 0
    turned = np.sum(east[:-1] * north[1:] - north[:-1] * east[1:])
    is_within = (off_m * turned > 0).all(axis=0)
    return bool((is_within & (np.ptp(off_m, axis=0) < _ALIKE_M)).any())


def _corners(line: BaseGeometry) -> NDArray[np.intp]:
    """Return which vertices of a line are its corners, its ends among them."""
    xy = shapely.get_coordinates(line)
    is_corner = np.isin(xy, shapely.get_coordinates(shapely.simplify(line, _NOISE_M))).all(axis=1)
    return np.unique([0, *np.flatnonzero(is_corner), len(xy) - 1])


def _turning(line: BaseGeometry, reach: BaseGeometry, round_deg: float = _ROUND_DEG) -> list[BaseGeometry]:
    """Return the stretches of a line within reach that turn much there, as the sides of a square about a place do."""
    xy, corners = shapely.get_coordinates(line), _corners(line)
    steps = np.diff(xy[corners], axis=0)
    turns = np.diff(np.arctan2(steps[:, 1], steps[:, 0]))
    turns_deg = np.pad(np.degrees(np.abs((turns + math.pi) % math.tau - math.pi)), 1)  # and by none at its ends
    within = [reach.covers(shapely.LineString(xy[a : b + 1])) for a, b in pairwise(corners)]
    found: list[BaseGeometry] = []
    first = 0
    for side, is_within in enumerate([*within, False]):
        if is_within:
            continue
        if side > first and turns_deg[first : side + 1].sum() >= round_deg:
            found.append(shapely.LineString(xy[corners[first] : corners[side] + 1]))
        first = side + 1
    return found


def _whole_lines(edges: Sequence[_Edge]) -> list[BaseGeometry]:
    parts = [part for edge in edges for part in shapely.get_parts(edge.line) if "Line" in part.geom_type]
    return list(shapely.get_parts(shapely.line_merge(shapely.union_all(parts))))


def _along(edges: Sequence[_Edge], lines: Sequence[BaseGeometry]) -> list[_Edge]:
    whole = shapely.union_all(list(lines))
    return [edge for edge in edges if shapely.length(shapely.intersection(edge.line, whole)) > 0]


class _Corners:
    """The units' own vertices, which stay in a ring even where it runs straight on."""

    def __init__(self, outlines: Iterable[BaseGeometry]) -> None:
        self._places = {self._place(xy) for outline in outlines for xy in shapely.get_coordinates(outline).tolist()}

    @staticmethod
    def _place(xy: Sequence[float]) -> tuple[int, int]:
        return (round(xy[0] / _SAME_M), round(xy[1] / _SAME_M))

    def without_seams(self, parts: Sequence[Polygon]) -> MultiPolygon:
        """Join faces and drop the vertices at which other edges met a straight line: they would tell of those."""
        if not parts:
            return MultiPolygon()
        joined = merged(parts)
        polygons = []
        for part in shapely.get_parts(joined):
            rings = [self._ring(shapely.get_coordinates(ring)) for ring in (part.exterior, *part.interiors)]
            polygons.append(Polygon(rings[0], [ring for ring in rings[1:] if len(ring) > 3]))
        return MultiPolygon([part for part in polygons if part.is_valid])  # none thinner than a seam stays

    def _ring(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        points = xy[:-1].tolist()
        # Begin at a true corner: the first point of a ring has neighbors on both sides too.
        first = next((at for at in range(len(points)) if not self._is_seam(points, at)), 0)
        kept: list[list[float]] = []
        for here in [*points[first:], *points[: first + 1]]:
            while len(kept) > 1 and not self._stays(kept[-1]) and _off_m(kept[-2], kept[-1], here) < _SEAM_M:
                kept.pop()
            kept.append(here)
        return np.array(kept)

    def _stays(self, xy: Sequence[float]) -> bool:
        return self._place(xy) in self._places

    def _is_seam(self, points: Sequence[Sequence[float]], at: int) -> bool:
        here = points[at]
        return not self._stays(here) and _off_m(points[at - 1], here, points[(at + 1) % len(points)]) < _SEAM_M


def _off_m(before: Sequence[float], here: Sequence[float], after: Sequence[float]) -> float:
    """Return how far a vertex stands off the line between its neighbors [m]."""
    east, north = after[0] - before[0], after[1] - before[1]
    length_m = math.hypot(east, north)
    if length_m == 0:
        return math.inf
    return abs((here[0] - before[0]) * north - (here[1] - before[1]) * east) / length_m
