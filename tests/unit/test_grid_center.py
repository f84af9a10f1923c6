"""Where a property's grid has its center, and ground turned there and back: by hand and by geodesics."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely import LineString, Point, Polygon, box

from habmap.land.grid import LocalGrid, grid_around, wkbs

#: How many degrees of latitude a meter is, at 111 km a degree.
DEG_PER_M = 1 / 111_000


@pytest.mark.parametrize(
    ("shapes", "center"),
    [
        ([Point(-97.456, 38.123)], (38.12, -97.46)),
        ([Point(-97.456, 38.123), Point()], (38.12, -97.46)),
        ([Point(), Polygon(), Point(-97.456, 38.123)], (38.12, -97.46)),
        ([box(-97.5, 38.1, -97.412, 38.146)], (38.12, -97.46)),
        ([Point(-97.5, 38.1), Point(-97.412, 38.146)], (38.12, -97.46)),
        # on the place itself, and nearer than 300 m: one step toward the equator
        ([Point(-97.46, 38.12)], (38.11, -97.46)),
        ([Point(-97.46, 38.12 + 299 * DEG_PER_M)], (38.11, -97.46)),
        ([Point(-97.46, 38.12 - 301 * DEG_PER_M)], (38.12, -97.46)),
        ([Point(-97.46, -38.12 + 299 * DEG_PER_M)], (-38.11, -97.46)),
        ([Point(-97.46, 0.0)], (-0.01, -97.46)),
        ([Point(-97.46, 90.0)], (89.99, -97.46)),
        # on 60° a degree of longitude is half as long: 0.004° are 222 m there, and 444 m on the equator
        ([Point(-97.464, 60.0)], (59.99, -97.46)),
        ([Point(-97.464, 1e-9)], (0.0, -97.46)),
        # 240 m north and 180 m east are 300 m
        ([Point(10 + 179 * 2 * DEG_PER_M, 60 + 239 * DEG_PER_M)], (59.99, 10.0)),
        ([Point(10 + 182 * 2 * DEG_PER_M, 60 + 242 * DEG_PER_M)], (60.0, 10.0)),
        # across ±180 ground hangs together, and its center is told between −180 and 180
        ([Point(179.9, 10.004), Point(-179.94, 10.004)], (10.0, 179.98)),
        ([Point(179.94, 10.004), Point(-179.9, 10.004)], (10.0, -179.98)),
        ([Point(179.9, 10.004), Point(-179.9, 10.004)], (10.0, -180.0)),
        ([Point(-180.0, 10.004)], (10.0, -180.0)),
    ],
)
def test_the_center_is_a_round_number_off_the_middle(
    shapes: list[shapely.Geometry], center: tuple[float, float]
) -> None:
    grid = grid_around(shapes)
    assert (grid.lat, grid.lon) == pytest.approx(center, abs=1e-12)


@pytest.mark.parametrize("grid", [LocalGrid(38.0, -98.0), LocalGrid(-45.0, 179.99), LocalGrid(60.0, -180.0)])
def test_what_is_turned_there_and_back_is_the_same(grid: LocalGrid) -> None:
    xy = np.random.default_rng(2).uniform(-9000, 9000, (200, 2))
    lonlat = grid.to_lonlat(shapely.multipoints(xy))
    back = shapely.get_coordinates(grid.to_grid(lonlat))
    assert np.abs(back - xy).max() < 1e-6
    lon = shapely.get_coordinates(lonlat)[:, 0]
    assert np.abs(lon - grid.lon).max() < 1  # on both sides of ±180 too
    # by a geodesic from the center: true to 1 part in 400,000
    _, _, far_m = Geod(ellps="WGS84").inv(
        np.full(200, grid.lon), np.full(200, grid.lat), lon, shapely.get_coordinates(lonlat)[:, 1]
    )
    assert far_m == pytest.approx(np.hypot(*xy.T), rel=5e-6)


def test_edges_that_are_straight_in_the_grid_have_a_vertex_each_hundred_meters() -> None:
    grid = LocalGrid(38.0, -98.0)
    line = LineString([(0, 0), (990, 0)])
    (dense,) = grid.to_lonlat_densely([line])
    turned = grid.to_grid(dense)
    assert len(turned.coords) == 11 and len(grid.to_lonlat_densely([LineString([(0, 0), (1005, 0)])])[0].coords) == 12
    assert turned.hausdorff_distance(line) < 1e-6
    (again,) = grid.dense_edges([grid.to_lonlat(line)])
    assert shapely.get_coordinates(again) == pytest.approx(shapely.get_coordinates(dense), abs=1e-9)


def test_many_are_turned_as_each_by_itself() -> None:
    grid = LocalGrid(38.0, -98.0)
    shapes = [box(-98, 38, -97.9, 38.1), Polygon(), Point(-98.2, 37.9)]
    assert [one.wkb for one in grid.each_to_grid(shapes)] == [grid.to_grid(one).wkb for one in shapes]
    assert wkbs(shapes) == [one.wkb for one in shapes] and wkbs([]) == []


@pytest.mark.parametrize(("lon", "lat"), [(-97.9, 38.05), (-98.1, 38.05), (-98.0, 38.2)])
def test_a_true_bearing_is_a_grid_bearing_and_the_convergence(lon: float, lat: float) -> None:
    grid = LocalGrid(38.0, -98.0)
    start, end = (grid.to_grid(Point(lon, lat + off)) for off in (0.0, 1e-4))  # due north
    grid_deg = np.degrees(np.arctan2(end.x - start.x, end.y - start.y))
    assert grid_deg + grid.convergence_deg(lon, lat) == pytest.approx(0, abs=1e-4)
