"""How far a page's ground reaches."""

from __future__ import annotations

from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.show.records import Page

#: Shown where nothing is drawn yet: some ground to look at in the middle of the continent.
_NOWHERE: Final = (-98.6, 39.8, -98.5, 39.9)


def extent(page: Page) -> tuple[float, float, float, float]:
    """Return west, south, east, north of the units and the boundary, else of the relief [°]."""
    shapes: list[BaseGeometry] = [unit.geometry for unit in page.units]
    if page.boundary is not None:
        shapes.append(page.boundary)
    if not shapes and page.relief is not None:
        return page.relief.west, page.relief.south, page.relief.east, page.relief.north
    if not shapes:
        return _NOWHERE
    west, south, east, north = shapely.total_bounds(shapes)
    return float(west), float(south), float(east), float(north)
