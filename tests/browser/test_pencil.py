"""The ground worked, drawn on the map as a person without a GPS does, by mouse, finger or keys; and logged."""

from __future__ import annotations

import json
import math
import re
import shlex
import shutil
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import shapely
from playwright.sync_api import Browser, expect
from shapely.geometry import shape

from habmap.jobs.map import draw_map
from habmap.land.acreage import area_of_record_m2
from habmap.land.grid import LocalGrid
from habmap.measures import acres as to_acres
from habmap.place.store import GeoPackageStore

pytestmark = pytest.mark.browser

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
Open = Callable[..., Any]
#: The page works Snyder's closed formulas in doubles and the library asks PROJ: they should agree to rounding. The
#: file carries acres to six decimals, which on the smallest ground drawn here is some 1e-5 of it.
SAME_ACRES_REL = 1e-5
#: The library's own demand on what is drawn by hand.
DEMANDED_REL = 1e-3

Share = tuple[float, float]
KITE: Sequence[Share] = ((0.3, 0.4), (0.6, 0.35), (0.55, 0.7), (0.35, 0.6))
HOOK: Sequence[Share] = (
    (0.2, 0.25),
    (0.8, 0.25),
    (0.8, 0.75),
    (0.6, 0.75),
    (0.55, 0.4),
    (0.3, 0.4),
    (0.3, 0.8),
    (0.2, 0.8),
)
BOW: Sequence[Share] = ((0.3, 0.3), (0.6, 0.6), (0.6, 0.3), (0.3, 0.6))


@pytest.fixture(scope="module")
def drawn_map(sample_place: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("pencil") / "map.html"
    draw_map(GeoPackageStore.open(sample_place), target=target, now=NOW)
    return target


@pytest.fixture(scope="module")
def touch_page(browser: Browser, drawn_map: Path) -> Iterator[Any]:
    """A telephone: 390 px wide, a finger instead of a mouse."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, offline=True)
    page = context.new_page()
    page.goto(drawn_map.as_uri())
    page.wait_for_selector("body[data-drawn=yes]")
    yield page
    context.close()


class Hand:
    """A person's hand on the page."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.page.wait_for_selector("body[data-drawn=yes]")

    def at(self, share: Share) -> tuple[float, float]:
        """Return where a share of the map's width and height lies in the window [px]."""
        frame = self.page.locator(".frame .leaflet-container").bounding_box()
        return frame["x"] + frame["width"] * share[0], frame["y"] + frame["height"] * share[1]

    def press(self, name: str) -> None:
        self.page.click(f"#pencil-{name}")

    def read(self, name: str) -> str:
        return str(self.page.inner_text(f"#pencil-{name}"))

    def tap(self, corners: Sequence[Share]) -> None:
        self.page.evaluate("scrollTo(0, 0)")
        for corner in corners:
            self.page.mouse.click(*self.at(corner))

    def stroke(self, steps: Sequence[Share]) -> None:
        self.page.evaluate("scrollTo(0, 0)")
        self.page.mouse.move(*self.at(steps[0]))
        self.page.mouse.down()
        for step in steps[1:]:
            self.page.mouse.move(*self.at(step))
        self.page.mouse.up()

    def save(self, folder: Path) -> Path:
        with self.page.expect_download() as coming:
            self.press("save")
        target: Path = folder / coming.value.suggested_filename
        coming.value.save_as(target)
        return target

    def view(self) -> Any:
        return self.page.evaluate(
            "() => { const m = window[Object.keys(window).find((k) => k.startsWith('map_'))], c = m.getCenter();"
            " return [c.lat, c.lng, m.getZoom()]; }"
        )


def _loop(*, turns: float = 1.0, wobble: float = 0.05, steps: int = 45) -> list[Share]:
    angles = [2 * math.pi * turns * k / steps for k in range(steps + 1)]
    return [(0.5 + 0.25 * math.cos(a), 0.5 + 0.25 * math.sin(a) + wobble * math.sin(3 * a)) for a in angles]


def _acres_read(text: str) -> float:
    found = re.match(r"([\d,.]+) acres", text)
    assert found, text
    return float(found[1].replace(",", ""))


def _polygon(path: Path) -> tuple[Any, dict[str, Any]]:
    """Return the one polygon of a file and its properties, after a look at what RFC 7946 asks for."""
    whole = json.loads(path.read_text())
    assert whole["type"] == "FeatureCollection" and set(whole) == {"type", "features"}
    (feature,) = whole["features"]
    (ring,) = feature["geometry"]["coordinates"]
    assert feature["type"] == "Feature" and feature["geometry"]["type"] == "Polygon"
    assert len(ring) >= 4 and ring[0] == ring[-1]  # section 3.1.6: closed, four positions or more
    assert shapely.LinearRing(ring).is_ccw  # section 3.1.6: right-hand rule
    for lon, lat in ring:  # section 4: longitude first; section 11.2: no more digits than say something
        assert -180 <= lon <= 180 and -90 <= lat <= 90
        assert max(len(repr(value).partition(".")[2]) for value in (lon, lat)) <= 7
    polygon = shape(feature["geometry"])
    assert polygon.is_valid
    return polygon, feature["properties"]


def test_acres_drawn_are_the_librarys_acres_for_small_large_hooked_and_free_outlines(
    open_page: Open, drawn_map: Path, sample_place: Path, tmp_path: Path
) -> None:
    seen = open_page(drawn_map)
    hand, grid = Hand(seen.page), GeoPackageStore.open(sample_place).grid
    assert grid is not None
    hand.press("open")
    found: list[float] = []

    def compare(name: str) -> None:
        read = _acres_read(hand.read("sum"))
        (tmp_path / name).mkdir()
        polygon, properties = _polygon(hand.save(tmp_path / name))
        library = to_acres(area_of_record_m2(polygon, grid=grid))
        print(f"{name}: page {properties['acres']}, library {library:.6f} acres")
        assert properties["acres"] == pytest.approx(library, rel=SAME_ACRES_REL)
        assert abs(read - library) <= max(DEMANDED_REL * library, 0.005)  # what is read is rounded to a hundredth
        assert set(properties) == {"place", "drawn_on", "acres", "made_by"}
        assert "habmap" in properties["made_by"] and re.fullmatch(r"\d{4}-\d\d-\d\d", properties["drawn_on"])
        found.append(library)
        hand.press("over")

    for name, corners in (("kite", KITE), ("hook", HOOK), ("hook the other way round", HOOK[::-1])):
        hand.tap(corners)
        hand.press("close")
        compare(name)
    hand.press("stroke")
    hand.stroke(_loop())
    compare("stroke")
    hand.press("corners")
    seen.page.focus(".pencil-slate")
    for _ in range(8):
        seen.page.keyboard.press("+")
    hand.tap(KITE)
    hand.tap(KITE[:1])  # the first corner again closes it
    assert "Closed" in hand.read("says")
    compare("small")
    seen.page.focus(".pencil-slate")
    for _ in range(12):
        seen.page.keyboard.press("-")
    hand.tap(HOOK)
    hand.press("close")
    compare("large")
    assert min(found) < 1 and max(found) > 500
    assert found[1] == pytest.approx(found[2], rel=1e-12)
    assert [address for address in seen.requests if not address.startswith("file:")] == []
    assert len(seen.requests) == 1 and not seen.complaints


def test_the_line_that_the_page_gives_logs_the_ground_and_the_account_counts_it(
    open_page: Open, drawn_map: Path, sample_place: Path, tmp_path: Path, run_habmap: Callable[..., Any]
) -> None:
    place = tmp_path / "place"
    shutil.copytree(sample_place, place)
    hand = Hand(open_page(drawn_map).page)
    hand.press("open")
    hand.tap(KITE)
    hand.press("close")
    assert "PRACTICE" in hand.read("line") and "YYYY-MM-DD" in hand.read("line")
    hand.page.select_option("#pencil-practice", "girdle")
    assert "--killed-pct PERCENT" in hand.read("line")  # without it the log would refuse the line
    done = {line["practice"] for line in run_habmap("acres", "--json", cwd=place).json["practices"]}
    new = next(practice for practice in ("pull", "graze", "mulch", "haul", "other") if practice not in done)
    hand.page.select_option("#pencil-practice", new)
    hand.page.fill("#pencil-day", "2026-07-30")
    file = hand.save(place)
    name, *words = shlex.split(hand.read("line"))
    assert name == "habmap" and words == ["log", new, "--date", "2026-07-30", "--patch", file.name]
    drawn = _polygon(file)[1]["acres"]
    logged = run_habmap(*words, "--json", cwd=place)
    assert logged.code == 0, logged.err
    assert logged.json["acres"] == pytest.approx(drawn, rel=SAME_ACRES_REL)
    account = run_habmap("acres", "--json", cwd=place).json["practices"]
    counted = next(line for line in account if line["practice"] == new)
    inside = sum(unit["acres"] for unit in logged.json["units"])
    assert counted["acres"] == pytest.approx(inside, rel=1e-9)
    assert inside + logged.json["outside_acres"] == pytest.approx(drawn, rel=SAME_ACRES_REL)


def test_an_outline_that_crosses_itself_is_refused_in_words_and_mended_by_taking_back_or_dragging(
    open_page: Open, drawn_map: Path
) -> None:
    seen = open_page(drawn_map)
    hand = Hand(seen.page)
    hand.press("open")
    hand.press("close")
    assert "three corners" in hand.read("says")
    hand.tap(BOW[:3])
    assert _acres_read(hand.read("sum")) > 0
    hand.tap(BOW[3:])
    assert "No acres" in hand.read("sum") and "crosses" in hand.read("says")
    hand.press("close")
    assert "crosses itself" in hand.read("says") and "not taken" in hand.read("says")
    assert not seen.page.is_visible("#pencil-keep")
    hand.press("back")
    hand.press("close")
    assert "Closed" in hand.read("says") and seen.page.is_visible("#pencil-keep")
    before = _acres_read(hand.read("sum"))
    hand.stroke([BOW[2], (0.7, 0.2)])  # drag one corner out
    assert "Corner moved" in hand.read("says") and _acres_read(hand.read("sum")) > before
    hand.press("over")
    hand.press("back")
    assert "3 corners" in hand.read("says")  # what was rubbed out comes back
    hand.press("over")
    hand.tap(KITE)
    hand.press("close")
    before = _acres_read(hand.read("sum"))
    hand.stroke([KITE[1], (0.45, 0.8)])  # over the edge opposite
    assert "crosses itself" in hand.read("says") and not seen.page.is_visible("#pencil-keep")
    hand.stroke([(0.45, 0.8), KITE[1]])
    assert _acres_read(hand.read("sum")) == pytest.approx(before, rel=0.01) and seen.page.is_visible("#pencil-keep")
    hand.press("over")
    hand.press("stroke")
    hand.stroke([(0.5 + 0.3 * math.sin(a), 0.5 + 0.2 * math.sin(2 * a)) for a in (k / 8 for k in range(48))])
    assert "crosses itself" in hand.read("says") and not seen.page.is_visible("#pencil-keep")
    assert not seen.complaints


def test_a_stroke_whose_ends_overlap_is_closed_where_they_meet(open_page: Open, drawn_map: Path) -> None:
    hand = Hand(open_page(drawn_map).page)
    hand.press("open")
    hand.press("stroke")
    before = hand.view()
    hand.stroke(_loop())
    once = _acres_read(hand.read("sum"))
    hand.press("over")
    hand.stroke(_loop(turns=1.1))
    assert "overlapped" in hand.read("says")
    assert _acres_read(hand.read("sum")) == pytest.approx(once, rel=0.02)  # a hand's width of about a pixel
    hand.stroke([(0.1, 0.1), (0.2, 0.1), (0.2, 0.2)])
    assert "an outline already" in hand.read("says")
    assert hand.view() == before  # the map lay still under all of it
    hand.press("over")
    hand.stroke([(0.5, 0.5), (0.502, 0.5)])
    assert "too short" in hand.read("says")


def test_keys_alone_draw_close_mend_and_save(
    open_page: Open, drawn_map: Path, sample_place: Path, tmp_path: Path
) -> None:
    seen = open_page(drawn_map)
    page, hand, grid = seen.page, Hand(seen.page), GeoPackageStore.open(sample_place).grid
    assert grid is not None
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "pencil-open":
            break
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.className").startswith("pencil-slate")
    assert page.locator("#pencil-says").get_attribute("aria-live") == "polite"
    before = hand.view()
    page.keyboard.press("Enter")
    assert "Corner 1 set" in hand.read("says")
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        for _ in range(8):
            page.keyboard.press(key)
        expect(page.locator("#pencil-says")).to_have_text(
            re.compile(r"^In .+, [\d,]+ ft (east|south|west) of the last corner")
        )
        page.keyboard.press("Enter")
    assert "Corner 4 set" in hand.read("says") and " acres" in hand.read("says")
    page.keyboard.press("Backspace")
    assert "3 corners are left" in hand.read("says")
    page.keyboard.press("Enter")
    page.keyboard.press("c")
    assert "Closed" in hand.read("says") and hand.view() == before
    square = _acres_read(hand.read("sum"))
    page.keyboard.press("m")
    assert "picked up" in hand.read("says")
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert "Corner moved" in hand.read("says") and _acres_read(hand.read("sum")) > square
    for _ in range(40):
        page.keyboard.press("ArrowLeft")  # past the frame the map goes along
    assert hand.view()[1] < before[1]
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "pencil-save":
            break
    with page.expect_download() as coming:
        page.keyboard.press("Enter")
    coming.value.save_as(tmp_path / "keys.geojson")
    polygon, properties = _polygon(tmp_path / "keys.geojson")
    assert properties["acres"] == pytest.approx(to_acres(area_of_record_m2(polygon, grid=grid)), rel=SAME_ACRES_REL)
    page.focus(".pencil-slate")
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.id") == "pencil-open" and not page.is_visible("#pencil-kit")
    assert not seen.complaints


def test_units_are_not_picked_while_drawing_and_are_again_after(open_page: Open, drawn_map: Path) -> None:
    seen = open_page(drawn_map)
    hand = Hand(seen.page)
    on_unit: Share = (0.5, 0.6)

    def picked(count: int) -> None:
        expect(seen.page.locator("tr.unit.chosen")).to_have_count(count)

    hand.tap([on_unit])
    picked(1)
    hand.press("open")
    picked(0)
    hand.tap([on_unit])
    picked(0)
    assert "Corner 1 set" in hand.read("says")
    seen.page.evaluate("document.querySelector('path.unit').focus()")
    assert seen.page.evaluate("document.activeElement.tagName") != "path"
    middle = hand.view()
    hand.stroke([(0.7, 0.3), (0.5, 0.35), (0.4, 0.4)])  # between two corners the map may be dragged along
    assert hand.view() != middle and hand.read("sum").endswith("1 corner set")
    seen.page.click("#whole")
    hand.press("done")
    hand.tap([on_unit])
    picked(1)


def test_a_finger_draws_on_a_telephone_and_the_map_lies_still(touch_page: Any) -> None:
    hand, page = Hand(touch_page), touch_page
    page.tap("#pencil-open")
    small = page.evaluate(
        "[...document.querySelectorAll('#pencil-kit button')].filter((b) => b.checkVisibility())"
        ".map((b) => b.getBoundingClientRect()).filter((r) => r.height < 44 || r.width < 44).length"
    )
    assert small == 0
    frame = page.locator(".frame").bounding_box()
    assert page.locator("#pencil-kit").bounding_box()["y"] >= frame["y"] + frame["height"]  # under the map
    page.evaluate("document.querySelector('.frame').scrollIntoView()")
    for corner in (*KITE, KITE[0]):
        page.touchscreen.tap(*hand.at(corner))
    assert "Closed" in hand.read("says") and _acres_read(hand.read("sum")) > 1
    page.tap("#pencil-over")
    page.tap("#pencil-stroke")
    page.evaluate("document.querySelector('.frame').scrollIntoView()")
    before = (hand.view(), page.evaluate("scrollY"))
    finger = page.context.new_cdp_session(page)

    def touch(kind: str, *points: Share) -> None:
        places = [dict(zip("xy", hand.at(point), strict=True)) for point in points]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": places})

    first, *others = _loop(steps=40)
    touch("touchStart", first)
    for point in others:
        touch("touchMove", point)
    touch("touchEnd")
    assert "Closed" in hand.read("says") and _acres_read(hand.read("sum")) > 1
    assert (hand.view(), page.evaluate("scrollY")) == before
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_second_finger_is_no_stroke(touch_page: Any) -> None:
    hand, page = Hand(touch_page), touch_page
    if page.is_visible("#pencil-open"):
        page.tap("#pencil-open")
    page.dispatch_event("#pencil-over", "click")
    page.dispatch_event("#pencil-corners", "click")
    page.evaluate("document.querySelector('.frame').scrollIntoView()")
    finger = page.context.new_cdp_session(page)
    places = [dict(zip("xy", hand.at(point), strict=True)) for point in ((0.4, 0.4), (0.6, 0.6))]
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": places[:1]})
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": places})
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert hand.read("sum").startswith("0 acres")


def test_nothing_of_it_is_printed(open_page: Open, drawn_map: Path) -> None:
    seen = open_page(drawn_map)
    hand = Hand(seen.page)
    hand.press("open")
    hand.tap(KITE)
    seen.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    for part in (".pencil", ".pencil-slate"):
        assert not seen.page.is_visible(part)
    seen.page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert seen.page.is_visible(".pencil-slate") and "4 corners" in hand.read("sum")


def test_the_public_may_draw_and_a_place_without_ground_takes_the_drawings_own_middle(
    open_page: Open, sample_place: Path, tmp_path: Path, run_habmap: Callable[..., Any]
) -> None:
    public, bare = tmp_path / "public.html", tmp_path / "bare"
    draw_map(GeoPackageStore.open(sample_place), target=public, now=NOW, audience="public")
    assert run_habmap("start", bare, "--name", "Bare & <b>place</b>").code == 0
    assert run_habmap("map", "-o", tmp_path / "bare.html", place=bare).code == 0
    for name in ("public", "bare"):
        seen = open_page(tmp_path / f"{name}.html")
        hand = Hand(seen.page)
        hand.press("open")
        hand.tap(HOOK)
        hand.press("close")
        file = hand.save(tmp_path)
        polygon, properties = _polygon(file)
        grid = GeoPackageStore.open(sample_place).grid
        if name == "bare":
            west, south, east, north = polygon.bounds
            grid = LocalGrid(lat=(south + north) / 2, lon=(west + east) / 2)
            assert properties["place"] == "Bare & <b>place</b>"
            logged = run_habmap("log", "mow", "--date", "2026-07-30", "--patch", file, "--json", place=bare)
            assert logged.code == 0 and logged.json["acres"] == pytest.approx(properties["acres"], rel=SAME_ACRES_REL)
        assert grid is not None
        assert properties["acres"] == pytest.approx(to_acres(area_of_record_m2(polygon, grid=grid)), rel=SAME_ACRES_REL)
        assert not seen.complaints and len(seen.requests) == 1


CORNERS = ((-96.32, 37.06), (-96.318, 37.06), (-96.318, 37.062), (-96.32, 37.062))


@pytest.mark.parametrize(
    ("geometry", "words"),
    [
        ({"type": "Polygon", "coordinates": [[CORNERS[i] for i in (0, 2, 1, 3, 0)]]}, "cross"),
        ({"type": "LineString", "coordinates": CORNERS[:2]}, "polygon"),
        ({"type": "Polygon", "coordinates": []}, "empty"),
    ],
)
def test_the_log_refuses_a_bad_drawing_in_words_and_keeps_nothing(
    geometry: dict[str, Any], words: str, sample_place: Path, tmp_path: Path, run_habmap: Callable[..., Any]
) -> None:
    file = tmp_path / "bad.geojson"
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    file.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    before = run_habmap("history", "--json", place=sample_place).out
    refused = run_habmap("log", "mow", "--date", "2026-07-30", "--patch", file, place=sample_place)
    assert refused.code == 3 and words in refused.err and "bad.geojson" in refused.err, refused.err
    assert run_habmap("history", "--json", place=sample_place).out == before
