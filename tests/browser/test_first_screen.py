"""What is seen at once: the sentence, a large map with its legend, the ruler and the list, on each kind of screen."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import shapely
from fakes import GRID, FakeStore, unit

from habmap.jobs.map import draw_map
from habmap.jobs.photos import photos
from habmap.place.store import GeoPackageStore

pytestmark = pytest.mark.browser
Open = Callable[..., Any]
NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def sheets(sample_place: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The sample property, and one four times as wide as it is high."""
    folder = tmp_path_factory.mktemp("first_screen")
    draw_map(GeoPackageStore.open(sample_place), target=folder / "sample.html", now=NOW)
    strip = [unit(f"W{i}", shapely.box(200 * i, 0, 200 * (i + 1), 400), name=f"Strip {i}") for i in range(8)]
    draw_map(FakeStore(strip, grid=GRID), target=folder / "wide.html", now=NOW)
    return {"sample": folder / "sample.html", "wide": folder / "wide.html"}


def _open(open_page: Open, path: Path, width_px: int, height_px: int) -> Any:
    page = open_page(path, width_px=width_px, height_px=height_px).page
    page.wait_for_selector("body[data-drawn=yes]")
    return page


def _boxes(page: Any, *selectors: str) -> list[dict[str, float]]:
    return [page.locator(selector).first.bounding_box() for selector in selectors]


@pytest.mark.parametrize(("width_px", "height_px"), [(1366, 768), (1400, 900), (1920, 1080)])
def test_the_first_screen_holds_sentence_map_legend_ruler_and_list(
    open_page: Open, sheets: dict[str, Path], width_px: int, height_px: int
) -> None:
    page = _open(open_page, sheets["sample"], width_px, height_px)
    shown = _boxes(page, "h1", ".frame", ".legend .stages", "#ruler", "#ruler-said", "#scale", ".moves")
    assert all(box["y"] >= 0 and box["y"] + box["height"] <= height_px for box in shown)
    _, frame, stages, *_ = shown
    assert stages["x"] + stages["width"] <= frame["x"] and stages["y"] < frame["y"] + 20  # beside the map
    # The ground is drawn as large as the frame lets it be: about half the height of the window, or more.
    ground = page.evaluate(
        """() => [...document.querySelectorAll("path.unit")].map((p) => p.getBoundingClientRect())
             .reduce((b, r) => [Math.min(b[0], r.top), Math.max(b[1], r.bottom)], [1e9, -1e9])"""
    )
    assert ground[1] - ground[0] >= 0.45 * height_px
    (first,) = _boxes(page, "tr.unit")
    assert first["y"] < 0.45 * height_px and first["x"] > frame["x"] + frame["width"]
    # Nothing is left empty beside what follows: pictures, seasons and what came up are as wide as the page.
    for part in _boxes(page, ".photos", ".seasons", ".response"):
        assert part["width"] >= 0.94 * width_px


def test_the_legend_of_wide_ground_stands_below_the_map(open_page: Open, sheets: dict[str, Path]) -> None:
    page = _open(open_page, sheets["wide"], 1400, 900)
    frame, stages = _boxes(page, ".frame", ".legend .stages")
    assert stages["y"] >= frame["y"] + frame["height"]
    assert not page.evaluate("document.body.classList.contains('beside')")
    # The frame is no taller than such ground wants, so that the legend is seen at once.
    assert stages["y"] + stages["height"] <= 900
    ground = _boxes(page, "path.unit")[0]
    assert frame["height"] <= max(300, ground["height"] + 150)


@pytest.mark.parametrize(("width_px", "height_px"), [(1024, 768), (1100, 800), (1280, 800), (768, 1024), (390, 844)])
def test_names_of_units_keep_room_for_whole_words(
    open_page: Open, sheets: dict[str, Path], width_px: int, height_px: int
) -> None:
    """A column squeezed to a few letters cut names in pieces at 1024 px."""
    page = _open(open_page, sheets["sample"], width_px, height_px)
    assert page.evaluate("document.documentElement.scrollWidth") <= width_px
    lines = page.locator("tr.unit th button").evaluate_all(
        "all => all.map(e => [e.textContent, e.getBoundingClientRect().height,"
        " parseFloat(getComputedStyle(e).lineHeight)])"
    )
    assert lines and all(height <= 2.1 * max(line, 20) for _, height, line in lines), lines
    head = page.locator("thead th").evaluate_all(
        "all => all.map(e => { const r = document.createRange(); r.selectNodeContents(e);"
        " const b = r.getBoundingClientRect(); return [b.left, b.right]; })"
    )[:5]
    assert all(a[1] <= b[0] - 4 for a, b in pairwise(head)), head


def test_no_writing_lies_under_a_photo_point(open_page: Open, sheets: dict[str, Path]) -> None:
    page = _open(open_page, sheets["sample"], 1920, 1080)
    covered = page.evaluate(
        """() => {
             const wedges = [...document.querySelectorAll(".photopoint path")].map((p) => p.getBoundingClientRect());
             return [...document.querySelectorAll(".mark:not(.hushed, .order) > span")].filter((e) => {
               const b = e.getBoundingClientRect();
               return wedges.some((w) => b.left < w.right && b.right > w.left && b.top < w.bottom && b.bottom > w.top);
             }).map((e) => e.textContent); }"""
    )
    assert page.locator(".photopoint").count() == 3
    assert covered == []


def test_photo_points_and_the_map_in_words_follow_the_time(
    open_page: Open, sheets: dict[str, Path], sample_place: Path
) -> None:
    points = photos(GeoPackageStore.open(sample_place)).points
    page = _open(open_page, sheets["sample"], 1400, 900)
    opened_words = page.locator("#words li").all_text_contents()
    page.focus("#ruler")
    page.keyboard.press("Home")  # before any work, and before any photo
    assert not page.locator(".photopoint").first.is_visible()
    assert "before any work" in page.locator("#words summary").inner_text()
    page.evaluate("""() => document.addEventListener("stepped", (event) => { window.day = event.detail.day; })""")
    for _ in range(40):
        page.keyboard.press("ArrowRight")
        day = page.evaluate("window.day")
        shown = page.locator(".photopoint").evaluate_all("all => all.map(n => !n.hidden)")
        taken = json.loads(page.locator("#drawing").text_content())["photos"]
        is_now = page.locator("#later").get_attribute("aria-disabled") == "true"
        assert shown == [is_now or min(point["days"]) <= day for point in taken]
        if is_now:
            break
        said = page.locator("#words li").all_text_contents()
        assert said[0] == page.locator("h1").inner_text().replace("\n", " ")
        assert len(points) == len(taken)
    assert page.locator("#words li").all_text_contents() == opened_words
    page.keyboard.press("PageDown")  # into the season before: the pair of today is not yet whole
    page.locator(".photopoint").first.press("Enter")
    assert page.locator("#look img").count() == 1


def test_words_on_the_map_are_as_large_as_those_beside_it(open_page: Open, sheets: dict[str, Path]) -> None:
    page = _open(open_page, sheets["sample"], 1400, 900)
    page.click("#zoom-in")
    said = page.evaluate(
        """() => [...document.querySelectorAll(".mark:not(.hushed) > span")].map((e) =>
             [e.parentElement.classList[1], parseFloat(getComputedStyle(e).fontSize)])"""
    )
    assert {kind for kind, _ in said} >= {"order", "unitname", "day", "thing", "height"}
    assert min(size for _, size in said) >= 16


def test_numerals_stay_clear_when_the_time_comes_back_to_now(open_page: Open, sheets: dict[str, Path]) -> None:
    """They have no size on earlier days; weighed a moment too soon, dates were written across them."""
    page = _open(open_page, sheets["sample"], 1400, 900)
    page.click("#earlier")
    page.click("#now")
    crossed = page.evaluate(
        """() => {
             const box = (e) => e.getBoundingClientRect(), all = (what) => [...document.querySelectorAll(what)];
             const numerals = all(".mark.order > span").map(box);
             const touch = (b, n) => b.left < n.right && b.right > n.left && b.top < n.bottom && b.bottom > n.top;
             return all(".mark.day:not(.hushed) > span").filter((e) => numerals.some((n) => touch(box(e), n)))
               .map((e) => e.textContent);
           }"""
    )
    assert page.locator(".mark.order > span").first.is_visible()
    assert crossed == []


def test_the_pencils_kit_lies_over_nothing_wherever_the_page_is_scrolled_to(
    open_page: Open, sheets: dict[str, Path]
) -> None:
    page = _open(open_page, sheets["sample"], 1366, 768)
    page.click("#pencil-open")
    for down_px in (0, 300, 600, 900):
        page.evaluate(f"scrollTo(0, {down_px})")
        ground, after = _boxes(page, ".ground", ".photos")
        assert ground["y"] + ground["height"] <= after["y"]
    page.evaluate("scrollTo(0, 0)")
    close = _boxes(page, "#pencil-close")[0]
    assert close["y"] + close["height"] <= 768  # what is needed first stands in sight, below the map
