"""Repeat photos of one spot: which belong together, which is before and which after, and what was done in between."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from shapely import Point, Polygon

from habmap.records import Photo

#: Most that two directions may differ [°]. The compass of a phone is off by ten degrees and more, and an upright or
#: level phone sees about 50° to 65° wide: up to here the pictures still share half of what they show (common practice,
#: no source).
SAME_DIRECTION_DEG: Final = 30.0
#: Room for standing beside the spot instead of on it [m].
_STANDING_M: Final = 2.0
#: Quantile of the distance between two fixes of one spot that still counts as one spot.
_QUANTILE: Final = 0.99
#: How far ahead of the camera work still shows in a picture [m], and how wide it looks [°] (common practice, no
#: source).
SEEN_M: Final = 150.0
SEEN_DEG: Final = 60.0
#: Less of a patch than this in a picture's view is not told beside it [m²].
SEEN_AREA_M2: Final = 100.0


def same_spot_m(sigma_m: float) -> float:
    """Return how far apart two fixes of one spot may lie [m].

    Parameters
    ----------
    sigma_m
        Standard deviation of a fix per axis [m].

    Notes
    -----
    The difference of two fixes has σ√2 per axis, so its length is Rayleigh distributed: 99 of 100 are shorter than
    σ√2 · √(2 ln 100) = 4.29 σ. For σ = 3 m that is 12.9 m; with two meters for the photographer's feet, 14.9 m.
    """
    return sigma_m * math.sqrt(2) * math.sqrt(-2 * math.log(1 - _QUANTILE)) + _STANDING_M


def turned_deg(one_deg: float, other_deg: float) -> float:
    """Return the angle between two directions, 0 to 180 [°]."""
    apart = abs(one_deg - other_deg) % 360
    return min(apart, 360 - apart)


def photo_points(
    photos: Iterable[Photo], spots: Mapping[str, Point], *, within_m: float
) -> tuple[tuple[Photo, ...], ...]:
    """Return the photos of each point, oldest first, the points in the order of their first photo.

    The oldest photo of a spot and direction stands for it. Each later one goes to the nearest point whose first photo
    lies within ``within_m`` and looks within :data:`SAME_DIRECTION_DEG` of its own direction; where none does, it opens
    a point of its own. Compared with the first photo only, a row of photos taken while walking or turning is not
    chained into one. Directions from true and from magnetic north, and photos without any, are not mixed.

    Parameters
    ----------
    spots
        Where the cameras stood, by the photos' ``uuid``, in a metric grid whose north is true north to a hundredth of
        a degree, as it is within a property [m].
    """
    points: list[list[Photo]] = []
    for photo in sorted(photos, key=lambda photo: (photo.taken_at, photo.uuid)):
        best: tuple[float, int] | None = None
        for number, point in enumerate(points):
            misfit = _misfit(point[0], photo, spots[point[0].uuid].distance(spots[photo.uuid]), within_m)
            if misfit is not None and (best is None or misfit < best[0]):
                best = (misfit, number)
        if best is None:
            points.append([photo])
        else:
            points[best[1]].append(photo)
    return tuple(map(tuple, points))


def after_of(photos: Sequence[Photo]) -> Photo | None:
    """Return the first photo of a point's latest day; ``None`` where all are of one day."""
    last_day = photos[-1].taken_on
    return None if last_day == photos[0].taken_on else next(one for one in photos if one.taken_on == last_day)


def _misfit(first: Photo, other: Photo, apart_m: float, within_m: float) -> float | None:
    """Return how badly two photos fit, 0 to 2; ``None`` where they are not of one point."""
    if first.direction_ref != other.direction_ref or apart_m > within_m:
        return None
    turned = 0.0
    if first.direction_deg is not None and other.direction_deg is not None:
        turned = turned_deg(first.direction_deg, other.direction_deg)
        if turned > SAME_DIRECTION_DEG:
            return None
    return (apart_m / within_m) ** 2 + (turned / SAME_DIRECTION_DEG) ** 2


def seen_ground(
    x_m: float, y_m: float, direction_deg: float | None, *, far_m: float = SEEN_M, wide_deg: float = SEEN_DEG
) -> Polygon:
    """Return the ground that a photo looks at, as if nothing stood in the way: a slice of a circle.

    Parameters
    ----------
    x_m, y_m
        Where the camera stood, in a metric grid.
    direction_deg
        The middle of its view, clockwise from the grid's north [°]; ``None`` = not known: ground all around, a third as
        far.
    """
    if direction_deg is None:
        return Point(x_m, y_m).buffer(far_m / 3)
    steps = 12
    rim = []
    for step in range(steps + 1):
        bearing = math.radians(direction_deg - wide_deg / 2 + wide_deg * step / steps)
        rim.append((x_m + far_m * math.sin(bearing), y_m + far_m * math.cos(bearing)))
    return Polygon([(x_m, y_m), *rim])
