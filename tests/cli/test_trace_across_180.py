"""A walk, a plot and features beside the 180° meridian."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from shapely.geometry import shape

from habmap.land.meridian import joined

Run = Callable[..., Any]
M2_PER_ACRE = 4046.8564224
CORNERS = [(179.9990, -16.5), (-179.9990, -16.5), (-179.9990, -16.4985), (179.9990, -16.4985), (179.9990, -16.5)]


def walked(path: Path) -> Path:
    """A fix every 5 m or so along the corners' lines, at walking pace."""
    fixes = []
    for (lon, lat), (to_lon, to_lat) in itertools.pairwise(CORNERS):
        step = (to_lon - lon + 180) % 360 - 180
        for part in range(40):
            at = (lon + step * part / 40 + 180) % 360 - 180
            fixes.append((at, lat + (to_lat - lat) * part / 40))
    start = datetime(2026, 2, 1, 1, tzinfo=UTC)
    clock = "%Y-%m-%dT%H:%M:%SZ"
    points = "".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{start + timedelta(seconds=5 * i):{clock}}</time></trkpt>'
        for i, (lon, lat) in enumerate(fixes)
    )
    path.write_text(
        f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    )
    return path


def test_a_walk_across_the_meridian_is_ground_with_its_acres(tmp_path: Path, run_habmap: Run) -> None:
    place = tmp_path / "place"
    assert run_habmap("start", place, "--name", "Reef", "--timezone", "Pacific/Fiji").code == 0
    gpx = walked(tmp_path / "walk.gpx")
    done = run_habmap("trace", gpx, "--unit-id", "W", "--cover", "cedar", "--json", place=place)
    assert done.code == 0, done.out
    ring = Geodesic.WGS84.Polygon()
    for lon, lat in CORNERS[:-1]:
        ring.AddPoint(lat, lon)
    expected = abs(ring.Compute()[2]) / M2_PER_ACRE
    assert done.json["acres"] == pytest.approx(expected, rel=0.01)
    told = shape(done.json["geometry"])
    assert told.bounds[0] >= -180 and told.bounds[2] <= 180  # cut, as GeoJSON wants it
    west, _south, east, _north = joined(shape(done.json["geometry"])).bounds
    assert east - west < 0.01
    assert run_habmap("acres", "--json", place=place).json["totals"]["acres"] == pytest.approx(expected, rel=0.01)
    assert run_habmap("log", "cut", "--date", "2026-02-01", "--track", gpx, place=place).code == 0
    plots = tmp_path / "plots.csv"
    plots.write_text(
        "plot_id,lon,lat,method,plot_acres,stems\np1,179.9995,-16.4995,fixed,0.1,10\np2,-179.9995,-16.4995,fixed,0.1,20\n"
    )
    loaded = run_habmap("load", "plots", plots, place=place)
    assert loaded.code == 0, loaded.err
    house = {"type": "Point", "coordinates": [-179.99, -16.4995]}
    layer = tmp_path / "house.geojson"
    layer.write_text(
        json.dumps({"type": "Feature", "properties": {"kind": "house", "name": "Reef"}, "geometry": house})
    )
    assert run_habmap("load", "features", layer, place=place).code == 0
    weather = ("--time", "2026-03-01T13:00", "--temp-f", 80, "--rh-pct", 60, "--wind-mph", 8, "--wind-from", "W")
    near = run_habmap("burnsheet", "W", *weather, "--json", place=place).json["smoke"]
    by_geodesic_m = Geodesic.WGS84.Inverse(-16.4995, -179.999, -16.4995, -179.99)["s12"]
    assert near[0]["name"] == "Reef" and near[0]["distance_m"] == pytest.approx(by_geodesic_m, rel=0.02)
