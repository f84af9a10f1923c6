"""Outlines laid into grids of their own, many at once: their ground by GeographicLib's way, which knows no grid."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Geod

from habmap.land.frames import framed
from habmap.land.grid import LocalGrid


def test_ground_far_apart_keeps_its_area_and_many_are_turned_as_one_is() -> None:
    near, far = shapely.box(-97.02, 36.5, -97.0, 36.51), shapely.box(-84.3, 36.4, -84.28, 36.42)
    found = framed([near, far, shapely.Polygon()])
    geod = Geod(ellps="WGS84")
    for number, shape in enumerate((near, far)):
        dense = shapely.segmentize(shape, 0.0005)  # a side along a parallel is no geodesic: drawn in short steps
        assert found.area_m2[number] == pytest.approx(abs(geod.geometry_area_perimeter(dense)[0]), rel=1e-6)
    assert found.area_m2[2] == 0
    grid = LocalGrid(lat=36.5, lon=-97.0)
    many = grid.to_grid(np.array([near, far], dtype=object))  # type: ignore[type-var]
    assert [one.wkb for one in many] == [grid.to_grid(one).wkb for one in (near, far)]
    back = grid.to_lonlat(many)
    assert [one.wkb for one in back] == [grid.to_lonlat(grid.to_grid(one)).wkb for one in (near, far)]
