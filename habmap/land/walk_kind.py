"""Which kind of walk a path is: around the ground, or over it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from shapely import LineString, Polygon

from habmap.land.rings import closable_m, crossings, end_gap, without_small_loops
from habmap.land.tracks import CIRCLE_95, Path

Kind = Literal["edge walk", "working track"]

#: Lanes closer together than twice this share of the walk's breadth count as one covered ground.
CLOSING_SHARE: Final = 0.15
#: Share of the way inside the ground from which a walk looks like work.
INSIDE_SHARE: Final = 0.4
#: 4π · area / length² of the ring; a square has 0.79, a strip 30 times as long as wide 0.10.
SLENDER: Final = 0.1
#: Crossings that no GPS error explains.
MANY_CROSSINGS: Final = 3
#: Net turning over all turning below which a path goes to and fro; a U-shaped edge has 0.5.
TO_AND_FRO: Final = 0.35
#: Bends narrower than this share of the walk's breadth are not counted as turning.
BEND_SHARE: Final = 0.05
#: Detail of the line that is buffered, as a share of the buffer.
COARSE_SHARE: Final = 0.2
SAMPLES: Final = 400


@dataclass(frozen=True, slots=True)
class WalkSigns:
    """What tells an edge walk from a working track.

    Attributes
    ----------
    inside_frac
        Share of the way that runs inside the outer line of everything walked, 0–1.
    gap_m
        Open piece between the end and the start [m].
    roundness_frac
        4π · area / length² of the closed, smoothed path: 1 for a circle.
    one_way_frac
        Net turning of the open path over the sum of its turns, both ways: 1 where it bends one way only.
    crossings
        Times the path crosses itself in loops larger than the GPS error.
    """

    kind: Kind
    inside_frac: float
    gap_m: float
    roundness_frac: float
    one_way_frac: float
    crossings: int


def kind_of_walk(path: Path, *, sigma_m: float, close_gap_m: float) -> WalkSigns:
    """Tell whether a path goes around ground or wanders over it.

    A walk counts as a working track when signs come in pairs: much of the way lies inside its own outer line, the end
    stays open, it turns to and fro, it crosses itself again and again; or it stays open and is too slender to go round
    anything. One sign alone is not enough: an edge walk may stay open, follow a narrow strip, have a ragged edge, or
    cross once in a figure-eight.
    """
    gap_m, stay = end_gap(path, sigma_m=sigma_m)
    smooth = shapely.get_coordinates(LineString(path.xy[stay]).simplify(2 * sigma_m, preserve_topology=False))
    ring, _times, _loops = without_small_loops(smooth, np.arange(len(smooth), dtype=float), small_m=CIRCLE_95 * sigma_m)
    crossed = len(crossings(ring))
    outline = Polygon(ring) if len(ring) > 2 else Polygon()
    roundness = 4 * math.pi * outline.area / outline.length**2 if outline.length else 0.0
    inside = _inside_frac(LineString(smooth), sigma_m=sigma_m)
    one_way = _one_way_frac(LineString(smooth), sigma_m=sigma_m)
    widest_m = closable_m(path, sigma_m=sigma_m, close_gap_m=close_gap_m)
    is_inside, is_open, is_crossed = inside >= INSIDE_SHARE, gap_m > widest_m, crossed >= MANY_CROSSINGS
    is_to_and_fro = one_way < TO_AND_FRO
    is_work = (
        (is_inside and (is_open or is_to_and_fro or is_crossed))
        or (is_open and (is_to_and_fro or is_crossed or roundness < SLENDER))
        or (is_crossed and is_to_and_fro)
    )
    kind: Kind = "working track" if is_work else "edge walk"
    return WalkSigns(kind, inside, gap_m, roundness, one_way, crossed)


def _inside_frac(line: LineString, *, sigma_m: float) -> float:
    breadth_m = math.sqrt(line.convex_hull.area)
    reach_m = max(CIRCLE_95 * sigma_m, CLOSING_SHARE * breadth_m)
    # A coarser line is enough here, and a scribble of thousands of fixes takes a minute to buffer.
    coarse = line.simplify(COARSE_SHARE * reach_m, preserve_topology=False)
    walked = coarse.buffer(reach_m, quad_segs=4)
    filled = shapely.union_all(
        [Polygon(part.exterior) for part in shapely.get_parts(walked) if isinstance(part, Polygon)]
    )
    outer = filled.buffer(-reach_m, quad_segs=4)
    if outer.is_empty:
        return 0.0
    shares = (np.arange(SAMPLES) + 0.5) / SAMPLES
    places = np.array([coarse.interpolate(share, normalized=True) for share in shares.tolist()])
    depth_m = shapely.distance(outer.boundary, places)
    return float(np.mean(shapely.intersects(outer, places) & (depth_m > reach_m / 2)))


def _one_way_frac(line: LineString, *, sigma_m: float) -> float:
    bend_m = max(2 * sigma_m, BEND_SHARE * math.sqrt(line.convex_hull.area))
    legs = np.diff(shapely.get_coordinates(line.simplify(bend_m, preserve_topology=False)), axis=0)
    if len(legs) < 3:
        return 1.0
    heading = np.arctan2(legs[:, 1], legs[:, 0])
    turns = (np.diff(heading) + math.pi) % (2 * math.pi) - math.pi
    return float(abs(turns.sum()) / max(np.abs(turns).sum(), 1e-12))
