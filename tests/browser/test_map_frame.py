"""The frame of the page's map, its numerals and its steps in time, on places of different shape and of many units."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from fakes import GRID, FakeStore, entry, unit
from label_places import NOW, PLACES
from shapely import MultiPolygon, box

from habmap.jobs.map import build_page
from habmap.records import ElevationSource
from habmap.show.page.render import render_page

pytestmark = pytest.mark.browser
Open = Callable[..., Any]
#: Windows of a desk, a small one, a wide one, a phone upright and laid down [px].
WINDOWS = ((1400, 900), (1024, 768), (1920, 1080), (390, 844), (844, 390))
#: What of the frame has no relief behind it [px], at the worst of its four sides: looked at until the page has taken up
#: the size of its window, or a thousand frames have gone by.
_BARE = """(wide) => new Promise((resolve) => {
  const name = Object.keys(window).find((one) => one.startsWith("map_")), map = window[name].getContainer();
  const look = (left) => requestAnimationFrame(() => {
    const frame = map.getBoundingClientRect();
    const relief = document.querySelector(".leaflet-relief-pane img").getBoundingClientRect();
    const bare = Math.max(relief.left - frame.left, relief.top - frame.top,
                          frame.right - relief.right, frame.bottom - relief.bottom);
    if ((innerWidth === wide && bare <= 1.5) || !left) resolve(bare); else look(left - 1);
  });
  look(1000);
})"""
#: How much of the ground lies outside of the frame [px], and which share of the frame's width or height it takes.
_GROUND = """() => {
  const frame = document.querySelector(".frame").getBoundingClientRect();
  const all = [...document.querySelectorAll("path.unit")].map((path) => path.getBoundingClientRect());
  const low = (side) => Math.min(...all.map((b) => b[side])), high = (side) => Math.max(...all.map((b) => b[side]));
  return [Math.max(frame.left - low("left"), frame.top - low("top"),
                   high("right") - frame.right, high("bottom") - frame.bottom),
          Math.max((high("right") - low("left")) / frame.width, (high("bottom") - low("top")) / frame.height)];
}"""


def _drawn(store: FakeStore, folder: Path) -> Path:
    path = folder / "map.html"
    path.write_text(render_page(build_page(store, now=NOW, audience="owner")), encoding="utf-8")
    return path


def _opened(open_page: Open, path: Path, **size: int) -> Any:
    page = open_page(path, **size).page
    page.wait_for_selector("body[data-drawn=yes]")
    return page


def _with_heights(store: FakeStore, folder: Path, *, margin_m: float) -> FakeStore:
    """Give a place heights that end so far from its units."""
    west, south, east, north = shapely.total_bounds([GRID.to_grid(one.geometry) for one in store.units()])
    cell_m = 10.0
    shape = (int((north - south + 2 * margin_m) / cell_m), int((east - west + 2 * margin_m) / cell_m))
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]]
    corner = Affine(cell_m, 0, west - margin_m, 0, -cell_m, north + margin_m)
    layout = {"width": shape[1], "height": shape[0], "count": 1, "dtype": "float32", "transform": corner}
    with rasterio.open(folder / "dem.tif", "w", driver="GTiff", crs=GRID.crs.to_wkt(), **layout) as file:
        file.write((300 + 20 * np.sin(rows / 9) + 20 * np.cos(columns / 11)).astype("float32"), 1)
    source = {"uuid": "e", "path": str(folder / "dem.tif"), "crs_wkt": GRID.crs.to_wkt(), "vertical_unit": "m"}
    store.append([ElevationSource(recorded_at=NOW, **source)])  # type: ignore[arg-type]
    return store


@pytest.mark.parametrize("margin_m", [60, 2000])
@pytest.mark.parametrize("name", PLACES)
def test_relief_fills_the_frame_or_the_frame_shrinks(
    open_page: Open, tmp_path: Path, name: str, margin_m: float
) -> None:
    page = _opened(open_page, _drawn(_with_heights(PLACES[name](), tmp_path, margin_m=margin_m), tmp_path))
    for width_px, height_px in WINDOWS:
        page.set_viewport_size({"width": width_px, "height": height_px})
        assert page.evaluate(_BARE, width_px) <= 1.5, (width_px, height_px)
        outside, share = page.evaluate(_GROUND)
        assert outside <= 0, (width_px, height_px)
        assert share >= 0.75, (width_px, height_px)  # the ground is as large as the frame lets it be
    page.set_viewport_size({"width": 1400, "height": 900})
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(_BARE, 1400) <= 1.5


def _numerals(page: Any) -> dict[str, Any]:
    seen = page.evaluate(
        """() => [...document.querySelectorAll(".mark.order:not(.hushed) > span")].map((e) => {
             const b = e.getBoundingClientRect(); return [e.textContent, b.left, b.top, b.right, b.bottom]; })"""
    )
    return {text: box(*sides) for text, *sides in seen}


@pytest.mark.parametrize("count", [36, 120])
def test_numerals_never_touch_and_come_when_there_is_room(open_page: Open, tmp_path: Path, count: int) -> None:
    """Units of 24 m in rows within a large one: at first a numeral is wider than its ground, be they few or many."""
    across = 12
    cells = [box(k % across * 24, k // across * 24, k % across * 24 + 24, k // across * 24 + 24) for k in range(count)]
    whole = shapely.union_all(cells)
    rows = [
        *(unit(f"U{k}", cell) for k, cell in enumerate(cells)),
        unit("W", whole.envelope.buffer(500, join_style="mitre").difference(whole)),
    ]
    page = _opened(open_page, _drawn(FakeStore(rows, grid=GRID), tmp_path), width_px=390, height_px=844)
    counts = []
    for _ in range(6):
        numerals = _numerals(page)
        for one, other in combinations(numerals, 2):
            assert numerals[one].distance(numerals[other]) >= 0.9, (one, other)  # above one another, one pixel
            if (
                numerals[one].bounds[1] < numerals[other].bounds[3]
                and numerals[one].bounds[3] > numerals[other].bounds[1]
            ):
                assert numerals[one].distance(numerals[other]) >= 3, (one, other)  # side by side they would be one
        counts.append(len(numerals))
        page.get_by_role("button", name="zoom in").click()
    assert counts[0] < count
    in_sight = page.evaluate(
        """() => { const f = document.querySelector(".frame").getBoundingClientRect();
             return [...document.querySelectorAll("path.unit")].map((p) => p.getBoundingClientRect()).filter((b) =>
               b.left > f.left && b.right < f.right && b.top > f.top && b.bottom < f.bottom).length; }"""
    )
    assert len(_numerals(page)) >= in_sight > 0


def test_a_step_in_time_draws_only_the_ground_that_changed(open_page: Open, tmp_path: Path) -> None:
    """Twelve units of twenty parts; the last day's work lies on one of them, a day's before that on another."""
    parts = [box(x, y, x + 20, y + 20) for x in range(0, 125, 25) for y in range(0, 100, 25)]

    def at(number: int) -> MultiPolygon:
        return shapely.transform(MultiPolygon(parts), lambda xy: xy + np.array((number % 4 * 200, number // 4 * 200)))

    rows = [
        *(unit(f"U{k:02d}", at(k)) for k in range(12)),
        *(entry("cut", day, at(number).buffer(3)) for day, number in (("2025-01-10", 0), ("2025-02-10", 5))),
    ]
    page = _opened(open_page, _drawn(FakeStore(rows, grid=GRID), tmp_path))
    fills = "document.querySelectorAll(\"path[fill^='url(#stage-']\")"
    page.evaluate(f"{fills}.forEach((path) => {{ path.dataset.opened = 'yes'; }})")
    count = page.evaluate(f"{fills}.length")
    assert count >= 10
    # What is painted on the middle of each unit's first part, the topmost fill.
    painted = """() => Object.fromEntries([...document.querySelectorAll("path.unit")].map((reach) => {
      const svg = reach.ownerSVGElement, all = reach.getAttribute("d").split("z")[0].match(/-?[0-9.]+/g).map(Number);
      const on = (axis) => all.filter((_, i) => i % 2 === axis);
      const middle = (axis) => (Math.min(...on(axis)) + Math.max(...on(axis))) / 2;
      const fills = [...document.querySelectorAll("path[fill^='url(#stage-']")].filter((path) =>
        path.isPointInFill(Object.assign(svg.createSVGPoint(), { x: middle(0), y: middle(1) })));
      return [reach.getAttribute("aria-label").slice(5, 8),
              fills.map((path) => path.getAttribute("fill").slice(11, -1))];
    }))"""
    standing = {f"U{k:02d}": ["standing"] for k in range(12)}
    assert page.evaluate(painted) == standing | {"U00": ["down"], "U05": ["down"]}
    for expected in (standing | {"U00": ["down"]}, standing):
        page.click("#earlier")
        assert page.evaluate(painted) == expected
    kept = page.evaluate(f"[...{fills}].filter((path) => path.dataset.opened).length")
    assert kept == count - 2  # nothing but the two units that were worked is drawn anew
    page.click("#now")
    assert page.evaluate(painted) == standing | {"U00": ["down"], "U05": ["down"]}
    assert page.evaluate(f"{fills}.length") == count
