"""A raster of canopy heights from outside, into new and older places."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from fakes import GRID
from small_places import make_place, square

Run = Callable[..., Any]


@pytest.fixture
def place(tmp_path: Path, run_habmap: Run) -> Path:
    return make_place(run_habmap, tmp_path / "place", [("C1", square(0), {"canopy_pct": 5}), ("C2", square(4), {})])


@pytest.fixture
def feet(tmp_path: Path) -> Path:
    """Nine cells of 100/3 m under C1, in feet that the file does not name: a third at 6 ft, the rest a hair below."""
    path = tmp_path / "canopy.tif"
    heights = np.full((3, 3), 5.99, dtype=np.float32)
    heights[1] = 6.0
    with rasterio.open(
        path, "w", driver="GTiff", height=3, width=3, count=1, dtype="float32", crs=GRID.crs.to_wkt(),
        transform=Affine(100 / 3, 0, 0, 0, -100 / 3, 100),
    ) as target:  # fmt: skip
        target.write(heights, 1)
    return path


def test_a_canopy_in_feet(run_habmap: Run, place: Path, feet: Path) -> None:
    refused = run_habmap("load", "canopy", feet, "--json", place=place)
    assert refused.code == 3 and "does not say in which unit" in refused.json["what"]
    assert run_habmap("load", "canopy", feet, "--vertical-unit", "yd", place=place).code == 2
    done = run_habmap("load", "canopy", feet, "--vertical-unit", "ft", "--copy", "--json", place=place)
    assert done.code == 0, done.err
    assert done.json["units_off"] == ["C2"] and done.json["canopy"]["vertical_unit"] == "ft"
    feet.unlink()
    units = {unit["unit_id"]: unit for unit in run_habmap("density", "--json", place=place).json["units"]}
    # the outline said 5%; the raster counts before it
    assert units["C1"]["canopy_pct"] == pytest.approx(100 / 3, abs=1e-3)
    assert units["C1"]["canopy_coverage_pct"] == 100
    assert "6 ft and above" in units["C1"]["rests_on"]
    assert units["C2"]["canopy_pct"] is None and units["C2"]["rests_on"] == "nothing measured"
    # read as meters the same file is all above 6 ft
    (place / "canopy" / "canopy.tif").rename(feet)
    done = run_habmap("load", "canopy", feet, "--vertical-unit", "m", "--overwrite", place=place)
    assert done.code == 0, done.err
    assert run_habmap("density", "--json", place=place).json["units"][0]["canopy_pct"] == 100


def test_older_places_gain_the_table_at_the_first_write(run_habmap: Run, place: Path, feet: Path) -> None:
    with closing(sqlite3.connect(place / "place.gpkg")) as connection, connection:
        connection.execute("DROP TABLE canopy")
        connection.execute("DELETE FROM gpkg_contents WHERE table_name = 'canopy'")
    assert run_habmap("density", "--json", place=place).json["units"][0]["canopy_pct"] == 5
    assert run_habmap("load", "canopy", feet, "--vertical-unit", "ft", place=place).code == 0
    assert run_habmap("density", "--json", place=place).json["units"][0]["canopy_pct"] != 5
    assert run_habmap("check", place=place).code == 0


def test_a_raster_that_is_gone_is_said(run_habmap: Run, place: Path, feet: Path) -> None:
    assert run_habmap("load", "canopy", feet, "--vertical-unit", "ft", place=place).code == 0
    feet.unlink()
    for command in ("density", "rank"):
        done = run_habmap(command, "--json", place=place)
        assert done.code == 3 and "no such file" in done.json["what"]
    assert run_habmap("check", place=place).code == 1
