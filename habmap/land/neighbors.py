"""How outlines lie beside each other: ground that two share, gaps between them, and cutting one back to another.

All of it in the property's grid [m]; what was drawn keeps its own vertices to the last bit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid

#: Ground that two neighbors both claim is taken for a drawing difference up to this width.
HAIR_WIDTH_M: Final = 0.05
#: Open ground between neighbors up to this width is pointed out; a lane or firebreak is mostly wider [m].
GAP_WIDTH_M: Final = 3.0
#: Shared ground smaller than this comes of rounding [m²].
NOISE_M2: Final = 1e-4
#: How close the widest spot is looked for: a share of the ground's mean half width, and no closer than that [m].
_SPOT_WITHIN_FRAC: Final = 0.0005
_SPOT_WITHIN_M: Final = 0.0005


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two polygons that claim the same ground, by their positions in the list given.

    Attributes
    ----------
    area_m2
        The whole shared ground of the pair [m²].
    width_m
        Width where it is widest: diameter of the largest circle inside [m].
    spot
        Middle of that circle, x and y in the grid [m].
    """

    first: int
    second: int
    area_m2: float
    width_m: float
    spot: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Gap:
    """Narrow open ground between polygons, by their positions; area [m²], width and spot as of an `Overlap`."""

    between: tuple[int, ...]
    area_m2: float
    width_m: float
    spot: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Cut:
    """What cutting one polygon back took off: at which neighbor, by position, and how much [m²]."""

    neighbor: int
    area_m2: float


def overlaps(polygons: Sequence[BaseGeometry], *, wider_than_m: float = HAIR_WIDTH_M) -> tuple[Overlap, ...]:
    """Return the pairs of planar polygons (meters) that share ground somewhere wider than a hair.

    Parameters
    ----------
    polygons
        Valid planar polygons [m].
    wider_than_m
        Shared ground that is nowhere wider than this is no overlap [m].

    Returns
    -------
    tuple of Overlap
        By first, then second position.
    """
    first, second, shared = _shared(polygons)
    is_wide = ~shapely.is_empty(shapely.buffer(shared, -wider_than_m / 2))
    return tuple(
        Overlap(int(a), int(b), float(ground.area), *_widest(ground))
        for a, b, ground in zip(first[is_wide], second[is_wide], shared[is_wide], strict=True)
    )


def hair_overlaps(
    polygons: Sequence[BaseGeometry], *, up_to_m: float = HAIR_WIDTH_M
) -> tuple[tuple[int, int, float], ...]:
    """Return the pairs that share ground nowhere wider than a hair, which counts for both, and how much [m²]."""
    first, second, shared = _shared(polygons)
    is_hair = shapely.is_empty(shapely.buffer(shared, -up_to_m / 2)) & (shapely.area(shared) > NOISE_M2)
    return tuple(
        (int(a), int(b), float(ground.area))
        for a, b, ground in zip(first[is_hair], second[is_hair], shared[is_hair], strict=True)
    )


def gaps(polygons: Sequence[BaseGeometry], *, narrower_than_m: float = GAP_WIDTH_M) -> tuple[Gap, ...]:
    """Return open ground between two or more polygons that is narrower than a lane and wider than a hair.

    Notes
    -----
    All polygons are grown by half the width with sharp corners and shrunk again; what that closes and lies beside two
    of them is a gap. Notches of one outline by itself are its own shape.
    """
    shapes = np.asarray(polygons, dtype=object)
    half_m = narrower_than_m / 2
    whole = shapely.union_all(shapes)
    grown = shapely.buffer(whole, half_m, join_style="mitre", mitre_limit=20)
    closed = shapely.difference(shapely.buffer(grown, -half_m, join_style="mitre", mitre_limit=20), whole)
    tree = shapely.STRtree(shapes)
    found = []
    for part in shapely.get_parts(closed):
        if part.geom_type != "Polygon" or shapely.is_empty(shapely.buffer(part, -HAIR_WIDTH_M / 2)):
            continue
        beside = np.sort(tree.query(part, predicate="dwithin", distance=HAIR_WIDTH_M / 10))
        if beside.size >= 2:
            found.append(Gap(tuple(beside.tolist()), float(part.area), *_widest(part)))
    return tuple(found)


def cut_back(shape: BaseGeometry, neighbors: Sequence[BaseGeometry]) -> tuple[BaseGeometry, tuple[Cut, ...]]:
    """Return a polygon [m] without the ground of its neighbors, and what each of them took off.

    Neighbors take in the order given, so that ground under two of them is told once; shared ground below ``NOISE_M2``
    stays. What is left may be empty.
    """
    left, cuts = shape, []
    for index in np.sort(shapely.STRtree(list(neighbors)).query(shape, predicate="intersects")).tolist():
        rest = shapely.difference(left, neighbors[index])
        off_m2 = float(left.area - rest.area)
        if off_m2 > NOISE_M2:
            left = rest
            cuts.append(Cut(index, off_m2))
    return left, tuple(cuts)


def settled(shape: BaseGeometry, *, grid: LocalGrid, drawn: Sequence[BaseGeometry]) -> MultiPolygon:
    """Return ground worked out in the grid as a lon/lat outline [°] that is valid there and back in the grid.

    Parameters
    ----------
    shape
        Polygons [m] whose corners are mostly those of outlines that were drawn.
    drawn
        Those outlines, lon/lat [°]: a corner that is one of theirs is theirs to the last bit.
    """
    own: dict[tuple[float, float], tuple[float, float]] = {}
    for outline in drawn:
        corners = zip(shapely.get_coordinates(grid.to_grid(outline)), shapely.get_coordinates(outline), strict=True)
        own.update({(float(x), float(y)): (float(lon), float(lat)) for (x, y), (lon, lat) in corners})

    def restored(whole: BaseGeometry) -> BaseGeometry:
        xy = shapely.get_coordinates(whole)
        lonlat = shapely.get_coordinates(grid.to_lonlat(whole))
        known = [own.get((float(x), float(y))) for x, y in xy]
        chosen = np.array([mine if mine is not None else tuple(made) for mine, made in zip(known, lonlat, strict=True)])
        return shapely.set_coordinates(shapely.transform(whole, lambda same: same), chosen)

    for attempt in _more_and_more_changed(shape):
        polygons = [part for part in shapely.get_parts(attempt) if isinstance(part, Polygon)]
        outline = restored(MultiPolygon(polygons))
        if outline.is_valid and grid.to_grid(outline).is_valid:
            break
    assert isinstance(outline, MultiPolygon)
    return outline


def _more_and_more_changed(shape: BaseGeometry) -> Iterator[BaseGeometry]:
    """Yield a shape, and made valid: corners that touch can cross by a rounding; then drawn together by 1 µm."""
    yield shape
    valid = shapely.make_valid(shape, method="structure")
    yield valid
    yield shapely.set_precision(valid, 1e-6)


def _shared(
    polygons: Sequence[BaseGeometry],
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.object_]]:
    """Return the pairs of positions whose polygons meet, in order, and what they share."""
    shapes = np.asarray(polygons, dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = first < second
    first, second = first[once], second[once]
    order = np.lexsort((second, first))
    first, second = first[order], second[order]
    return first, second, np.asarray(shapely.intersection(shapes[first], shapes[second]), dtype=object)


def _widest(ground: BaseGeometry) -> tuple[float, tuple[float, float]]:
    """Return the diameter [m] and the middle of the largest circle inside any part of some ground, lines left out."""
    circles = [
        shapely.maximum_inscribed_circle(part, max(_SPOT_WITHIN_M, _SPOT_WITHIN_FRAC * part.area / part.length))
        for part in shapely.get_parts(ground)
        if isinstance(part, Polygon)
    ]
    radius = max(circles, key=shapely.length)
    x, y = radius.coords[0]
    return 2 * float(radius.length), (float(x), float(y))
