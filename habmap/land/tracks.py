"""GPS fixes made fit for use: what is dropped, and why, before a walk is turned into ground."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from habmap.errors import InputError
from habmap.land.grid import LocalGrid
from habmap.measures import MPH_PER_MPS, ft

Floats = NDArray[np.float64]
Travel = Literal["foot", "vehicle"]

#: Fastest believable way along a stand's edge [m/s]: a person at a slow jog; a utility vehicle at 27 mph.
TRAVEL_MPS: Final[dict[Travel, float]] = {"foot": 3.0, "vehicle": 12.0}
#: Radius, in standard deviations per axis, of the circle that holds 95% of the fixes of one place: √(−2 ln 0.05).
CIRCLE_95: Final = math.sqrt(-2 * math.log(0.05))
#: Two fixes of one place differ by less than this many sigmas in 999 of 1,000 cases: about 3 · √2.
APART_SIGMAS: Final = 3 * math.sqrt(2)
#: A burst of at most this many bad fixes in a row is a spike; a longer one is a jump that lasted.
MAX_SPIKE_FIXES: Final = 5
#: Fixes of one place lie within this many sigmas of their mean, but for 2 in 1,000: √(−2 ln 0.002).
BALL_SIGMAS: Final = 3.5
#: Standing in one ball for this long is a pause, if the mean of its second half lies within two sigmas of that of its
#: first [s] (that is slower than 0.2 m/s with sigma 3 m).
PAUSE_S: Final = 60.0
#: Walking speed assumed where a file has no times [m/s].
ASSUMED_WALK_MPS: Final = 1.0
#: Share of steps faster than the way of travel allows at which the way of travel itself is doubted.
DOUBTED_SHARE: Final = 0.4
#: Length of the stretches over which a lasting speed is judged [s].
SUSTAINED_S: Final = 30.0
#: Jumps that last, as a share of the fixes, at which it is doubted too (three are always taken).
LEAPS_SHARE: Final = 0.05
#: Share of the fixes that must have a time for the times to be used.
TIMED_SHARE: Final = 0.8
#: Without times, a fix this many usual steps away from both neighbors, and 100 m at least, is a spike.
SPIKE_STEPS: Final = 20
SPIKE_M: Final = 100.0

OUT_OF_ORDER: Final = "out of time order"
REPEAT: Final = "same place as the fix before"
JUMP: Final = "jump faster than the way of travel"
PAUSE: Final = "pause drawn together"
OVERRUN: Final = "walked on past the start"
ALONE: Final = "alone in its segment"
STRAY: Final = "short stray piece beside a ring"
WAY_IN: Final = "way in"
WAY_OUT: Final = "way out"
#: A stretch this long at a speed that the way of travel does not have is no error of the fixes [s].
FAST_S: Final = 60.0

Clock = Callable[[float], str]
#: How a part of a walk is cut off, where its times are the person's to find.
_ANY_WINDOW: Final = "--from HH:MM --to HH:MM"


@dataclass(frozen=True, slots=True)
class Segment:
    """Fixes of one unbroken stretch as the file has them.

    Attributes
    ----------
    where
        File, track and segment, for people.
    lonlat
        Shape (n, 2), WGS 84 [°], finite and in range.
    time_s
        Shape (n,), seconds since 1970 UTC; NaN where a fix has no time.
    """

    where: str
    lonlat: Floats
    time_s: Floats


@dataclass(frozen=True, slots=True)
class Path:
    """Cleaned fixes in grid meters; every fix has a time (assumed from the distance where ``has_times`` is false)."""

    where: str
    xy: Floats
    time_s: Floats
    has_times: bool

    @property
    def length_m(self) -> float:
        """Length of the way walked [m]."""
        return float(np.hypot(*np.diff(self.xy, axis=0).T).sum())


@dataclass(frozen=True, slots=True)
class Cleaned:
    """A segment after cleaning: ``path`` with pauses drawn together, ``unpaused`` with their fixes still in it."""

    path: Path
    unpaused: Path
    dropped: Counter[str]
    notes: tuple[str, ...]


def centre_grid(segments: Sequence[Segment]) -> LocalGrid:
    """Return an equal-area grid centered on a walk, for ground that belongs to no property yet."""
    lon, lat = np.radians(np.concatenate([segment.lonlat for segment in segments]).T)
    middle = np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
    # The median, so that a receiver's fixes at 0°, 0° do not drag the center away.
    middle = np.median(middle, axis=0)
    return LocalGrid(
        lat=round(math.degrees(math.atan2(middle[2], math.hypot(middle[0], middle[1]))), 6),
        lon=round(math.degrees(math.atan2(middle[1], middle[0])), 6),
    )


def utc_clock(time_s: float) -> str:
    """Return a fix's time as people read it, UTC."""
    return datetime.fromtimestamp(time_s, UTC).strftime("%H:%M:%S UTC")


def within(segments: Sequence[Segment], *, keeps: Callable[[float], bool], clock: Clock, window: str) -> list[Segment]:
    """Return the fixes whose time is kept, segment by segment.

    Parameters
    ----------
    segments
        Fixes as read.
    keeps
        Tells whether a time (seconds since 1970 UTC) lies in the window.
    clock
        Puts a time into words.
    window
        The window in words, for people.

    Raises
    ------
    InputError
        A segment has no times, or no fix lies in the window.
    """
    kept, times = [], []
    for segment in segments:
        known = np.isfinite(segment.time_s)
        times += segment.time_s[known].tolist()
        in_window = np.array(
            [bool(timed) and keeps(s) for timed, s in zip(known, segment.time_s.tolist(), strict=True)]
        )
        if in_window.any():
            kept.append(Segment(segment.where, segment.lonlat[in_window], segment.time_s[in_window]))
    if not times:
        raise InputError(
            "this walk has no times to cut by",
            where="--from, --to",
            value=window,
            allowed="a walk recorded with times",
            mend="leave --from and --to out, or export the track with its times",
        )
    if not kept:
        raise InputError(
            "no fix of this walk lies in the time window",
            where="--from, --to",
            value=window,
            allowed=f"the walk runs from {clock(min(times))} to {clock(max(times))}",
            mend="give times between these",
        )
    return kept


def cleaned(
    segment: Segment,
    *,
    grid: LocalGrid,
    sigma_m: float,
    travel: Travel,
    after_s: float = 0.0,
    clock: Clock = utc_clock,
) -> Cleaned:
    """Return a segment's fixes without those that cannot be true, each dropped one counted with its reason.

    Parameters
    ----------
    segment
        Fixes as read, WGS 84.
    grid
        The equal-area grid the path is returned in.
    sigma_m
        Standard deviation of a fix per axis [m]: the scale of every tolerance here.
    travel
        How the person went: the limit of a believable speed.
    after_s
        Where the assumed clock of a file without times begins [s].
    clock
        Puts a time into words.

    Raises
    ------
    InputError
        Times run backwards, or so many steps are too fast that the way of travel must be another.
    """
    lonlat, time_s = segment.lonlat, segment.time_s
    has_times = _is_timed(time_s)
    dropped: Counter[str] = Counter()
    notes: list[str] = []

    if not has_times and np.isfinite(time_s).any():
        notes.append(f"{segment.where}: its times are missing or all alike and were not used")
        time_s = np.full(len(time_s), np.nan)
    if has_times:
        keep = _in_time_order(time_s)
        if keep.sum() < len(keep) / 2:
            raise InputError(
                "most fixes are out of time order",
                where=segment.where,
                value=f"{len(keep) - int(keep.sum())} of {len(keep)} fixes",
                allowed="times that rise along the walk",
                mend="export the track again; if it was reversed on purpose, remove its times",
            )
        _count(dropped, OUT_OF_ORDER, keep)
        lonlat, time_s = lonlat[keep], _times_filled(time_s[keep])

    keep = np.concatenate([[True], np.any(np.diff(lonlat, axis=0) != 0, axis=1)])
    _count(dropped, REPEAT, keep)
    lonlat, time_s = lonlat[keep], time_s[keep]

    xy = shapely.get_coordinates(grid.to_grid(shapely.MultiPoint(lonlat)))
    if has_times:
        keep, jumps = _without_jumps(xy, time_s, segment.where, sigma_m=sigma_m, travel=travel, clock=clock)
        notes += jumps
    else:
        keep = _without_spikes(xy)
    _count(dropped, JUMP, keep)
    xy, time_s = xy[keep], time_s[keep]

    if not has_times:
        steps_m = np.hypot(*np.diff(xy, axis=0).T)
        time_s = after_s + np.concatenate([[0.0], np.cumsum(steps_m)]) / ASSUMED_WALK_MPS
    if has_times:
        _refuse_fast(xy, time_s, segment.where, sigma_m=sigma_m, travel=travel, clock=clock)
    unpaused = Path(segment.where, xy, time_s, has_times)
    path = unpaused
    if has_times:
        path = _pauses_drawn_together(unpaused, radius_m=BALL_SIGMAS * sigma_m, drift_m=2 * sigma_m)
        dropped[PAUSE] += len(xy) - len(path.xy)
    return Cleaned(path, unpaused, +dropped, tuple(notes))


def _count(dropped: Counter[str], reason: str, keep: NDArray[np.bool_]) -> None:
    dropped[reason] += int((~keep).sum())


def _is_timed(time_s: Floats) -> bool:
    """Tell whether a segment's clock is of use: most fixes have a time, and converters did not stamp all with one."""
    known = time_s[np.isfinite(time_s)]
    return len(known) >= TIMED_SHARE * len(time_s) and len(np.unique(known)) >= max(2.0, 0.1 * len(known))


def _in_time_order(time_s: Floats) -> NDArray[np.bool_]:
    """Mark the longest run of fixes whose times never fall, so that one wrong clock reading costs one fix only."""
    timed = np.flatnonzero(np.isfinite(time_s))
    tails: list[float] = []
    tail_at: list[int] = []
    before: dict[int, int | None] = {}
    for i in timed.tolist():
        place = bisect_right(tails, time_s[i])
        before[i] = tail_at[place - 1] if place else None
        if place == len(tails):
            tails.append(float(time_s[i]))
            tail_at.append(i)
        else:
            tails[place], tail_at[place] = float(time_s[i]), i
    keep = ~np.isfinite(time_s)
    at = tail_at[-1] if tail_at else None
    while at is not None:
        keep[at] = True
        at = before[at]
    return keep


def _times_filled(time_s: Floats) -> Floats:
    known = np.isfinite(time_s)
    at = np.arange(len(time_s))
    return np.interp(at, at[known], time_s[known])


def _without_jumps(
    xy: Floats, time_s: Floats, where: str, *, sigma_m: float, travel: Travel, clock: Clock
) -> tuple[NDArray[np.bool_], list[str]]:
    """Drop short bursts of fixes that nobody could have reached and come back from; report a jump that lasts."""
    n = len(xy)
    limit_mps = TRAVEL_MPS[travel]
    step_m, step_s = np.hypot(*np.diff(xy, axis=0).T), np.diff(time_s)
    too_fast = step_m > limit_mps * step_s + APART_SIGMAS * sigma_m
    if n > 8 and max(too_fast.mean(), _sustained_frac(xy, time_s, limit_mps, sigma_m)) > DOUBTED_SHARE:
        raise _travel_doubt(step_m, step_s, where=where, travel=travel)

    def reached(i: int, j: int) -> bool:
        allowed_m = limit_mps * (time_s[j] - time_s[i]) + APART_SIGMAS * sigma_m
        return bool(math.hypot(xy[j, 0] - xy[i, 0], xy[j, 1] - xy[i, 1]) <= allowed_m)

    longest = max(1, min(MAX_SPIKE_FIXES, n // 10))
    kept, i = [0], 1
    leaps: list[tuple[float, str]] = []
    while i < n:
        if reached(kept[-1], i):
            kept.append(i)
            i += 1
            continue
        # A spike ends with a leap back; fixes that go on smoothly from the far side are a jump that lasts.
        ahead = range(i + 1, min(i + longest, n - 1) + 1)
        back = next((j for j in ahead if too_fast[j - 1] and reached(kept[-1], j)), None)
        if back is not None:
            i = back
        elif n - i <= longest:
            break
        else:
            if len(kept) <= longest:
                kept.clear()  # a cold start: the first fixes are the wrong ones
            else:
                leaps.append((ft(math.hypot(*(xy[i] - xy[kept[-1]]))), clock(float(time_s[i]))))
            kept.append(i)
            i += 1
    keep = np.zeros(n, dtype=bool)
    keep[kept] = True
    if len(leaps) > max(3, LEAPS_SHARE * n):
        raise _travel_doubt(step_m, step_s, where=where, travel=travel)
    if len(leaps) > 3:
        return keep, [f"{where}: the track jumps {len(leaps)} times, by up to {max(leaps)[0]:,.0f} ft, and goes on"]
    words = "the track jumps {:,.0f} ft at {} and goes on from there"
    return keep, [f"{where}: {words.format(*leap)}" for leap in leaps]


def _sustained_frac(xy: Floats, time_s: Floats, limit_mps: float, sigma_m: float) -> float:
    """Return the share of stretches of half a minute that were too fast: steps of a second hide behind the error."""
    start, _end, is_fast = _fast_stretches(xy, time_s, limit_mps, sigma_m)
    return float(np.mean(is_fast)) if len(start) else 0.0


def _fast_stretches(
    xy: Floats, time_s: Floats, limit_mps: float, sigma_m: float
) -> tuple[NDArray[np.int_], NDArray[np.int_], NDArray[np.bool_]]:
    """Return the first and last fix of stretches of half a minute, and which of them no error explains."""
    end = np.searchsorted(time_s, time_s + SUSTAINED_S)
    start = np.flatnonzero(end < len(xy))
    end = end[start]
    far_m = np.hypot(*(xy[end] - xy[start]).T)
    return start, end, far_m > limit_mps * (time_s[end] - time_s[start]) + APART_SIGMAS * sigma_m


def _refuse_fast(xy: Floats, time_s: Floats, where: str, *, sigma_m: float, travel: Travel, clock: Clock) -> None:
    """Refuse a walk with a part that was driven: it is not the edge, or not on foot."""
    start, end, is_fast = _fast_stretches(xy, time_s, TRAVEL_MPS[travel], sigma_m)
    # runs of fast stretches, each over the next
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_fast, [False]]).astype(int)))
    drives: list[tuple[float, float, float]] = []
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        i, j = int(start[a]), int(end[b - 1])
        step_m, step_s = np.hypot(*np.diff(xy[i : j + 1], axis=0).T), np.diff(time_s[i : j + 1])
        speed_mps = float(np.median(step_m / np.maximum(step_s, 1e-3)))
        if time_s[j] - time_s[i] >= FAST_S and speed_mps > TRAVEL_MPS[travel]:  # no moment, nor one jump that lasts
            drives.append((float(time_s[i]), float(time_s[j]), speed_mps))
    if drives:
        raise InputError(
            f"part of this walk is faster than travel by {travel} allows",
            where=where,
            value=" and ".join(f"{mps * MPH_PER_MPS:.0f} mph from {clock(a)} to {clock(b)}" for a, b, mps in drives),
            allowed=f"{TRAVEL_MPS[travel] * MPH_PER_MPS:.0f} mph by {travel}",
            mend=_fast_mend(travel, _longest_rest(drives, float(time_s[0]), float(time_s[-1]), clock)),
        )


def _longest_rest(drives: Sequence[tuple[float, float, float]], first_s: float, last_s: float, clock: Clock) -> str:
    """Return the window of whole minutes around the longest part between drives.

    Stretches that reach from a drive into the walk are fast as a whole: half of one is given back to the walk. A window
    holds its last minute, so that about a minute of driving is left at either end: a way in or out, too short to be
    refused.
    """
    half_s = SUSTAINED_S / 2
    rests = zip([first_s, *(end for _, end, _ in drives)], [*(start for start, _, _ in drives), last_s], strict=True)
    start_s, end_s = max(rests, key=lambda rest: rest[1] - rest[0])
    return f"--from {clock(max(start_s - half_s, first_s))[:5]} --to {clock(min(end_s + half_s, last_s))[:5]}"


def _fast_mend(travel: Travel, window: str = _ANY_WINDOW) -> str:
    return f"cut the drive off with {window}" + (
        ", or use --travel vehicle for an edge driven slowly" if travel == "foot" else ""
    )


def _travel_doubt(step_m: Floats, step_s: Floats, *, where: str, travel: Travel) -> InputError:
    fast_mps = float(np.quantile(step_m / np.maximum(step_s, 1e-3), 0.9))
    return InputError(
        f"this walk is faster than travel by {travel} allows, again and again",
        where=where,
        value=f"a tenth of it above {fast_mps * MPH_PER_MPS:.0f} mph",
        allowed=f"{TRAVEL_MPS[travel] * MPH_PER_MPS:.0f} mph by {travel}",
        mend=_fast_mend(travel),
    )


def _without_spikes(xy: Floats) -> NDArray[np.bool_]:
    """Drop single fixes far off both neighbors, the only jump that shows in a file without times."""
    keep = np.ones(len(xy), dtype=bool)
    if len(xy) < 5:
        return keep
    step_m = np.hypot(*np.diff(xy, axis=0).T)
    limit_m = max(SPIKE_M, SPIKE_STEPS * float(np.median(step_m)))
    across_m = np.hypot(*(xy[2:] - xy[:-2]).T)
    nearer_m = np.minimum(step_m[:-1], step_m[1:])
    keep[1:-1] = ~((nearer_m > limit_m) & (across_m < nearer_m / 2))
    return keep


def _pauses_drawn_together(path: Path, *, radius_m: float, drift_m: float) -> Path:
    """Put the middle of the ball in place of the fixes of a pause: they stay near their mean and lead nowhere."""
    xy, time_s = path.xy, path.time_s
    n = len(xy)
    x, y = xy.T.tolist()  # one by one, numbers are quicker than arrays
    places: list[tuple[float, float, float]] = []
    i = 0
    while i < n:
        east, north = x[i], y[i]
        j = i + 1
        while j < n and math.hypot(x[j] - east / (j - i), y[j] - north / (j - i)) <= radius_m:
            east, north = east + x[j], north + y[j]
            j += 1
        if j - i > 2 and time_s[j - 1] - time_s[i] >= PAUSE_S:
            middle = (i + j) // 2
            drift = xy[middle:j].mean(axis=0) - xy[i:middle].mean(axis=0)
            if math.hypot(*drift) > drift_m:
                # Slow, but on the way: leave it, and look again a little farther on.
                on = i + max(1, (j - i) // 4)
                places += [(xy[k, 0], xy[k, 1], time_s[k]) for k in range(i, on)]
                i = on
                continue
            places.append((east / (j - i), north / (j - i), (time_s[i] + time_s[j - 1]) / 2))
            i = j
        else:
            places.append((xy[i, 0], xy[i, 1], time_s[i]))
            i += 1
    drawn = np.array(places, dtype=np.float64)
    return Path(path.where, drawn[:, :2], drawn[:, 2], path.has_times)
