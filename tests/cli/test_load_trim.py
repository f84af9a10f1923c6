"""Overlaps, gaps and ``load units --trim`` from outside, on squares in meters (A16, A37)."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
import shapely
from fakes import GRID
from geographiclib.geodesic import Geodesic
from shapely.geometry import mapping

Run = Callable[..., Any]
M2_PER_ACRE = 4046.8564224


def layer(path: Path, shapes: Mapping[str, shapely.Geometry]) -> Path:
    features = [
        {"type": "Feature", "properties": {"unit_id": name, "cover": "cedar"}, "geometry": mapping(GRID.to_lonlat(one))}
        for name, one in shapes.items()
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


@pytest.fixture
def place(tmp_path: Path, run_habmap: Run) -> Path:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Trim").code == 0
    first = layer(tmp_path / "first.geojson", {"A": shapely.box(0, 0, 100, 100)})
    assert run_habmap("load", "units", first, place=folder).code == 0
    return folder


NEW = {
    "B": shapely.box(90, 0, 200, 100),  # 1,000 m² of A
    "C": shapely.box(195, 20, 300, 80),  # 300 m² of B
    "D": shapely.box(0, 101, 300, 200),  # 1 m north of A and B
}


def acres_by_unit(run: Run, place: Path) -> dict[str, float]:
    return {unit["unit_id"]: unit["acres"] for unit in run("acres", "--json", place=place).json["units"]}


def test_every_overlap_is_refused_with_its_place(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    done = run_habmap("load", "units", layer(tmp_path / "new.geojson", NEW), "--json", place=place)
    assert done.code == 3
    faults = sorted(done.json["faults"], key=lambda fault: str(fault["what"]))
    assert len(faults) == 2
    assert "B and A" in faults[0]["what"] and "B and C" in faults[1]["what"]
    assert faults[0]["value"] == "0.2471 acres, 10.00 m wide at the widest"  # 1,000 m²
    assert faults[1]["value"] == "0.0741 acres, 5.00 m wide at the widest"  # 300 m²
    assert "--trim" in faults[0]["mend"]
    lon, lat = map(float, re.findall(r"lon (\S+), lat (\S+)", faults[0]["where"])[0])
    x, y = shapely.get_coordinates(GRID.to_grid(shapely.Point(lon, lat)))[0]
    assert 94 < x < 96 and 4 < y < 96
    assert set(acres_by_unit(run_habmap, place)) == {"A"}


def test_trim_cuts_new_units_back_and_tells_each_pair(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    new = layer(tmp_path / "new.geojson", NEW)
    before = acres_by_unit(run_habmap, place)["A"]
    done = run_habmap("load", "units", new, "--trim", "--json", place=place)
    assert done.code == 0, done.out
    said = "\n".join(done.json["warnings"])
    assert "B: 0.2471 acres cut off, which lie in A" in said
    assert "C: 0.0741 acres cut off, which lie in B" in said
    acres = acres_by_unit(run_habmap, place)
    assert acres["A"] == before
    for name, m2 in (("B", 10_000), ("C", 6_000), ("D", 29_700)):
        assert acres[name] == pytest.approx(m2 / M2_PER_ACRE, rel=1e-7)
    assert "a gap of 0.0494 acres, 1.00 m wide at the widest, lies between B and D and A, at lon " in said  # 200 m²
    assert run_habmap("check", place=place).code == 0
    again = run_habmap("load", "units", new, "--trim", "--json", place=place)
    assert again.code == 0 and (again.json["loaded"], again.json["already_there"]) == (0, 3)


def test_a_unit_of_which_nothing_is_left_is_refused(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    inside = layer(tmp_path / "in.geojson", {"E": shapely.box(10, 10, 20, 20), "F": shapely.box(200, 0, 300, 100)})
    done = run_habmap("load", "units", inside, "--trim", "--json", place=place)
    assert done.code == 3 and "nothing is left" in done.json["faults"][0]["what"]
    assert set(acres_by_unit(run_habmap, place)) == {"A"}


def test_hairs_are_taken_and_what_counts_twice_is_said(tmp_path: Path, run_habmap: Run) -> None:
    folder = tmp_path / "hair"
    assert run_habmap("start", folder, "--name", "Hair").code == 0
    pair = {"A": shapely.box(0, 0, 100, 1000), "B": shapely.box(99.96, 0, 200, 1000)}
    done = run_habmap("load", "units", layer(tmp_path / "pair.geojson", pair), "--json", place=folder)
    assert done.code == 0
    assert any("0.0099 acres count twice: 1 pair" in words for words in done.json["warnings"])  # 40 m²
    account = run_habmap("acres", "--json", place=folder).json
    assert account["counted_twice_acres"] == pytest.approx(40 / M2_PER_ACRE, rel=1e-3)
    assert "0.01 acres count twice" in run_habmap("acres", place=folder).err
    trimmed = layer(tmp_path / "trim.geojson", {"C": shapely.box(199.97, 0, 300, 1000)})
    done = run_habmap("load", "units", trimmed, "--trim", "--json", place=folder)
    assert any("C: 0.0074 acres cut off, which lie in B" in words for words in done.json["warnings"])  # 30 m²


def test_a_trimmed_unit_measures_the_same_on_the_ellipsoid(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    blob = shapely.Point(120, 40).buffer(60)
    assert run_habmap("load", "units", layer(tmp_path / "b.geojson", {"B": blob}), "--trim", place=place).code == 0
    out = tmp_path / "out.geojson"
    assert run_habmap("export", "units", "-o", out, place=place).code == 0
    unit = next(one for one in json.loads(out.read_text())["features"] if one["properties"]["unit_id"] == "B")
    ring = Geodesic.WGS84.Polygon()
    (outline,) = shapely.get_parts(shapely.geometry.shape(unit["geometry"]))
    for lon, lat in list(outline.exterior.coords)[:-1]:
        ring.AddPoint(lat, lon)
    expected = blob.difference(shapely.box(0, 0, 100, 100)).area / M2_PER_ACRE
    assert abs(ring.Compute()[2]) / M2_PER_ACRE == pytest.approx(expected, rel=1e-6)
    assert unit["properties"]["acres"] == pytest.approx(expected, rel=1e-7)
