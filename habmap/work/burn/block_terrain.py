"""What heights say of a burn block: the rise beyond its edges, and the way cold air runs from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from habmap.land.downhill import DownhillPath, Surface, downhill_path, outlets
from habmap.land.facing import FaceClass
from habmap.measures import M_PER_FT

#: How far from the block cold air is followed, and so how much ground around it is read [m].
COLD_AIR_M: Final = 2_000.0
#: Points of the outline from which cold air is let run.
COLD_AIR_STARTS: Final = 12


@dataclass(frozen=True, slots=True)
class BlockTerrain:
    """The elevation's figures of a block, planar geometry in the place's grid.

    Attributes
    ----------
    class_m2
        Ground by facing and slope class [m²].
    surface
        Heights around the block.
    """

    class_m2: dict[FaceClass, float]
    surface: Surface

    def above_ft(self, point: Point, level_ft: float | None) -> float | None:
        """Return how far ground lies above a level; ``None`` where either is not known [ft]."""
        height_m = self.surface.height_m(point.x, point.y)
        return None if level_ft is None or math.isnan(height_m) else height_m / M_PER_FT - level_ft


def rise_frac(surface: Surface, edge: tuple[float, float], beyond: tuple[float, float]) -> float | None:
    """Return the rise from an edge to a point beyond it over the distance, negative downhill [m/m]."""
    rise_m = surface.height_m(*beyond) - surface.height_m(*edge)
    return None if math.isnan(rise_m) else rise_m / math.dist(edge, beyond)


def cold_air_paths(surface: Surface, block: BaseGeometry) -> list[DownhillPath]:
    """Let cold air run from the outline's lowest point and from points all round it; the lowest point's path first.

    Alternatives that run into one already found are left out.
    """
    outline = shapely.boundary(block)
    ring = max(shapely.get_parts(outline), key=lambda line: float(line.length), default=None)
    if ring is None:
        return []
    steps = [shapely.get_coordinates(ring.interpolate(i / 240, normalized=True))[0].tolist() for i in range(240)]
    known = [(surface.height_m(x, y), (x, y)) for x, y in steps if not math.isnan(surface.height_m(x, y))]
    if not known:
        return []
    starts = [min(known)[1], *(tuple(steps[i * 240 // COLD_AIR_STARTS]) for i in range(COLD_AIR_STARTS))]
    ways_out = outlets(surface)
    paths: list[DownhillPath] = []
    for start in starts:
        path = downhill_path(surface, start, longest_m=COLD_AIR_M, ways_out=ways_out)
        if path.length_m > 0 and not any(_joins(path, other, surface.cell_m) for other in paths):
            paths.append(path)
    return paths


def _joins(path: DownhillPath, other: DownhillPath, cell_m: float) -> bool:
    return bool(shapely.distance(shapely.Point(path.points[-1]), LineString(other.points)) < 3 * cell_m)
