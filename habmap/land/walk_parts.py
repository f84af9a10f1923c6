"""The parts of a walk round ground: the way in, the edge, the way out; and spikes that stick out of an outline."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from habmap.land.rings import closable_m
from habmap.land.tracks import CIRCLE_95, Path

#: Places along the way at which it is looked for where it closes.
PLACES: Final = 1200
#: A way in or out is longer than this many of the widest closable gaps; less is an overrun past the start.
WAY_GAPS: Final = 2.0
#: A way leads somewhere: its ends lie apart by at least this share of its length. A path to and fro does not.
DIRECT_SHARE: Final = 0.5
#: Ground has at least this breadth (twice its area over its outline), in sigmas.
GROUND_SIGMAS: Final = 5.0
#: Leaving the ways out makes ground broader for its outline by at least this factor.
LEAST_GAIN: Final = 1.08
#: A spike is longer than its breadth by more than this factor.
SPIKE_RATIO: Final = 10.0
#: What is narrower than this many sigmas can be a spike, and it is at least as long as this.
SPIKE_BREADTH_SIGMAS: Final = 4.0
SPIKE_LENGTH_SIGMAS: Final = 8.0


@dataclass(frozen=True, slots=True)
class Parts:
    """Which fixes are the edge: those before are the way in, those after the way out."""

    edge: slice
    way_in_m: float
    way_out_m: float


@dataclass(frozen=True, slots=True)
class Spike:
    """A narrow piece of an outline that leads out and back: its length and breadth [m], and its middle (grid)."""

    length_m: float
    breadth_m: float
    at: tuple[float, float]


def parts_of(path: Path, *, sigma_m: float, close_gap_m: float) -> Parts:
    """Tell the way in and out from the edge.

    The edge is the loop, closed where the walk comes near itself, that has the most area for its length. What lies
    before and after it is a way only if it leads somewhere, and if both ways together go round no ground of their own.

    Notes
    -----
    Own derivation, held by simulated days in tests/unit/test_walk_parts.py.
    """
    from scipy.spatial import cKDTree

    xy, n = path.xy, len(path.xy)
    whole = Parts(slice(0, n), 0.0, 0.0)
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    near_m = closable_m(path, sigma_m=sigma_m, close_gap_m=close_gap_m)
    if n < 8:
        return whole
    at = np.unique(np.searchsorted(along_m, np.linspace(0, along_m[-1], PLACES)).clip(0, n - 1))
    pairs = at[cKDTree(xy[at]).query_pairs(near_m, output_type="ndarray")]
    pairs = pairs[along_m[pairs[:, 1]] - along_m[pairs[:, 0]] > 4 * near_m]
    here = xy - xy[0]
    swept = np.concatenate([[0.0], np.cumsum(here[:-1, 0] * here[1:, 1] - here[1:, 0] * here[:-1, 1])])

    # the last pair is the whole walk
    first, last = np.append(pairs[:, 0], 0), np.append(pairs[:, 1], n - 1)
    closing = here[last, 0] * here[first, 1] - here[first, 0] * here[last, 1]
    area_m2 = np.abs(swept[last] - swept[first] + closing) / 2
    gap_m = np.hypot(*(xy[last] - xy[first]).T)
    breadth_m = 2 * area_m2 / (along_m[last] - along_m[first] + gap_m)
    best = int(breadth_m.argmax())
    if breadth_m[best] < GROUND_SIGMAS * sigma_m:
        return whole
    i, j = int(first[best]), int(last[best])
    in_m, out_m = float(along_m[i]), float(along_m[-1] - along_m[j])
    is_in, is_out = in_m > WAY_GAPS * near_m, out_m > WAY_GAPS * near_m
    if not (is_in or is_out):
        return whole
    leads = [
        float(np.hypot(*(xy[a] - xy[b]))) >= DIRECT_SHARE * way_m
        for is_way, a, b, way_m in ((is_in, 0, i, in_m), (is_out, j, n - 1, out_m))
        if is_way
    ]
    # A walk that closes as a whole is cut only where that leaves out length and no ground.
    beside_m = 2 * abs(area_m2[-1] - area_m2[best]) / (in_m + out_m)
    is_ground = gap_m[-1] <= near_m and (beside_m > CIRCLE_95 * sigma_m or breadth_m[best] < LEAST_GAIN * breadth_m[-1])
    if is_ground or not all(leads):
        return whole
    start, end = (i if is_in else 0), (j if is_out else n - 1)
    return Parts(slice(start, end + 1), in_m if is_in else 0.0, out_m if is_out else 0.0)


def spikes(ground: MultiPolygon, *, sigma_m: float) -> list[Spike]:
    """Return the pieces of an outline that are longer than ten times their breadth and lead out of wider ground."""
    reach_m = SPIKE_BREADTH_SIGMAS * sigma_m / 2
    core = ground.buffer(-reach_m)
    if core.is_empty or reach_m == 0:
        return []
    found = []
    for piece in shapely.get_parts(ground.difference(core.buffer(1.05 * reach_m))):
        if not isinstance(piece, Polygon) or piece.area == 0:
            continue
        length_m = _reach_m(piece)
        breadth_m = piece.area / length_m
        if length_m > SPIKE_RATIO * breadth_m and length_m > SPIKE_LENGTH_SIGMAS * sigma_m:
            middle = piece.representative_point()
            found.append(Spike(length_m, breadth_m, (middle.x, middle.y)))
    return found


def _reach_m(piece: Polygon) -> float:
    """Return the longer side of the narrowest box around a piece [m]."""
    corners = shapely.get_coordinates(piece.minimum_rotated_rectangle)
    sides_m = np.hypot(*np.diff(corners[:3], axis=0).T)
    return max(float(sides_m.max()), math.sqrt(piece.area))
