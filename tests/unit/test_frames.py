"""Outlines laid into grids of their own, many at once: their ground by GeographicLib's way, which knows no grid."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Geod

from habmap.land.frames import framed
from habmap.land.grid import EDGE_M, LocalGrid


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


@pytest.mark.parametrize(
    ("middle", "node"),
    [((-97.01, 36.505), (-97.0, 36.5)), ((-84.24, 36.76), (-84.0, 37.0)), ((-84.26, 36.74), (-84.5, 36.5)),
     ((150.74, -23.76), (150.5, -24.0))],
)  # fmt: skip
def test_an_outline_lies_in_the_grid_of_the_nearest_half_degree(
    middle: tuple[float, float], node: tuple[float, float]
) -> None:
    lon, lat = middle
    shape = shapely.box(lon - 0.004, lat - 0.003, lon + 0.004, lat + 0.003)
    found = framed([shapely.box(-0.01, -0.01, 0.01, 0.01), shape])
    grid = LocalGrid(lat=node[1], lon=node[0])
    assert found.planar[1].wkb == grid.to_grid(shape).wkb
    assert found.lonlat[1].wkb == grid.to_lonlat(shapely.segmentize(grid.to_grid(shape), EDGE_M)).wkb
    # sides of 600 m and more, a vertex each 100 m at most
    xy = shapely.get_coordinates(grid.to_grid(found.lonlat[1]))
    assert 90 < np.hypot(*np.diff(xy, axis=0).T).max() <= 100.001
