"""Outlines in equal-area grids of their own region, so that no figure of one depends on what else was asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import EDGE_M, LocalGrid

#: Grids have their centers on multiples of this [°]: within half of it an edge of 100 m, straight there, bows by less
#: than 0.01 mm from one that is straight in a property's own grid.
NODE_DEG: Final = 0.5


@dataclass(frozen=True, slots=True)
class Framed:
    """Outlines ready for a raster.

    Attributes
    ----------
    lonlat
        With vertices at most `EDGE_M` apart, WGS 84 [°].
    planar
        As they are, in their own grids [m].
    area_m2
        Their ground [m²].
    """

    lonlat: NDArray[np.object_]
    planar: NDArray[np.object_]
    area_m2: NDArray[np.float64]


def framed(outlines: Sequence[BaseGeometry] | NDArray[Any]) -> Framed:
    """Lay lon/lat outlines [°] into the equal-area grids of the nodes nearest to their middles."""
    given = np.asarray(outlines, dtype=object)
    planar, lonlat = given.copy(), given.copy()
    bounds = shapely.bounds(given)
    is_there = np.asarray(np.isfinite(bounds).all(axis=1))
    middle = np.where(is_there[:, None], (bounds[:, :2] + bounds[:, 2:]) / 2, 0.0)
    nodes: dict[tuple[float, float], list[int]] = {}
    for number, (lon, lat) in enumerate((np.round(middle / NODE_DEG) * NODE_DEG).tolist()):
        nodes.setdefault((lon, lat), []).append(number)
    for (lon, lat), own in nodes.items():
        grid: Any = LocalGrid(lat=lat, lon=lon)
        in_grid = grid.to_grid(given[own])
        planar[own] = in_grid
        lonlat[own] = grid.to_lonlat(shapely.segmentize(in_grid, EDGE_M))
    return Framed(lonlat, planar, np.asarray(shapely.area(planar)))
