"""The invented terrain: a creek and its draws cut into an upland, with hills of several sizes laid over it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from shapely import LineString, MultiLineString, Polygon, contains_xy, distance, points

from sample_property.chance import Chance

Floats = NDArray[np.float64]
Points = list[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Channel:
    """A watercourse: its line from the head down, bed heights at both ends, and how the land rises from it.

    At ``d`` meters beyond the flat floor the land has risen by
    ``rise_m * (1 - exp(-(d / reach_m) ** 1.5)) + UPLAND_FRAC * d``.
    """

    line: Points
    head_m: float
    foot_m: float
    floor_m: float
    rise_m: float
    reach_m: float


CREEK: Points = [
    (-260, 640), (-60, 612), (60, 560), (150, 592), (240, 590), (320, 541), (400, 535), (470, 562), (540, 520),
    (610, 492), (690, 522), (770, 500), (840, 462), (930, 488), (1010, 452), (1080, 425), (1160, 446), (1260, 398),
    (1460, 390),
]  # fmt: skip
HOLLOW: Points = [(800, 1250), (742, 1130), (772, 1010), (722, 880), (758, 770), (722, 650), (748, 512)]
WEST_DRAW: Points = [(230, 1190), (296, 1040), (262, 910), (330, 790), (312, 670), (352, 540)]
POND_DRAW: Points = [(470, 20), (520, 130), (498, 240), (540, 340), (520, 430), (560, 508)]

CHANNELS = (
    Channel(CREEK, 268.0, 260.0, 14, 36, 130),
    Channel(HOLLOW, 298.0, 262.8, 3, 24, 72),
    Channel(WEST_DRAW, 297.0, 265.2, 3, 25, 80),
    Channel(POND_DRAW, 294.0, 263.6, 4, 24, 95),
    Channel([(980, 1030), (900, 930), (800, 850), (738, 812)], 299.0, 279.0, 2, 20, 62),
    Channel([(470, 1010), (400, 900), (345, 820), (326, 765)], 296.0, 275.5, 2, 20, 60),
    Channel([(548, 740), (530, 680), (545, 620), (537, 522)], 284.0, 263.8, 2, 26, 70),
    Channel([(960, 800), (975, 690), (940, 590), (935, 487)], 293.0, 261.9, 2, 24, 60),
    Channel([(1230, 1010), (1165, 880), (1190, 740), (1130, 590), (1158, 446)], 297.0, 261.4, 3, 24, 75),
    Channel([(-70, 1080), (-20, 930), (40, 800), (10, 690), (60, 562)], 296.0, 267.0, 3, 24, 80),
    Channel([(690, 120), (640, 220), (560, 320), (538, 345)], 293.0, 271.0, 2, 22, 80),
    Channel([(1010, -40), (950, 90), (985, 210), (930, 330), (932, 486)], 294.0, 262.0, 3, 26, 95),
    Channel([(170, 20), (140, 150), (190, 290), (150, 430), (165, 592)], 293.0, 266.0, 3, 26, 95),
    Channel([(1300, 20), (1260, 160), (1290, 280), (1262, 398)], 290.0, 260.9, 3, 26, 100),
    Channel([(-260, -380), (380, -330), (900, -350), (1460, -390)], 276.0, 270.0, 20, 26, 170),
    Channel([(-260, 1500), (500, 1460), (1000, 1480), (1460, 1500)], 282.0, 276.0, 10, 24, 120),
)
#: The creek undercuts its sunny bank: the north side climbs within this reach [m].
NORTH_REACH_M = 78.0
#: Beyond the valley sides the upland goes on climbing at this slope, so that divides are ridges and not tables.
UPLAND_FRAC = 0.035
POND_LEVEL_M = 271.5
_STEP_M = 12.0
#: Square of local meters that noise is drawn for, wider than any raster of the property.
_NOISE_FROM_M, _NOISE_SPAN_M = -500.0, 2400.0


def rounded(path: Points, *, closed: bool = False) -> Points:
    """Return a path with its corners cut twice (Chaikin 1974)."""
    for _ in range(2):
        cut: Points = [] if closed else [path[0]]
        for (x0, y0), (x1, y1) in itertools.pairwise(path):
            cut += [(0.75 * x0 + 0.25 * x1, 0.75 * y0 + 0.25 * y1), (0.25 * x0 + 0.75 * x1, 0.25 * y0 + 0.75 * y1)]
        path = [*cut, cut[0]] if closed else [*cut, path[-1]]
    return path


def heights_m(x: Floats, y: Floats, *, seed: int, pond: Polygon, dam: LineString) -> Floats:
    """Return the land's height [m] at local points given as two arrays of a regular grid of 3 m cells."""
    hills, bends_x, bends_y = (Chance(seed, name) for name in ("hills", "bends x", "bends y"))
    # slopes wander, watercourses stay on their lines
    lines = MultiLineString([rounded(channel.line) for channel in CHANNELS])
    wander = np.clip(distance(points(x, y), lines) / 70.0, 0.0, 1.0)
    warp_x = wander * (30 * _noise(x, y, 260, bends_x) + 12 * _noise(x, y, 95, bends_x))
    warp_y = wander * (30 * _noise(x, y, 260, bends_y) + 12 * _noise(x, y, 95, bends_y))
    land = _carved(x + warp_x, y + warp_y, north=y - np.interp(x, *np.array(CREEK).T))
    low = land.min()
    # hills fade out towards the creek, where the flood plain is level
    strength = np.clip((land - low) / 14.0, 0.12, 1.0)
    for length_m, height_m in ((480, 4.5), (230, 3.2), (120, 1.5), (60, 0.55), (28, 0.16)):
        land = land + strength * height_m * _noise(x, y, length_m, hills)
    land = gaussian_filter(land, 2.2, mode="nearest")
    land = gaussian_filter(_with_pond(land, x, y, pond, dam), 0.8, mode="nearest")
    land[contains_xy(pond, x, y)] = POND_LEVEL_M
    return np.asarray(land)


def _carved(x: Floats, y: Floats, *, north: Floats) -> Floats:
    """Return the lowest of all the slopes that climb away from the channels; divides come out as rounded ridges."""
    surfaces = []
    for number, channel in enumerate(CHANNELS):
        reach = np.full(x.shape, channel.reach_m)
        if number == 0:
            reach = channel.reach_m + (NORTH_REACH_M - channel.reach_m) * (0.5 + 0.5 * np.tanh(north / 25.0))
        best = np.full(x.shape, np.inf)
        line = LineString(rounded(channel.line))
        for along in np.arange(0.0, line.length, _STEP_M):
            point = line.interpolate(along)
            share = along / line.length
            bed = channel.head_m + (channel.foot_m - channel.head_m) * (1 - (1 - share) ** 1.35)
            beyond = np.maximum(np.hypot(x - point.x, y - point.y) - channel.floor_m, 0.0)
            near = beyond < 650
            rise = channel.rise_m * (1 - np.exp(-((beyond[near] / reach[near]) ** 1.5))) + UPLAND_FRAC * beyond[near]
            best[near] = np.minimum(best[near], bed + rise)
        surfaces.append(np.minimum(best, 330.0))
    softness_m = 2.6
    stack = np.stack(surfaces)
    lowest = stack.min(axis=0)
    return np.asarray(lowest - softness_m * np.log(np.exp(-(stack - lowest) / softness_m).sum(axis=0)))


def _with_pond(land: Floats, x: Floats, y: Floats, pond: Polygon, dam: LineString) -> Floats:
    """Return the land with still water in the pond and the dam raised a little above it."""
    spots = points(x, y)
    to_dam = distance(spots, dam)
    crest = POND_LEVEL_M + 1.3 - np.maximum(to_dam - 3.5, 0) * 0.4
    land = np.maximum(land, crest)
    inside = contains_xy(pond, x, y)
    shore = distance(spots, pond)
    upstream = y < np.interp(x, *np.array(dam.coords).T)
    # banks dug and filled to a gentle shore, so that the water's edge is where it was drawn
    land = np.where(upstream, np.minimum(land, POND_LEVEL_M + 0.34 * shore + 0.3), land)
    near = (~inside) & (shore < 14)
    land[near & upstream] = np.maximum(land[near & upstream], POND_LEVEL_M + 0.08 * shore[near & upstream])
    land[inside] = POND_LEVEL_M
    return land


def _noise(x: Floats, y: Floats, length_m: float, chance: Chance) -> Floats:
    """Return gradient noise of about unit height and the given wavelength (Perlin 2002, quintic fade)."""
    count = math.ceil(_NOISE_SPAN_M / length_m) + 2
    turns = np.array([[chance.uniform(0, 2 * math.pi) for _ in range(count)] for _ in range(count)])
    gx, gy = np.cos(turns), np.sin(turns)
    u, v = (x - _NOISE_FROM_M) / length_m, (y - _NOISE_FROM_M) / length_m
    i, j = u.astype(int), v.astype(int)
    u, v = u - i, v - j
    fu, fv = u**3 * (u * (u * 6 - 15) + 10), v**3 * (v * (v * 6 - 15) + 10)

    def corner(di: int, dj: int) -> Floats:
        return np.asarray(gx[j + dj, i + di] * (u - di) + gy[j + dj, i + di] * (v - dj))

    lower = corner(0, 0) + fu * (corner(1, 0) - corner(0, 0))
    upper = corner(0, 1) + fu * (corner(1, 1) - corner(0, 1))
    return np.asarray(1.5 * (lower + fv * (upper - lower)))
