"""Layers whose own counts are wrong are refused before they are read; so are views without an end (E6, E8, E11)."""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path

import geopandas
import pytest
from shapely.geometry import box

from habmap.errors import InputError
from habmap.place import layerheads
from habmap.place.layers import open_big_layer, read_layer


def six(path: Path) -> Path:
    squares = [box(-97 + 0.01 * i, 36, -96.99 + 0.01 * i, 36.01) for i in range(6)]
    geopandas.GeoDataFrame({"unit_id": list("ABCDEF")}, geometry=squares, crs="EPSG:4326").to_file(path)
    return path


def too_few_rows(path: Path) -> None:
    data = bytearray(path.with_suffix(".dbf").read_bytes())
    data[4:8] = struct.pack("<I", 3)
    path.with_suffix(".dbf").write_bytes(data)


def cut_rows(path: Path) -> None:
    table = path.with_suffix(".dbf")
    data = bytearray(table.read_bytes())
    head, row = struct.unpack("<HH", data[8:12])
    data[4:8] = struct.pack("<I", 3)
    table.write_bytes(data[: head + 3 * row] + b"\x1a")


def cut_index(path: Path) -> None:
    index = path.with_suffix(".shx")
    data = bytearray(index.read_bytes()[: 100 + 3 * 8])
    data[24:28] = struct.pack(">i", len(data) // 2)
    index.write_bytes(data)


def cut_shapes(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-40])


@pytest.mark.parametrize("damage", [too_few_rows, cut_rows, cut_index, cut_shapes])
def test_a_shapefile_whose_parts_disagree_is_refused(damage: Callable[[Path], None], tmp_path: Path) -> None:
    path = six(tmp_path / "six.shp")
    assert len(read_layer(path).rows) == 6
    damage(path)
    with pytest.raises(InputError, match=r"disagree|cut short"):
        read_layer(path)
    with pytest.raises(InputError, match=r"disagree|cut short"), open_big_layer(path):
        pass


def test_a_deleted_row_is_left_out_and_no_fault(tmp_path: Path) -> None:
    path = six(tmp_path / "six.shp")
    data = bytearray(path.with_suffix(".dbf").read_bytes())
    (head,) = struct.unpack("<H", data[8:10])
    data[head : head + 1] = b"*"
    path.with_suffix(".dbf").write_bytes(data)
    assert len(read_layer(path).rows) == 5
    with pytest.raises(InputError, match="marked as deleted"), open_big_layer(path):
        pass


def test_a_layer_that_grows_shorter_while_it_is_read_in_portions_is_refused(tmp_path: Path) -> None:
    path = six(tmp_path / "six.geojson")
    with open_big_layer(path) as layer:
        assert len(layer.rows(2, 3, columns=("unit_id",))[0]) == 3
        path.write_text(json.dumps({**(whole := json.loads(path.read_text())), "features": whole["features"][:4]}))
        with pytest.raises(InputError, match="disagree"):
            layer.rows(2, 3, columns=("unit_id",))


@pytest.mark.parametrize("count", [0, 3, 250_000_000])
def test_a_geopackage_whose_count_is_wrong_is_refused(count: int, tmp_path: Path) -> None:
    path = six(tmp_path / "six.gpkg")
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE gpkg_ogr_contents SET feature_count = ?", (count,))
    connection.close()
    with pytest.raises(InputError, match="disagree"), open_big_layer(path):
        pass
    with pytest.raises(InputError, match="disagree") as caught:
        read_layer(path)
    assert f"{count:,}" in str(caught.value.value) and "6 rows" in str(caught.value.value)


def with_view(path: Path, select: str) -> Path:
    with sqlite3.connect(path) as connection:
        connection.execute(f"CREATE VIEW six2 AS {select}")
        connection.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('six2','features','v',4326)"
        )
        connection.execute("INSERT INTO gpkg_geometry_columns VALUES ('six2', 'geom', 'POLYGON', 4326, 0, 0)")
    connection.close()
    return path


def test_a_view_without_an_end_is_refused_soon(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layerheads, "_MOST_STEPS", 3_000)
    endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS fid, geom FROM n, six"
    path = with_view(six(tmp_path / "six.gpkg"), endless)
    with pytest.raises(InputError, match="too long to count"):
        read_layer(path, layer="six2")


def test_a_view_that_swells_is_refused(tmp_path: Path) -> None:
    path = with_view(six(tmp_path / "six.gpkg"), "SELECT fid, geom, zeroblob(400000000) AS note FROM six")
    with pytest.raises(InputError, match="too large"):
        read_layer(path, layer="six2")


def test_a_plain_view_is_read(tmp_path: Path) -> None:
    path = with_view(six(tmp_path / "six.gpkg"), "SELECT fid AS fid, geom, unit_id FROM six WHERE unit_id < 'D'")
    assert len(read_layer(path, layer="six2").rows) == 3


def test_a_table_that_shows_another_file_is_refused(tmp_path: Path) -> None:
    path = six(tmp_path / "six.gpkg")
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(
            "INSERT INTO sqlite_master VALUES ('table','other','other',0,'CREATE VIRTUAL TABLE other USING "
            "VirtualOGR(''/etc/hosts'')')"
        )
    connection.close()
    with pytest.raises(InputError, match="shows another file"):
        read_layer(path)


def collection(path: Path, crs: object) -> Path:
    ring = [[500000, 4000000], [500100, 4000000], [500100, 4000100], [500000, 4000000]]
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": [feature]}))
    return path


def named(name: object) -> dict[str, object]:
    return {"type": "name", "properties": {"name": name}}


@pytest.mark.parametrize(
    "crs",
    [
        named("EPSG:99999"), named("my own datum"), named(""), named(7), None, "EPSG:4326", {"type": "name"}, {},
        named("+proj=longlat +nadgrids=/etc/hosts"), {"type": "EPSG", "properties": {"code": 99999}},
    ],
)  # fmt: skip
def test_a_crs_that_cannot_be_resolved_is_refused(crs: object, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="coordinate system"):
        read_layer(collection(tmp_path / "a.geojson", crs))


@pytest.mark.parametrize("crs", [named("urn:ogc:def:crs:EPSG::32614"), {"type": "EPSG", "properties": {"code": 32614}}])
def test_a_crs_that_is_known_is_used(crs: object, tmp_path: Path) -> None:
    (row,) = read_layer(collection(tmp_path / "a.geojson", crs)).rows
    assert row.geometry is not None
    assert row.geometry.bounds[:2] == pytest.approx((-99.0, 36.144719), abs=1e-6)  # pyproj's own cs2cs
