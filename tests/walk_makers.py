"""GPS walks made up for tests: a way along corners, the errors of a receiver, files."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from habmap.land.grid import LocalGrid
from habmap.land.tracks import Segment

Floats = NDArray[np.float64]

GRID = LocalGrid(38.0, -98.0)
#: A morning in March, seconds since 1970 UTC (2026-03-14 15:00).
MORNING_S = datetime(2026, 3, 14, 15, tzinfo=UTC).timestamp()
#: Side of a square of 10 acres, 660 international feet [m].
SIDE_M = 201.168
SQUARE = ((0.0, 0.0), (SIDE_M, 0.0), (SIDE_M, SIDE_M), (0.0, SIDE_M))


def walk(
    corners: Sequence[Sequence[float]], *, speed_mps: float = 1.25, step_s: float = 4.0, closed: bool = True
) -> tuple[Floats, Floats]:
    """Return fixes at even times along straight pieces: grid meters (n, 2), seconds (n,)."""
    places = np.array([*corners, corners[0]] if closed else corners, dtype=np.float64)
    along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    at_m = np.arange(0, along_m[-1], speed_mps * step_s)
    xy = np.column_stack([np.interp(at_m, along_m, places[:, axis]) for axis in (0, 1)])
    return xy, MORNING_S + np.arange(len(xy)) * step_s


def lanes(count: int, *, breadth_m: float = 200.0) -> list[tuple[float, float]]:
    """Return the corners of a way to and fro over a square."""
    corners: list[tuple[float, float]] = []
    for i in range(count):
        x = i * breadth_m / (count - 1)
        ends = [(x, 0.0), (x, breadth_m)]
        corners += ends if i % 2 == 0 else ends[::-1]
    return corners


def errors(time_s: Floats, *, sigma_m: float, correlation_s: float, rng: np.random.Generator, walks: int = 1) -> Floats:
    """Return correlated errors (walks, n, 2) [m]: each fix keeps a part of the last one's error and adds its own."""
    keep = np.exp(-np.diff(time_s) / correlation_s) if correlation_s else np.zeros(len(time_s) - 1)
    drawn: Floats = rng.normal(size=(walks, len(time_s), 2))
    for i, part in enumerate(keep, start=1):
        drawn[:, i] = part * drawn[:, i - 1] + np.sqrt(1 - part**2) * drawn[:, i]
    return sigma_m * drawn


def segment(xy: Floats, time_s: Floats | None = None, *, where: str = "walk.gpx, track 1") -> Segment:
    """Return fixes in grid meters as a segment in WGS 84."""
    lonlat = shapely.get_coordinates(GRID.to_lonlat(shapely.MultiPoint(xy)))
    times = np.full(len(xy), np.nan) if time_s is None else np.asarray(time_s, dtype=np.float64)
    return Segment(where, lonlat, times)


def write_gpx(path: Path, *segments: Segment, version: str = "1.1") -> Path:
    """Write segments as the segments of one GPX track."""
    namespace = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    parts = []
    for one in segments:
        fixes = []
        for (lon, lat), time_s in zip(one.lonlat, one.time_s, strict=True):
            stamp = "" if np.isnan(time_s) else f"<time>{datetime.fromtimestamp(time_s, UTC):%Y-%m-%dT%H:%M:%SZ}</time>"
            fixes.append(f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}">{stamp}</trkpt>')
        parts.append(f"<trkseg>{''.join(fixes)}</trkseg>")
    path.write_text(
        f'<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="{version}" creator="a test" xmlns="{namespace}">'
        f"<trk><name>walk</name>{''.join(parts)}</trk></gpx>\n",
        encoding="utf-8",
    )
    return path
