"""What is wrong with an outline that is no ground: it crosses itself, or is no ring."""

from __future__ import annotations

from contextlib import suppress
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

_REASONS: Final = {
    "Self-intersection": "the outline crosses itself",
    "Ring Self-intersection": "the outline touches or crosses itself",
    "Nested shells": "one part of the outline lies inside another part",
    "Nested holes": "one hole of the outline lies inside another hole",
    "Hole lies outside shell": "a hole lies outside its outline",
    "Holes are nested": "one hole of the outline lies inside another hole",
    "Interior is disconnected": "a hole cuts the outline in two",
    "Too few points in geometry component": "the outline has too few points to hold ground",
    "Duplicate Rings": "the same ring is drawn twice",
}


def crossing_words(geometry: BaseGeometry) -> tuple[str, str | None]:
    """Say what is wrong with an invalid outline and where, ``lon lat`` [°]."""
    reason = shapely.is_valid_reason(geometry)
    kind, _, place = reason.partition("[")
    spot = None
    with suppress(ValueError):
        lon, lat = (float(number) for number in place.rstrip("]").split()[:2])
        spot = f"at lon {lon:.6f}, lat {lat:.6f}"
    return _REASONS.get(kind.strip(), f"the outline is not usable: {kind.strip().lower()}"), spot
