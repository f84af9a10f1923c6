"""The outline of a burn block, stretch by stretch: which way the wind carries fire, and what lies beyond.

Everything here is in one planar grid of meters; bearings are the grid's (0 = grid north, clockwise).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Final, Literal

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

Side = Literal["downwind", "side", "upwind"]

#: A wind blows straight at an edge within 45°, and it swings by 22.5° to either side.
DOWNWIND_WITHIN_DEG: Final = 67.5
UPWIND_FROM_DEG: Final = 157.5
#: An edge this near a limit lies on it [°]. Meridians draw together, so that the bearing of a line that runs due north
#: differs this much from one end of a few miles to the other, and nobody knows a wind so finely.
ANGLE_TOLERANCE_DEG: Final = 0.05
#: Longest piece of outline for which one look beyond is taken [m].
PIECE_M: Final = 5.0
#: A break drawn this far inside the outline is still the one on the edge: hand-drawn lines cross [m].
INSIDE_M: Final = 3.0


@dataclass(frozen=True, slots=True)
class EdgePiece:
    """A straight bit of the outline.

    Attributes
    ----------
    start, end
        Its ends [m].
    outward_deg
        Grid bearing of its outward normal [°].
    ring
        Number of the ring that it belongs to.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    outward_deg: float
    ring: int

    @property
    def length_m(self) -> float:
        """Length [m]."""
        return math.dist(self.start, self.end)

    def point(self, outward_m: float) -> tuple[float, float]:
        """Return the point this far out from its middle [m]."""
        out = math.radians(self.outward_deg)
        x, y = (self.start[0] + self.end[0]) / 2, (self.start[1] + self.end[1]) / 2
        return x + outward_m * math.sin(out), y + outward_m * math.cos(out)


def side_of_wind(outward_deg: float, wind_from_deg: float) -> Side:
    """Return the side of the fire that an edge with this outward normal lies on.

    Examples
    --------
    >>> side_of_wind(0, 180), side_of_wind(90, 180), side_of_wind(180, 180)
    ('downwind', 'side', 'upwind')
    """
    downwind_deg = wind_from_deg + 180
    angle = abs((outward_deg - downwind_deg + 180) % 360 - 180)
    if angle <= DOWNWIND_WITHIN_DEG + ANGLE_TOLERANCE_DEG:
        return "downwind"
    return "upwind" if angle >= UPWIND_FROM_DEG - ANGLE_TOLERANCE_DEG else "side"


def outline_pieces(block: Polygon | MultiPolygon, *, longest_m: float = PIECE_M) -> list[EdgePiece]:
    """Walk every ring of a block and return its bits, none longer than ``longest_m``, in order.

    Holes count: their edges face into the hole. It does not matter where a ring starts or which way it runs.
    """
    pieces = []
    for number, ring in enumerate(_rings(block)):
        points = shapely.get_coordinates(ring).tolist()
        for (x0, y0), (x1, y1) in pairwise(points):
            length_m = math.hypot(x1 - x0, y1 - y0)
            if length_m == 0:
                continue
            # With the block on the left hand the outward normal is (dy, −dx).
            outward_deg = math.degrees(math.atan2(y1 - y0, -(x1 - x0))) % 360
            count = max(1, math.ceil(length_m / longest_m))
            steps = [i / count for i in range(count + 1)]
            at = [(x0 + (x1 - x0) * step, y0 + (y1 - y0) * step) for step in steps]
            pieces += [EdgePiece(a, b, outward_deg, number) for a, b in pairwise(at)]
    return pieces


def first_met(
    pieces: Sequence[EdgePiece], things: Sequence[BaseGeometry], *, within_m: float, from_m: float = 0.0
) -> list[tuple[int | None, float]]:
    """Return, for each bit of outline, the number of the first thing straight outward from its middle, and how far.

    Parameters
    ----------
    things
        Geometries of any kind in the same grid.
    within_m
        How far out the look goes [m].
    from_m
        Where it begins, negative inside the block [m].

    Returns
    -------
    number, distance_m
        ``None`` and infinity where nothing is met; the distance is never below 0.
    """
    nearest: list[tuple[int | None, float]] = [(None, math.inf)] * len(pieces)
    if not things or not pieces:
        return nearest
    rays = np.array([LineString([piece.point(from_m), piece.point(within_m)]) for piece in pieces], dtype=object)
    targets = np.array(things, dtype=object)
    shapely.prepare(targets)
    ray_numbers, thing_numbers = shapely.STRtree(targets).query(rays, predicate="intersects")
    starts = np.asarray(shapely.points(np.array([piece.point(from_m) for piece in pieces])))
    met = shapely.intersection(rays[ray_numbers], targets[thing_numbers])
    distances = np.asarray(shapely.distance(starts[ray_numbers], met)) + from_m
    for ray, thing, distance in zip(ray_numbers.tolist(), thing_numbers.tolist(), distances.tolist(), strict=True):
        if distance < nearest[ray][1]:
            nearest[ray] = (thing, distance)
    return [(number, max(0.0, distance)) for number, distance in nearest]


def merged_runs(pieces: Sequence[EdgePiece], labels: Sequence[object]) -> list[tuple[int, ...]]:
    """Return runs of neighboring bits of one ring with equal labels, each as the numbers of its bits in order.

    A run may pass over the point where its ring starts.
    """
    runs: list[tuple[int, ...]] = []
    for ring in dict.fromkeys(piece.ring for piece in pieces):
        own = (number for number, piece in enumerate(pieces) if piece.ring == ring)
        of_ring = [[*run] for _, run in groupby(own, key=labels.__getitem__)]
        if len(of_ring) > 1 and labels[of_ring[0][0]] == labels[of_ring[-1][0]]:
            of_ring[0] = of_ring.pop() + of_ring[0]
        runs += [tuple(run) for run in of_ring]
    return runs


def downwind_ground(block: BaseGeometry, *, wind_from_deg: float, within_m: float, half_angle_deg: float) -> Polygon:
    """Return the ground within an angle of downwind of any point of a block's hull, and within a distance of it.

    Notes
    -----
    The Minkowski sum of the block's convex hull and a sector of a circle; both are convex, so it is the hull of the
    sectors set on every corner.
    """
    downwind = wind_from_deg + 180
    bearings = np.radians(np.linspace(downwind - half_angle_deg, downwind + half_angle_deg, 91))
    # Chords lie inside the circle; the radius is widened so that the arc is covered.
    reach = within_m / math.cos(math.radians(half_angle_deg / 90))
    arc = np.column_stack([np.sin(bearings), np.cos(bearings)]) * reach
    sector = np.vstack([[0.0, 0.0], arc])
    corners = shapely.get_coordinates(shapely.convex_hull(block))
    cloud = (corners[:, None, :] + sector[None, :, :]).reshape(-1, 2)
    hull = shapely.convex_hull(shapely.multipoints(cloud))
    return hull if isinstance(hull, Polygon) else Polygon()


def grid_bearing_deg(start: tuple[float, float], end: tuple[float, float]) -> float:
    """Return the grid bearing from one point to another [°]."""
    return math.degrees(math.atan2(end[0] - start[0], end[1] - start[1])) % 360


def _rings(block: Polygon | MultiPolygon) -> Iterator[BaseGeometry]:
    for part in shapely.get_parts(block):
        oriented = shapely.orient_polygons(part)
        yield oriented.exterior
        yield from oriented.interiors
