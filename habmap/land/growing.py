"""Boxes that grow from places on an edge, many at once, and how much of a ground lies in them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from habmap.land.contiguous import CRUMB_M2, polygons

Floats = NDArray[np.float64]

#: Speeds of a box's sides, backward and forward along the edge and away from it; behind the edge all is taken.
ALL: Final = math.inf
#: How far inside the ground a place on its edge is looked for [m].
INSIDE_M: Final = 1e-3
SPEEDS: Final = (
    (ALL, 1.0, 1.0), (1.0, ALL, 1.0), (ALL, 1.0, 2.0), (2.0, ALL, 1.0), (ALL, 2.0, 1.0), (1.0, ALL, 2.0),
    (ALL, ALL, 1.0), (ALL, 1.0, ALL), (1.0, ALL, ALL), (0.5, 0.5, 1.0), (1.0, 1.0, 1.0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Boxes:
    """Boxes that grow from places on the edge, as arrays: where, along which way, the speeds of their sides."""

    at: Floats  # (n, 2)
    along: Floats  # (n, 2), unit vectors; the ground lies to the left of it
    speeds: Floats  # (n, 4): backward, forward, behind, away

    def __len__(self) -> int:
        return len(self.at)

    def __getitem__(self, index: NDArray[np.bool_] | NDArray[np.intp]) -> Boxes:
        return Boxes(self.at[index], self.along[index], self.speeds[index])

    def sides_m(self, size_m: Floats, *, reach_m: float) -> Floats:
        """Return how far the sides lie from the place at sizes [m], shape (n, 4): backward, forward, behind, away.

        A side that takes all lies ``reach_m`` away.
        """
        with np.errstate(invalid="ignore"):
            return np.where(np.isinf(self.speeds), reach_m, self.speeds * size_m[:, None])

    def boxes(self, size_m: Floats, *, reach_m: float) -> NDArray[np.object_]:
        """Return the boxes at sizes [m]; a side that takes all lies ``reach_m`` away."""
        back, forward, behind, away = self.sides_m(size_m, reach_m=reach_m).T
        across = np.column_stack([-self.along[:, 1], self.along[:, 0]])

        def corner(along: Floats, up: Floats) -> Floats:
            found: Floats = self.at + along[:, None] * self.along + up[:, None] * across
            return found

        ring = [corner(-back, -behind), corner(forward, -behind), corner(forward, away), corner(-back, away)]
        return np.asarray(shapely.polygons(np.stack([*ring, ring[0]], axis=1)), dtype=object)

    @property
    def inside(self) -> NDArray[np.object_]:
        """A point just inside the ground at each place."""
        across = np.column_stack([-self.along[:, 1], self.along[:, 0]])
        return np.asarray(shapely.points(self.at + INSIDE_M * across), dtype=object)


class BoxedGround:
    """A ground whose area in boxes is asked many times: reckoned along its edges, all boxes at once.

    What lies in a box is seen along its edge, where the box is upright: its area is the integral of the outline's
    height, held within the box, over the box's width. Where the outline enters the box once at most, that is one piece
    (a line across a disk leaves one on either side). Where it enters more often the pieces are cut out: by upright
    limits, a third of the work of an overlay; by an overlay where their areas are not the integral's, for GEOS clips
    an outline with an edge along a limit wrongly, or not at all.
    """

    def __init__(self, ground: Polygon) -> None:
        turned = shapely.orient_polygons(ground)  # holes the other way: their areas are taken away
        rings = [shapely.get_coordinates(ring) for ring in (turned.exterior, *turned.interiors)]
        self._ground = ground
        self._turned: dict[tuple[float, float], Polygon] = {}
        self._starts = np.vstack([ring[:-1] for ring in rings])
        self._ends = np.vstack([ring[1:] for ring in rings])
        counts = [len(ring) - 1 for ring in rings]
        firsts = np.concatenate([[0], np.cumsum(counts)[:-1]])
        #: Number of the edge before each one in its ring.
        self._before = np.arange(sum(counts)) - 1
        self._before[firsts] = firsts + counts - 1

    def areas_m2(self, tries: Boxes, size_m: Floats, *, reach_m: float) -> Floats:
        """Return the area of that part of ground and box which holds the place where the box began [m²]."""
        back, forward, behind, away = tries.sides_m(size_m, reach_m=reach_m).T[..., None]
        along = np.stack([tries.along, np.column_stack([-tries.along[:, 1], tries.along[:, 0]])])
        # from the place on, along the edge and across it: shape (2, boxes, edges)
        (x, y), (x_end, y_end) = (
            np.stack([one @ points.T - (tries.at * one).sum(axis=1)[:, None] for one in along])
            for points in (self._starts, self._ends)
        )
        across, length = _within(x, x_end, -back, forward), _within(y, y_end, -behind, away)
        areas = _below(y, y_end, across, low=-behind, high=away) * -(x_end - x)
        found: Floats = areas.sum(axis=1)
        first, last = np.maximum(across[0], length[0]), np.minimum(across[1], length[1])
        is_in = first < last
        goes_on = is_in[:, self._before] & (last[:, self._before] >= 1)
        several = np.flatnonzero((is_in & ~goes_on).sum(axis=1) > 1)
        if several.size:
            found[several] = self._one_of_several(
                tries[several], size_m[several], wholes_m2=found[several], reach_m=reach_m
            )
        return found

    def _one_of_several(self, tries: Boxes, size_m: Floats, *, wholes_m2: Floats, reach_m: float) -> Floats:
        """Return the area of the one piece of several in a box, all together ``wholes_m2``, that is asked for [m²]."""
        places = np.column_stack([(tries.at * tries.along).sum(axis=1), _cross(tries.along, tries.at)])
        back, forward, behind, away = tries.sides_m(size_m, reach_m=reach_m).T
        limits = np.hstack([places - np.column_stack([back, behind]), places + np.column_stack([forward, away])])
        shapes = np.empty(len(tries), dtype=object)
        for number, (along, sides) in enumerate(zip(tries.along.tolist(), limits.tolist(), strict=True)):
            try:
                shapes[number] = shapely.clip_by_rect(self._seen(*along), *sides)
            except shapely.errors.GEOSException:  # a ring of too few points
                shapes[number] = Polygon()
        wrong = np.flatnonzero(np.abs(shapely.area(shapes) - wholes_m2) > CRUMB_M2)
        inside = np.asarray(shapely.points(places[:, 0], places[:, 1] + INSIDE_M), dtype=object)
        found: Floats = shapely.area(parts_at(shapes, inside))
        if wrong.size:
            boxes = tries[wrong].boxes(size_m[wrong], reach_m=reach_m)
            laid = shapely.intersection(self._ground, boxes)
            found[wrong] = shapely.area(parts_at(laid, tries[wrong].inside))
        return found

    def _seen(self, x: float, y: float) -> Polygon:
        """Return the ground turned so that a direction lies along the first axis."""
        if (x, y) not in self._turned:
            turn = np.array([[x, -y], [y, x]])
            self._turned[x, y] = shapely.transform(self._ground, lambda points: points @ turn)
        return self._turned[x, y]


def _cross(one: Floats, other: Floats) -> Floats:
    found: Floats = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return found


def _within(start: Floats, end: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return between which shares of edges, 0–1, a coordinate lies between two limits; the first is larger: nowhere."""
    run = end - start
    is_level = run == 0
    run = np.where(is_level, 1.0, run)
    one, other = (low - start) / run, (high - start) / run
    first, last = np.minimum(one, other), np.maximum(one, other)
    lies_within = (low <= start) & (start <= high)
    first = np.where(is_level, np.where(lies_within, 0.0, 1.0), first)
    last = np.where(is_level, np.where(lies_within, 1.0, 0.0), last)
    return np.clip(first, 0.0, 1.0), np.clip(last, 0.0, 1.0)


def _below(y: Floats, y_end: Floats, across: tuple[Floats, Floats], *, low: Floats, high: Floats) -> Floats:
    """Return the mean height of edges above a low limit, held to a high one, over some share of them, times it."""
    first, last = across[0], np.maximum(*across)
    rise = y_end - y
    slant = np.where(rise == 0, 1.0, rise)
    bends = np.sort([np.clip((limit - y) / slant, first, last) for limit in (low, high)], axis=0)
    places = (first, *bends, last)
    heights = [np.clip(y + place * rise, low, high) - low for place in places]
    found: Floats = sum(
        (heights[k] + heights[k + 1]) / 2 * (places[k + 1] - places[k]) for k in range(3)
    )  # straight between them
    return found


def parts_at(shapes: NDArray[np.object_], places: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return of each shape, changed in place, the polygon that holds a point or lies nearest to it."""
    for number in np.flatnonzero(shapely.get_type_id(shapes) != shapely.GeometryType.POLYGON).tolist():
        shapes[number] = min(polygons(shapes[number]), key=places[number].distance, default=Polygon())
    return shapes
