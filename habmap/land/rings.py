"""From an open path to one clean ring: the end closed, small loops dissolved, a figure-eight refused."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, Polygon

from habmap.errors import InputError
from habmap.land.tracks import CIRCLE_95, Path
from habmap.measures import acres, ft

Floats = NDArray[np.float64]

#: Only this share of the way, at each end, can be an overrun past the start.
OVERRUN_SHARE = 0.15
#: Two fixes of one place lie apart by more than this many sigmas in 3 of 10,000 cases: √2 · √(−2 ln 0.0003).
ENDS_SIGMAS = 4 * math.sqrt(2)
#: Share of the steps that are no longer than the spacing of fixes allowed for.
USUAL_STEPS = 0.9
MAX_PASSES = 500


@dataclass(frozen=True, slots=True)
class Ring:
    """An outline from a walk.

    Attributes
    ----------
    polygon
        Valid ground in grid meters, without holes.
    xy, time_s
        Its vertices, counter-clockwise and not closed, shape (n, 2) [m], with the time of each, shape (n,) [s].
    gap_m
        Straight piece that closes the walk [m].
    trimmed
        Fixes left out at an end because the person walked on past the start.
    loops
        Loops smaller than the GPS error that were dissolved.
    laps
        How often the walk goes round; where it does so twice, the outer edge counts.
    """

    polygon: Polygon
    xy: Floats
    time_s: Floats
    gap_m: float
    trimmed: int
    loops: int
    laps: int


def end_gap(path: Path, *, sigma_m: float) -> tuple[float, slice]:
    """Return the open piece of an edge walk [m] and the fixes that stay once an overrun past the start is left out."""
    xy = path.xy
    n = len(xy)
    direct_m = float(np.hypot(*(xy[-1] - xy[0])))
    whole = slice(0, n)
    if direct_m <= 3 * sigma_m or n < 8:
        return direct_m, whole
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    early = np.flatnonzero(along_m <= OVERRUN_SHARE * along_m[-1])
    late = np.flatnonzero(along_m >= (1 - OVERRUN_SHARE) * along_m[-1])
    apart_m = np.hypot(*(xy[early] - xy[-1]).T), np.hypot(*(xy[late] - xy[0]).T)
    start, end = int(early[apart_m[0].argmin()]), int(late[apart_m[1].argmin()])
    from_start_m, from_end_m = float(apart_m[0].min()), float(apart_m[1].min())
    if min(from_start_m, from_end_m) > direct_m / 2:
        return direct_m, whole
    if from_start_m <= from_end_m:
        return from_start_m, slice(start, n)
    return from_end_m, slice(0, end + 1)


def closable_m(path: Path, *, sigma_m: float, close_gap_m: float) -> float:
    """Return the widest open piece that still is no more than a missing fix [m].

    The walk comes back to its start somewhere between two fixes, and both ends err: one spacing of fixes and the
    error of two of them are allowed for, and never less than ``close_gap_m``.
    """
    if len(path.xy) < 2:
        return close_gap_m
    spacing_m = float(np.quantile(np.hypot(*np.diff(path.xy, axis=0).T), USUAL_STEPS))
    return max(close_gap_m, spacing_m + ENDS_SIGMAS * sigma_m)


def ring_of(path: Path, *, sigma_m: float, close_gap_m: float) -> Ring:
    """Return the ground inside an edge walk.

    Raises
    ------
    InputError
        Too few fixes, an end open by more than `closable_m`, a walk that encloses nothing, or a figure-eight.

    Notes
    -----
    A loop is smaller than the GPS error when twice its area over its perimeter (the radius, for a circle) is at most
    the radius of the circle that holds 95% of the fixes of one place (2.45 sigma). Such loops are cut off where the
    walk crosses itself, the shortest first; that treats inside and outside alike and so does not bias the area.
    """
    gap_m, stay = end_gap(path, sigma_m=sigma_m)
    trimmed = len(path.xy) - len(path.xy[stay])
    xy, time_s = path.xy[stay], path.time_s[stay]
    widest_m = closable_m(path, sigma_m=sigma_m, close_gap_m=close_gap_m)
    if gap_m > widest_m:
        raise InputError(
            f"the walk does not come back to its start: {ft(gap_m):,.0f} ft are open",
            where=path.where,
            value=f"{ft(gap_m):.0f} ft",
            allowed=f"up to {ft(widest_m):.0f} ft is closed with a straight line ([gps] close_gap_ft, and no less than "
            "the spacing of the fixes and their error)",
            mend="walk the rest as another segment, raise close_gap_ft, or give --swath-ft if this is a working track",
        )
    if gap_m == 0 and len(xy) > 1:
        xy, time_s = xy[:-1], time_s[:-1]
    if len(xy) < 3:
        raise InputError(
            "too few places to make ground of",
            where=path.where,
            value=len(xy),
            allowed="3 or more",
            mend="walk on, or give --swath-ft if this is a working track",
        )
    small_m = CIRCLE_95 * sigma_m
    xy, time_s, loops = without_small_loops(xy, time_s, small_m=small_m)
    polygon, more, laps = _ground(xy, where=path.where, small_m=small_m)
    if 2 * polygon.area <= 0.5 * sigma_m * polygon.length:
        raise InputError(
            "the walk goes out and back and encloses no ground wider than the GPS error",
            where=path.where,
            value=f"{acres(polygon.area):.3f} acres along {ft(polygon.length):,.0f} ft",
            mend="walk around the ground, or give --swath-ft if this path covered it",
        )
    polygon = shapely.geometry.polygon.orient(polygon)
    outline = shapely.get_coordinates(polygon.exterior)[:-1]
    return Ring(polygon, outline, _times_on(outline, xy, time_s), gap_m, trimmed, loops + more, laps)


def without_small_loops(xy: Floats, time_s: Floats, *, small_m: float) -> tuple[Floats, Floats, int]:
    """Return a closed path without the loops that are smaller than the GPS error, and how many there were.

    Parameters
    ----------
    xy, time_s
        Vertices, shape (n, 2) [m], not closed; their times, shape (n,) [s].
    small_m
        A loop is small when twice its area over its perimeter is at most this [m].
    """
    xy, time_s, dissolved = _without_retraced(xy, time_s)
    for _ in range(MAX_PASSES):
        n = len(xy)
        step_m = np.hypot(*(np.roll(xy, -1, axis=0) - xy).T)
        along_m = np.concatenate([[0.0], np.cumsum(step_m)])
        inside, around = [], []
        for i, j, point in crossings(xy):
            length_m = along_m[j] - along_m[i + 1] + np.hypot(*(xy[i + 1] - point)) + np.hypot(*(xy[j] - point))
            if length_m <= along_m[-1] / 2:
                inside.append((length_m, i, j, point))
            else:
                around.append((i, j, point))
        taken = np.zeros(n, dtype=bool)
        cut: dict[int, tuple[int, Floats]] = {}
        for _length_m, i, j, point in sorted(inside, key=lambda crossing: crossing[0]):
            if not taken[i : j + 1].any() and _is_small(np.vstack([point, xy[i + 1 : j + 1]]), small_m):
                taken[i : j + 1] = True
                cut[i] = (j, point)
        if cut:
            xy, time_s = _cut_off(xy, time_s, cut)
            dissolved += len(cut)
            continue
        turned = next(
            ((i, j) for i, j, point in around if _is_small(np.vstack([point, xy[j + 1 :], xy[: i + 1]]), small_m)), None
        )
        if turned is None:
            break
        # The loop runs over the ring's first vertex: begin the ring elsewhere and cut it off in the next pass.
        shift = (turned[0] + turned[1] + 1) // 2
        xy, time_s = np.roll(xy, -shift, axis=0), np.roll(time_s, -shift)
    return xy, time_s, dissolved


def _without_retraced(xy: Floats, time_s: Floats) -> tuple[Floats, Floats, int]:
    """Cut off spurs walked back over exactly the same places, and count them."""
    kept: list[int] = []
    spurs, was_back = 0, False
    for i, place in enumerate(xy):
        is_back = len(kept) >= 2 and bool((xy[kept[-2]] == place).all())
        if is_back:
            kept.pop()
            spurs += not was_back
        else:
            kept.append(i)
        was_back = is_back
    return xy[kept], time_s[kept], spurs


def crossings(xy: Floats) -> list[tuple[int, int, Floats]]:
    """Return where a closed path crosses or touches itself: segments i < j (from vertex i to i + 1) and the point."""
    n = len(xy)
    ends = np.roll(xy, -1, axis=0)
    lines = np.array(shapely.linestrings(np.stack([xy, ends], axis=1)))
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    apart = (second - first >= 2) & ~((first == 0) & (second == n - 1))
    first, second = first[apart], second[apart]
    p, r = xy[first], ends[first] - xy[first]
    q, s = xy[second], ends[second] - xy[second]
    cross = r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0]
    proper = cross != 0  # stretches on one line are left to the noding of _ground
    first, second, p, r, q, s, cross = (a[proper] for a in (first, second, p, r, q, s, cross))
    share = ((q - p)[:, 0] * s[:, 1] - (q - p)[:, 1] * s[:, 0]) / cross
    points = p + np.clip(share, 0, 1)[:, None] * r
    return list(zip(first.tolist(), second.tolist(), points, strict=True))


def _cut_off(xy: Floats, time_s: Floats, cut: dict[int, tuple[int, Floats]]) -> tuple[Floats, Floats]:
    places, times = [], []
    i, n = 0, len(xy)
    while i < n:
        places.append(xy[i])
        times.append(time_s[i])
        if i in cut:
            after, point = cut[i]
            places.append(point)
            times.append((time_s[i] + time_s[min(i + 1, n - 1)]) / 2)
            i = after
        i += 1
    kept, at = np.array(places), np.array(times)
    fresh = np.any(kept != np.roll(kept, 1, axis=0), axis=1)
    return kept[fresh], at[fresh]


def _is_small(loop: Floats, small_m: float) -> bool:
    if len(loop) < 3:
        return True
    ring = LinearRing(loop)
    polygon = Polygon(ring)
    area_m2 = polygon.area if polygon.is_valid else sum(face.area for face in _faces(ring))
    return bool(2 * area_m2 <= small_m * ring.length)


def _faces(ring: LinearRing) -> list[Polygon]:
    return [face for face in shapely.get_parts(shapely.polygonize([shapely.node(ring)])) if isinstance(face, Polygon)]


def _ground(xy: Floats, *, where: str, small_m: float) -> tuple[Polygon, int, int]:
    """Return the one ground that a closed path goes round, how many small ones were dropped, and how often it does."""
    if len(xy) < 3:
        return Polygon(), 0, 1
    polygon = Polygon(xy)
    if polygon.is_valid:
        return polygon, 0, 1
    faces = _faces(LinearRing(xy))
    turns = np.array([_winding(face.representative_point().coords[0], xy) for face in faces])
    pieces: list[Polygon] = []
    for is_so in (turns > 0, turns < 0):
        same_way = [face for face, so in zip(faces, is_so.tolist(), strict=True) if so]
        if same_way:
            pieces += [
                Polygon(part.exterior) for part in shapely.get_parts(shapely.union_all(same_way)) if part.area > 0
            ]
    pieces.sort(key=lambda piece: piece.area, reverse=True)
    if not pieces:
        return Polygon(), 0, 1
    big = [piece for piece in pieces if 2 * piece.area > small_m * piece.length]
    if len(big) > 1:
        sizes = " and ".join(f"{acres(piece.area):.2f}" for piece in big[:4])
        touching = big[0].intersects(big[1])
        words = "the walk crosses itself like a figure-eight" if touching else "the walk goes round two grounds"
        raise InputError(
            f"{words}: lobes of {sizes} acres",
            where=where,
            value=f"{len(big)} lobes",
            allowed="one ring around one piece of ground",
            mend="walk each lobe as a track of its own, or split the track where it crosses",
        )
    core = max(range(len(faces)), key=lambda i: faces[i].area)
    return pieces[0], len(pieces) - 1, abs(int(turns[core]))


def _winding(point: tuple[float, ...], xy: Floats) -> int:
    """Return how often a closed path goes round a point counter-clockwise, by its crossings of a ray to the east."""
    x, y = point[0], point[1]
    ends = np.roll(xy, -1, axis=0)
    side = (ends[:, 0] - xy[:, 0]) * (y - xy[:, 1]) - (x - xy[:, 0]) * (ends[:, 1] - xy[:, 1])
    up = (xy[:, 1] <= y) & (ends[:, 1] > y) & (side > 0)
    down = (xy[:, 1] > y) & (ends[:, 1] <= y) & (side < 0)
    return int(up.sum()) - int(down.sum())


def _times_on(outline: Floats, xy: Floats, time_s: Floats) -> Floats:
    """Return the time of each outline vertex: that of the same fix, else of the nearest one (a crossing has none)."""
    nearest = shapely.STRtree(np.array(shapely.points(xy))).nearest(shapely.points(outline))
    return time_s[nearest]
