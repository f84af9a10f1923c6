"""Ground covered along working tracks: a breadth along each path, freed of the gaps that GPS error alone opens.

Method: own derivation, held by the Monte Carlo in tests/reference/test_covered_acres.py. How often each place was
passed is counted on a raster and blurred until the fixes' error averages out; where half a pass or more is left, the
ground counts as covered. A straight edge keeps its place under any blur, and a second blur taken off (twicing: Stuetzle
& Mittal 1979, from memory) gives corners back. What bias is left is measured by adding the error model once more, and
taken off (simulation extrapolation: Cook & Stefanski 1994, J. Am. Stat. Assoc. 89, from memory); the scatter of those
repeats is the standard deviation.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from habmap.errors import InputError
from habmap.land.acreage import multipolygon
from habmap.land.track_error import FixError, drawn_errors
from habmap.land.tracks import APART_SIGMAS, Path
from habmap.measures import ft

Floats = NDArray[np.float64]

#: Straight pieces per quarter circle of a swath's round ends.
QUARTER_PIECES: Final = 8
#: Blur of the count, in sigmas: less leaves notches where lanes drifted apart, more rounds off corners.
BLUR_SIGMAS: Final = 2.0
#: Cells across a blur, and across a swath; the finest cell [m]; the most cells.
CELLS_PER_BLUR: Final = 3
CELLS_PER_SWATH: Final = 2
FINEST_CELL_M: Final = 0.3
MOST_CELLS: Final = 4e6
#: Ground is passed again only after this many swaths of way: a turn is not a second pass.
SAME_PASS_SWATHS: Final = 3.0
#: More passes than this over one place are a machine that stood.
MOST_PASSES: Final = 3
#: Mean passes over closed ground below which its gaps are real: adjoining lanes have one or more.
LEAST_PASSES: Final = 0.9
#: Lanes may overlap by this many passes before their ground counts as worked twice, its edge at half of its passes.
OVERLAP_PASSES: Final = 0.25
#: Fixes closer to their line than this are thinned out first, in sigmas and in swaths.
THIN_SIGMAS: Final = 0.3
THIN_SWATHS: Final = 0.1
#: A run this far from the closed ground was worked apart from it, in sigmas.
RUN_SIGMAS: Final = 2.5
#: Closed ground narrower than this (twice its area over its outline) has no edge to speak of, in sigmas.
NARROWEST_SIGMAS: Final = 7.0
#: Ground this many swaths broad is more than one lane.
LANE_BREADTHS: Final = 1.5
#: Lanes apart lie over each other by error for less than this share of their length times breadth.
APART_LOSS: Final = 0.03
#: Share of the acres that noisy edges may add before they are refused instead of corrected: lanes that adjoin, lanes
#: apart.
WIDEST_BIAS: Final = 0.10
WIDEST_BIAS_APART: Final = 0.04
#: Repeats of the error model; fewer where the track is long (errors of many lanes average out).
REPEATS: Final = 10
REPEATS_LONG: Final = 4
LONG_PIECES: Final = 1500
#: The repeats scatter less than the figure does: taking the bias off adds to it, and errors on top of errors move the
#: outline less. Over 30 kinds of block, swath and sigma the figure scattered by this factor more (root mean square).
SPREAD_GROWTH: Final = 1.2
#: What the correction itself leaves of bias, as a share of the acres: over random fields of lanes, with errors that
#: hang together for 20 to 60 s, means lay up to 3% off, 2% as a root mean square (own trials; no source).
#: It fades with the square of the error beside the swath, as the bias of a noisy edge does.
LEFT_BIAS: Final = 0.02
LEFT_BIAS_FULL_AT: Final = 0.2  # sigma over swath
SEED: Final = 20260314
#: A longer piece is cut, so that its window on the raster stays small [m].
LONGEST_PIECE_M: Final = 40.0
#: A turn lies between two fixes when the lanes beside them run against each other by more than this cosine,
#: and less of the way was made good than this share.
AGAINST: Final = -0.7
MADE_GOOD: Final = 0.8
#: A lane's heading is taken over this length [m].
HEADING_M: Final = 10.0


@dataclass(frozen=True, slots=True)
class Covered:
    """Ground covered along paths.

    Attributes
    ----------
    ground
        Valid ground in grid meters.
    area_sd_m2
        Standard deviation of its area from the fixes' error [m²].
    holes_closed
        Gaps that GPS error explains, and for lanes apart holes up to one swath square.
    is_closed
        Whether lanes adjoin, so that gaps between them were closed; else it is the plain union of what was passed.
    moved_out_m
        How far the outline was moved out to take off the bias of noisy edges (negative: in) [m].
    runs_m2
        Area of single runs apart from the closed ground [m²].
    """

    ground: MultiPolygon
    area_sd_m2: float
    holes_closed: int
    is_closed: bool
    moved_out_m: float
    runs_m2: float


@dataclass(frozen=True, slots=True)
class _Closed:
    """Closed ground with its gaps closed, the mean passes over it, and single runs apart from it."""

    block: BaseGeometry
    runs: BaseGeometry
    passes: float
    holes: int

    @property
    def ground(self) -> BaseGeometry:
        return shapely.union_all([self.block, self.runs])


def covered(paths: Sequence[Path], *, swath_m: float, error: FixError, where: str) -> Covered:
    """Return the ground covered along working tracks, and its standard deviation.

    Parameters
    ----------
    paths
        Cleaned fixes in grid meters, pauses kept.
    swath_m
        Breadth worked along the path [m].
    error
        Model of a fix's error.
    where
        File and track, for people.

    Raises
    ------
    InputError
        The lanes lie apart by less than the GPS can tell, the swath is narrower than the error and its lanes don't
        adjoin, or the ground is hardly wider than the error: its edge must be walked.
    """
    restored = [_with_turns(path) for path in paths if len(path.xy)]
    lines, times = [xy for xy, _ in restored], [time_s for _, time_s in restored]
    if error.sigma_m == 0:
        ground, holes = covered_ground(lines, swath_m=swath_m)
        return Covered(ground, 0.0, holes, is_closed=False, moved_out_m=0.0, runs_m2=0.0)

    thin_m = min(THIN_SIGMAS * error.sigma_m, THIN_SWATHS * (swath_m + error.sigma_m))
    thinned = [_thinned(line, thin_m) for line in lines]
    closed = _closed(thinned, swath_m=swath_m, sigma_m=error.sigma_m)
    is_one_ground = closed.passes >= LEAST_PASSES and closed.block.area >= closed.runs.area
    is_closed = is_one_ground and _breadth_m(closed.block) >= NARROWEST_SIGMAS * error.sigma_m
    measure: Callable[[list[Floats]], float]
    if is_closed:
        first, holes, runs_m2 = multipolygon(closed.ground), closed.holes, closed.runs.area

        def measure(noisy: list[Floats]) -> float:
            return float(_closed(noisy, swath_m=swath_m, sigma_m=error.sigma_m).ground.area)
    else:
        first, holes = covered_ground(thinned, swath_m=swath_m)
        runs_m2 = 0.0
        _refuse_unclear(
            first,
            thinned,
            swath_m=swath_m,
            sigma_m=error.sigma_m,
            where=where,
            block=closed.block if is_one_ground else None,
        )

        def measure(noisy: list[Floats]) -> float:
            return covered_ground(noisy, swath_m=swath_m)[0].area

    repeats = REPEATS if sum(map(len, thinned)) < LONG_PIECES else REPEATS_LONG
    areas_m2 = []
    for noise in drawn_errors(np.concatenate(times), error=error, walks=repeats, rng=np.random.default_rng(SEED)):
        parts = np.split(noise, np.cumsum([len(line) for line in lines])[:-1])
        areas_m2.append(measure([_thinned(line + part, thin_m) for line, part in zip(lines, parts, strict=True)]))
    bias_m2 = float(np.mean(areas_m2)) - first.area
    bias_frac, widest_frac = abs(bias_m2) / first.area, WIDEST_BIAS if is_closed else WIDEST_BIAS_APART
    if bias_frac > widest_frac:
        raise _walk_the_edge(
            "the GPS error blurs this ground: its acres can't be had from the lanes",
            where=where,
            value=f"{100 * bias_frac:.0f}% of the acres would be the error's own",
            allowed=f"up to {100 * widest_frac:.0f}%",
        )
    # The model's roughness shows fully along a lone line, and receivers smooth theirs: half of it there, either way.
    taken_off_m2 = bias_m2 if is_closed else bias_m2 / 2
    ground, moved_m = _moved_out(first, -taken_off_m2)
    variance = SPREAD_GROWTH**2 * float(np.var(areas_m2, ddof=1)) * (1 + 1 / repeats) + (bias_m2 / 2) ** 2
    if is_closed:
        # Slightly less than one pass may be gaps that were really left.
        variance += (max(0.0, 1 - closed.passes) * ground.area) ** 2 / 3
        left_frac = LEFT_BIAS * min(1.0, (error.sigma_m / swath_m / LEFT_BIAS_FULL_AT) ** 2)
        variance += (left_frac * ground.area) ** 2
    return Covered(ground, math.sqrt(variance), holes, is_closed, moved_m, runs_m2)


def covered_ground(lines: Sequence[Floats], *, swath_m: float) -> tuple[MultiPolygon, int]:
    """Return the ground within half a swath of the paths, and how many small holes were closed.

    A hole is closed when it is no larger than one swath square (``swath_m²``): a place between two passes that a
    person would call done. Larger ones stay open. Paths are not joined to each other. ``lines`` are arrays of shape
    (n, 2) [m].
    """
    shapes = [
        piece.buffer(swath_m / 2, quad_segs=QUARTER_PIECES)
        for xy in lines
        for piece in (_pieces(xy) if len(xy) > 1 else [shapely.Point(xy[0])])
    ]
    closed, parts = 0, []
    for part in multipolygon(shapely.union_all(shapes)).geoms:
        holes = [hole for hole in part.interiors if Polygon(hole).area > swath_m**2]
        closed += len(part.interiors) - len(holes)
        parts.append(orient(Polygon(part.exterior, holes)))
    return MultiPolygon(parts), closed


def _pieces(xy: Floats, *, longest: int = 50) -> list[LineString]:
    """Cut a path into pieces of some fixes each: many small buffers unite faster than one that crosses itself."""
    return [LineString(xy[i : i + longest + 1]) for i in range(0, len(xy) - 1, longest)]


def _closed(lines: list[Floats], *, swath_m: float, sigma_m: float) -> _Closed:
    """Return where at least half a pass is left once the fixes' error is averaged out, and runs apart from it."""
    from contourpy import FillType, contour_generator
    from scipy import ndimage

    blur_m = BLUR_SIGMAS * sigma_m
    spread_m = math.hypot(blur_m, sigma_m)
    places = np.concatenate(lines)
    margin_m = 4 * spread_m + swath_m
    low, high = places.min(axis=0) - margin_m, places.max(axis=0) + margin_m
    cell_m = max(
        min(blur_m / CELLS_PER_BLUR, swath_m / CELLS_PER_SWATH),
        FINEST_CELL_M,
        math.sqrt(np.prod(high - low) / MOST_CELLS),
    )
    columns, rows = np.ceil((high - low) / cell_m).astype(int).tolist()
    east, north = (low[axis] + (np.arange(count) + 0.5) * cell_m for axis, count in ((0, columns), (1, rows)))

    def blurred(field: Floats, by_m: float) -> Floats:
        smooth: Floats = ndimage.gaussian_filter(field, by_m / cell_m, mode="constant", truncate=3.5)
        return smooth

    count = _passes(lines, east, north, swath_m=swath_m, cell_m=cell_m)
    passed = blurred(count, blur_m)
    sharp = 2 * passed - blurred(passed, spread_m)

    def region(field: Floats) -> tuple[BaseGeometry, int]:
        contours = contour_generator(east, north, field, fill_type=FillType.OuterOffset).filled(0, np.inf)
        parts, holes = [], 0
        for points, offsets in zip(*contours, strict=True):
            outer, *inner = (points[a:b] for a, b in pairwise(offsets))
            real = [ring for ring in inner if len(ring) > 3 and not _explained(ring, sigma_m)]
            holes += len(inner) - len(real)
            parts.append(Polygon(outer, real))
        return shapely.union_all(shapely.make_valid(np.array(parts, dtype=object))), holes

    def inside(ground: BaseGeometry) -> Floats:
        shapely.prepare(ground)
        mask = np.zeros((rows, columns))
        west, south, right, top = ground.bounds
        i = slice(*np.searchsorted(east, (west, right)).tolist())
        j = slice(*np.searchsorted(north, (south, top)).tolist())
        mask[j, i] = shapely.contains_xy(ground, *np.meshgrid(east[i], north[j]))
        return mask

    block, holes = region(sharp - 0.5)
    if block.is_empty:
        return _Closed(Polygon(), Polygon(), 0.0, 0)
    core = block.buffer(-spread_m)
    if not core.is_empty:
        # Ground worked over more than once: its edge is at half of its own passes.
        deep, wide = inside(core), 0.1 * blurred(inside(block), 2 * spread_m) + 1e-9
        level = (blurred(passed * deep, 2 * spread_m) + wide) / (blurred(deep, 2 * spread_m) + wide)
        level = np.maximum(level - OVERLAP_PASSES, 1.0)
        if level.max() > 1:
            block, holes = region(sharp - 0.5 * level)
    mask = inside(block) > 0
    passes = float(count[mask].mean()) if mask.any() else 0.0
    return _Closed(block, _runs(lines, block, swath_m=swath_m, sigma_m=sigma_m), passes, holes)


def _explained(ring: Floats, sigma_m: float) -> bool:
    """Tell whether a gap is narrow enough to be of the fixes' error alone."""
    return bool(Polygon(ring).buffer(-APART_SIGMAS * sigma_m / 2).is_empty)


def _passes(lines: list[Floats], east: Floats, north: Floats, *, swath_m: float, cell_m: float) -> Floats:
    """Count how often each cell came within half a swath of the path, a turn counted once."""
    reach_m = swath_m / 2
    count = np.zeros((len(north), len(east)))
    for line in lines:
        last_m = np.full(count.shape, -np.inf)
        along_m = 0.0
        if len(line) > 1:
            dense = shapely.get_coordinates(shapely.segmentize(LineString(line), LONGEST_PIECE_M))
        else:
            dense = np.concatenate([line, line + 1e-3])
        for begin, end in pairwise(dense):
            length_m = math.hypot(*(end - begin))
            low = np.minimum(begin, end) - reach_m - cell_m
            high = np.maximum(begin, end) + reach_m + cell_m
            i = slice(*np.searchsorted(east, (low[0], high[0])).tolist())
            j = slice(*np.searchsorted(north, (low[1], high[1])).tolist())
            ex, ny = (end - begin) / length_m
            dx, dy = east[i][None, :] - begin[0], north[j][:, None] - begin[1]
            foot_m = np.clip(dx * ex + dy * ny, 0, length_m)
            on = (dx - foot_m * ex) ** 2 + (dy - foot_m * ny) ** 2 <= reach_m**2
            at_m = along_m + foot_m
            window = last_m[j, i]
            count[j, i] += on & (at_m - window > SAME_PASS_SWATHS * swath_m)
            window[on] = at_m[on]
            along_m += length_m
    return np.minimum(count, MOST_PASSES)


def _runs(lines: list[Floats], block: BaseGeometry, *, swath_m: float, sigma_m: float) -> BaseGeometry:
    """Return the swath of what was passed apart from closed ground, farther off than its edge can err."""
    near_m = RUN_SIGMAS * sigma_m + swath_m / 2
    near = block.buffer(near_m)
    found = []
    for line in lines:
        way = LineString(line) if len(line) > 1 else shapely.Point(line[0])
        if near.covers(way):
            continue
        rest = [piece for piece in shapely.get_parts(way.difference(block)) if not near.covers(piece)]
        found += [piece.buffer(swath_m / 2, quad_segs=QUARTER_PIECES) for piece in rest if piece.length > 4 * near_m]
    return shapely.union_all(found)


def _with_turns(path: Path) -> tuple[Floats, Floats]:
    """Put back the ends of lanes that fell between two fixes, as far out as the speed on the lanes says.

    A person who turns between two fixes is farther out than both. The lanes before and after run against each other;
    the way between the fixes was as long as their time apart at the speed of the lanes.
    """
    xy, time_s = path.xy, path.time_s
    if len(xy) < 8:
        return xy, time_s
    steps = np.diff(xy, axis=0)
    step_m, step_s = np.hypot(*steps.T), np.diff(time_s)
    speed_mps = np.median(step_m / np.maximum(step_s, 1e-3))
    usual_m, usual_s = float(np.median(step_m)), float(np.median(step_s))
    back = max(1, math.ceil(HEADING_M / max(usual_m, 1e-6)))
    places, times = [xy[:1]], [time_s[:1]]
    for i in range(len(steps)):
        way_m = speed_mps * step_s[i]
        if step_m[i] < MADE_GOOD * way_m and step_s[i] < 2 * usual_s and back <= i < len(steps) - back:
            before, after = xy[i] - xy[i - back], xy[i + 1 + back] - xy[i + 1]
            before, after = before / max(np.hypot(*before), 1e-9), after / max(np.hypot(*after), 1e-9)
            if before @ after < AGAINST:
                axis = (before - after) / np.hypot(*(before - after))
                on_m = float(steps[i] @ axis)
                across_m = abs(float(steps[i] @ np.array([-axis[1], axis[0]])))
                out_m, home_m = (way_m - across_m + on_m) / 2, (way_m - across_m - on_m) / 2
                if out_m > 0 and home_m > 0:
                    places += [xy[i : i + 1] + out_m * axis, xy[i + 1 : i + 2] + home_m * axis]
                    times += [time_s[i : i + 1] + out_m / speed_mps, time_s[i + 1 : i + 2] - home_m / speed_mps]
        places.append(xy[i + 1 : i + 2])
        times.append(time_s[i + 1 : i + 2])
    return np.concatenate(places), np.concatenate(times)


def _thinned(xy: Floats, tolerance_m: float) -> Floats:
    """Leave out fixes that lie within a tolerance of the line without them."""
    if len(xy) < 3:
        return xy
    thin = shapely.get_coordinates(LineString(xy).simplify(tolerance_m, preserve_topology=False))
    # Out and back within the tolerance, to the very fix it began with: a place, and no line.
    return thin[:1] if len(thin) == 2 and (thin[0] == thin[1]).all() else thin


def _moved_out(ground: MultiPolygon, wanted_m2: float) -> tuple[MultiPolygon, float]:
    """Move an outline out (or in) evenly until its area has changed by as much as wanted."""
    moved_m, moved = 0.0, ground
    for _ in range(3):
        moved_m += (ground.area + wanted_m2 - moved.area) / moved.length
        moved = multipolygon(ground.buffer(moved_m, quad_segs=QUARTER_PIECES))
    return moved, moved_m


def _breadth_m(ground: BaseGeometry) -> float:
    return 2 * ground.area / ground.length


def _refuse_unclear(
    ground: MultiPolygon,
    lines: Sequence[Floats],
    *,
    swath_m: float,
    sigma_m: float,
    where: str,
    block: BaseGeometry | None,
) -> None:
    """Refuse lanes apart whose gaps or overlaps the GPS error may have made; ``block`` is the ground if they adjoin."""
    way_m = sum(LineString(line).length for line in lines if len(line) > 1)
    twice_frac = 1 - ground.area / max(way_m * swath_m, ground.area)
    is_narrow_block = block is not None and _breadth_m(block) > LANE_BREADTHS * swath_m
    if swath_m >= sigma_m and twice_frac <= APART_LOSS and not is_narrow_block:
        return
    if block is not None:
        raise _walk_the_edge(
            "the worked ground is hardly wider than the GPS error: its acres can't be had from the lanes",
            where=where,
            value=f"about {ft(_breadth_m(block)):.0f} ft wide, a GPS error of {ft(sigma_m):.1f} ft",
            allowed=f"{ft(NARROWEST_SIGMAS * sigma_m):.0f} ft or wider",
        )
    raise _walk_the_edge(
        "these lanes lie neither close enough to be one ground nor far enough apart to be told from each other",
        where=where,
        value=f"a swath of {ft(swath_m):.1f} ft, a GPS error of {ft(sigma_m):.1f} ft, "
        f"{100 * twice_frac:.0f}% of the swath passed over twice",
        allowed="lanes that adjoin, or lanes apart by more than the GPS error",
    )


def _walk_the_edge(what: str, *, where: str, value: str, allowed: str) -> InputError:
    return InputError(
        what,
        where=where,
        value=value,
        allowed=allowed,
        mend="walk the edge of the worked ground and trace that without --swath-ft (if the receiver is better than "
        "[gps] sigma_m says, correct that)",
    )
