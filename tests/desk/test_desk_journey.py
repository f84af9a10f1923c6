"""A person's path at the desk in a real browser: from nothing to a map of own ground with a day's work on it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from desk_process import Running
from fakes import GRID
from playwright.sync_api import Browser, Page, expect
from shapely.geometry import box, mapping
from small_places import make_place, square, write_dem
from walk_makers import MORNING_S

import habmap
from habmap.records import Sighting

pytestmark = pytest.mark.browser
Begin = Callable[..., Running]
#: Long enough for a first page on a busy machine [ms].
PATIENCE_MS = 45_000
DESKTOP, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 780}


@dataclass
class Seen:
    """A browser at the desk, what it asked for and what it complained of."""

    page: Page
    desk: Running
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def check(self) -> None:
        """Nothing went elsewhere, and nothing was amiss on any page."""
        assert [one for one in self.requests if not one.startswith((f"{self.desk.origin}/", "data:", "blob:"))] == []
        assert self.complaints == []


@pytest.fixture
def at_desk(browser: Browser, begin: Begin) -> Iterator[Callable[..., Seen]]:
    """Open a desk in a browser of a size, by the address that it prints."""
    contexts: list[Any] = []

    def opened(*, size: dict[str, int], place: Path | None = None, **wishes: Any) -> Seen:
        desk = begin(place=place)
        context = browser.new_context(viewport=size, **wishes)
        contexts.append(context)
        seen = Seen(page=context.new_page(), desk=desk)
        seen.page.set_default_timeout(PATIENCE_MS)
        seen.page.on("request", lambda request: seen.requests.append(request.url))
        seen.page.on(
            "console", lambda said: seen.complaints.append(said.text) if said.type in ("error", "warning") else None
        )
        seen.page.on("pageerror", lambda error: seen.complaints.append(str(error)))
        # From the start: asked for only at the press of a key, the browser may take the key first, open its own
        # window for files, which is closed again unseen, and never tell of it.
        seen.page.on("filechooser", lambda _: None)
        seen.page.goto(desk.address)
        return seen

    yield opened
    for context in contexts:
        for page in context.pages:
            print(page.url, page.locator("body").inner_text()[:2000], sep="\n")  # shown where a test failed
        context.close()


@pytest.fixture
def own_dem(tmp_path: Path) -> Path:
    """Elevation of ground that nobody has seen: a slope toward the southwest."""
    return write_dem(tmp_path / "own_ground.tif", lambda east, north: 300 + 0.15 * east + 0.1 * north)


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_from_nothing_to_a_map_of_own_ground_with_a_days_work_by_mouse(
    at_desk: Callable[..., Seen], own_dem: Path, size: dict[str, int], run_habmap: Any
) -> None:
    seen = at_desk(size=size)
    page = seen.page
    # 1 a name
    page.get_by_label("what you call the property").fill("Cedar Hollow")
    page.get_by_label("time zone").fill("America/Chicago")
    page.get_by_role("button", name="make it").click()
    page.get_by_role("heading", name="First the ground").wait_for()
    # 2 elevation
    page.locator("#field-dem-file").set_input_files(own_dem)
    page.get_by_role("button", name="bring the elevation").click()
    page.get_by_role("heading", name="Loading of elevation: done.").wait_for()
    page.get_by_role("link", name="on with the first steps").click()
    # 3 an outline, drawn over the relief
    page.get_by_role("link", name="Draw one on the map").click()
    draw_square(page)
    page.get_by_role("button", name="make it a unit").click()
    page.get_by_label("short name").fill("N1")
    page.get_by_label("what people call it").fill("North stand")
    page.get_by_role("button", name="add the unit").click()
    expect(page.get_by_role("status")).to_contain_text("Saved: unit N1")
    # 4 the first day of work: all of it
    page.get_by_role("link", name="Log work").first.click()
    page.get_by_role("link", name="cut", exact=True).click()
    page.get_by_label("day of the work").fill("2026-02-03")
    page.get_by_label("N1, North stand").check()
    page.get_by_label("yes, every bit of each unit ticked was covered").check()
    page.get_by_label("person-hours").fill("6.5")
    page.get_by_role("button", name="look at it before it is saved").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Preview, nothing is written")
    expect(page.get_by_text("Chain saws and falling trees maim and kill.")).to_be_visible()
    page.get_by_role("button", name="save it").click()
    expect(page.get_by_role("status")).to_contain_text("Saved. Cut on Feb 3, 2026")
    # 5 the map
    page.get_by_role("link", name="Map", exact=True).click()
    page.wait_for_selector("body[data-drawn=yes]")
    expect(page.get_by_role("heading", level=1)).to_contain_text("treated at least once")
    assert page.locator("path.unit").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    seen.check()
    # the command tells the same figures
    (place,) = (seen.desk.home / "habmap").iterdir()
    totals = run_habmap("acres", "--json", place=place).json["totals"]
    assert totals["treated_acres"] == pytest.approx(totals["acres"])
    assert f"{totals['acres']:,.1f}" in page.locator("tfoot").inner_text()


def draw_square(page: Page) -> None:
    """Draw four corners on the map by mouse or finger, and close them."""
    page.wait_for_selector("body[data-drawn=yes]")
    page.get_by_role("button", name="draw where you worked").click()
    slate = page.locator(".pencil-slate")
    where = slate.bounding_box()
    assert where is not None
    middle = (where["x"] + where["width"] / 2, where["y"] + where["height"] / 2)
    reach = min(where["width"], where["height"]) / 5
    for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        page.mouse.click(middle[0] + dx * reach, middle[1] + dy * reach)
    page.get_by_role("button", name="close the outline").click()
    expect(page.locator("#pencil-says")).to_contain_text("Say below what it is")


def test_from_nothing_to_a_days_work_by_keys_alone(at_desk: Callable[..., Seen], own_dem: Path, tmp_path: Path) -> None:
    seen = at_desk(size=DESKTOP)
    page = seen.page
    press = page.keyboard.press

    def tab_to(selector: str) -> None:
        """Go by the Tab key until the focus stands on what is looked for, on the page that has it."""
        page.locator(selector).first.wait_for(state="attached")  # a page that says "wait" comes again by itself
        for _ in range(200):
            if page.evaluate("(wanted) => document.activeElement.matches(wanted)", selector):
                return
            press("Tab")
        raise AssertionError(f"the Tab key never reaches {selector}")

    tab_to("[name=name]")
    page.keyboard.type("Keys only")
    tab_to("[name=timezone]")
    press("Control+a")
    page.keyboard.type("America/Denver")
    press("Enter")
    page.get_by_role("heading", name="First the ground").wait_for()
    tab_to("#field-dem-file")
    with page.expect_file_chooser() as chosen:
        press("Enter")
    chosen.value.set_files(own_dem)
    tab_to("form[aria-label=Elevation] button")
    press("Enter")
    page.get_by_role("heading", name="Loading of elevation: done.").wait_for()
    tab_to("main a[href$='/lead']")
    press("Enter")
    page.get_by_role("heading", name="First the ground").wait_for()
    tab_to("main a[href$='/map']")
    press("Enter")
    page.wait_for_selector("body[data-drawn=yes]")
    tab_to("#pencil-open")
    press("Enter")
    press("Enter")
    for key in ("ArrowRight", "ArrowDown", "ArrowLeft"):
        for _ in range(8):
            press(key)
        press("Enter")
    press("c")
    tab_to("#drawn button:last-of-type")
    press("Enter")
    page.get_by_role("heading", name="An outline was drawn").wait_for()
    tab_to("[name=unit_id]")
    page.keyboard.type("K1")
    press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Saved: unit K1")
    tab_to("nav a[href$='/log']")
    press("Enter")
    page.get_by_role("heading", name="What was done?").wait_for()
    tab_to("main a[href*='practice=mow']")
    press("Enter")
    page.get_by_role("heading", name="Log work: mowed.").wait_for()
    tab_to("[name=date]")
    page.keyboard.type("03142026")
    tab_to("[name=unit]")
    press("Space")
    tab_to("[name=whole]")
    press("Space")
    tab_to("main button.first")
    press("Enter")
    page.get_by_role("heading", name="Preview, nothing is written").wait_for()
    tab_to("main button.first")
    press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Saved. Mowed on Mar 14, 2026")
    seen.check()


def write_walk(path: Path) -> Path:
    """Write a walk around a square of 100 m in a known corner of the map, ten meters a step."""
    ring = box(0, 0, 100, 100).exterior.segmentize(5)
    lonlat = list(GRID.to_lonlat(ring).coords)
    times = [datetime.fromtimestamp(MORNING_S + 4 * i, UTC) for i in range(len(lonlat))]
    points = "".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{at:%Y-%m-%dT%H:%M:%SZ}</time></trkpt>'
        for at, (lon, lat) in zip(times, lonlat, strict=True)
    )
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>",
        encoding="utf-8",
    )
    return path


def write_units(path: Path) -> Path:
    """Write a layer of two squares side by side."""
    features = [
        {
            "type": "Feature",
            "properties": {"unit_id": name, "cover": "cedar"},
            "geometry": mapping(GRID.to_lonlat(box(200 * i, 0, 200 * i + 200, 200))),
        }
        for i, name in enumerate(("A", "B"))
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


def test_a_walk_is_logged_with_its_own_day_and_uncertainty_and_undone(
    at_desk: Callable[..., Seen], tmp_path: Path, run_habmap: Any
) -> None:
    folder = tmp_path / "place"
    assert run_habmap("start", folder, "--name", "Walked", "--timezone", "America/Chicago").code == 0
    assert run_habmap("load", "units", write_units(tmp_path / "units.geojson"), place=folder).code == 0
    seen = at_desk(size=DESKTOP, place=folder)
    page = seen.page
    page.get_by_role("link", name="Log work").click()
    page.get_by_role("link", name="cut", exact=True).click()
    page.get_by_label("walks of a GPS").set_input_files(write_walk(tmp_path / "edge.gpx"))
    page.get_by_label("who").fill("Ana")
    page.get_by_role("button", name="look at it before it is saved").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("2026-03-14")
    expect(page.get_by_role("heading", level=1)).to_contain_text("±")
    expect(page.get_by_text("the work is dated 2026-03-14")).to_be_visible()
    assert run_habmap("history", "--json", place=folder).json["entries"] == []  # a look writes nothing
    page.get_by_role("link", name="change it first").click()
    expect(page.get_by_text("Brought already: edge.gpx")).to_be_visible()
    assert page.get_by_label("who").input_value() == "Ana"
    page.get_by_label("person-hours").fill("4")
    page.get_by_role("button", name="look at it before it is saved").click()
    page.get_by_role("button", name="save it").click()
    expect(page.get_by_role("status")).to_contain_text("Saved.")
    (line,) = run_habmap("history", "--json", place=folder).json["entries"]
    assert (line["who"], line["person_hours"], line["date"]) == ("Ana", 4.0, "2026-03-14")
    assert [path.name for path in (folder / "tracks").iterdir()] == [f"{line['number']}-edge.gpx"]
    assert line["acres"] == pytest.approx(100 * 100 / 4046.8564224, rel=0.02)
    page.get_by_role("link", name="undo the last line, 1").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("This withdraws line 1 itself")
    page.get_by_label("the reason").fill("wrong walk")
    page.get_by_role("button", name="withdraw it").click()
    expect(page.get_by_role("status")).to_contain_text("line 1: withdrawn")
    totals = run_habmap("acres", "--json", place=folder).json["totals"]
    assert totals["treated_acres"] == 0
    seen.check()


def test_a_form_half_filled_survives_a_reload(at_desk: Callable[..., Seen], demo_place: Path) -> None:
    seen = at_desk(size=DESKTOP, place=demo_place)
    page = seen.page
    page.get_by_role("link", name="Log work").click()
    page.get_by_role("link", name="cut", exact=True).click()
    page.get_by_label("who").fill("Two hands")
    page.get_by_label("share killed").fill("85")
    page.locator("[name=unit]").first.check()
    page.reload()
    assert page.get_by_label("who").input_value() == "Two hands"
    assert page.get_by_label("share killed").input_value() == "85"
    assert page.locator("[name=unit]").first.is_checked()
    # and what is typed while the page's script is still on its way
    page.route("**/desk.js*", lambda route: (page.get_by_label("who").fill("One hand"), route.continue_()))
    page.reload()
    assert page.get_by_label("who").input_value() == "One hand"
    assert page.get_by_label("share killed").input_value() == "85"
    page.unroute("**/desk.js*")
    page.reload()
    assert page.get_by_label("who").input_value() == "One hand"
    seen.check()


def test_a_unit_that_is_picked_on_the_map_is_logged(at_desk: Callable[..., Seen], demo_place: Path) -> None:
    seen = at_desk(size=DESKTOP, place=demo_place)
    page = seen.page
    page.get_by_role("link", name="Map", exact=True).click()
    page.wait_for_selector("body[data-drawn=yes]")
    page.locator("tr.unit[data-unit=C3] button").click()
    page.get_by_role("link", name="log work in C3").first.click()
    page.get_by_role("link", name="mowed", exact=True).click()
    assert page.locator("[name=unit][value=C3]").is_checked()
    assert page.locator("[name=unit]:checked").count() == 1
    seen.check()


def test_the_right_ground_of_a_line_is_drawn_and_the_place_of_a_plant_is_tapped(
    at_desk: Callable[..., Seen], run_habmap: Any, tmp_path: Path
) -> None:
    place = make_place(run_habmap, tmp_path / "two", [("A", square(0), {}), ("B", square(1), {})])
    assert run_habmap("log", "cut", "--date", "2026-03-14", "--unit", "A", "--whole", place=place).code == 0
    seen = at_desk(size=PHONE, place=place, has_touch=True)
    page = seen.page
    page.get_by_role("link", name="History", exact=True).click()
    page.get_by_role("link", name="correct line 1").click()
    page.get_by_label("person-hours").fill("7")
    page.get_by_text("It was on other ground").click()
    page.get_by_role("link", name="draw it on the map").click()
    draw_square(page)
    page.get_by_role("button", name="the right ground of line 1").click()
    expect(page.get_by_label("person-hours")).to_have_value("7")  # what was typed before is there
    page.get_by_label("the reason").fill("wrong stand")
    page.get_by_role("button", name="look at it before it is saved").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("line 1 would read")
    page.get_by_role("button", name="save the correction").click()
    expect(page.get_by_role("status")).to_contain_text("wrong stand")
    # a plant: its name is typed, its place tapped
    page.get_by_role("link", name="What has grown back").click()
    page.get_by_role("link", name="Write down what was seen or measured").click()
    page.get_by_role("link", name="a plant or an animal that was seen").click()
    page.get_by_label("species").fill("Colinus virginianus")
    page.locator("[name=eventDate]").fill("2026-05-14")
    page.get_by_role("link", name="tap the place on the map").click()
    page.wait_for_selector(".pencil-slate.drawing")
    where = page.locator(".pencil-slate").bounding_box()
    assert where is not None
    page.touchscreen.tap(where["x"] + where["width"] * 0.4, where["y"] + where["height"] * 0.5)
    expect(page.locator("#pencil-says")).to_contain_text("The place is set, in Stand A")
    page.get_by_role("button", name="this is the place").click()
    expect(page.get_by_label("species")).to_have_value("Colinus virginianus")
    page.get_by_role("button", name="look at it before it is saved").click()
    page.get_by_role("button", name="save it").click()
    expect(page.get_by_role("status")).to_contain_text("The next one?")
    seen.check()
    (sighting,) = habmap.open_place(place).all_of(Sighting)
    assert GRID.to_lonlat(square(0)).contains(sighting.geometry)
