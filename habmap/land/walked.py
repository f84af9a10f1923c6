"""Ground from GPS walks: one or several segments in, valid ground with acres and their standard deviation out."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon

from habmap.errors import InputError
from habmap.land.acreage import multipolygon
from habmap.land.grid import LocalGrid
from habmap.land.rings import OVERRUN_SHARE, Ring, closable_m, end_gap, ring_of
from habmap.land.swath import Covered, covered
from habmap.land.track_error import FixError, Floats, area_variance_m2_2
from habmap.land.tracks import (
    ALONE,
    OVERRUN,
    PAUSE,
    STRAY,
    WAY_IN,
    WAY_OUT,
    Cleaned,
    Clock,
    Path,
    Segment,
    Travel,
    cleaned,
    utc_clock,
)
from habmap.land.walk_kind import INSIDE_SHARE, MANY_CROSSINGS, TO_AND_FRO, Kind, WalkSigns, kind_of_walk
from habmap.land.walk_parts import parts_of, spikes
from habmap.measures import acres, ft

FEWEST_FIXES: Final = 4
#: Errors this far apart have nothing to do with each other [s].
SET_APART_S: Final = 1e8
FIXES_ONLY: Final = (
    "the standard deviation is of the fixes' own error only: not of where the edge really is, nor of the corners cut"
)
ASSUMED_TIMES: Final = "the file has no times: a walking speed of 1 m/s was assumed for the error of the acres"


@dataclass(frozen=True, slots=True)
class WalkedGround:
    """What a GPS walk shows.

    Attributes
    ----------
    ground
        Valid ground in grid meters.
    area_m2, area_sd_m2
        Planar area and its standard deviation from the fixes' error [m²].
    perimeter_m
        Length of the outline, holes too [m].
    fixes
        Fixes read.
    dropped
        Fixes left out, by reason.
    closed_gap_m
        Straight pieces that closed open ends and joined segments [m].
    kind
        What the walk looks like, whatever was made of it.
    loops_dissolved, holes_closed
        Loops smaller than the GPS error; holes of the covered ground smaller than one swath square.
    started_s, ended_s
        First and last time, seconds since 1970 UTC; ``None`` where the files have no times.
    """

    ground: MultiPolygon
    area_m2: float
    area_sd_m2: float
    perimeter_m: float
    fixes: int
    dropped: Counter[str]
    closed_gap_m: float
    kind: Kind
    loops_dissolved: int
    holes_closed: int
    started_s: float | None
    ended_s: float | None
    notes: tuple[str, ...]


def walked_ground(
    segments: Sequence[Segment],
    *,
    grid: LocalGrid,
    error: FixError,
    close_gap_m: float,
    swath_m: float | None = None,
    travel: Travel = "foot",
    clock: Clock = utc_clock,
) -> WalkedGround:
    """Return the ground of a GPS walk.

    Parameters
    ----------
    segments
        All segments of all tracks and files, WGS 84, in the order of the files.
    grid
        Equal-area grid of the answer.
    error
        Model of a fix's error; its ``sigma_m`` is also the scale of every cleaning step.
    close_gap_m
        Longest straight piece that may close an open end or join two segments [m].
    swath_m
        Breadth worked along the path [m]; ``None`` for a walk around the ground.
    travel
        How the person went.
    clock
        Puts a fix's time into words.

    Raises
    ------
    InputError
        Fewer than four usable fixes, an end left open, a walk that wanders over the ground without a swath, a
        figure-eight, or fixes that nobody could have walked.

    Notes
    -----
    Segments that come back to their own start are rings of their own; the others are joined in the order of their times
    (of the files, where there are none). Rings are united, so that ground inside two of them counts once.
    """
    if not segments or sum(len(segment.lonlat) for segment in segments) == 0:
        raise InputError(
            "there is no track here", allowed="a track or line", mend="export the track itself", where="the walk"
        )
    clean = _all_cleaned(segments, grid=grid, sigma_m=error.sigma_m, travel=travel, clock=clock)
    dropped: Counter[str] = Counter()
    notes: list[str] = []
    for one in clean:
        dropped += one.dropped
        notes += one.notes
    paths = [one.path for one in clean]
    usable = sum(len(path.xy) for path in paths)
    if usable < FEWEST_FIXES:
        raise InputError(
            "too few usable fixes to make ground of",
            where=segments[0].where,
            value=f"{usable} of {sum(len(segment.lonlat) for segment in segments)} fixes",
            allowed=f"{FEWEST_FIXES} or more",
            mend="walk it again with the track log on",
        )
    # A lone fix is a flicker of the receiver, unless the walk is nothing but lone fixes.
    alone = [path for path in paths if len(path.xy) == 1]
    if len(alone) < len(paths):
        paths = [path for path in paths if len(path.xy) > 1]
        dropped[ALONE] += len(alone)
    chains, joined_m, stray = _chains(paths, sigma_m=error.sigma_m, close_gap_m=close_gap_m)
    dropped[STRAY] += stray if swath_m is None else 0
    if swath_m is None:
        chains, said = _edges_only(chains, dropped, error=error, close_gap_m=close_gap_m, clock=clock)
        notes += said
    signs = [kind_of_walk(chain, sigma_m=error.sigma_m, close_gap_m=close_gap_m) for chain in chains]
    kind: Kind = "working track" if any(sign.kind == "working track" for sign in signs) else "edge walk"
    if not all(path.has_times for path in paths):
        notes.append(ASSUMED_TIMES)
    notes.append(FIXES_ONLY)

    rings: list[Ring] = []
    holes_closed = 0
    if swath_m is None:
        if kind == "working track":
            raise _looks_like_work(chains, signs)
        _refuse_wide_joins(joined_m, close_gap_m=close_gap_m, where=chains[0].where)
        rings = [ring_of(chain, sigma_m=error.sigma_m, close_gap_m=close_gap_m) for chain in chains]
        ground = multipolygon(shapely.union_all([ring.polygon for ring in rings]))
        notes += _overlap_notes(rings) + _spike_notes(ground, grid=grid, sigma_m=error.sigma_m)
        if any(ring.laps > 1 for ring in rings):
            notes.append("the walk goes round more than once: the outer edge counts")
        fix_xy = np.concatenate([ring.xy for ring in rings])
        fix_s = np.concatenate([ring.time_s for ring in rings])
        tree = shapely.STRtree(np.array(shapely.points(fix_xy)))
        variance = area_variance_m2_2(
            [(xy, fix_s[tree.nearest(shapely.points(xy))]) for xy in _outlines(ground)], error=error
        )
        dropped[OVERRUN] += sum(ring.trimmed for ring in rings)
    else:
        # Standing still does not take ground away from what was covered: pauses keep their fixes here.
        dropped.pop(PAUSE, None)
        swath = covered([one.unpaused for one in clean], swath_m=swath_m, error=error, where=chains[0].where)
        ground, holes_closed, variance = swath.ground, swath.holes_closed, swath.area_sd_m2**2
        notes += _swath_notes(swath)
        joined_m = []
        if kind == "edge walk":
            notes.append(
                "this looks like a walk around the ground, and with --swath-ft only the strip along the path counts; "
                "leave --swath-ft out for the ground inside"
            )
        notes.append("the swath's breadth is taken as given; its own error is not in the standard deviation")
    times_s = [path.time_s for path in paths if path.has_times and len(path.time_s)]
    return WalkedGround(
        ground=ground,
        area_m2=ground.area,
        area_sd_m2=math.sqrt(variance),
        perimeter_m=ground.length,
        fixes=sum(len(segment.lonlat) for segment in segments),
        dropped=+dropped,
        closed_gap_m=sum(ring.gap_m for ring in rings) + sum(joined_m),
        kind=kind,
        loops_dissolved=sum(ring.loops for ring in rings),
        holes_closed=holes_closed,
        started_s=min((float(t[0]) for t in times_s), default=None),
        ended_s=max((float(t[-1]) for t in times_s), default=None),
        notes=tuple(notes),
    )


def _all_cleaned(
    segments: Sequence[Segment], *, grid: LocalGrid, sigma_m: float, travel: Travel, clock: Clock
) -> list[Cleaned]:
    clean: list[Cleaned] = []
    after_s = 0.0
    for segment in segments:
        if not len(segment.lonlat):
            continue
        one = cleaned(segment, grid=grid, sigma_m=sigma_m, travel=travel, after_s=after_s, clock=clock)
        clean.append(one)
        if not one.path.has_times:
            after_s = float(one.path.time_s[-1]) + 1.0
    if all(one.path.has_times for one in clean):
        clean.sort(key=lambda one: one.path.time_s[0])
    return clean


def _chains(paths: list[Path], *, sigma_m: float, close_gap_m: float) -> tuple[list[Path], list[float], int]:
    """Return rings of their own and, joined into one path, everything that is open.

    With the length of each join [m], and the fixes of an open rest that is left out because it is short and goes round
    nothing while there are rings: the receiver was switched on again for a moment.
    """
    closed: list[Path] = []
    open_: list[Path] = []
    for path in paths:
        gap_m, _stay = end_gap(path, sigma_m=sigma_m)
        # A short piece ends near its start without going round anything: it belongs to the open ones.
        widest_m = closable_m(path, sigma_m=sigma_m, close_gap_m=close_gap_m)
        is_ring = len(path.xy) >= FEWEST_FIXES and gap_m <= widest_m and path.length_m > 4 * max(gap_m, sigma_m)
        (closed if is_ring else open_).append(path)
    if not open_:
        return closed, [], 0
    joins_m = _joins_m(open_)
    if max(joins_m, default=0.0) > close_gap_m:
        # Two people who set out both ways, or a file that lost the order: match the ends instead.
        matched = _end_to_end(open_)
        if max(_joins_m(matched), default=0.0) <= close_gap_m:
            open_ = matched
            joins_m = _joins_m(matched)
    joined = Path(
        where=open_[0].where if len(open_) == 1 else f"{open_[0].where} to {open_[-1].where}",
        xy=np.concatenate([path.xy for path in open_]),
        time_s=np.concatenate([path.time_s for path in open_]),
        has_times=all(path.has_times for path in open_),
    )
    longest_m = max((path.length_m for path in closed), default=0.0)
    if joined.length_m < OVERRUN_SHARE * longest_m:
        return closed, [], len(joined.xy)
    return [*closed, joined], joins_m, 0


def _joins_m(paths: Sequence[Path]) -> list[float]:
    return [float(np.hypot(*(after.xy[0] - before.xy[-1]))) for before, after in pairwise(paths)]


def _end_to_end(paths: Sequence[Path]) -> list[Path]:
    """Return paths in the order and direction in which each begins nearest to where the last one ends.

    Paths recorded at the same time came from two receivers: their clocks are set apart, so that their errors count as
    independent.
    """
    apart_s = 0.0
    chain, rest = [paths[0]], list(paths[1:])
    while rest:
        end = chain[-1].xy[-1]
        far_m = [(float(np.hypot(*(path.xy[side] - end))), i, side) for i, path in enumerate(rest) for side in (0, -1)]
        _least, i, side = min(far_m)
        path = rest.pop(i)
        if any(path.time_s[0] <= done.time_s.max() and done.time_s.min() <= path.time_s[-1] for done in chain):
            apart_s += SET_APART_S
        step = 1 if side == 0 else -1
        chain.append(Path(path.where, path.xy[::step], path.time_s[::step] + apart_s, path.has_times))
    return chain


def _refuse_wide_joins(joined_m: Sequence[float], *, close_gap_m: float, where: str) -> None:
    widest_m = max(joined_m, default=0.0)
    if widest_m > close_gap_m:
        raise InputError(
            f"two segments of the walk lie {ft(widest_m):,.0f} ft apart",
            where=where,
            value=f"{ft(widest_m):.0f} ft",
            allowed=f"up to {ft(close_gap_m):.0f} ft is joined with a straight line ([gps] close_gap_ft)",
            mend="walk the missing piece as another segment, or trace rings that lie apart from separate files",
        )


def _looks_like_work(chains: Sequence[Path], signs: Sequence[WalkSigns]) -> InputError:
    path, sign = next((c, s) for c, s in zip(chains, signs, strict=True) if s.kind == "working track")
    along = sign.inside_frac < INSIDE_SHARE and sign.crossings < MANY_CROSSINGS and sign.one_way_frac >= TO_AND_FRO
    return InputError(
        f"this walk runs along a way and ends {ft(sign.gap_m):,.0f} ft from its start instead of going around ground"
        if along
        else "this walk wanders over the ground instead of going around it",
        where=path.where,
        value=(
            f"{100 * sign.inside_frac:.0f}% of the way inside its outer line, {sign.crossings} large crossings, "
            f"{ft(sign.gap_m):,.0f} ft open at the end"
        ),
        allowed="one way around the ground, or a working track with --swath-ft",
        mend="give --swath-ft with the breadth worked along the path, walk around the edge, or cut out the part that "
        "went around it with --from HH:MM --to HH:MM",
    )


def _edges_only(
    chains: Sequence[Path], dropped: Counter[str], *, error: FixError, close_gap_m: float, clock: Clock
) -> tuple[list[Path], list[str]]:
    """Return the edges without the ways in and out, which are counted among the dropped fixes and told."""
    edges, notes = [], []
    for path in chains:
        parts = parts_of(path, sigma_m=error.sigma_m, close_gap_m=close_gap_m)
        edges.append(Path(path.where, path.xy[parts.edge], path.time_s[parts.edge], path.has_times))
        dropped[WAY_IN] += parts.edge.start
        dropped[WAY_OUT] += len(path.xy) - parts.edge.stop
        ways = [
            f"the way {side} ({ft(way_m):,.0f} ft"
            + (f", {when} {clock(float(path.time_s[at]))})" if path.has_times else ")")
            for side, way_m, when, at in (
                ("in", parts.way_in_m, "until", parts.edge.start),
                ("out", parts.way_out_m, "from", parts.edge.stop - 1),
            )
            if way_m > 0
        ]
        if ways:
            was = "was" if len(ways) == 1 else "were"
            notes.append(f"{' and '.join(ways)} {was} left out: the ground is what the edge between goes round")
    return edges, notes


def _spike_notes(ground: MultiPolygon, *, grid: LocalGrid, sigma_m: float) -> list[str]:
    notes = []
    for spike in spikes(ground, sigma_m=sigma_m):
        place = grid.to_lonlat(shapely.Point(spike.at))
        notes.append(
            f"a spike {ft(spike.length_m):,.0f} ft long and {ft(spike.breadth_m):.0f} ft wide sticks out near "
            f"{place.y:.5f}, {place.x:.5f} (latitude, longitude): if it is a way and no ground, cut it off with --from "
            "and --to"
        )
    return notes


def _swath_notes(swath: Covered) -> list[str]:
    notes = []
    if swath.is_closed:
        side = "out" if swath.moved_out_m > 0 else "in"
        notes.append(
            "the lanes adjoin: gaps that the GPS error alone can open were closed, and to take off the bias of "
            f"its error the edge was moved {side} by {ft(abs(swath.moved_out_m)):.1f} ft"
        )
    else:
        notes.append("the lanes lie apart: only the breadth along each counts, and the gaps between them do not")
    if swath.runs_m2 > 0:
        notes.append(
            f"{acres(swath.runs_m2):.2f} acres are single runs apart from the rest; if they are the way in or out, "
            "cut them off with --from and --to"
        )
    return notes


def _overlap_notes(rings: Sequence[Ring]) -> list[str]:
    twice_m2 = sum(ring.polygon.area for ring in rings) - shapely.union_all([ring.polygon for ring in rings]).area
    if twice_m2 <= 1e-3:
        return []
    return [
        f"{acres(twice_m2):.2f} acres lie inside more than one ring and count once; a ring inside a ring leaves "
        "nothing out (log ground to be left with `log keep`)"
    ]


def _outlines(ground: MultiPolygon) -> list[Floats]:
    rings = [ring for part in ground.geoms for ring in (part.exterior, *part.interiors)]
    return [shapely.get_coordinates(ring)[:-1] for ring in rings]
