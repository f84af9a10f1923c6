"""Features corrected by loading them again and withdrawn with a reason, from outside (A15)."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from fakes import GRID
from shapely import Point
from shapely.geometry import mapping
from small_places import make_place, square

Run = Callable[..., Any]


def layer(path: Path, *rows: tuple[dict[str, Any], shapely.Geometry]) -> Path:
    features = [
        {"type": "Feature", "properties": properties, "geometry": mapping(GRID.to_lonlat(shape))}
        for properties, shape in rows
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


HOUSE, WELL = Point(-300, 0), Point(400, 300)


@pytest.fixture
def place(tmp_path: Path, run_habmap: Run) -> Path:
    folder = make_place(run_habmap, tmp_path / "place", [("1", square(0), {})])
    first = layer(
        tmp_path / "first.geojson",
        ({"kind": "house", "name": "Olsen", "feature_id": "h1"}, HOUSE),
        ({"kind": "well", "name": "North well"}, WELL),
    )
    assert run_habmap("load", "features", first, place=folder).code == 0
    return folder


def listed(run: Run, place: Path) -> list[tuple[str, str, bool]]:
    features = run("feature", "list", "--json", place=place).json["features"]
    return [(one["kind"], one["name"], one["is_corrected"]) for one in features]


def test_a_renamed_house_is_one_house_also_on_the_burn_page(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    renamed = layer(tmp_path / "renamed.geojson", ({"kind": "house", "name": "Berg", "feature_id": "h1"}, HOUSE))
    refused = run_habmap("load", "features", renamed, place=place)
    assert refused.code == 3 and "there already, with other content" in refused.err and "name Berg" in refused.err
    done = run_habmap("load", "features", renamed, "--overwrite", place=place)
    assert done.code == 0 and "1 of them corrects one that was there" in done.out
    assert listed(run_habmap, place) == [("house", "Berg", True), ("well", "North well", False)]
    again = run_habmap("load", "features", renamed, "--overwrite", "--json", place=place)
    assert (again.json["loaded"], again.json["already_there"]) == (0, 1)
    weather = ("--time", "2026-03-01T13:00", "--temp-f", 60, "--rh-pct", 40, "--wind-mph", 8, "--wind-from", "E")
    sheet = run_habmap("burnsheet", "1", *weather, "--json", place=place)
    assert [one["name"] for one in sheet.json["smoke"] if one["kind"] == "house"] == ["Berg"]


def test_without_an_id_the_same_shape_or_the_same_name_tells_it(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    other_name = layer(tmp_path / "a.geojson", ({"kind": "well", "name": "Old well"}, WELL))
    assert run_habmap("load", "features", other_name, place=place).code == 3
    assert run_habmap("load", "features", other_name, "--overwrite", place=place).code == 0
    moved = layer(tmp_path / "b.geojson", ({"kind": "well", "name": "Old well"}, Point(410, 300)))
    assert run_habmap("load", "features", moved, "--overwrite", place=place).code == 0
    assert [row for row in listed(run_habmap, place) if row[0] == "well"] == [("well", "Old well", True)]
    # two roads of one name are two roads
    roads = layer(
        tmp_path / "c.geojson",
        ({"kind": "road", "name": "County"}, shapely.LineString([(0, 900), (100, 900)])),
        ({"kind": "road", "name": "County"}, shapely.LineString([(200, 900), (300, 900)])),
    )
    assert run_habmap("load", "features", roads, place=place).code == 0
    third = layer(
        tmp_path / "d.geojson", ({"kind": "road", "name": "County"}, shapely.LineString([(500, 900), (600, 900)]))
    )
    unclear = run_habmap("load", "features", third, "--overwrite", place=place)
    assert unclear.code == 3 and "cannot be told" in unclear.err
    plain = run_habmap("load", "features", third, place=place)
    assert plain.code == 0
    assert len([row for row in listed(run_habmap, place) if row[0] == "road"]) == 3


def test_a_withdrawn_feature_is_gone_and_its_row_stays(place: Path, run_habmap: Run) -> None:
    look = run_habmap("feature", "void", "h1", "--why", "torn down", "--preview", place=place)
    assert look.code == 0 and "Nothing is written yet" in look.out
    assert len(listed(run_habmap, place)) == 2
    assert run_habmap("feature", "void", "h1", "--why", " ", place=place).code == 2
    assert run_habmap("feature", "void", "h1", "--why", "torn down", place=place).code == 0
    assert listed(run_habmap, place) == [("well", "North well", False)]
    twice = run_habmap("feature", "void", "h1", "--why", "again", place=place)
    assert twice.code == 3 and "no such feature" in twice.err
    row = run_habmap("feature", "list", "--json", place=place).json["features"][0]["uuid"]
    assert run_habmap("feature", "void", row[:8], "--why", "dry", place=place).code == 0
    assert listed(run_habmap, place) == []
    assert run_habmap("check", place=place).code == 0


def test_a_withdrawn_feature_that_is_loaded_again_counts_again(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    assert run_habmap("feature", "void", "North well", "--why", "slip", place=place).code == 0
    again = layer(tmp_path / "w.geojson", ({"kind": "well", "name": "North well"}, WELL))
    assert run_habmap("load", "features", again, place=place).code == 0
    assert ("well", "North well", False) in listed(run_habmap, place)
