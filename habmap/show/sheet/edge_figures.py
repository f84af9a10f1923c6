"""What stands along the edge of a map: the corners' latitude and longitude, and ticks of the UTM grid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from habmap.show.palette import INK
from habmap.show.sheet.map import Frame
from habmap.show.sheet.pen import LEAST_PT, Pen, text_width_pt

_TICK_PT: Final = 6.0
#: Ticks stand no closer than this [pt].
_LEAST_APART_PT: Final = 90.0
_STEPS_M: Final = tuple(step * 10**power for power in range(1, 6) for step in (1, 2, 5))
#: Points of an edge that are turned to UTM; between them it is straight to a hair.
_SAMPLES: Final = 65


@dataclass(frozen=True, slots=True)
class EdgeFigures:
    """Figures and ticks along a frame [pt].

    Attributes
    ----------
    told
        Left, baseline and words of each figure.
    ticks
        Both ends of each tick.
    words
        What the ticks are.
    """

    told: tuple[tuple[float, float, str], ...]
    ticks: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    words: str

    @property
    def boxes(self) -> tuple[tuple[float, float, float, float], ...]:
        """What the figures take: left, bottom, right, top of each."""
        return tuple(
            (x - 1, y - 2, x + text_width_pt(words, size_pt=LEAST_PT) + 1, y + LEAST_PT) for x, y, words in self.told
        )

    def draw(self, pen: Pen) -> None:
        """Draw them."""
        for ends in self.ticks:
            pen.rule(ends, 0.9)
        for x, y, words in self.told:
            pen.text(x, y, words, ink=INK, halo_pt=1.4)


def utm_zone(lon_deg: float, lat_deg: float) -> tuple[int, str]:
    """Return the number of a place's UTM zone and its hemisphere, N or S (six degrees each; no exceptions up north)."""
    return int((lon_deg + 180) % 360 // 6) + 1, "N" if lat_deg >= 0 else "S"


def degrees_words(value_deg: float, signs: str) -> str:
    """Return an angle in whole seconds, ``36°22'05″N``; ``signs`` are those of positive and negative angles."""
    seconds = round(abs(value_deg) * 3600)
    return f"{seconds // 3600}°{seconds // 60 % 60:02d}′{seconds % 60:02d}″{signs[value_deg < 0]}"


def figures_around(frame: Frame) -> EdgeFigures:
    """Return the corners of a frame and the ticks of the UTM zone of its middle (WGS 84)."""
    from pyproj import Transformer

    lon, lat = frame.middle_lonlat
    zone, half = utm_zone(lon, lat)
    utm = Transformer.from_crs(4326, (32600 if half == "N" else 32700) + zone, always_xy=True)
    left, bottom, right, top = frame.box
    step = next(s for s in _STEPS_M if s * frame.pt_per_ground_m >= _LEAST_APART_PT or s == _STEPS_M[-1])
    told = _corners(frame)
    ticks: list[Any] = []
    # Eastings along the lower and upper edge, northings along the sides.
    for axis, first, last, inward in (
        (0, (left, bottom), (right, bottom), (0, 1)), (0, (left, top), (right, top), (0, -1)),
        (1, (left, bottom), (left, top), (1, 0)), (1, (right, bottom), (right, top), (-1, 0)),
    ):  # fmt: skip
        line = np.linspace(first, last, _SAMPLES)
        value = np.column_stack(utm.transform(*_lonlat(frame, line).T))[:, axis]
        for even in range(math.ceil(value[0] / step) * step, math.floor(value[-1]) + 1, step):
            x, y = (float(np.interp(even, value, line[:, k])) for k in (0, 1))
            ticks.append(((x, y), (x + inward[0] * _TICK_PT, y + inward[1] * _TICK_PT)))
            if inward not in ((0, 1), (1, 0)):
                continue
            words = f"{even:,}{'EN'[axis]}"
            wide = text_width_pt(words, size_pt=LEAST_PT)
            spot = (x - wide / 2, y + 9.0) if axis == 0 else (x + 8.0, y - 3.2)
            clear = spot[0] > left + 6 and spot[0] + wide < right - 6 and bottom + 26 < spot[1] < top - 26
            if axis == 0:
                clear = spot[0] > left + 150 and spot[0] + wide < right - 150
            if clear:
                told.append((*spot, words))
    return EdgeFigures(tuple(told), tuple(ticks), tick_words((lon, lat), step))


def tick_words(lonlat: tuple[float, float], step_m: int = _STEPS_M[-1]) -> str:
    """Return what the ticks are; without a step, as long as these words come."""
    zone, half = utm_zone(*lonlat)
    return f"Ticks: UTM zone {zone}{half}, every {step_m:,} m; WGS 84."


def _corners(frame: Frame) -> list[tuple[float, float, str]]:
    left, bottom, right, top = frame.box
    corners = np.array([(left, bottom), (right, bottom), (left, top), (right, top)])
    told = []
    for (x, y), (lon, lat) in zip(corners.tolist(), _lonlat(frame, corners).tolist(), strict=True):
        words = f"{degrees_words(lat, 'NS')} {degrees_words(lon, 'EW')}"
        wide = text_width_pt(words, size_pt=LEAST_PT)
        told.append((x + 5 if x == left else x - 5 - wide, y + 5 if y == bottom else y - 5 - 0.75 * LEAST_PT, words))
    return told if right - left > 2 * max(text_width_pt(words, size_pt=LEAST_PT) for *_, words in told) + 20 else []


def _lonlat(frame: Frame, on_paper_pt: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the longitude and latitude [°] of points of the page."""
    center = np.array([frame.left + frame.width / 2, frame.bottom + frame.height / 2])
    xy_m = np.array(frame.middle_xy) + (on_paper_pt - center) / frame.pt_per_ground_m
    return np.asarray(shapely.get_coordinates(frame.grid.to_lonlat(shapely.LineString(xy_m))))
