"""Small properties made by the real command: squares on one map, dated work, and a few lines of settings."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import shapely
from affine import Affine
from fakes import GRID
from numpy.typing import NDArray
from shapely.geometry import mapping

Run = Callable[..., Any]
#: A square of 100 m has 2.4711 acres.
SIDE_M = 100.0


def square(col: int, row: int = 0) -> shapely.Polygon:
    """Return the square of 100 m in a column and row of the map, in grid meters; the first lies east of the middle."""
    return shapely.box(SIDE_M * col, SIDE_M * row, SIDE_M * (col + 1), SIDE_M * (row + 1))


def make_place(
    run: Run,
    folder: Path,
    units: Sequence[tuple[str, shapely.Polygon, Mapping[str, object]]],
    *,
    settings: str = "",
    entries: str = "",
) -> Path:
    """Start a place with units (id, planar outline, other columns), a log as CSV lines, and more settings."""
    assert run("start", folder, "--name", "Small").code == 0
    layer = folder.parent / f"{folder.name}_units.geojson"
    features = [
        {
            "type": "Feature",
            "properties": {"unit_id": unit_id, "name": f"Stand {unit_id}", "cover": "cedar", **fields},
            "geometry": mapping(GRID.to_lonlat(shape)),
        }
        for unit_id, shape, fields in units
    ]
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    done = run("load", "units", layer, "--from", "2015-01-01", place=folder)
    assert done.code == 0, done.err
    if entries:
        table = folder.parent / f"{folder.name}_log.csv"
        header = "whole,entry_id,date,practice,unit_id,killed_pct,person_hours,cost"
        lines = [header, *(f"yes,{line}" for line in entries.splitlines()), ""]
        table.write_text("\n".join(lines), encoding="utf-8")
        done = run("load", "entries", table, place=folder)
        assert done.code == 0, done.err
    with_settings(folder, settings)
    return folder


def with_settings(folder: Path, text: str) -> int:
    """Put lines at the end of ``habmap.toml`` and return the number of the first of them."""
    path = folder / "habmap.toml"
    before = path.read_text(encoding="utf-8")
    path.write_text(before + text, encoding="utf-8")
    return len(before.splitlines()) + 1


def write_dem(path: Path, height_m: Callable[[Any, Any], Any], *, reach_m: float = 600.0) -> Path:
    """Write heights by a rule of (east, north) on 10 m cells around the middle of the map."""
    count = int(2 * reach_m / 10)
    east = -reach_m + 10 * np.arange(count) + 5
    heights: NDArray[np.float64] = np.asarray(height_m(east[None, :], -east[:, None]) + np.zeros((count, count)))
    with rasterio.open(
        path, "w", driver="GTiff", height=count, width=count, count=1, dtype="float64", crs=GRID.crs.to_wkt(),
        transform=Affine(10, 0, -reach_m, 0, -10, reach_m),
    ) as target:  # fmt: skip
        target.write(heights, 1)
        target.units = ("metre",)
    return path
