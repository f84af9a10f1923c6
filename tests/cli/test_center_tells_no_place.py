"""The center of the grid, which the public page carries for drawing, tells nobody where a nest is (E3)."""

from __future__ import annotations

import itertools
import json
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from shapely import Point, box
from shapely.geometry import mapping

Run = Callable[..., Any]
NEST = (36.4311, -96.8822)  # lat, lon


def written(path: Path, properties: dict[str, object], geometry: dict[str, object]) -> Path:
    feature = {"type": "Feature", "properties": properties, "geometry": geometry}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    return path


def nearest_pair_m(html: str) -> float:
    """Distance of the nearest two numbers side by side in a page, taken as lat, lon or lon, lat, to the nest."""
    numbers = [float(found) for found in re.findall(r"-?\d{2,3}\.\d+", html)]
    pairs = [(a, b) for a, b in itertools.pairwise(numbers) for a, b in ((a, b), (b, a)) if abs(a) <= 90]
    close = [pair for pair in pairs if abs(pair[0] - NEST[0]) < 1 and abs(pair[1] - NEST[1]) < 1]
    assert close  # the page does carry places
    return min(float(Geodesic.WGS84.Inverse(*NEST, *pair)["s12"]) for pair in close)


@pytest.mark.parametrize("is_old", [False, True], ids=["a new place", "a place whose center was exact"])
def test_the_public_page_holds_no_pair_near_a_nest_that_was_loaded_first(
    is_old: bool, tmp_path: Path, run_habmap: Run
) -> None:
    place = tmp_path / "place"
    assert run_habmap("start", place, "--name", "Quiet").code == 0
    if is_old:
        with sqlite3.connect(place / "place.gpkg") as connection:
            connection.execute("UPDATE habmap_meta SET grid_lat = ?, grid_lon = ?", NEST)
        connection.close()
    nest = written(tmp_path / "nest.geojson", {"kind": "nest", "name": "eagle"}, mapping(Point(NEST[1], NEST[0])))
    assert run_habmap("load", "features", nest, place=place).code == 0
    ground = box(NEST[1] - 0.002, NEST[0] - 0.003, NEST[1] + 0.006, NEST[0] + 0.004)
    units = written(tmp_path / "units.geojson", {"unit_id": "A", "cover": "cedar"}, mapping(ground))
    assert run_habmap("load", "units", units, place=place).code == 0
    page = tmp_path / "public.html"
    assert run_habmap("map", "--for", "public", "-o", page, place=place).code == 0
    assert nearest_pair_m(page.read_text()) > 50
