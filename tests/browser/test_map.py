"""The map as a person meets it: opened from disk with the network cut, read, picked, narrowed to a phone, printed."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from shapely import box
from shapely.geometry import mapping

from habmap.jobs.acres import acres
from habmap.jobs.map import draw_map
from habmap.place.store import GeoPackageStore
from habmap.vocabulary import PRIVATE_FEATURE_KINDS

pytestmark = pytest.mark.browser

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
HOSTILE = '<img src=x onerror="document.title=1;alert(1)">'
Open = Callable[..., Any]


@pytest.fixture(scope="module")
def owner_map(sample_place: Path) -> Path:
    return sample_place / "out" / "map.html"


@pytest.fixture(scope="module")
def public_map(sample_place: Path) -> Path:
    target = sample_place / "out" / "public.html"
    draw_map(GeoPackageStore.open(sample_place), target=target, now=NOW, audience="public")
    return target


@dataclass
class Bare:
    """A place of hostile names, without elevation and without a log."""

    folder: Path
    map: Path


@pytest.fixture(scope="module")
def hostile_place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Callable[..., Any]) -> Bare:
    top = tmp_path_factory.mktemp("hostile")
    folder, layer, things = top / "place", top / "units.geojson", top / "features.geojson"
    names = (HOSTILE, "</script><script>alert(2)</script>", "שדה \u202eארז 🌲", "N" * 300)
    layer.write_text(json.dumps({
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"unit_id": f"U{i}", "name": name, "cover": "cedar"},
                "geometry": mapping(box(-96.32 + i * 0.003, 37.06, -96.318 + i * 0.003, 37.062)),
            }
            for i, name in enumerate(names)
        ],
    }))  # fmt: skip
    things.write_text(json.dumps({
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"kind": "house", "name": HOSTILE},
                "geometry": {"type": "Point", "coordinates": [-96.317, 37.061]},
            }
        ],
    }))  # fmt: skip
    for command in (
        ("start", folder, "--name", HOSTILE),
        ("--place", folder, "load", "units", layer),
        ("--place", folder, "load", "features", things),
        ("--place", folder, "map"),
    ):
        done = run_habmap(*command)
        assert done.code == 0, done.err + done.out
    return Bare(folder, folder / "out" / "map.html")


def _drawn(open_page: Open, path: Path, **size: int) -> Any:
    seen = open_page(path, **size)
    seen.page.wait_for_selector("body[data-drawn=yes]")
    return seen


def test_it_opens_with_the_network_cut_asks_for_nothing_and_complains_of_nothing(
    open_page: Open, owner_map: Path, public_map: Path
) -> None:
    for path in (owner_map, public_map):
        seen = _drawn(open_page, path)
        seen.page.locator("path.unit").first.focus()
        seen.page.keyboard.press("Enter")
        seen.page.get_by_role("button", name="zoom in").click()
        asked = [address for address in seen.requests if not address.startswith("data:")]
        assert asked == [path.as_uri()]
        assert seen.complaints == []


def test_it_draws_shade_ground_numbers_and_features(open_page: Open, owner_map: Path) -> None:
    page = _drawn(open_page, owner_map).page
    shade = page.locator("img.leaflet-image-layer")
    assert shade.evaluate("image => image.complete && image.naturalWidth > 100")
    assert page.locator("path[fill^='url(#stage-']").count() == 11  # one path a stage, and all are there
    assert page.locator(".mark.order span").first.is_visible()
    assert page.locator(".mark.day:not(.hushed) >> text=/\\d{4}/").count() == 0  # dates only closer in
    for _ in range(2):
        page.get_by_role("button", name="zoom in").click()
    assert page.locator(".mark.day:not(.hushed) >> text=/\\d{4}/").count() >= 1
    assert page.locator("#scale text").all_text_contents()[1].endswith(" ft")


def test_the_sentence_and_the_table_say_what_the_library_says(
    open_page: Open, owner_map: Path, sample_place: Path
) -> None:
    page = _drawn(open_page, owner_map).page
    account = acres(GeoPackageStore.open(sample_place))
    sentence = page.locator("h1").inner_text()
    treated, remaining = account.totals.treated_acres, account.totals.remaining_acres
    assert sentence.startswith(f"{treated:.1f} of {account.totals.cedar_acres:.1f} cedar acres treated at least once; ")
    assert f" {remaining:.1f} remain" in sentence
    assert page.locator("#treated").inner_text() == f"{treated:,.1f}"
    assert page.locator("#remaining").inner_text() == f"{remaining:,.1f}"
    rows = {row.get_attribute("data-unit"): row for row in page.locator("tr.unit").all()}
    assert set(rows) == {unit.unit_id for unit in account.units}
    for unit in account.units:
        figures = rows[unit.unit_id].locator("td.fig").all_inner_texts()
        assert figures[0].startswith(f"{unit.acres:,.1f}")
        if unit.cover in ("cedar", "mixed"):
            assert figures[1:] == [f"{unit.treated_acres:,.1f}", f"{unit.remaining_acres:,.1f}"]
        else:
            assert figures[1:] == ["–", "–"]


def test_picking_a_unit_on_the_map_or_in_the_list_tells_its_acres_ground_reasons_and_work(
    open_page: Open, owner_map: Path, sample_place: Path
) -> None:
    page = _drawn(open_page, owner_map).page
    account = {unit.unit_id: unit for unit in acres(GeoPackageStore.open(sample_place)).units}
    first = page.locator("tr.unit").first
    unit = account[first.get_attribute("data-unit") or ""]
    button = first.get_by_role("button")
    button.click()
    about = page.locator(f"#{button.get_attribute('aria-controls')}")
    assert button.get_attribute("aria-expanded") == "true"
    assert about.is_visible()
    told = about.inner_text()
    assert "Why it is number 1:" in told
    assert "slope" in told
    assert "Cut on" in told
    button.click()
    assert button.get_attribute("aria-expanded") == "false"
    assert not about.is_visible()
    ground = page.locator(f"path.unit[aria-label^='{unit.name}:']")
    ground.focus()
    page.keyboard.press("Enter")
    # On a wide screen: the outline and the row, and nothing over the map.
    assert page.locator(".leaflet-popup, #panel:visible").count() == 0
    assert "The ground:" in about.inner_text()
    assert button.get_attribute("aria-expanded") == "true"
    assert first.locator(".id").inner_text() == unit.unit_id  # commands take it


def test_on_a_phone_a_tapped_unit_is_told_under_the_map_which_stays_where_it_is(
    open_page: Open, owner_map: Path, sample_place: Path
) -> None:
    page = _drawn(open_page, owner_map, width_px=390, height_px=844).page
    unit = next(one for one in acres(GeoPackageStore.open(sample_place)).units if one.name == "Leaning Oak")
    page.locator(".frame").scroll_into_view_if_needed()
    where = """() => {
        const r = document.querySelector("path.unit[aria-label^='Leaning Oak:']").getBoundingClientRect(),
        f = document.querySelector('.frame').getBoundingClientRect();
        return [r.x - f.x, r.y - f.y, r.width, r.height, f.height]; }"""
    before = page.evaluate(where)
    ground = page.locator("path.unit[aria-label^='Leaning Oak:']").bounding_box()
    page.mouse.click(ground["x"] + ground["width"] / 2, ground["y"] + ground["height"] / 2)
    panel, frame = page.locator("#panel"), page.locator(".frame").bounding_box()
    assert panel.locator("h2").inner_text().endswith(f"Leaning Oak ({unit.unit_id})")
    assert f"{unit.remaining_acres:,.1f} remaining of {unit.acres:,.1f}" in panel.inner_text()
    assert "The ground:" in panel.inner_text()
    shown = panel.bounding_box()
    assert frame["y"] >= 0 and frame["y"] + frame["height"] <= shown["y"] <= 844 - 100  # both in sight
    assert page.evaluate(where) == before
    assert page.locator("tr.about:visible").count() == 0
    page.get_by_role("button", name="earlier", exact=True).click()
    assert " by " in panel.locator(".sums").inner_text()  # it tells of the day shown
    page.locator("#panel-close").click()
    assert not panel.is_visible()


def test_a_pick_from_the_list_gives_the_view_back(open_page: Open, owner_map: Path) -> None:
    page = _drawn(open_page, owner_map).page
    where = """() => { const r = document.querySelector('.mark.order').getBoundingClientRect(); return [r.x, r.y]; }"""
    for _ in range(3):
        page.get_by_role("button", name="zoom in").click()
    before = page.evaluate(where)
    button = page.get_by_role("button", name="Crooked Draw", exact=True)
    button.click()
    assert page.evaluate(where) != before
    button.click()
    assert page.evaluate(where) == pytest.approx(before, abs=1.5)


#: Ends when neither page nor map has moved for 24 frames.
AT_REST = """() => new Promise(done => {
    let last = '', still = 0;
    const look = () => {
        const now = `${scrollY} ${document.querySelector('path.unit').getBoundingClientRect().y}`;
        still = now === last ? still + 1 : 0;
        last = now;
        if (still < 24) requestAnimationFrame(look); else done();
    };
    look();
})"""


def test_a_thumb_on_the_map_scrolls_the_page_until_it_is_zoomed_in(open_page: Open, owner_map: Path) -> None:
    page = _drawn(open_page, owner_map, width_px=390, height_px=844).page
    screen = page.context.new_cdp_session(page)
    screen.send("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2})
    action = "getComputedStyle(document.querySelector('.leaflet-container')).touchAction"
    page.reload()
    page.wait_for_selector("body[data-drawn=yes]")
    where = """() => { const r = document.querySelector('path.unit').getBoundingClientRect(),
        f = document.querySelector('.frame').getBoundingClientRect(); return [r.x - f.x, r.y - f.y]; }"""

    def swipe(*fingers: float) -> None:
        frame = page.locator(".frame").bounding_box()
        top = frame["y"] + 320
        for step in range(8):
            points = [{"x": frame["x"] + x, "y": top - 25 * step, "id": i} for i, x in enumerate(fingers)]
            screen.send(
                "Input.dispatchTouchEvent", {"type": "touchMove" if step else "touchStart", "touchPoints": points}
            )
        screen.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        page.evaluate(AT_REST)  # a page that still glides would scroll on after it was put back

    assert page.evaluate(action) == "pan-x pan-y"
    ground = page.evaluate(where)
    swipe(180)
    assert page.evaluate("scrollY") > 60
    assert page.evaluate(where) == ground
    page.evaluate("scrollTo(0, 0)")
    swipe(120, 240)  # two fingers move the map, not the page
    assert page.evaluate("scrollY") == 0
    assert page.evaluate(where)[1] < ground[1] - 60
    page.get_by_role("button", name="whole property").click()
    page.get_by_role("button", name="zoom in").click()
    assert page.evaluate(action) == "none"
    page.evaluate("scrollTo(0, 0)")
    ground = page.evaluate(where)
    swipe(180)
    assert page.evaluate("scrollY") == 0
    assert page.evaluate(where) != ground


def test_hostile_names_stay_text_and_missing_things_are_said(open_page: Open, hostile_place: Bare) -> None:
    seen = _drawn(open_page, hostile_place.map)
    page = seen.page
    for button in page.locator("tr.unit button").all():
        button.click()
    page.locator("path.unit").first.focus()
    page.keyboard.press("Enter")
    assert seen.complaints == []
    assert page.locator("img").count() == 0
    assert HOSTILE in page.locator("tr.unit button").all_inner_texts()
    assert HOSTILE in page.locator(".place").inner_text()
    missing = page.locator(".missing").inner_text()
    assert "No elevation is loaded" in missing
    assert "Nothing is logged yet" in missing
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("width_px", [390, 320, 768, 1400])
def test_nothing_scrolls_sideways(open_page: Open, owner_map: Path, hostile_place: Bare, width_px: int) -> None:
    for path in (owner_map, hostile_place.map):
        page = _drawn(open_page, path, width_px=width_px, height_px=844).page
        assert page.evaluate("document.documentElement.scrollWidth") <= width_px
        if width_px < 500:
            frame = page.locator(".frame").bounding_box()
            assert frame and frame["width"] > 0.9 * width_px


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_it_prints_on_one_page_with_legend_table_and_cautions(
    open_page: Open, owner_map: Path, tmp_path: Path, paper: str
) -> None:
    page = _drawn(open_page, owner_map).page
    page.locator("tr.unit button").nth(2).click()  # an open row must not cost the print its page
    printed = page.pdf(format=paper, path=tmp_path / "map.pdf")
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    for what in (".legend", "table", "tfoot", ".cautions", ".method", ".frame"):
        room = page.locator(what).first.bounding_box()
        assert room and room["y"] + room["height"] <= 10 * 96
        assert room["x"] + room["width"] <= 7.5 * 96
    sizes_px = page.evaluate(
        """[...document.querySelectorAll("td, th, li, p")].filter(e => e.offsetParent)
             .map(e => parseFloat(getComputedStyle(e).fontSize))"""
    )
    assert min(sizes_px) >= 12  # 9 points
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("button#zoom-in").is_visible()


def test_every_control_is_reached_by_key_and_shows_where_one_is(open_page: Open, owner_map: Path) -> None:
    page = _drawn(open_page, owner_map).page
    buttons = page.locator("button:visible").count()
    reached = set()
    for _ in range(buttons + page.locator("path.unit").count() + 20):
        page.keyboard.press("Tab")
        here = page.evaluate(
            """() => { const e = document.activeElement, s = getComputedStyle(e);
                 return [e.tagName.toLowerCase(), e.id || e.getAttribute("aria-label") || e.textContent.trim(),
                         e.tagName === "path" ? s.strokeOpacity === "1" : s.outlineStyle !== "none"]; }"""
        )
        if here[0] == "body":
            break
        assert here[2], f"no visible focus on {here}"
        reached.add((here[0], here[1]))
    assert {("button", name) for name in ("zoom-in", "zoom-out", "whole", "earlier", "later")} <= reached
    assert ("div", "ruler") in reached
    assert sum(tag == "path" for tag, _ in reached) == page.locator("path.unit").count()
    assert sum(tag == "button" for tag, _ in reached) == buttons


def test_every_press_of_zoom_in_counts_however_quickly_it_follows(open_page: Open, owner_map: Path) -> None:
    page = _drawn(open_page, owner_map).page
    feet_in_px = """() => { const bar = document.querySelector('#scale svg');
        const feet = bar.getAttribute('aria-label').match(/([0-9]+) feet/)[1];
        return feet / bar.querySelector('path').getBBox().width; }"""
    before = page.evaluate(feet_in_px)
    page.evaluate("() => [1, 2, 3].forEach(() => document.getElementById('zoom-in').click())")
    assert before / page.evaluate(feet_in_px) > 2  # one press is 1.68 times as near, three are 4.76


def test_the_public_file_itself_holds_nothing_private(public_map: Path, owner_map: Path, sample_place: Path) -> None:
    store = GeoPackageStore.open(sample_place)
    public, owner = public_map.read_text(), owner_map.read_text()
    people = {entry.who for entry in store.entries() if entry.who}
    notes = {entry.note for entry in store.entries() if entry.note} | {u.notes for u in store.units() if u.notes}
    assert people and notes
    private = [f for f in store.features() if f.sensitive or f.kind in PRIVATE_FEATURE_KINDS]
    assert private, "the sample property must hold a private feature for this test to mean anything"
    for text in people | notes:
        assert text not in public
    assert any(person in owner for person in people)
    for feature in private:
        point = feature.geometry.centroid
        assert f"[{round(point.x, 6)},{round(point.y, 6)}]" not in public
        assert f"[{round(point.x, 6)},{round(point.y, 6)}]" in owner
        assert not feature.name or feature.name not in public
    houses = {feature.name for feature in store.features() if feature.kind in ("house", "building", "lane")}
    assert houses and all(name in owner and name not in public for name in houses)  # it may be a person's
    assert "person-hours" not in public
    assert " USD" not in public
    assert "(private)" in owner
    assert "(private)" not in public


def test_command_writes_whole_files_and_never_over_one_unasked(
    run_habmap: Callable[..., Any], sample_place: Path, tmp_path: Path
) -> None:
    target = tmp_path / "new" / "m.html"
    made = run_habmap("map", "-o", target, "--json", place=sample_place)
    assert made.code == 0, made.err
    told = made.json
    account = acres(GeoPackageStore.open(sample_place)).totals
    assert told["schema"] == "habmap/map/1"
    assert told["bytes"] == target.stat().st_size < 3_000_000
    assert told["treated_acres"] == pytest.approx(account.treated_acres, abs=1e-9)
    assert told["remaining_acres"] == pytest.approx(account.remaining_acres, abs=1e-9)
    target.write_text("mine", encoding="utf-8")
    before = target.read_bytes()
    refused = run_habmap("map", "-o", target, "--json", place=sample_place)
    assert refused.code == 3
    assert refused.json["schema"] == "habmap/error/1"
    assert target.read_bytes() == before
    again = run_habmap("map", "-o", target, "--overwrite", "--on", "2024-10-01", place=sample_place)
    assert again.code == 0, again.err
    assert target.read_bytes() != before
    assert [path.name for path in target.parent.iterdir()] == ["m.html"]
