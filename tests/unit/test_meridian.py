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
from shapely import LineString, MultiLineString, MultiPolygon, Point, Polygon, box

from habmap.land.acreage import area_of_record_m2, geodesic_area_m2
from habmap.land.grid import CENTER_KEEPS_OFF_M, grid_around
from habmap.land.meridian import cut, joined, middle_lon, near, running_on, unwound
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


# --- the three forms of plain boxes -------------------------------------------------------------------------------


def side(west: float, east: float, south: float = 0.0, north: float = 1.0) -> Polygon:
    return box(west, south, east, north)


@pytest.mark.parametrize(
    ("given", "beside", "moved"),
    [
        ((179, 181), -179.0, (-181, -179)),
        ((179, 181), 0.0, (179, 181)),  # just as far either way
        ((-10, -9), 171.0, (350, 351)),
        ((-10, -9), 170.0, (-10, -9)),
        ((-10, -9), -700.0, (-730, -729)),
        ((100, 110), -75.1, (-260, -250)),
        ((100, 110), -74.9, (100, 110)),
    ],
)
def test_near_is_within_half_a_turn(given: tuple[float, float], beside: float, moved: tuple[float, float]) -> None:
    assert near(side(*given), beside).bounds == (moved[0], 0, moved[1], 1)
    assert near(Polygon(), beside).is_empty


@pytest.mark.parametrize(
    ("given", "moved"),
    [((-180, -179), (-180, -179)), ((-180.5, -179), (179.5, 181)), ((179.5, 181), (179.5, 181)),
     ((180, 181), (-180, -179)), ((530, 541), (170, 181)), ((-550, -545), (170, 175)), ((0, 1), (0, 1))],
)  # fmt: skip
def test_running_on_begins_from_the_line_up_to_it(given: tuple[float, float], moved: tuple[float, float]) -> None:
    assert running_on(side(*given)).bounds == (moved[0], 0, moved[1], 1)
    assert running_on(Polygon()).is_empty


def test_vertices_are_unwound_beside_the_first() -> None:
    xy = np.array([(179.0, 1.0), (-179, 2), (178, 3), (540, 4), (-3, 5)])
    assert unwound(xy).tolist() == [[179, 1], [181, 2], [178, 3], [180, 4], [357, 5]]
    assert unwound(xy[::2][:2]) is not None and unwound(xy[::2][:2]).tolist() == [[179, 1], [178, 3]]
    assert middle_lon(side(179, 182)) == 180.5


def test_parts_cut_at_the_line_are_joined() -> None:
    west, east = side(179, 180), side(-180, -178)
    assert joined(MultiPolygon([west, east])).equals(side(179, 182))
    # parts elsewhere stay apart, those to the east a turn on
    more = joined(MultiPolygon([side(170, 171), west, side(-175, -174), east]))
    assert sorted(part.bounds[::2] for part in shapely.get_parts(more)) == [(170, 171), (179, 182), (185, 186)]
    assert more.geom_type == "MultiPolygon"
    # a tenth of a millimeter is on the line, and is put there
    hair = joined(MultiPolygon([side(179, 180 - 9.9e-10), side(-180 + 9.9e-10, -178)]))
    assert hair.equals(side(179, 182)) and hair.geom_type == "Polygon"
    # at its very edge a part is on the line too, as it stands in a file: 179.999999999
    assert joined(MultiPolygon([side(179, 179.999999999), side(-179.999999999, -178)])).equals(side(179, 182))
    # polygons that only reach it in different places are two all the same
    two = joined(MultiPolygon([west, side(-180, -178, 5, 6)]))
    assert sorted(part.bounds for part in shapely.get_parts(two)) == [(179, 0, 180, 1), (180, 5, 182, 6)]


@pytest.mark.parametrize(
    "parts",
    [
        [side(-180, -178)],
        [side(179, 180), side(-175, -174)],
        [side(170, 171), side(-180, -178)],
        [side(-180, 180), side(-180, -178, 2, 3), side(179, 180, 2, 3)],
        [side(179, 180 - 1.01e-9), side(-180, -178)],
        [side(179, 180), side(-180 + 1.01e-9, -178)],
    ],
)
def test_what_was_not_cut_is_left_as_it_is(parts: list[Polygon]) -> None:
    whole = MultiPolygon(parts)
    assert joined(whole) is whole
    assert joined(parts[0]) is parts[0]


def test_what_does_not_cross_the_line_stays_as_it_was_drawn() -> None:
    aslant = Polygon([(0, 0), (0, 3), (-1, 1), (-2, 3), (-2, 0), (-1, 0.5)])
    for west in (-97.0, 177.5, 178.0):
        drawn = shapely.transform(aslant, lambda xy, west=west: xy + np.array([west + 2, 0.0]))  # type: ignore[misc]
        assert shapely.equals_identical(cut(drawn), drawn)
    # beside parts on the line, one that ends at Greenwich is none of the east
    parts = joined(MultiPolygon([side(179, 180), side(-180, -179), side(-1, 0)]))
    assert sorted(part.bounds[0] for part in shapely.get_parts(parts)) == [-1, 179]


@pytest.mark.parametrize(("east", "is_read"), [(189.99, True), (190.05, False), (-189.95, True), (-190.01, False)])
def test_a_file_may_run_on_for_ten_degrees(east: float, is_read: bool, tmp_path: Path) -> None:
    faults = read_layer(written(tmp_path, shapely.geometry.mapping(box(east - 0.04, 36, east, 36.1)))).faults
    assert (not faults) is is_read


def test_lines_and_mixed_shapes_are_joined_too() -> None:
    one, other = LineString([(179, 0), (180, 1)]), LineString([(-180, 1), (-179, 5)])
    through = joined(MultiLineString([one, other]))
    assert through.geom_type == "LineString"
    assert shapely.get_coordinates(through)[:, 0].tolist() in ([179, 180, 181], [181, 180, 179])
    apart = joined(MultiLineString([one, other, LineString([(-170, 0), (-169, 0)])]))
    assert apart.geom_type == "MultiLineString" and sorted(part.bounds[0] for part in apart.geoms) == [179, 190]
    mixed = joined(shapely.GeometryCollection([side(179, 180), other]))
    assert mixed.geom_type == "GeometryCollection"
    assert sorted(part.bounds for part in mixed.geoms) == [(179, 0, 180, 1), (180, 1, 181, 5)]
    assert joined(Polygon()).is_empty
    # a shape that crosses itself is not united, and not lost
    bow = Polygon([(179, 0), (180, 1), (180, 0), (179, 1)])
    kept = joined(MultiPolygon([bow, side(-180, -178)]))
    assert len(kept.geoms) == 2 and kept.bounds == (179, 0, 182, 1)


def test_a_shape_is_cut_where_it_crosses_the_line_and_nowhere_else() -> None:
    parts = cut(side(179, 181.5, -3, 7))
    assert sorted(part.bounds for part in parts.geoms) == [(-180, -3, -178.5, 7), (179, -3, 180, 7)]
    assert cut(side(-181, -179, -3, 7)).bounds == (-180, -3, 180, 7)
    assert cut(side(179, 180)).equals(side(179, 180)) and cut(side(180, 181)).equals(side(-180, -179))
    assert cut(Polygon()).is_empty
    # a point of it on the line beside it is no ground: a triangle whose corner touches
    wedge = Polygon([(179, 0), (180, 0.5), (179, 1)]).union(side(180.5, 181))
    found = cut(wedge)
    assert {part.geom_type for part in shapely.get_parts(found)} == {"Polygon"}
    assert sorted(part.bounds[0] for part in shapely.get_parts(found)) == [-179.5, 179]
    lines = cut(LineString([(179, 3), (181, 5)]))
    assert sorted(part.bounds for part in lines.geoms) == [(-180, 4, -179, 5), (179, 3, 180, 4)]
