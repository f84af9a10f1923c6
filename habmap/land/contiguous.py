"""Ground that hangs together, and ground with what is to be spared taken out of it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final, TypeVar

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

AnyShape = TypeVar("AnyShape", bound=Any)

#: Narrower than this is hard to work and to find again [m]. Chosen, no source.
NARROW_M: Final = 10.0
#: Two pieces that hang together by less than this are two [m]: no outline of record is as good.
HAIR_M: Final = 0.005
#: Less than this is what two ways of cutting the same ground differ by [m²].
CRUMB_M2: Final = 1e-6


def contiguous(ground: BaseGeometry) -> tuple[Polygon, ...]:
    """Return the pieces of a ground that hang together by more than a hair, the largest first."""
    found: list[Polygon] = []
    for part in polygons(ground):
        if not (cores := polygons(grown(part, -HAIR_M))):
            found.append(part)  # narrower than a hair throughout
        elif len(cores) == 1:
            found.append(part)
        else:
            wide = [grown(core, HAIR_M).intersection(part) for core in cores]
            found += [max(polygons(one), key=lambda polygon: polygon.area) for one in wide if polygons(one)]
    return tuple(sorted(found, key=lambda piece: (-piece.area, *place_of(piece))))


def without_hairs(ground: BaseGeometry, *, least_m2: float) -> MultiPolygon:
    """Return ground without spikes and slits narrower than a hair, such as overlays leave, and without specks [m²]."""
    opened = grown(grown(ground, -HAIR_M), 2 * HAIR_M)
    return MultiPolygon([part for part in polygons(grown(opened, -HAIR_M)) if part.area >= least_m2])


def widened(steep: Iterable[BaseGeometry], *, cell_m: float, within: BaseGeometry) -> BaseGeometry:
    """Return ground made of raster cells with an outline that can be walked: all of it, its steps straightened.

    Parameters
    ----------
    steep
        The cells, or polygons of cells [m].
    cell_m
        Side of a cell [m].
    within
        Only what lies in this counts.
    """
    # a diagonal of cells has steps of 0.71 cells: straightened by a little more, and grown by a little more than that
    joined = shapely.union_all(list(steep)).intersection(within)
    return grown(joined, 0.8 * cell_m).simplify(0.75 * cell_m)


def spared(ground: BaseGeometry, spare: BaseGeometry, *, least_m2: float) -> Polygon | MultiPolygon:
    """Return ground without what is to be spared, spots of it smaller than a limit and narrow rests left out.

    Parameters
    ----------
    ground, spare
        Planar polygons [m].
    least_m2
        Spots of ``spare`` smaller than this stay part of the ground: left alone they would be scraps [m²].
    """
    spots = [one for one in polygons(spare.intersection(ground)) if one.area >= least_m2]
    if not spots:
        return MultiPolygon(polygons(ground))
    rest = ground.difference(shapely.union_all(spots))
    half = NARROW_M / 2
    wide = grown(grown(rest, -half), half).intersection(rest)
    return MultiPolygon([one for one in polygons(wide) if one.area > CRUMB_M2])


def grown(shape: AnyShape, by_m: float) -> AnyShape:
    """Return a shape, or an array of shapes, grown with mitred corners; shrunk where ``by_m`` is below 0."""
    with np.errstate(all="ignore"):  # GEOS leaves flags of its own arithmetic behind
        found: AnyShape = shapely.buffer(shape, by_m, join_style="mitre")
    return found


def place_of(shape: BaseGeometry) -> tuple[float, float]:
    """Return a place to tell equals apart by: the west first, then the south."""
    return (round(shape.bounds[0], 3), round(shape.bounds[1], 3))


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """Return the polygons of a shape that are not empty."""
    return [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and not part.is_empty]
