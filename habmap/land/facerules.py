"""What counts as flat, as sun-facing and as hand-only ground."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Width of a slope class [%], and how many make one percent.
SLOPE_CLASS_PCT: Final = 0.1
CLASSES_PER_PCT: Final = 10
#: Sun-facing octants SE to SW, and NW to NE where the noon sun stands in the north [true bearings, °].
SUN_FACING_NORTH_DEG: Final = (112.5, 247.5)
SUN_FACING_SOUTH_DEG: Final = (292.5, 67.5)


@dataclass(frozen=True, slots=True)
class SlopeLimit:
    """Where a limit of slope lies among the slope classes.

    Attributes
    ----------
    whole_classes
        How many classes lie wholly below it.
    cut_class
        The class that it cuts in two; −1 where it lies between two classes.
    """

    whole_classes: int
    cut_class: int

    @classmethod
    def at(cls, limit_pct: float) -> SlopeLimit:
        """Return where a limit lies [%]."""
        tenths = round(limit_pct * CLASSES_PER_PCT)
        if abs(limit_pct * CLASSES_PER_PCT - tenths) < 1e-9:
            return cls(tenths, -1)
        below = math.floor(limit_pct * CLASSES_PER_PCT)
        return cls(below, below)


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceRules:
    """What counts as flat, as sun-facing and as hand-only ground.

    Attributes
    ----------
    flat_below_pct
        Gentler ground faces nowhere [%].
    sun_facing_deg
        First and last true bearing, clockwise, both included; may pass through north [°].
    machine_limit_pct
        Steeper ground is hand-only [%].
    """

    flat_below_pct: float = 5.0
    sun_facing_deg: tuple[float, float] = SUN_FACING_NORTH_DEG
    machine_limit_pct: float = 30.0

    @property
    def flat_limit(self) -> SlopeLimit:
        """Where flat ground ends."""
        return SlopeLimit.at(self.flat_below_pct)

    @property
    def hand_limit(self) -> SlopeLimit:
        """Where hand-only ground begins."""
        return SlopeLimit.at(self.machine_limit_pct)

    @property
    def sun_sector(self) -> tuple[float, float, float, float, bool]:
        """East and north of the first and of the last bearing, and whether more than half the circle lies between."""
        first_deg, last_deg = self.sun_facing_deg
        span_deg = last_deg - first_deg if last_deg >= first_deg else last_deg - first_deg + 360
        return (*_toward(first_deg), *_toward(last_deg), span_deg > 180)

    def faces_sun(self, east: Floats, north: Floats) -> NDArray[np.bool_]:
        """Tell where ground that rises so toward east and north [m/m] faces the sun: by sides, without an angle."""
        first_east, first_north, last_east, last_north, is_wide = self.sun_sector
        # Ground faces downhill. Right of the first bearing and left of the last; of a wide range, what lies outside.
        after_first = first_east * north - first_north * east
        before_last = last_north * east - last_east * north
        if is_wide:
            return np.asarray(~((after_first < 0) & (before_last < 0)), dtype=np.bool_)
        return np.asarray((after_first >= 0) & (before_last >= 0), dtype=np.bool_)


def _toward(bearing_deg: float) -> tuple[float, float]:
    """Return a bearing's direction, of any length, exact where it lies on one of the eight chief ones."""
    chief = {0: (0, 1), 45: (1, 1), 90: (1, 0), 135: (1, -1), 180: (0, -1), 225: (-1, -1), 270: (-1, 0), 315: (-1, 1)}
    turned = bearing_deg % 360
    if turned in chief:
        east, north = chief[int(turned)]
        return float(east), float(north)
    return math.sin(math.radians(turned)), math.cos(math.radians(turned))
