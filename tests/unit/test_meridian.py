"""Outlines across the 180° meridian, in all three forms, and a grid's center that is nobody's place."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from fakes import GRID
from geographiclib.geodesic import Geodesic
from shapely import LineString, MultiPolygon, Point, Polygon, box

from habmap.land.acreage import area_of_record_m2, geodesic_area_m2
from habmap.land.grid import CENTER_KEEPS_OFF_M, grid_around
from habmap.land.meridian import cut, joined, near, running_on
from habmap.place.layers import read_ground, read_layer

#: 400 m and more on both sides, an edge aslant over the line.
RING = [(179.996, -16.5), (180.004, -16.501), (180.0045, -16.495), (179.9955, -16.494)]


def published_m2(ring: list[tuple[float, float]]) -> float:
    """Area by GeographicLib, which takes any longitude."""
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in ring:
        polygon.AddPoint(lat, lon)
    return abs(float(polygon.Compute()[2]))


def test_the_three_forms_are_one_outline() -> None:
    whole = Polygon(RING)
    parts = cut(whole)
    assert isinstance(parts, MultiPolygon) and len(parts.geoms) == 2
    lon = shapely.get_coordinates(parts)[:, 0]
    assert lon.min() >= -180 and lon.max() <= 180
    assert shapely.symmetric_difference(joined(parts), whole).area < 1e-12
    west = near(whole, -179.9)
    assert west.bounds[0] == pytest.approx(-180.0045, abs=1e-12)
    assert shapely.equals_identical(running_on(west), whole)  # a whole turn loses no bit there
    assert shapely.equals_identical(running_on(box(-97, 36, -96, 37)), box(-97, 36, -96, 37))
    line = cut(LineString([(179.99, 10), (180.01, 10)]))
    assert line.geom_type == "MultiLineString" and joined(line).length == pytest.approx(0.02)


@pytest.mark.parametrize("grid_lon", [179.99, -179.99, 180.0])
def test_acres_across_the_meridian_against_geographiclib(grid_lon: float) -> None:
    grid = grid_around([Point(grid_lon, -16.49)])
    for outline in (Polygon(RING), Polygon([(lon - 360, lat) for lon, lat in RING])):
        assert area_of_record_m2(outline, grid=grid) == pytest.approx(published_m2(RING), rel=1e-6)
        assert geodesic_area_m2(outline) == pytest.approx(published_m2(RING), rel=1e-9)
    back = grid.to_lonlat(grid.to_grid(Polygon(RING)))
    assert back.is_valid and back.bounds[2] - back.bounds[0] < 0.01


def test_a_grid_for_units_on_both_sides_lies_between_them() -> None:
    grid = grid_around([box(179.99, -16.5, 179.995, -16.49), box(-179.99, -16.5, -179.98, -16.49)])
    assert abs(abs(grid.lon) - 180) < 0.02
    assert grid.lat == pytest.approx(-16.5, abs=0.02)


def written(folder: Path, geometry: dict[str, object], crs: dict[str, object] | None = None) -> Path:
    path = folder / "across.geojson"
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    document: dict[str, object] = {"type": "FeatureCollection", "features": [feature]}
    path.write_text(json.dumps(document | ({"crs": crs} if crs else {})))
    return path


def test_files_that_run_on_or_are_cut_read_as_one_outline(tmp_path: Path) -> None:
    whole = read_ground(written(tmp_path, shapely.geometry.mapping(Polygon(RING))))
    assert len(whole.geoms) == 1 and whole.bounds[0] == 179.9955
    halves = read_ground(written(tmp_path, shapely.geometry.mapping(cut(Polygon(RING)))))
    assert len(halves.geoms) == 1
    assert geodesic_area_m2(halves) == pytest.approx(published_m2(RING), rel=2e-6)
    past_west = read_ground(written(tmp_path, shapely.geometry.mapping(near(Polygon(RING), -179.0))))
    assert shapely.equals_identical(past_west, whole)


def test_a_projection_that_goes_on_across_the_meridian_reads_as_one_outline(tmp_path: Path) -> None:
    # EPSG:3832, Mercator around 150° E: x of 180° is 3,339,584.7 m, and lon/lat jumps there
    square = box(3339000, -1000000, 3340000, -999000)
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::3832"}}
    ground = read_ground(written(tmp_path, shapely.geometry.mapping(square), crs))
    west, _south, east, _north = ground.bounds
    assert west < 180 < east and east - west < 0.01


def test_far_past_the_meridian_is_still_off_the_globe(tmp_path: Path) -> None:
    (fault,) = read_layer(written(tmp_path, shapely.geometry.mapping(box(262.5, 36, 262.6, 36.1)))).faults
    assert "off the globe" in fault.what and "run on past" in str(fault.allowed)


def test_the_center_is_no_place_that_was_loaded() -> None:
    rng = np.random.default_rng(7)
    spots = [(36.06, -97.02), (0.0, 0.0), (71.0, -156.0), (-36.995, 144.005)]
    spots += list(zip(rng.uniform(-80, 80, 300).tolist(), rng.uniform(-180, 180, 300).tolist(), strict=True))
    for lat, lon in spots:
        grid = grid_around([Point(lon, lat)])
        away_m = Geodesic.WGS84.Inverse(lat, lon, grid.lat, grid.lon)["s12"]
        assert 0.98 * CENTER_KEEPS_OFF_M < away_m < 2_000
        assert round(grid.lat, 2) == grid.lat and round(grid.lon, 2) == grid.lon and -180 <= grid.lon < 180


def test_a_center_a_kilometre_off_leaves_the_acres_what_they_are() -> None:
    outline = GRID.to_lonlat(shapely.box(-400, -300, 500, 450))
    moved = grid_around([outline])
    assert math.hypot(moved.lat - GRID.lat, moved.lon - GRID.lon) > 0.001
    assert area_of_record_m2(outline, grid=moved) == pytest.approx(geodesic_area_m2(outline), rel=1e-6)
