"""``habmap load dem`` and ``habmap terrain`` from outside."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine

KEYS = {
    "unit_id", "slope_mean_deg", "slope_mean_pct", "slope_p90_pct", "aspect_mean_deg", "aspect_concentration",
    "facing", "sun_facing_pct", "flat_pct", "heat_load_mean", "hand_only_pct", "coverage_pct",
}  # fmt: skip
WEST, NORTH, CELL = -98.0, 38.0, 1e-4


def write_dem(path: Path, *, unit: str | None = "m", crs: str | None = "EPSG:4326") -> Path:
    """Write 200 × 200 cells of 1e-4° that fall toward south by 4 m a cell: 36%."""
    heights = np.broadcast_to(900 - 4.0 * np.arange(200)[:, None], (200, 200)).astype(np.float32)
    with rasterio.open(
        path, "w", driver="GTiff", height=200, width=200, count=1, dtype="float32", crs=crs,
        transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH),
    ) as target:  # fmt: skip
        target.write(heights, 1)
        if unit:
            target.units = (unit,)
    return path


def write_units(path: Path, *lons: float) -> Path:
    features = [
        {
            "type": "Feature",
            "properties": {"unit_id": f"A{i}", "name": f"Unit {i}", "cover": "cedar"},
            "geometry": {
                "type": "Polygon",
                "coordinates": [
                    [[lon, 37.99], [lon + 0.002, 37.99], [lon + 0.002, 37.992], [lon, 37.992], [lon, 37.99]]
                ],
            },
        }
        for i, lon in enumerate(lons, start=1)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


@pytest.fixture
def place(tmp_path, run_habmap) -> Path:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Test place").code == 0
    return folder


def test_terrain_of_a_south_face(place, tmp_path, run_habmap):
    units = write_units(tmp_path / "units.geojson", -97.995, -97.5)
    assert run_habmap("load", "units", units, place=place).code == 0
    added = run_habmap("load", "dem", write_dem(tmp_path / "dem.tif"), place=place)
    assert added.code == 0
    assert "A2" in added.err
    told = run_habmap("terrain", "--json", place=place)
    assert told.code == 0
    assert "A2" in told.err
    assert told.json["schema"] == "habmap/terrain/1"
    assert set(told.json["dem"]) >= {"path", "crs", "cell_m", "analysis_cell_m", "vertical_unit"}
    on, off = told.json["units"]
    assert set(on) >= KEYS
    # 4 m on 1e-4° of latitude, 11.100 m at 38° (Snyder's meridian radius, rounded): 36.04%
    assert on["slope_mean_pct"] == pytest.approx(36.04, abs=0.01)
    assert on["aspect_mean_deg"] == pytest.approx(180, abs=0.01)
    assert (on["facing"], on["sun_facing_pct"], on["hand_only_pct"]) == ("S", 100, 100)
    assert off["coverage_pct"] == 0
    assert {off[key] for key in KEYS - {"unit_id", "coverage_pct"}} == {None}


def test_coarse_cells_are_said_and_shares_rounded(place, tmp_path, run_habmap):
    run_habmap("load", "units", write_units(tmp_path / "units.geojson", -97.995), place=place)
    run_habmap("load", "dem", write_dem(tmp_path / "dem.tif"), place=place)
    toml = place / "habmap.toml"
    toml.write_text(toml.read_text().replace("analysis_cell_m = 10", "analysis_cell_m = 60"))
    told = run_habmap("terrain", place=place)
    assert "too coarse for A1" in told.err and "make analysis_cell_m in habmap.toml smaller" in told.err
    row = next(line for line in told.out.splitlines() if line.startswith("A1"))
    assert "~100" in row and "100.00" not in row and "~180" in row
    assert "rough figures, shares to the nearest 10%" in told.out
    unit = run_habmap("terrain", "--json", place=place).json["units"][0]
    assert unit["too_coarse"] is True and unit["slope_mean_pct"] == pytest.approx(36.04, abs=0.01)


def test_words_come_first_and_the_caution_with_hand_only_ground(place, tmp_path, run_habmap):
    run_habmap("load", "units", write_units(tmp_path / "units.geojson", -97.995), place=place)
    run_habmap("load", "dem", write_dem(tmp_path / "dem.tif"), place=place)
    told = run_habmap("terrain", place=place)
    assert told.code == 0
    assert told.out.startswith("1 of 1 unit faces the sun")
    assert "The machine's manual and its operator decide" in told.out
    assert "As of: units as drawn now." in told.out
    for head in ("90th pct slope", "aspect °", "uniformity", "elevation coverage %"):
        assert head in told.out
    assert "faces from east-southeast (112.5°) clockwise to west-southwest (247.5°)." in told.out
    assert "~" not in told.out and "Heat load is not known" not in told.out
    assert "As of: units as drawn on 2025-03-01." in run_habmap("terrain", "--on", "2025-03-01", place=place).out


def test_refusals(place, tmp_path, run_habmap):
    run_habmap("load", "units", write_units(tmp_path / "units.geojson", -90.0), place=place)
    unsaid = write_dem(tmp_path / "unsaid.tif", unit=None)
    for words, code, what in (
        (["terrain"], 3, "no elevation is loaded"),
        (["load", "dem", tmp_path / "none.tif"], 3, "no such file"),
        (["load", "dem", unsaid], 3, "in which unit"),
        (["load", "dem", unsaid, "--vertical-unit", "yards"], 2, "unknown vertical unit"),
        (["load", "dem", unsaid, "--vertical-unit", "m"], 3, "covers none of the units"),
        (["load", "dem", write_dem(tmp_path / "nowhere.tif", crs=None)], 3, "coordinate system"),
    ):
        told = run_habmap(*words, "--json", place=place)
        assert told.code == code, words
        assert told.json["schema"] == "habmap/error/1"
        assert what in told.json["what"], words
    assert run_habmap("terrain", place=place).code == 3
