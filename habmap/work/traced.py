"""A GPS walk as ground, with all that is said about it; what units that are there leave of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, tzinfo
from typing import Final

import shapely
from shapely import MultiPolygon

from habmap.errors import InputError, UsageError
from habmap.land.acreage import geodesic_area_m2, tellable
from habmap.land.grid import LocalGrid
from habmap.land.meridian import cut
from habmap.land.neighbors import overlaps
from habmap.land.track_error import FixError
from habmap.land.tracks import TRAVEL_MPS, Segment, Travel, centre_grid, within
from habmap.land.walk_kind import Kind
from habmap.land.walked import WalkedGround, walked_ground
from habmap.measures import M_PER_FT, M_PER_MILE, acres
from habmap.records import Unit
from habmap.work.unit_shares import Covered

#: Widest swath that is taken [ft].
WIDEST_SWATH_FT: Final = 1000.0
#: Farther than this from the middle of the property a walk is more likely the wrong file [m].
FAR_AWAY_M: Final = 30 * M_PER_MILE
#: A standard deviation above this share of the acres is pointed out.
WEAK_SHARE: Final = 0.10


@dataclass(frozen=True, slots=True)
class Window:
    """Local times of day between which fixes count, both included to the minute; the end may lie past midnight."""

    start: time | None = None
    end: time | None = None

    def holds(self, moment: time) -> bool:
        """Tell whether a local time of day lies in the window."""
        minute = moment.replace(second=0, microsecond=0, tzinfo=None)
        start, end = self.start or time.min, self.end or time.max
        return start <= minute <= end if start <= end else minute >= start or minute <= end

    def __str__(self) -> str:
        """Return the window in words."""
        parts = [("from", self.start), ("to", self.end)]
        return " ".join(f"{word} {moment:%H:%M}" for word, moment in parts if moment is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class DroppedFixes:
    """How many fixes were left out for one reason."""

    reason: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceResult:
    """What a walk shows.

    Attributes
    ----------
    kind
        ``edge walk`` or ``working track``: what the walk looks like.
    acres, acres_sd
        Area of the ground and the standard deviation that the fixes' own error gives it [acre].
    geodesic_acres
        The same outline measured on the ellipsoid, as a check [acre].
    fixes, kept_fixes, dropped_fixes
        Counts: read, used, left out; ``fixes = kept_fixes + dropped_fixes``.
    geometry
        GeoJSON geometry, WGS 84.
    started_at, ended_at
        First and last fix, UTC; null where the files have no times.
    """

    kind: Kind
    acres: float
    acres_sd: float | None
    geodesic_acres: float
    perimeter_m: float
    fixes: int
    kept_fixes: int
    dropped_fixes: int
    dropped: tuple[DroppedFixes, ...]
    closed_gap_m: float
    loops_dissolved: int
    holes_closed: int
    swath_ft: float | None
    travel: Travel
    started_at: datetime | None
    ended_at: datetime | None
    unit_id: str | None
    is_added: bool
    notes: tuple[str, ...]
    geometry: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class TracedGround:
    """The ground of a walk as a patch (WGS 84 lon/lat) beside everything that is said about it."""

    patch: MultiPolygon
    result: TraceResult


def checked_swath_ft(swath_ft: float | None) -> float | None:
    """Return a swath's breadth [ft]; refuse one that cannot be."""
    if swath_ft is not None and not 0 < swath_ft <= WIDEST_SWATH_FT:
        raise UsageError(
            "a swath is a breadth in feet",
            where="--swath-ft",
            value=swath_ft,
            allowed="above 0, up to 1000",
            mend="measure how broad a strip was worked",
        )
    return swath_ft


def ground_of_walk(
    segments: Sequence[Segment],
    *,
    grid: LocalGrid | None,
    error: FixError,
    close_gap_m: float,
    swath_ft: float | None,
    travel: Travel,
    window: Window | None,
    zone: tzinfo,
    clock_word: str = "",
) -> TracedGround:
    """Turn the fixes of a walk into ground.

    Parameters
    ----------
    grid
        The property's; ``None`` takes one at the walk's center.
    error, close_gap_m
        Of the receiver; the widest gap that is closed with a straight line [m].
    swath_ft
        Breadth worked along the path [ft]; ``None`` for a walk around the ground.
    window, zone
        Local times of day between which fixes count (``None``: all), and in which zone.
    clock_word
        Said after a time of day where it is not the property's own.

    Raises
    ------
    InputError
        The walk makes no ground.
    """

    def local(time_s: float) -> datetime:
        return datetime.fromtimestamp(time_s, zone)

    def clock(time_s: float) -> str:
        return f"{local(time_s):%H:%M:%S}{clock_word}"

    if window is not None and (window.start or window.end):
        segments = tuple(
            within(segments, keeps=lambda time_s: window.holds(local(time_s).time()), clock=clock, window=str(window))
        )
    grid = grid or centre_grid(segments)
    walked = walked_ground(
        segments,
        grid=grid,
        error=error,
        close_gap_m=close_gap_m,
        swath_m=None if swath_ft is None else swath_ft * M_PER_FT,
        travel=travel,
        clock=clock,
    )
    patch = tellable(walked.ground, grid=grid)
    return TracedGround(
        patch, _result(walked, patch, swath_ft=swath_ft, travel=travel, notes=_place_notes(segments, grid))
    )


def known_travel(word: str) -> Travel:
    """Return a way of travel; refuse one that is not known."""
    for known in TRAVEL_MPS:
        if word == known:
            return known
    raise UsageError(
        "this is no way of travel",
        where="--travel",
        value=word,
        allowed=", ".join(TRAVEL_MPS),
        mend="use one of these words",
    )


def without_neighbors(traced: TracedGround, units: Sequence[Unit], *, grid: LocalGrid, strip_m: float) -> TracedGround:
    """Return the walked ground without what units hold already.

    Parameters
    ----------
    strip_m
        A strip that the GPS error alone can make is no ground of its own: narrower ones are dropped [m].

    Raises
    ------
    InputError
        Less than half of the walked ground is left.
    """
    walked = grid.to_grid(traced.patch)
    shapes = (shapely.make_valid(grid.to_grid(unit.geometry)) for unit in units)
    held = [shape for shape in shapes if shape.intersects(walked)]
    if not held:
        return traced
    left = shapely.difference(shapely.make_valid(walked), shapely.union_all(held))
    parts = [part for part in shapely.get_parts(left) if part.geom_type == "Polygon"]
    ground = MultiPolygon([part for part in parts if not shapely.buffer(part, -strip_m / 2).is_empty])
    if ground.area < walked.area / 2:
        raise InputError(
            "most of the walked ground belongs to units that are there",
            value=f"{acres(walked.area - ground.area):.2f} of {acres(walked.area):.2f} acres",
            allowed="at least half of it free",
            mend="check that it is the right walk; log work on units that are there with `habmap log --track`",
            where="the walk",
        )
    patch = tellable(ground, grid=grid)
    notes = [f"{acres(walked.area - left.area):.2f} acres that neighboring units hold were cut off"]
    if len(parts) > len(ground.geoms):
        notes.append(
            f"{len(parts) - len(ground.geoms)} strips along them, narrower than the GPS error and together "
            f"{acres(left.area - ground.area):.3f} acres, were dropped"
        )
    ground = grid.to_grid(patch)
    return TracedGround(
        patch,
        replace(
            traced.result,
            acres=acres(ground.area),
            geodesic_acres=acres(geodesic_area_m2(patch)),
            perimeter_m=ground.length,
            notes=(*traced.result.notes, *notes),
            geometry=_geojson(patch),
        ),
    )


def _result(
    walked: WalkedGround, patch: MultiPolygon, *, swath_ft: float | None, travel: Travel, notes: tuple[str, ...]
) -> TraceResult:
    dropped = tuple(DroppedFixes(reason=reason, count=count) for reason, count in sorted(walked.dropped.items()))
    left_out = sum(one.count for one in dropped)
    if walked.area_sd_m2 > WEAK_SHARE * walked.area_m2:
        notes += ("the acres are weak: the fixes' error is more than a tenth of them",)
    return TraceResult(
        kind=walked.kind,
        acres=acres(walked.area_m2),
        acres_sd=acres(walked.area_sd_m2),
        geodesic_acres=acres(geodesic_area_m2(patch)),
        perimeter_m=walked.perimeter_m,
        fixes=walked.fixes,
        kept_fixes=walked.fixes - left_out,
        dropped_fixes=left_out,
        dropped=dropped,
        closed_gap_m=walked.closed_gap_m,
        loops_dissolved=walked.loops_dissolved,
        holes_closed=walked.holes_closed,
        swath_ft=swath_ft,
        travel=travel,
        started_at=None if walked.started_s is None else datetime.fromtimestamp(walked.started_s, UTC),
        ended_at=None if walked.ended_s is None else datetime.fromtimestamp(walked.ended_s, UTC),
        unit_id=None,
        is_added=False,
        notes=walked.notes + notes,
        geometry=_geojson(patch),
    )


def _geojson(patch: MultiPolygon) -> Mapping[str, object]:
    first, *others = patch.geoms
    return shapely.geometry.mapping(cut(patch if others else first))


def _place_notes(segments: Sequence[Segment], grid: LocalGrid) -> tuple[str, ...]:
    first = shapely.Point(segments[0].lonlat[0])
    away_m = float(shapely.distance(grid.to_grid(first), shapely.Point(0, 0)))
    if away_m <= FAR_AWAY_M:
        return ()
    return (
        f"this walk begins {away_m / M_PER_MILE:,.0f} miles from the middle of the property: is it the right file?",
    )


def refuse_clash(unit: Unit, present: Sequence[Unit], *, grid: LocalGrid | None) -> None:
    """Refuse a walked unit whose name or ground another unit holds."""
    if any(other.unit_id == unit.unit_id for other in present):
        raise InputError(
            "there is a unit of this name already",
            where="--unit-id",
            value=unit.unit_id,
            allowed="a name that is not in use",
            mend="choose another name; to redraw a unit, save the trace and use `habmap load units FILE --overwrite`",
        )
    if grid is None or not present:
        return
    ground = grid.to_grid(unit.geometry)
    # Edges are straight in the grid: of outlines of some miles those in lon/lat lie elsewhere.
    near = [(other, shape) for other in present if (shape := grid.to_grid(other.geometry)).intersects(ground)]
    shared = [pair for pair in overlaps([ground, *(shape for _, shape in near)]) if pair.first == 0]
    if shared:
        words = ", ".join(f"{near[pair.second - 1][0].unit_id} by {acres(pair.area_m2):.2f} acres" for pair in shared)
        raise InputError(
            "the walked ground overlaps units that are there; nothing was added",
            where=unit.unit_id,
            value=words,
            allowed="ground that no other unit holds",
            mend="add --trim to cut the walk back to its neighbors' edges",
        )


def walk_on(traced: TracedGround, *, day: dt.date | None, unit_ids: tuple[str, ...], zone: dt.tzinfo) -> Covered:
    """Return a walk's ground on the day that is given, else on the walk's own (local at the place).

    Raises
    ------
    InputError
        No day is given and the walk has none or several.
    """
    result = traced.result
    article = "an" if result.kind == "edge walk" else "a"
    notes = [f"the walk looks like {article} {result.kind}", *result.notes]
    if result.dropped_fixes:
        reasons = ", ".join(f"{one.count} {one.reason}" for one in result.dropped)
        notes.append(f"{result.dropped_fixes} of {result.fixes} fixes were left out: {reasons}")
    walked = [moment.astimezone(zone).date() for moment in (result.started_at, result.ended_at) if moment is not None]
    if day is None:
        day = _own_day(walked)
        notes.append(f"the work is dated {day}, the day of the walk")
    elif walked and not walked[0] <= day <= walked[-1]:
        notes.append(f"the walk was recorded on {walked[0]}, the work is dated {day}")
    return Covered(patch=traced.patch, day=day, unit_ids=unit_ids, acres_sd=result.acres_sd, notes=tuple(notes))


def _own_day(walked: Sequence[dt.date]) -> dt.date:
    if not walked:
        raise InputError(
            "the walk has no times, so it does not tell the day of the work",
            where="--date",
            allowed="YYYY-MM-DD",
            mend="give the day with --date",
        )
    if walked[0] != walked[-1]:
        raise InputError(
            "the walk runs over more than one day",
            where="--date",
            value=f"{walked[0]} to {walked[-1]}",
            allowed="one day",
            mend="give the day of the work with --date, or log each day's walk on its own",
        )
    return walked[0]
