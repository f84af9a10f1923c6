"""A property on both sides of the 180° meridian, from outside: acres, check, map, export and loading again."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from shapely import Polygon
from shapely.geometry import mapping, shape

from habmap.land.meridian import cut

Run = Callable[..., Any]
M2_PER_ACRE = 4046.8564224
WEST = [(179.990, -16.500), (179.996, -16.500), (179.996, -16.495), (179.990, -16.495)]
ACROSS = [(179.996, -16.500), (180.002, -16.500), (180.002, -16.495), (179.996, -16.495)]
EAST = [(-179.998, -16.500), (-179.992, -16.500), (-179.992, -16.495), (-179.998, -16.495)]


def published_acres(ring: list[tuple[float, float]]) -> float:
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in ring:
        polygon.AddPoint(lat, lon)
    return abs(float(polygon.Compute()[2])) / M2_PER_ACRE


@pytest.fixture
def place(tmp_path: Path, run_habmap: Run) -> Path:
    folder = tmp_path / "reef"
    assert run_habmap("start", folder, "--name", "Reef", "--timezone", "Pacific/Fiji").code == 0
    features = [
        {"type": "Feature", "properties": {"unit_id": name, "cover": "cedar"}, "geometry": mapping(geometry)}
        for name, geometry in (("W", Polygon(WEST)), ("X", cut(Polygon(ACROSS))), ("E", Polygon(EAST)))
    ]
    layer = tmp_path / "units.geojson"
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    done = run_habmap("load", "units", layer, place=folder)
    assert done.code == 0, done.err
    assert "km from the rest" not in done.err
    return folder


def test_every_figure_is_right(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    patch = tmp_path / "patch.geojson"
    worked = [(179.999, -16.499), (180.001, -16.499), (180.001, -16.497), (179.999, -16.497)]
    patch.write_text(json.dumps(mapping(cut(Polygon(worked)))))
    done = run_habmap("log", "cut", "--date", "2026-03-01", "--patch", patch, place=place)
    assert done.code == 0, done.err
    account = run_habmap("acres", "--json", place=place).json
    acres = {unit["unit_id"]: unit["acres"] for unit in account["units"]}
    for name, ring in (("W", WEST), ("X", ACROSS), ("E", EAST)):
        # cut in degrees, the long edge of X bends by less than a hair: 2e-6 of its acres
        assert acres[name] == pytest.approx(published_acres(ring), rel=3e-6)
    assert account["totals"]["treated_acres"] == pytest.approx(published_acres(worked), rel=1e-5)
    assert account["outside_acres"] == 0
    assert run_habmap("check", place=place).code == 0
    page = tmp_path / "map.html"
    assert run_habmap("map", "-o", page, place=place).code == 0
    text = page.read_text()
    lons = [float(found) for found in re.findall(r"\[(-?1[78]\d\.\d+),-16\.", text)]
    assert lons and max(lons) - min(lons) < 0.1  # all on one side of the page


def test_a_bite_across_is_drawn_whole_and_leaves_cut(tmp_path: Path, run_habmap: Run) -> None:
    folder, layer = tmp_path / "islet", tmp_path / "units.geojson"
    assert run_habmap("start", folder, "--name", "Islet", "--timezone", "Pacific/Fiji").code == 0
    ring = [(179.9998, -16.5), (180.0003, -16.5), (180.0003, -16.4995), (179.9998, -16.4995)]
    assert 0.5 < published_acres(ring) < 1  # less than the page's bite: all of it is
    feature = {"type": "Feature", "properties": {"unit_id": "I", "cover": "cedar"}, "geometry": mapping(Polygon(ring))}
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    assert run_habmap("load", "units", layer, place=folder).code == 0
    answer = shape(run_habmap("bite", "--acres", "1", "--json", place=folder).json["geometry"])
    assert answer.geom_type == "MultiPolygon" and answer.bounds[0] == -180 and answer.bounds[2] == 180
    page = tmp_path / "map.html"
    assert run_habmap("map", "-o", page, place=folder).code == 0
    found = re.search(r'"bite":\s*(?=\{"shape":|\{"at":)', text := page.read_text())
    assert found is not None
    drawn = json.JSONDecoder().raw_decode(text, found.end())[0]
    outline = shape(drawn["shape"])
    assert len(shapely.get_parts(outline)) == 1  # no edge along the meridian
    assert outline.bounds[2] - outline.bounds[0] == pytest.approx(0.0005, abs=3e-6)
    assert outline.covers(shapely.Point(drawn["at"]))


def test_what_leaves_is_cut_and_comes_back_whole(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    out = tmp_path / "out.geojson"
    assert run_habmap("export", "units", "-o", out, place=place).code == 0
    features = json.loads(out.read_text())["features"]
    for feature in features:
        west, _south, east, _north = shape(feature["geometry"]).bounds
        assert west >= -180 and east <= 180
    across = next(one for one in features if one["properties"]["unit_id"] == "X")
    assert across["geometry"]["type"] == "MultiPolygon" and len(across["geometry"]["coordinates"]) == 2
    again = tmp_path / "again"
    assert run_habmap("start", again, "--name", "Again").code == 0
    assert run_habmap("load", "units", out, place=again).code == 0
    acres = {unit["unit_id"]: unit["acres"] for unit in run_habmap("acres", "--json", place=again).json["units"]}
    assert acres["X"] == pytest.approx(published_acres(ACROSS), rel=3e-6)
    first = run_habmap("acres", "--json", place=place).json["units"]
    assert sum(acres.values()) == pytest.approx(sum(unit["acres"] for unit in first), rel=1e-7)


def test_the_same_outline_again_is_no_news_whichever_way_it_is_counted(
    place: Path, tmp_path: Path, run_habmap: Run
) -> None:
    layer = tmp_path / "e.geojson"
    ring = [(lon + 360, lat) for lon, lat in EAST]
    feature = {"type": "Feature", "properties": {"unit_id": "E", "cover": "cedar"}, "geometry": mapping(Polygon(ring))}
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    done = run_habmap("load", "units", layer, "--json", place=place)
    assert done.code == 0 and done.json["already_there"] == 1
    assert shapely.Polygon(ring).bounds[0] > 180
