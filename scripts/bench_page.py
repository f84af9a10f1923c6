"""Time the map page of a large place as it opens, against a bare Leaflet page of the same geometry.

300 units and 3,000 patches, written by ``draw_map`` from a real place. The bare page has the same copy of Leaflet and
draws the same units and patches by plain ``L.geoJSON``, nothing else. Both are opened from disk by Debian's chromium,
network off, in turn, each pair in fresh windows; which of the two goes first changes from pair to pair. Time runs from
the navigation's start until the second frame after ``load`` has been drawn, so until the page is seen and answers.

Prints medians and the median ratio of the pairs. The project holds the ratio at 2.5 or less: exit code 1 above it.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import numpy as np
from outside import OUTSIDE, path_of, why_missing
from playwright.sync_api import Browser, sync_playwright
from shapely import MultiPolygon, Polygon, set_precision
from shapely.geometry import mapping

from habmap.jobs.map import draw_map
from habmap.land.grid import LocalGrid
from habmap.place.store import GeoPackageStore
from habmap.records import Entry, Unit

UNITS_ACROSS, UNITS_UP, PATCHES_PER_UNIT = 20, 15, 10
UNIT_M: Final = 200.0
CORNERS: Final = 24
PRACTICES: Final = ("cut", "cut", "burn", "girdle", "cut", "pile", "mow", "cut", "burn", "checkup")
MOST_TIMES: Final = 2.5
GRID: Final = LocalGrid(38.0, -98.0)
NOW: Final = datetime(2026, 8, 1, 12, tzinfo=UTC)
#: Resolves with the milliseconds from the navigation's start to the second frame after the page was loaded.
SEEN_MS: Final = """() => new Promise((resolve) => {
  const later = () => requestAnimationFrame(() => requestAnimationFrame(() => resolve(performance.now())));
  if (document.readyState === "complete") later(); else addEventListener("load", later);
})"""
#: Resolves with the milliseconds from a press of "earlier" to the second frame after it, the page having been at rest.
STEP_MS: Final = """() => new Promise((resolve) => setTimeout(() => {
  const began = performance.now();
  document.getElementById("earlier").click();
  requestAnimationFrame(() => requestAnimationFrame(() => resolve(performance.now() - began)));
}, 1500))"""
#: The first step back may take this share of the page's own opening: 300 ms where it opens in one second.
MOST_STEP: Final = 0.3
_BARE: Final = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Bare</title><style>%(css)s</style>
<style>html, body, #map { height: 100%%; margin: 0; }</style></head>
<body><div id="map"></div><script>%(js)s</script><script>
const map = L.map("map", { attributionControl: false });
const units = L.geoJSON(%(units)s).addTo(map);
L.geoJSON(%(patches)s).addTo(map);
map.fitBounds(units.getBounds());
</script></body></html>
"""


def large_place(folder: Path, *, seed: int = 11) -> GeoPackageStore:
    """Write a place of 300 units edge to edge, ten patches of 24 corners in each."""
    rng = np.random.default_rng(seed)
    turns = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    units, entries = [], []
    for number in range(UNITS_ACROSS * UNITS_UP):
        x, y = (number % UNITS_ACROSS) * UNIT_M, (number // UNITS_ACROSS) * UNIT_M
        edge = [(x, y), (x + UNIT_M, y), (x + UNIT_M, y + UNIT_M), (x, y + UNIT_M)]
        units.append(
            Unit(
                uuid=f"u{number}",
                unit_id=f"U{number:03d}",
                name=f"Stand {number}",
                cover="cedar",
                geometry=GRID.to_lonlat(MultiPolygon([Polygon(edge)])),
                recorded_at=datetime(2024, 1, 1, tzinfo=UTC),
            )
        )
        for turn in range(PATCHES_PER_UNIT):
            middle = rng.uniform(40, UNIT_M - 40, 2)
            radius_m = rng.uniform(18, 36, CORNERS)
            blob = Polygon(
                np.column_stack([x + middle[0] + radius_m * np.cos(turns), y + middle[1] + radius_m * np.sin(turns)])
            )
            entries.append(
                Entry(
                    entry_id=f"e{number:03d}-{turn}",
                    recorded_at=datetime(2024, 1, 2, tzinfo=UTC) + timedelta(minutes=number * PATCHES_PER_UNIT + turn),
                    practice=PRACTICES[turn],
                    date=date(2024, 2, 1) + timedelta(days=90 * turn + number % 30),
                    patch=GRID.to_lonlat(MultiPolygon([blob])),
                    killed_pct=90.0 if PRACTICES[turn] == "girdle" else None,
                )
            )
    store = GeoPackageStore.create(folder, "Bench")
    store.append([*units, *entries])
    return store


def bare_page(store: GeoPackageStore) -> str:
    """Return a page of the same units and patches with Leaflet alone."""
    asset = files("habmap.show") / "assets" / "leaflet"
    patches = [entry.patch for entry in store.entries() if entry.patch is not None]
    return _BARE % {
        "css": (asset / "leaflet.css").read_text(encoding="utf-8"),
        "js": (asset / "leaflet.js").read_text(encoding="utf-8").replace("//# sourceMappingURL=leaflet.js.map", ""),
        "units": _collection([unit.geometry for unit in store.units()]),
        "patches": _collection(patches),
    }


def _collection(shapes: Sequence[MultiPolygon]) -> str:
    # At the same 1e-6 degree as the page's own outlines: both carry as many digits.
    found: list[dict[str, Any]] = [
        {"type": "Feature", "properties": {}, "geometry": mapping(set_precision(shape, 1e-6, mode="pointwise"))}
        for shape in shapes
    ]
    return json.dumps({"type": "FeatureCollection", "features": found})


def seen_ms(browser: Browser, path: Path, *, steps: list[float] | None = None) -> float:
    """Open a page in a window of its own, network off, and return the milliseconds until it is drawn.

    To ``steps`` the time of the first step back along the ruler is added [ms].
    """
    context = browser.new_context(viewport={"width": 1400, "height": 900}, offline=True)
    page = context.new_page()
    page.goto(path.as_uri(), wait_until="commit")
    found = float(page.evaluate(SEEN_MS))
    if steps is not None:
        steps.append(float(page.evaluate(STEP_MS)))
    context.close()
    return found


def main() -> int:
    """Run the benchmark and print its figures."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--pairs", type=int, default=9)
    options.add_argument("--keep", type=Path, help="write both pages into this folder and leave them")
    chosen = options.parse_args()
    chromium = path_of(*OUTSIDE["browser"].programs)
    if chromium is None:
        print(why_missing("browser", sys.executable), file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as folder:
        out = chosen.keep or Path(folder)
        out.mkdir(parents=True, exist_ok=True)
        store = large_place(Path(folder) / "place")
        ours, bare = out / "habmap.html", out / "bare.html"
        draw_map(store, target=ours, now=NOW, overwrite=True)
        bare.write_text(bare_page(store), encoding="utf-8")
        print(f"{len(store.units())} units, {len(store.entries()):,} patches", flush=True)
        for name, path in (("habmap", ours), ("bare Leaflet", bare)):
            print(f"{name:13} {path.stat().st_size / 1e6:5.2f} MB")
        times_ms: list[tuple[float, float]] = []
        steps_ms: list[float] = []
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=chromium, args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
            )
            for turn in range(chosen.pairs + 1):
                if turn % 2:
                    first, second = seen_ms(browser, ours, steps=steps_ms), seen_ms(browser, bare)
                else:
                    second, first = seen_ms(browser, bare), seen_ms(browser, ours, steps=steps_ms)
                if turn:  # the first pair only warms the disk and the browser
                    times_ms.append((first, second))
            browser.close()
    for name, column in (("habmap", 0), ("bare Leaflet", 1)):
        values = [pair[column] for pair in times_ms]
        print(f"{name:13} {statistics.median(values):6.0f} ms  (least {min(values):.0f}, most {max(values):.0f})")
    ratio = statistics.median(habmap / plain for habmap, plain in times_ms)
    print(f"habmap / bare {ratio:6.2f} ×   of {len(times_ms)} pairs; demanded: at most {MOST_TIMES}")
    step = statistics.median(steps_ms[1:]) / statistics.median(opened for opened, _ in times_ms)
    print(f"first step back {statistics.median(steps_ms[1:]):.0f} ms, {step:.2f} of the opening; demanded: {MOST_STEP}")
    return 0 if ratio <= MOST_TIMES and step <= MOST_STEP else 1


if __name__ == "__main__":
    raise SystemExit(main())
