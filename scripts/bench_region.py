"""A county of stands over big elevation: how many stands a second and processor, and how much memory a worker takes.

The elevation is one real tile of 4,096² cells, repeated side by side as a .vrt; the stands are irregular outlines of
1 to 10 acres laid at random over all of it, overlaps included. What was made is printed. It is then measured:

- one process alone, and two workers: seconds, processor time of both beside each other, most memory of a worker;
- another limit of slope on the parts that are there.

``--full`` makes 1,000,000 stands over 100,000² cells: tens of minutes of processor time and some 20 GB of disk.

``--account 100`` makes so many properties of 15 units and 60 lines instead, and puts `region account` of all of them
beside their own `acres`, each a command of its own.
"""

from __future__ import annotations

import argparse
import json
import math
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
import uuid
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import psutil
import shapely
from bench_terrain import CRS, NORTH, WEST, write_ground

TILE_CELLS, CELL_M = 4096, 3.0


def main() -> None:
    """Make the county, run the command on it, and print the figures."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--tiles", type=int, default=2, help="tiles side by side, and as many down")
    words.add_argument("--stands", type=int, default=5_000)
    words.add_argument("--workers", type=int, default=2)
    words.add_argument("--cell", default="10", help="analysis cell [m], or native")
    words.add_argument("--full", action="store_true", help="1,000,000 stands over 100,000² cells")
    words.add_argument("--folder", type=Path, help="where to make it; a folder of its own unless said")
    words.add_argument("--account", type=int, metavar="N", help="properties, in place of stands")
    asked = words.parse_args()
    if asked.account:
        with tempfile.TemporaryDirectory(dir=asked.folder) as name:
            bench_account(Path(name), asked.account, asked.workers)
        return
    if asked.full:
        asked.tiles, asked.stands = math.ceil(100_000 / TILE_CELLS), 1_000_000
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        folder = Path(name)
        side = asked.tiles * TILE_CELLS
        write_ground(folder / "tile.tif", size=TILE_CELLS, cell_m=CELL_M)
        write_mosaic(folder / "ground.vrt", tiles=asked.tiles)
        write_stands(folder / "stands.gpkg", count=asked.stands, side_m=side * CELL_M)
        print(
            f"{asked.stands:,} stands over {side:,}² cells of {CELL_M:g} m: "
            f"one tile of {TILE_CELLS:,}², {asked.tiles}² times"
        )
        compile_first(folder / "tile.tif")
        alone = run(folder, "alone.csv", 1, asked.cell)
        many = run(folder, "many.csv", asked.workers, asked.cell)
        again = run(
            folder, "again.csv", 1, asked.cell, "--parts", folder / "alone.csv.parts", "--machine-limit-pct", 25
        )
        is_same = (folder / "alone.csv").read_bytes() == (folder / "many.csv").read_bytes()
    print(f"{'':<24}{'seconds':>9}{'cpu s':>9}{'parts':>7}{'stands/s/core':>15}{'MB/worker':>11}")
    for title, told in (("one process", alone), (f"{asked.workers} workers", many), ("another limit", again)):
        rate = told["stands_per_core_second"]
        print(
            f"{title:<24}{told['wall']:>9.1f}{told['processor_seconds']:>9.1f}{told['parts']:>7}"
            f"{'-' if rate is None else format(rate, ',.0f'):>15}{told['peak_mb']:>11.0f}"
        )
    print(
        f"processor time of the parts, {asked.workers} workers / one: "
        f"{many['processor_seconds'] / alone['processor_seconds']:.2f}"
    )
    print(f"time, first pass / another limit: {alone['wall'] / again['wall']:.1f}; the same bytes: {is_same}")


def compile_first(raster: Path) -> None:
    """Have the sums compiled, if they never were here: that is once for a machine."""
    from habmap.land.facerules import FaceRules
    from habmap.land.grid import LocalGrid
    from habmap.place.elevation import open_elevation

    with open_elevation(raster, vertical_unit=None) as dem:
        west, south, east, north = dem.bounds_lonlat()
        middle = LocalGrid((south + north) / 2, (west + east) / 2).to_lonlat(shapely.box(-50, -50, 50, 50))
        dem.zone_table([middle], rules=FaceRules(), way="compiled", threads=1)


def write_mosaic(path: Path, *, tiles: int) -> None:
    """Write the tile beside itself so many times each way."""
    side = tiles * TILE_CELLS
    sources = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="1">tile.tif</SourceFilename><SourceBand>1</SourceBand>'
        f'<SrcRect xOff="0" yOff="0" xSize="{TILE_CELLS}" ySize="{TILE_CELLS}"/>'
        f'<DstRect xOff="{col * TILE_CELLS}" yOff="{row * TILE_CELLS}" xSize="{TILE_CELLS}" ySize="{TILE_CELLS}"/>'
        f"</SimpleSource>"
        for row in range(tiles)
        for col in range(tiles)
    )
    path.write_text(
        f'<VRTDataset rasterXSize="{side}" rasterYSize="{side}"><SRS>{CRS}</SRS>'
        f"<GeoTransform>{WEST}, {CELL_M}, 0, {NORTH}, 0, {-CELL_M}</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1" blockXSize="512" blockYSize="512"><UnitType>m</UnitType>'
        f"{sources}</VRTRasterBand></VRTDataset>",
        encoding="utf-8",
    )


def write_stands(path: Path, *, count: int, side_m: float) -> None:
    """Write irregular outlines in no order, portion by portion."""
    import pyogrio

    random = np.random.default_rng(2)
    turn = np.linspace(0, 2 * np.pi, 25)
    for first in range(0, count, 50_000):
        own = min(50_000, count - first)
        middle = random.uniform(150, side_m - 150, (own, 2, 1))
        reach = np.sqrt(random.uniform(1, 10, (own, 1)) * 4046.86 / math.pi) * random.uniform(0.8, 1.2, (own, 25))
        reach[:, -1] = reach[:, 0]
        rings = np.stack(
            [WEST + middle[:, 0] + reach * np.cos(turn), NORTH - middle[:, 1] + reach * np.sin(turn)], axis=2
        )
        frame = geopandas.GeoDataFrame(
            {"unit_id": [f"S{at}" for at in range(first, first + own)]}, geometry=shapely.polygons(rings), crs=CRS
        )
        pyogrio.write_dataframe(frame, path, layer="stands", append=first > 0)


def bench_account(folder: Path, count: int, workers: int) -> None:
    """Make properties, ask each for its acres and all for their account, and print the ratio."""
    places = folder / "places"
    write_property(folder / "first")
    for number in range(count):
        write_copy(folder / "first", places / f"p{number:05d}", uuid.UUID(int=number + 1))
    few = sorted(places.iterdir())[:10]
    began = time.perf_counter()
    for place in few:
        habmap("--place", place, "acres", "--json")
    own = (time.perf_counter() - began) / len(few)
    began = time.perf_counter()
    told = json.loads(habmap("region", "account", places, "-o", folder / "all.html", "--workers", workers, "--json"))
    seconds = time.perf_counter() - began
    assert len(told["places"]) == count, told["faults"]
    print(f"{count:,} properties of 15 units and 60 lines, {workers} workers")
    print(f"region account / sum of their own acres over the workers: {seconds / (own * count / workers):.2f}")


def habmap(*words: object) -> str:
    """Run the command and return what it prints."""
    command = [sys.executable, "-m", "habmap", *map(str, words)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def write_property(place: Path) -> None:
    """Make a property of 15 units and 60 lines of cutting."""
    boxes = [
        shapely.box(WEST + 250 * col, NORTH + 250 * row, WEST + 250 * col + 240, NORTH + 250 * row + 240)
        for row in range(3)
        for col in range(5)
    ]
    cuts = [shapely.box(x + 10 + 55 * part, y + 10, x + 60 + 55 * part, y + 200)
            for part in range(4) for x, y, _, _ in (box.bounds for box in boxes)]  # fmt: skip
    units = {"unit_id": [f"U{at}" for at in range(len(boxes))], "cover": "cedar"}
    geopandas.GeoDataFrame(units, geometry=boxes, crs=CRS).to_crs(4326).to_file(place.with_suffix(".geojson"))
    patches = geopandas.GeoSeries(cuts, crs=CRS).to_crs(4326).to_wkt()
    lines = [
        f'L{at},2024-{1 + at % 12:02}-10,cut,"{patch}",{5 + at % 7},{100 + at}' for at, patch in enumerate(patches)
    ]
    log = "\n".join(["entry_id,date,practice,patch_wkt,person_hours,cost", *lines, ""])
    place.with_suffix(".csv").write_text(log, encoding="utf-8")
    habmap("start", place, "--name", "Bench")
    habmap("--place", place, "load", "units", place.with_suffix(".geojson"), "--from", "2015-01-01")
    habmap("--place", place, "load", "entries", place.with_suffix(".csv"))


def write_copy(place: Path, copy: Path, identity: uuid.UUID) -> None:
    """Copy a property under another identity: one that is copied as it is counts once."""
    from habmap.place.ddl import META_GUARD, META_GUARD_NAME

    shutil.copytree(place, copy)
    with closing(sqlite3.connect(copy / "place.gpkg")) as connection, connection:
        for line in (
            f"DROP TRIGGER {META_GUARD_NAME}", f"UPDATE habmap_meta SET place_id = '{identity}'", META_GUARD,
        ):  # fmt: skip
            connection.execute(line)


def run(folder: Path, name: str, workers: int, cell: str, *more: object) -> dict[str, Any]:
    """Run the command and return its answer, its seconds and the most memory of one of its processes [MB]."""
    began = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "habmap", "region", "terrain", str(folder / "stands.gpkg"), str(folder / "ground.vrt"),
         "-o", str(folder / name), "--workers", str(workers), "--analysis-cell-m", cell, "--json", *map(str, more)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    peak = 0
    while process.poll() is None:
        with suppress(psutil.Error):
            one = psutil.Process(process.pid)
            peak = max(peak, *(own.memory_info().rss for own in (one.children(recursive=True) or [one])))
        time.sleep(0.05)
    assert process.stdout is not None
    told: dict[str, Any] = json.loads(process.stdout.read())
    return {**told, "wall": time.perf_counter() - began, "peak_mb": peak / 1e6}


if __name__ == "__main__":
    main()
