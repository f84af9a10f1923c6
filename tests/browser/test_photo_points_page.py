"""Photo points as a person meets them: wedges on the map, pictures side by side, by pointer and by key."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from habmap.jobs.map import draw_map
from habmap.jobs.photos import photos
from habmap.place.store import GeoPackageStore

pytestmark = pytest.mark.browser
NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def sheet(sample_place: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("photos") / "map.html"
    draw_map(GeoPackageStore.open(sample_place), target=target, now=NOW)
    return target


def test_a_wedge_opens_its_pair_and_turns_the_way_it_looks(
    open_page: Callable[..., Any], sheet: Path, sample_place: Path
) -> None:
    listed = photos(GeoPackageStore.open(sample_place)).points
    opened = open_page(sheet)
    page = opened.page
    wedges = page.locator(".photopoint")
    assert wedges.count() == len(listed) == 3
    turns = page.locator(".photopoint path:nth-child(2)").evaluate_all(
        "all => all.map(n => n.getAttribute('transform'))"
    )
    assert turns == [f"rotate({line.direction_deg:g})" for line in listed]
    box = wedges.nth(0).bounding_box()
    assert box is not None and min(box["width"], box["height"]) >= 24  # WCAG 2.2, 2.5.8

    south = next(i for i, line in enumerate(listed) if line.unit_id == "C1")
    wedges.nth(south).click()
    note = page.locator("#look")
    alts = note.locator("img").evaluate_all("all => all.map(n => n.alt)")
    assert alts == [
        "Looking northwest from South Bluff, January 2025; before the cut of January 18, 2025",
        "Looking northwest from South Bluff, July 2026; after the burn of March 21, 2026",
    ]
    left, right = note.locator("img").evaluate_all("all => all.map(n => n.getBoundingClientRect().toJSON())")
    assert left["right"] <= right["left"] and abs(left["top"] - right["top"]) < 1  # side by side
    assert min(left["width"], right["width"]) >= 600  # large: each half of the window
    assert note.locator("img").evaluate_all("all => all.every(n => n.complete && n.naturalWidth === 640)")
    assert opened.complaints == []
    assert [request for request in opened.requests if not request.startswith(("file:", "data:"))] == []


def test_keys_alone_open_it_turn_to_the_next_and_lead_back(open_page: Callable[..., Any], sheet: Path) -> None:
    page = open_page(sheet).page
    first = page.locator(".photopoint").first
    first.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#look[open] .pair")
    titles = page.locator(".photos h3").all_inner_texts()
    assert page.locator("#look-title").inner_text() == titles[0]
    page.keyboard.press("ArrowRight")
    assert page.locator("#look-title").inner_text() == titles[1]
    page.keyboard.press("ArrowLeft")
    page.locator("#look .picture").nth(1).press("Enter")  # one alone
    assert page.locator("#look img").evaluate_all("all => all.filter(n => n.offsetParent).length") == 1
    page.keyboard.press("Escape")  # both again
    assert page.locator("#look img").evaluate_all("all => all.filter(n => n.offsetParent).length") == 2
    page.keyboard.press("Escape")
    page.wait_for_selector("#look:not([open])", state="attached")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')").startswith("Photo point 1: looking")


def test_pairs_are_read_without_the_map_and_find_their_wedge(open_page: Callable[..., Any], sheet: Path) -> None:
    page = open_page(sheet, width_px=390, height_px=844).page
    assert page.locator(".photos h2").inner_text() == "Then and now"
    assert page.locator(".photos li").count() == 3
    assert page.locator(".photos img:not([alt]), .photos img[alt='']").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert min(page.locator(".photos img").evaluate_all("all => all.map(n => n.offsetWidth)")) >= 340
    page.locator(".photos h3 button").nth(2).click()
    here = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert here.startswith("Photo point 3: ")
    wedge, frame = page.locator(".photopoint").nth(2).bounding_box(), page.locator(".frame").bounding_box()
    assert wedge is not None and frame is not None
    assert frame["y"] <= wedge["y"] <= frame["y"] + frame["height"] and 0 <= wedge["y"] <= 844
    page.locator(".photos .picture").nth(4).click()
    looked = page.locator("#look").bounding_box()
    assert looked is not None and looked["x"] >= 0 and looked["x"] + looked["width"] <= 390
    assert page.locator("#look-title").inner_text() == page.locator(".photos h3").nth(2).inner_text()


def test_the_public_copy_leaves_out_the_point_that_looks_at_the_nest(
    open_page: Callable[..., Any], sample_place: Path, tmp_path: Path
) -> None:
    store = GeoPackageStore.open(sample_place)
    draw_map(store, target=tmp_path / "public.html", now=NOW, audience="public")
    page = open_page(tmp_path / "public.html").page
    shown = page.locator(".photos h3").all_inner_texts()
    assert len(shown) == sum(line.for_public for line in photos(store).points) == 2
    assert not any("Middle Bluff" in words for words in shown)
    text = (tmp_path / "public.html").read_text(encoding="utf-8")
    assert "middle_bluff" not in text and "south_bluff" not in text  # no file names


def test_on_paper_the_pictures_stay_away(open_page: Callable[..., Any], sheet: Path) -> None:
    page = open_page(sheet).page
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert not page.locator(".photos").is_visible()
