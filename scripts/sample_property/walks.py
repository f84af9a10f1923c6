"""Invented GPS walks with the errors that a handheld makes: slow drift, not white noise."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from shapely import LineString, Point, Polygon

from sample_property.chance import Chance
from sample_property.frame import lonlat

#: Error of a fix, per axis, and how long errors hang together (the defaults of ``habmap.toml``).
SIGMA_M, CORRELATION_S = 3.0, 60.0
Height = Callable[[float, float], float]


@dataclass(frozen=True, slots=True)
class Fix:
    """One fix: where the receiver said it was [local m], its height [m] and its time (UTC)."""

    x: float
    y: float
    height_m: float
    time: datetime


def walked(
    line: LineString, *, start: datetime, pace_mps: float, every_s: float, height: Height, chance: Chance
) -> list[Fix]:
    """Walk a line with Gauss-Markov errors: variance ``SIGMA_M``², autocorrelation exp(-t / CORRELATION_S)."""
    hold = math.exp(-every_s / CORRELATION_S)
    fresh = SIGMA_M * math.sqrt(1 - hold**2)
    ex, ey, eh = chance.normal(SIGMA_M), chance.normal(SIGMA_M), chance.normal(4.0)
    fixes, along, moment = [], 0.0, start
    while along <= line.length:
        point: Point = line.interpolate(along)
        fixes.append(Fix(point.x + ex, point.y + ey, height(point.x, point.y) + eh, moment))
        ex, ey = hold * ex + chance.normal(fresh), hold * ey + chance.normal(fresh)
        eh = hold * eh + chance.normal(0.4)
        along += every_s * pace_mps * chance.uniform(0.75, 1.25)
        moment += timedelta(seconds=every_s)
    return fixes


def with_troubles(fixes: list[Fix], chance: Chance) -> list[Fix]:
    """Return a walk with a rest that leaves a ball of fixes, one jump of the receiver, and two fixes out of order."""
    rest_at, jump_at, swap_at = len(fixes) // 3, len(fixes) // 2, 2 * len(fixes) // 3
    rest: list[Fix] = []
    dx = dy = 0.0
    here = fixes[rest_at]
    for number in range(1, 49):
        dx, dy = 0.9 * dx + chance.normal(1.3), 0.9 * dy + chance.normal(1.3)
        moment = here.time + timedelta(seconds=5 * number)
        rest.append(Fix(here.x + dx, here.y + dy, here.height_m + chance.normal(1.0), moment))
    pause = timedelta(seconds=5 * 48)
    later = [Fix(f.x, f.y, f.height_m, f.time + pause) for f in fixes[rest_at + 1 :]]
    troubled = [*fixes[: rest_at + 1], *rest, *later]
    jump = jump_at + len(rest)
    spot = troubled[jump]
    troubled[jump] = Fix(spot.x + 310.0, spot.y - 190.0, spot.height_m, spot.time)
    swap = swap_at + len(rest)
    troubled[swap], troubled[swap + 1] = troubled[swap + 1], troubled[swap]
    return troubled


def edge_of(patch: Polygon, *, open_m: float = 0.0) -> LineString:
    """Return a patch's edge as one walks it, ending ``open_m`` short of the start."""
    ring = LineString(patch.exterior.coords)
    return LineString([ring.interpolate(d) for d in _steps(ring.length - open_m)])


def passes_over(patch: Polygon, *, apart_m: float) -> LineString:
    """Return a working track to and fro over a patch, its passes ``apart_m`` from each other."""
    west, south, east, north = patch.bounds
    points: list[tuple[float, float]] = []
    y, forward = south + apart_m, True
    while y < north - apart_m / 2:
        cut = LineString([(west - 5, y), (east + 5, y)]).intersection(patch)
        if not cut.is_empty:
            x0, _, x1, _ = cut.bounds
            points += [(x0 + 2, y), (x1 - 2, y)] if forward else [(x1 - 2, y), (x0 + 2, y)]
            forward = not forward
        y += apart_m
    return LineString(points)


def gpx_text(name: str, fixes: list[Fix]) -> str:
    """Return a walk as GPX 1.1."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="invented walk" xmlns="http://www.topografix.com/GPX/1/1">',
        f"<metadata><name>{name}</name><time>{_utc(min(f.time for f in fixes))}</time></metadata>",
        f"<trk><name>{name}</name><trkseg>",
    ]
    for fix in fixes:
        spot = lonlat(Point(fix.x, fix.y), digits=7)
        lines.append(
            f'<trkpt lat="{spot.y:.7f}" lon="{spot.x:.7f}"><ele>{fix.height_m:.1f}</ele>'
            f"<time>{_utc(fix.time)}</time></trkpt>"
        )
    return "\n".join([*lines, "</trkseg></trk>", "</gpx>", ""])


def utc(year: int, month: int, day: int, hour: int, minute: int) -> datetime:
    """Return a moment in UTC."""
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


def _utc(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def _steps(length_m: float) -> list[float]:
    count = int(length_m / 2.0)
    return [length_m * number / count for number in range(count + 1)]
