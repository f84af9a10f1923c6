"""Time and memory of the terrain of many units, beside three other ways to get it, as ratios.

Each way runs in a process of its own, on the same raster and the same units, one after another:

- ours: every figure of ``habmap terrain`` (averaged to about 10 m, and on the raster's own cells);
- read: the raster read once, block by block, and nothing else;
- gdaldem: ``gdaldem slope`` and ``gdaldem aspect`` written to disk, then exact means of both;
- mask: for each unit a window read with ``rasterio.mask``, Horn's slope in it, and the mean of the cells inside.

Libraries are loaded, and outlines are there as each way wants them, before a way's time begins.

Run ``python scripts/bench_terrain.py --help`` for a smaller run.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias

import numpy as np
import rasterio
import shapely
from affine import Affine
from rasterio.windows import Window

CRS = "EPSG:32614"
WEST, NORTH = 550_000.0, 4_220_000.0

#: What is measured, and what makes it ready for a raster and outlines.
Run: TypeAlias = Callable[[], float]
Way: TypeAlias = Callable[[Path, list[shapely.Polygon]], Run]


def main() -> None:
    """Make the ground, run every way on it, and print the table."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--size", type=int, default=8192, help="rows and columns of the raster")
    words.add_argument("--cell-m", type=float, default=3.0, help="side of a cell")
    words.add_argument("--units", type=int, nargs="*", default=[1_000, 10_000], help="numbers of units")
    words.add_argument("--acres", type=float, nargs=2, default=(11, 32), help="smallest and largest unit")
    words.add_argument("--skip-mask", action="store_true", help="leave the slow window-and-mask loop out")
    words.add_argument("--run", nargs=3, metavar=("WAY", "RASTER", "UNITS"), help=argparse.SUPPRESS)
    asked = words.parse_args()
    if asked.run:
        way, raster, units = asked.run
        if way == "make":
            write_ground(Path(raster), size=asked.size, cell_m=asked.cell_m)
            return
        print(json.dumps(measured(WAYS[way], Path(raster), Path(units))))
        return
    with tempfile.TemporaryDirectory() as folder:
        raster = Path(folder) / "ground.tif"
        # In a process of its own: a child starts with its parent's peak on the books.
        size = ["--size", str(asked.size), "--cell-m", str(asked.cell_m)]
        subprocess.run([sys.executable, __file__, *size, "--run", "make", str(raster), "-"], check=True)
        print(
            f"{asked.size}² cells of {asked.cell_m:g} m, float32, deflate, tiles of 512: "
            f"{raster.stat().st_size / 1e6:,.0f} MB"
        )
        for count in asked.units:
            units = write_units(
                Path(folder) / f"{count}.wkb", count=count, side_m=asked.size * asked.cell_m, acres=asked.acres
            )
            ways = [way for way in WAYS if not (way == "mask" and asked.skip_mask)]
            print_table(count, {way: in_process(way, raster, units) for way in ways})


def write_ground(path: Path, *, size: int, cell_m: float) -> None:
    """Write rolling ground with a little roughness, in strips, tiled and compressed as elevation is handed out."""
    random = np.random.default_rng(1)
    x = np.arange(size) * cell_m
    with rasterio.open(
        path, "w", driver="GTiff", height=size, width=size, count=1, dtype="float32", crs=CRS, tiled=True,
        blockxsize=512, blockysize=512, compress="deflate", predictor=3, nodata=-9999.0,
        transform=Affine(cell_m, 0, WEST, 0, -cell_m, NORTH),
    ) as target:  # fmt: skip
        for row in range(0, size, 512):
            rows = min(512, size - row)
            y = ((row + np.arange(rows)) * cell_m)[:, None]
            heights = (
                400 + 60 * np.sin(x / 900) * np.cos(y / 700) + 15 * np.sin((x + y) / 160)
                + random.normal(0, 0.05, (rows, size))
            )  # fmt: skip
            target.write(heights.astype(np.float32), 1, window=Window(0, row, size, rows))
        target.units = ("m",)


def write_units(path: Path, *, count: int, side_m: float, acres: tuple[float, float]) -> Path:
    """Write irregular outlines of about so many acres, in no order, in the raster's projection."""
    random = np.random.default_rng(2)
    lines = []
    for _ in range(count):
        x, y = random.uniform(150, side_m - 150, 2)
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        reach = math.sqrt(random.uniform(*acres) * 4046.86 / math.pi) * random.uniform(0.8, 1.2, 24)
        ring = np.column_stack([WEST + x + reach * np.cos(turn), NORTH - y + reach * np.sin(turn)])
        lines.append(shapely.to_wkb(shapely.Polygon(ring), hex=True))
    path.write_text("\n".join(lines))
    return path


def in_process(way: str, raster: Path, units: Path) -> dict[str, float]:
    """Run one way in a fresh process and return its figures."""
    command = [sys.executable, __file__, "--run", way, str(raster), str(units)]
    told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    figures: dict[str, float] = json.loads(told.splitlines()[-1])
    return figures


def measured(way: Way, raster: Path, units: Path) -> dict[str, float]:
    """Return the seconds and the peak memory [MB] of one way, and the mean slope it found [°]."""
    run = way(raster, list(shapely.from_wkb(units.read_text().splitlines())))
    started, cpu_before = time.perf_counter(), cpu_seconds()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # rasterio's and affine's notices about each other
        slope_deg = run()
    seconds, cpu = time.perf_counter() - started, cpu_seconds() - cpu_before
    peaks = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    per_mb = 1e6 if sys.platform == "darwin" else 1024  # bytes there, KiB elsewhere
    return {"seconds": seconds, "cpu": cpu, "peak_mb": max(peaks) / per_mb, "slope_deg": slope_deg}


def cpu_seconds() -> float:
    """Return the processor time that this process and its children used up: it hardly minds other work beside it."""
    usages = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in usages)


def ours(raster: Path, outlines: list[shapely.Polygon], *, native: bool = False) -> Run:
    """Every figure of the terrain command, from outlines in lon/lat."""
    from pyproj import Transformer

    from habmap.land.facerules import FaceRules
    from habmap.place.elevation import open_elevation
    from habmap.work.terrain import figure_columns

    to_lonlat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lonlat = shapely.transform(
        np.array(outlines, dtype=object), lambda xy: np.column_stack(to_lonlat.transform(xy[:, 0], xy[:, 1]))
    )

    def run() -> float:
        with open_elevation(raster, vertical_unit=None, analysis_cell_m="native" if native else 10) as dem:
            table = dem.zone_table(list(lonlat), rules=FaceRules())
        figures = figure_columns(table, unit_m2=shapely.area(outlines), rules=FaceRules())
        return float(np.nanmean(figures["slope_mean_deg"]))

    return run


def ours_native(raster: Path, outlines: list[shapely.Polygon]) -> Run:
    """The same on the raster's own cells."""
    return ours(raster, outlines, native=True)


def read(raster: Path, outlines: list[shapely.Polygon]) -> Run:
    """Only read the raster, block by block, on as many threads as ours."""
    from concurrent.futures import ThreadPoolExecutor

    from habmap.place.zonework import threads_here

    threads = threads_here()

    def some(number: int) -> None:
        with rasterio.Env(GDAL_CACHEMAX=64), rasterio.open(raster) as source:
            windows = [window for _, window in source.block_windows(1)]
            for window in windows[number * len(windows) // threads : (number + 1) * len(windows) // threads]:
                source.read(1, window=window)

    def run() -> float:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(some, range(threads)))
        return math.nan

    return run


def gdaldem(raster: Path, outlines: list[shapely.Polygon]) -> Run:
    """Slope and aspect of the whole raster by gdaldem, then exact means of both in the raster's order."""
    import geopandas
    from exactextract import exact_extract

    def run() -> float:
        means = {}
        for figure in ("slope", "aspect"):
            target = raster.with_name(f"{figure}.tif")
            subprocess.run(["gdaldem", figure, str(raster), str(target), "-q"], check=True)
            frame = geopandas.GeoDataFrame(geometry=outlines, crs=CRS)
            frame = frame.iloc[frame.hilbert_distance().argsort()]
            means[figure] = exact_extract(str(target), frame, ["mean"], output="pandas")["mean"]
            target.unlink()
        return float(means["slope"].mean())

    return run


def mask(raster: Path, outlines: list[shapely.Polygon]) -> Run:
    """A window and a mask for each unit, by cell centers."""
    from rasterio.mask import raster_geometry_mask

    def run() -> float:
        found = []
        with rasterio.open(raster) as source:
            cell_m = source.transform.a
            for outline in outlines:
                # One cell more all around, for Horn's weights.
                outside, _, window = raster_geometry_mask(source, [outline], crop=True, pad=True, pad_width=1)
                z = source.read(1, window=window).astype(np.float64)
                down = z[:-2] + 2 * z[1:-1] + z[2:]
                across = z[:, :-2] + 2 * z[:, 1:-1] + z[:, 2:]
                rise = np.hypot(down[:, 2:] - down[:, :-2], across[2:] - across[:-2]) / (8 * cell_m)
                found.append(np.degrees(np.arctan(rise))[~outside[1:-1, 1:-1]].mean())
        return float(np.mean(found))

    return run


WAYS: dict[str, Way] = {
    "ours": ours,
    "ours, own cells": ours_native,
    "read": read,
    "gdaldem": gdaldem,
    "mask": mask,
}


def print_table(count: int, found: dict[str, dict[str, float]]) -> None:
    """Print the ways beside ours."""
    base = found["ours"]
    print(f"\n{count:,} units")
    print(
        f"{'way':<16}{'seconds':>9}{'ours/this':>11}{'cpu s':>9}{'ours/this':>11}"
        f"{'peak MB':>9}{'ours/this':>11}{'mean slope °':>14}"
    )
    for way, figures in found.items():
        print(
            f"{way:<16}{figures['seconds']:>9.2f}{base['seconds'] / figures['seconds']:>11.2f}"
            f"{figures['cpu']:>9.2f}{base['cpu'] / figures['cpu']:>11.2f}"
            f"{figures['peak_mb']:>9.0f}{base['peak_mb'] / figures['peak_mb']:>11.2f}{figures['slope_deg']:>14.4f}"
        )


if __name__ == "__main__":
    main()
