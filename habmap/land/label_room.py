"""Where words lie on their own ground: the one rule of page, sheet, handout and burn map.

A box of words that stands in a room of `label_rooms` lies at least `LEAST_SHARE` on the ground the room was made of.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

#: Widths of rooms as shares of their heights: from one long line of words to a narrow stack of them.
ASPECTS: Final = (6.0, 3.5, 2.0, 1.2, 0.6)
#: Half a room's side as a share of the radius of the circle inside the ground.
_HALF: Final = 0.95
#: What of a square with that half side lies within the circle, and so on the ground at the least: the circle less its
#: four caps beyond the sides, over the square.
LEAST_SHARE: Final = (math.pi - 4 * (math.acos(_HALF) - _HALF * math.sqrt(1 - _HALF**2))) / (2 * _HALF) ** 2
#: The circle is found to this share of the ground's larger side.
_TOLERANCE: Final = 1 / 120


def label_rooms(shapes: Sequence[BaseGeometry], *, aspects: Sequence[float] = ASPECTS) -> NDArray[np.float64]:
    """Return for each shape the largest level boxes for words that were found on it.

    Parameters
    ----------
    shapes
        Ground in flat coordinates of any unit; what is no area has no room.
    aspects
        Width over height of the boxes looked for.

    Returns
    -------
    Array of shape (shapes, aspects, 4): middle x and y, half width, half height; NaN where there is no room.

    Notes
    -----
    The ground is pressed together by the aspect, so that a box becomes a square; the square stands about the largest
    inscribed circle. A circle of radius r lies wholly on the ground and holds `LEAST_SHARE` of a square of half side
    0.95 r, and more of any smaller box about the same middle.
    """
    rooms = np.full((len(shapes), len(aspects), 4), np.nan)
    areas = np.array([_areas(shape) for shape in shapes], dtype=object)
    which = np.flatnonzero(shapely.area(areas) > 0)
    ground = areas[which]
    bounds = shapely.bounds(ground)
    press = np.array([(1 / aspect, 1.0) for aspect in aspects])
    pressed = np.array([shapely.transform(ground, one.__mul__) for one in press], dtype=object)
    sides = np.maximum((bounds[:, 2] - bounds[:, 0]) * press[:, :1], bounds[:, 3] - bounds[:, 1])
    circles = shapely.maximum_inscribed_circle(pressed, tolerance=sides * _TOLERANCE)
    radius = shapely.length(circles)
    middle = shapely.get_coordinates(shapely.get_point(circles, 0)).reshape(*radius.shape, 2) / press[:, None, :]
    rooms[which] = np.dstack([middle, _HALF * radius * np.array(aspects)[:, None], _HALF * radius]).transpose(1, 0, 2)
    return rooms


def _areas(shape: BaseGeometry) -> shapely.MultiPolygon:
    """Return the areas of a shape, made valid; what is left of it with lines holds them one level down."""
    parts = shapely.get_parts(shapely.get_parts(shapely.make_valid(shape))).tolist()
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


def spots(rooms: NDArray[np.float64], width: float, height: float) -> Iterator[tuple[float, float]]:
    """Yield the middles at which a box of words lies on its ground, best first; none where it has no room.

    Parameters
    ----------
    rooms
        Of one ground, shape (aspects, 4), in the unit of ``width`` and ``height``.
    """
    wide, high = rooms[:, 2] - width / 2, rooms[:, 3] - height / 2
    fitting = [k for k in np.argsort(-np.minimum(wide, high)) if wide[k] >= 0 and high[k] >= 0]
    for k in fitting:
        yield (float(rooms[k, 0]), float(rooms[k, 1]))
    for k in fitting:
        # Moved level or upright as far as all its corners stay within the circle, and half as far both ways at once.
        across, up = float(rooms[k, 2]) / _HALF, float(rooms[k, 3]) / _HALF
        a, b = width / 2 / across, height / 2 / up
        if a * a + b * b >= 1:
            continue
        far = (across * (math.sqrt(1 - b * b) - a), up * (math.sqrt(1 - a * a) - b))
        for x, y in ((0, 1), (0, -1), (1, 0), (-1, 0), (0.5, 0.5), (-0.5, 0.5), (0.5, -0.5), (-0.5, -0.5)):
            yield (float(rooms[k, 0]) + x * far[0], float(rooms[k, 1]) + y * far[1])


def lying_on(
    ground: BaseGeometry, middles: Sequence[tuple[float, float]], width: float, height: float
) -> list[tuple[float, float]]:
    """Return those middles at which a box lies `LEAST_SHARE` on the ground, measured one by one."""
    x, y = np.array(middles, dtype=np.float64).reshape(-1, 2).T
    boxes = shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    on = shapely.area(shapely.intersection(ground, boxes)) >= LEAST_SHARE * width * height
    return [middle for middle, is_on in zip(middles, on, strict=True) if is_on]


def widest_spot(rooms: NDArray[np.float64]) -> tuple[float, float] | None:
    """Return the middle of the room whose smaller side is the largest; ``None`` where there is no room at all."""
    if not np.isfinite(rooms[:, 3]).any():
        return None
    best = int(np.nanargmax(np.minimum(rooms[:, 2], rooms[:, 3])))
    return (float(rooms[best, 0]), float(rooms[best, 1]))
