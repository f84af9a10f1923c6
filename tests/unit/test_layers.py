"""Vector files: every kind gives the same lon/lat shapes, and unfit ones are refused with their place."""

from __future__ import annotations

import json
import math
import zipfile
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError, InputErrors
from habmap.place import userfiles
from habmap.place.layers import plain, read_ground, read_layer

SQUARE = Polygon([(-97.012345678901234, 36.0), (-97.0, 36.0), (-97.0, 36.01), (-97.01, 36.01)])
BOW_TIE = Polygon([(-97.0, 36.0), (-96.99, 36.01), (-96.99, 36.0), (-97.0, 36.01)])


def geojson(folder: Path, shapes: list[Any], name: str = "l.geojson", **columns: list[Any]) -> Path:
    """Write features by hand; a shape may be a geometry, a GeoJSON object or ``None``."""
    features = [
        {
            "type": "Feature",
            "properties": {column: cells[index] for column, cells in columns.items()},
            "geometry": shape.__geo_interface__ if isinstance(shape, BaseGeometry) else shape,
        }
        for index, shape in enumerate(shapes)
    ]
    path = folder / name
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


def written(
    folder: Path, name: str, shapes: list[BaseGeometry], *, crs: str | None = "EPSG:4326", **options: Any
) -> Path:
    frame = geopandas.GeoDataFrame({"unit_id": [str(n) for n in range(len(shapes))]}, geometry=shapes, crs=crs)
    frame.to_file(folder / name, engine="pyogrio", **options)
    return folder / name


def zipped(folder: Path, shapefile: Path, inside: str = "") -> Path:
    path = folder / "layer.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for part in shapefile.parent.glob(f"{shapefile.stem}.*"):
            if part != path:
                archive.write(part, f"{inside}{part.name}")
    return path


@pytest.mark.parametrize("kind", ["gpkg", "geojson", "shp", "zip", "zip in a folder", "kml"])
def test_every_kind_gives_the_same_ground(tmp_path: Path, kind: str) -> None:
    name = "l.shp" if "zip" in kind else f"l.{kind}"
    options: dict[str, Any] = {"driver": "KML"} if kind == "kml" else {}
    # GDAL's own GeoJSON writer would round to seven decimals.
    path = geojson(tmp_path, [SQUARE]) if kind == "geojson" else written(tmp_path, name, [SQUARE], **options)
    if "zip" in kind:
        path = zipped(tmp_path, path, inside="a b/" if "folder" in kind else "")
    ground = read_ground(path)
    assert isinstance(ground, MultiPolygon)
    # KML is written with 15 significant digits, the others bit by bit.
    tolerance = 1e-13 if kind == "kml" else 0
    assert shapely.normalize(ground).equals_exact(shapely.normalize(MultiPolygon([SQUARE])), tolerance)


def test_heights_and_measures_are_dropped(tmp_path: Path) -> None:
    ground = read_ground(written(tmp_path, "z.gpkg", [shapely.force_3d(SQUARE, 200.0)]))
    assert not ground.has_z
    assert shapely.get_coordinates(ground).min(axis=0)[0] == SQUARE.bounds[0]


def test_another_system_is_turned(tmp_path: Path) -> None:
    # UTM zone 14 N: its central meridian is 99° W, where easting is 500,000 m by definition (EPSG method 9807).
    square = box(500_000, 3_984_000, 500_100, 3_984_100)
    ground = read_ground(written(tmp_path, "utm.gpkg", [square], crs="EPSG:32614"))
    assert ground.bounds[0] == pytest.approx(-99.0, abs=1e-6)
    west_south = shapely.get_coordinates(ground)[:, 1].min()
    assert 35.9 < west_south < 36.1


def test_nad83_is_taken_and_nad27_refused(tmp_path: Path) -> None:
    assert not read_ground(written(tmp_path, "n83.gpkg", [SQUARE], crs="EPSG:4269")).is_empty
    with pytest.raises(InputError, match="datum") as caught:
        read_ground(written(tmp_path, "n27.gpkg", [SQUARE], crs="EPSG:4267"))
    assert "NAD27" in (caught.value.value or "")


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
@pytest.mark.parametrize("name", ["n.shp", "n.gpkg"])
def test_a_layer_without_a_system_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="coordinate system"):
        read_ground(written(tmp_path, name, [SQUARE], crs=None))


@pytest.mark.filterwarnings("ignore:.*")
def test_metres_called_degrees_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputErrors) as caught:
        read_ground(written(tmp_path, "m.gpkg", [box(500_000, 3_984_000, 500_100, 3_984_100)]))
    assert "meters or feet" in caught.value.faults[0].what


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (None, "no shape"),
        ({"type": "Polygon", "coordinates": []}, "empty shape"),
        (LineString([(-97, 36), (-96, 36)]), "not a polygon"),
        (Point(-97, 36), "not a polygon"),
        ({"type": "GeometryCollection", "geometries": [SQUARE.__geo_interface__, Point(-97, 36).__geo_interface__]},
         "not a polygon"),
        (box(-97, 89, -96, 91), "off the globe"),
        (box(36, -97, 37, -96), "off the globe"),
        ({"type": "Polygon", "coordinates": [[[-97, 36], [-96, 36], [-97, 36]]]}, "outline"),
    ],
)  # fmt: skip
def test_an_unfit_shape_is_a_fault_with_its_row(tmp_path: Path, shape: Any, words: str) -> None:
    path = geojson(tmp_path, [SQUARE, shape], unit_id=["good", "bad"])
    layer = read_layer(path)
    assert [row.geometry is None for row in layer.rows] == [False, True]
    (fault,) = layer.faults
    assert words in fault.what
    assert "feature 2 (unit_id bad)" in (fault.where or "")
    with pytest.raises(InputErrors):
        read_ground(path)


@pytest.mark.filterwarnings("ignore:invalid value encountered:RuntimeWarning")  # shapely, building the bad ring
@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_a_coordinate_that_is_no_number_is_refused(tmp_path: Path, number: float) -> None:
    shape = Polygon([(-97, 36), (-96, 36), (number, 37)])
    layer = read_layer(written(tmp_path, "nan.gpkg", [SQUARE, shape]))
    assert "not a number" in layer.faults[0].what


def test_an_unclosed_ring_is_closed(tmp_path: Path) -> None:
    ring = [list(point) for point in SQUARE.exterior.coords[:-1]]
    ground = read_ground(geojson(tmp_path, [{"type": "Polygon", "coordinates": [ring]}]))
    assert ground.equals(SQUARE)


def test_a_collection_of_polygons_is_ground(tmp_path: Path) -> None:
    shape = shapely.GeometryCollection([SQUARE, box(-96, 36, -95, 37)])
    assert len(read_ground(geojson(tmp_path, [shape])).geoms) == 2


def test_a_crossing_is_named_with_its_place(tmp_path: Path) -> None:
    layer = read_layer(geojson(tmp_path, [SQUARE, BOW_TIE], unit_id=["a", "tie"]))
    (fault,) = layer.faults
    assert "crosses itself" in fault.what
    # The diagonals of the square meet in its middle.
    assert "unit_id tie" in (fault.where or "") and "lon -96.995000, lat 36.005000" in (fault.where or "")


def test_repair_keeps_both_lobes_and_says_what_changed(tmp_path: Path) -> None:
    layer = read_layer(geojson(tmp_path, [BOW_TIE]), repair=True)
    (row,) = layer.rows
    assert row.geometry is not None and row.geometry.is_valid
    # Two triangles of a quarter of the 0.01° × 0.01° square each.
    assert row.geometry.area == pytest.approx(0.01**2 / 2, rel=1e-12)
    (words,) = layer.repaired
    # A bow-tie's shoelace sum is nought; 0.01° × 0.01° at 36° N is about 247 acres (from memory: 111 km × 90 km).
    assert "0.0" in words and "acres now in 2 parts" in words
    assert 120 < float(words.split("drawn, ")[1].split(" ")[0]) < 127


def test_several_polygons_are_united(tmp_path: Path) -> None:
    path = geojson(tmp_path, [box(-97, 36, -96.9, 36.1), box(-96.9, 36, -96.8, 36.1)])
    boundary = read_ground(path)
    assert len(boundary.geoms) == 1
    assert boundary.bounds == (-97, 36, -96.8, 36.1)


def test_the_one_layer_with_ground_is_taken_and_two_are_asked_about(tmp_path: Path) -> None:
    path = written(tmp_path, "m.gpkg", [Point(-97, 36)], layer="plots")
    written(tmp_path, "m.gpkg", [SQUARE], layer="stands", mode="a")
    assert read_ground(path).equals(SQUARE)
    with pytest.raises(InputError, match="several layers") as caught:
        read_layer(path, want="any")
    assert "stands" in (caught.value.value or "") and "--layer" in (caught.value.mend or "")
    assert read_layer(path, layer="plots", want="any").rows[0].geometry == Point(-97, 36)
    with pytest.raises(InputError, match="no such layer"):
        read_layer(path, layer="stand")


def test_lines_only_hold_no_ground(tmp_path: Path) -> None:
    path = written(tmp_path, "m.gpkg", [Point(-97, 36)], layer="a")
    written(tmp_path, "m.gpkg", [LineString([(-97, 36), (-96, 36)])], layer="b", mode="a")
    with pytest.raises(InputError, match="no layer with ground"):
        read_ground(path)


def test_an_empty_layer_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="empty"):
        read_ground(geojson(tmp_path, []))


def test_walk_files_give_their_lines_and_points(tmp_path: Path) -> None:
    path = tmp_path / "w.gpx"
    path.write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>lane</name><trkseg>'
        '<trkpt lat="36" lon="-97"/><trkpt lat="36.1" lon="-97"/></trkseg></trk></gpx>',
        encoding="utf-8",
    )
    (row,) = read_layer(path, want="any").rows
    assert row.geometry is not None and shapely.get_num_coordinates(row.geometry) == 2
    path.write_text(path.read_text()[:-40])
    with pytest.raises(InputError, match="cut short"):
        read_layer(path, want="any")


def test_a_document_type_is_refused_before_parsing(tmp_path: Path) -> None:
    path = tmp_path / "b.kml"
    path.write_text('<?xml version="1.0"?><!DOCTYPE k [<!ENTITY a "aaaa">]><kml>&a;</kml>')
    with pytest.raises(InputError, match="document type"):
        read_ground(path)


@pytest.mark.parametrize("name", ["r.gpkg", "r.geojson", "r.shp", "r.kml", "r.zip", "r.kmz", "r.tif", "r"])
def test_binary_rubbish_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(np.random.default_rng(1).bytes(5_000))
    with pytest.raises(InputError) as caught:
        read_ground(path)
    assert str(path) in (caught.value.where or "")


@pytest.mark.parametrize("name", ["c.gpkg", "c.geojson", "c.zip"])
def test_a_file_cut_short_is_refused(tmp_path: Path, name: str) -> None:
    many = [box(-97 + n / 100, 36, -96.995 + n / 100, 36.005) for n in range(50)]
    path = written(tmp_path, name.replace("zip", "shp"), many)
    path = zipped(tmp_path, path) if name == "c.zip" else path
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
    with pytest.raises(InputError):
        read_ground(path)


@pytest.mark.parametrize("member", ["../up.shp", "/root.shp", "a/../../up.shp", "C:/x.shp"])
def test_a_zip_that_reaches_outside_is_refused(tmp_path: Path, member: str) -> None:
    path = tmp_path / "z.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(member, b"x")
    with pytest.raises(InputError, match="outside"):
        read_ground(path)


def test_a_zip_that_unfolds_too_far_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(userfiles, "MAX_UNZIPPED_BYTES", 2_000_000)
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("big.shp", bytes(5_000_000))
    assert path.stat().st_size < 10_000
    with pytest.raises(InputError, match="unfolds"):
        read_ground(path)


def test_a_shapefile_without_its_parts_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "s.shp", [SQUARE])
    (tmp_path / "s.shx").unlink()
    with pytest.raises(InputError, match="part of the shapefile"):
        read_ground(path)


def test_cells_become_what_json_can_hold() -> None:
    assert plain(np.float64("nan")) is None
    assert plain(np.int32(3)) == 3 and type(plain(np.int32(3))) is int
    assert plain(np.datetime64("2026-01-02")) == "2026-01-02"
    assert plain(np.datetime64("NaT")) is None
    assert plain(np.array([1.5, math.inf])) == [1.5, None]


def test_reading_leaves_no_library_words(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "q.gpkg"
    path.write_bytes(b"SQLite format 3\x00" + bytes(3000))
    with pytest.raises(InputError):
        read_ground(path)
    captured = capfd.readouterr()
    assert captured.out == "" and captured.err == ""
