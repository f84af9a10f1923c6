"""The map's time, its seasons and its table as a person works them: by key, by pointer, by touch, and back to now."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fakes import entry, unit
from shapely import box

from habmap.jobs.acres import acres
from habmap.jobs.map import draw_map
from habmap.place.store import GeoPackageStore
from habmap.work.acres import AcresResult

pytestmark = pytest.mark.browser

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
Open = Callable[..., Any]


@pytest.fixture(scope="module")
def store(sample_place: Path) -> GeoPackageStore:
    return GeoPackageStore.open(sample_place)


@pytest.fixture(scope="module")
def days(store: GeoPackageStore) -> list[date]:
    return sorted({row.date for row in store.entries()})


def _drawn(open_page: Open, path: Path, **size: int) -> Any:
    seen = open_page(path, **size)
    seen.page.wait_for_selector("body[data-drawn=yes]")
    seen.page.wait_for_selector("#ruler svg")
    return seen


def read_account(page: Any) -> dict[str, list[str]]:
    """Return acres, treated and remaining of every row of the table, as a person reads them."""
    return dict(
        page.evaluate(
            """[...document.querySelectorAll("tr.unit")].map(row => [row.dataset.unit,
                 [...row.querySelectorAll("td.fig")].map(cell => cell.innerText.split(/\\s/)[0])])"""
        )
    )


def check_shown(page: Any, account: AcresResult, *, is_now: bool = False) -> None:
    totals = account.totals
    sentence = page.locator("h1").inner_text()
    if totals.treated_acres >= 0.05:
        assert sentence.startswith(f"{totals.treated_acres:.1f} of {totals.cedar_acres:.1f} cedar acres treated")
    assert (" remain;" in sentence) == is_now
    assert page.locator("#treated").inner_text() == f"{totals.treated_acres:,.1f}"
    assert page.locator("#remaining").inner_text() == f"{totals.remaining_acres:,.1f}"
    shown = read_account(page)
    assert set(shown) == {one.unit_id for one in account.units}
    for one in account.units:
        worked = [f"{one.treated_acres:,.1f}", f"{one.remaining_acres:,.1f}"]
        expected = worked if one.cover in ("cedar", "mixed") else ["–", "–"]
        assert shown[one.unit_id] == [f"{one.acres:,.1f}", *expected], one.unit_id
    legend = dict(
        page.evaluate(
            """[...document.querySelectorAll(".legend .stages li")].filter(item => item.offsetParent)
                 .map(item => [item.dataset.stage || item.dataset.then, item.querySelector("small").innerText])"""
        )
    )
    stages = {
        stage: getattr(totals.stage_acres, stage)
        for stage in type(totals.stage_acres).__slots__
        if getattr(totals.stage_acres, stage) > 1e-6
    }
    assert legend == {stage: f"{value:,.1f} ac" for stage, value in stages.items()}
    assert page.locator("path[fill^='url(#stage-']").count() == len(stages)


def test_time_moves_by_key_and_each_day_shows_the_librarys_acres(
    open_page: Open, sample_place: Path, store: GeoPackageStore, days: list[date]
) -> None:
    seen = _drawn(open_page, sample_place / "out" / "map.html")
    page, ruler = seen.page, seen.page.get_by_role("slider", name="Day that the map shows")
    before = page.locator("h1").inner_text()
    assert ruler.get_attribute("aria-valuetext").startswith("now, July 18, 2026: ")
    assert int(ruler.get_attribute("aria-valuenow")) == int(ruler.get_attribute("aria-valuemax")) == len(days)
    ruler.focus()
    page.keyboard.press("Home")
    assert ruler.get_attribute("aria-valuetext") == "before any work"
    check_shown(page, acres(store, on=days[0] - timedelta(days=1)))
    for day in days[:6]:
        page.keyboard.press("ArrowRight")
        check_shown(page, acres(store, on=day))
    page.keyboard.press("PageUp")  # the first work of the next season
    day = next(day for day in days if day >= date(2025, 7, 1))
    check_shown(page, acres(store, on=day))
    assert page.locator("#ruler-said").inner_text() == "Sprayed on August 30, 2025: 3.9 acres on Hayrack Hill."
    assert "as of August 30, 2025" in page.locator(".place").inner_text()
    assert page.locator(".mark.order:not(.hushed)").filter(visible=True).count() == 0
    page.get_by_role("button", name="zoom in").click()
    ruler.focus()
    labels = page.locator(".mark.day:not(.hushed)").all_inner_texts()
    assert labels
    assert not [label for label in labels if label.endswith("2026")]
    page.keyboard.press("End")
    assert page.locator("h1").inner_text() == before
    check_shown(page, acres(store), is_now=True)
    assert page.locator(".mark.order:not(.hushed)").count() > 3
    assert seen.complaints == []


def test_time_moves_by_pointer_and_by_button(
    open_page: Open, sample_place: Path, store: GeoPackageStore, days: list[date]
) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html", width_px=390, height_px=844).page
    ruler = page.locator("#ruler")
    ruler.scroll_into_view_if_needed()
    room = ruler.bounding_box()
    assert room and room["height"] >= 24
    ticks = page.evaluate(
        """[...document.querySelectorAll("#ruler path[d^='M'][stroke-width='2.2']")].map(tick => tick.getBBox().x)"""
    )
    assert len(ticks) == len(days) + 1
    assert all(b - a > 5 for a, b in itertools.pairwise(ticks))
    page.mouse.move(room["x"] + ticks[-1], room["y"] + 30)
    page.mouse.down()
    page.mouse.move(room["x"] + ticks[8], room["y"] + 34, steps=4)
    page.mouse.up()
    page.wait_for_selector("#ruler[aria-valuenow='8']")
    check_shown(page, acres(store, on=days[7]))
    page.get_by_role("button", name="later", exact=True).click()
    check_shown(page, acres(store, on=days[8]))
    page.get_by_role("button", name="earlier", exact=True).click()
    check_shown(page, acres(store, on=days[7]))
    ruler.click(position={"x": ticks[3], "y": 30})
    page.wait_for_selector("#ruler[aria-valuenow='3']")
    check_shown(page, acres(store, on=days[2]))
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_role("button", name="now", exact=True).click()
    check_shown(page, acres(store), is_now=True)


@pytest.mark.parametrize(("width_px", "height_px"), [(1400, 900), (1366, 768), (390, 844)])
def test_a_step_of_the_ruler_moves_neither_the_map_nor_the_ruler(
    open_page: Open, sample_place: Path, width_px: int, height_px: int
) -> None:
    """The first move took 19 px from the map, so that the control jumped from under the hand."""
    page = _drawn(open_page, sample_place / "out" / "map.html", width_px=width_px, height_px=height_px).page
    seen = page.evaluate(
        """() => { const where = () => ["#ruler", ".frame"].flatMap((what) => {
                 const b = document.querySelector(what).getBoundingClientRect(); return [b.top, b.height]; });
             const found = [where()], press = (id) => { document.getElementById(id).click(); found.push(where()); };
             for (let i = 0; i < 40; i++) press("earlier");
             press("now"); press("earlier"); return found; }"""
    )
    for column in zip(*seen, strict=True):
        assert max(column) - min(column) <= 1.5


def test_columns_along_the_ruler_are_the_acres_worked_month_by_month(
    open_page: Open, sample_place: Path, store: GeoPackageStore, days: list[date]
) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html").page
    months = {(day.year, day.month) for day in days}
    columns = page.locator("#ruler .column").evaluate_all(
        "all => all.map(e => [e.x.baseVal.value, e.width.baseVal.value, e.height.baseVal.value])"
    )
    assert len(columns) == len(months)
    assert all(a[0] + a[1] <= b[0] + 0.5 for a, b in itertools.pairwise(columns))  # side by side, no solid bar
    # The tallest month by the days' own sentences: acres as the ruler tells them, day by day.
    acres_of: dict[tuple[int, int], float] = dict.fromkeys(sorted(months), 0.0)
    page.locator("#ruler").focus()
    for day in reversed(days):
        told = page.locator("#ruler-said").inner_text()
        acres_of[day.year, day.month] += sum(map(float, re.findall(r": ([0-9.]+) acres", told)))
        page.keyboard.press("ArrowLeft")
    shares = [value / max(acres_of.values()) for value in acres_of.values()]
    heights = [height / max(column[2] for column in columns) for _, _, height in columns]
    assert all(abs(a - max(b, 0.1)) <= 0.02 or (a <= 0.11 and b <= 0.1) for a, b in zip(heights, shares, strict=True))
    assert page.locator("#ruler .column.later").count() == len(columns)  # before any work, all lie ahead


def test_a_thumb_draws_the_time_along_the_ruler(
    open_page: Open, sample_place: Path, store: GeoPackageStore, days: list[date]
) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html", width_px=390, height_px=844).page
    page.locator("#ruler").scroll_into_view_if_needed()
    room = page.locator("#ruler").bounding_box()
    assert room
    screen = page.context.new_cdp_session(page)
    screen.send("Emulation.setTouchEmulationEnabled", {"enabled": True})

    def touch(kind: str, *spots: tuple[float, float]) -> None:
        points = [{"x": room["x"] + x, "y": room["y"] + y} for x, y in spots]
        screen.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", (room["width"] - 9, 30))
    for x in range(int(room["width"]) - 20, 9, -20):
        touch("touchMove", (x, 32))
    touch("touchMove", (9, 32))
    touch("touchEnd")
    page.wait_for_selector("#ruler[aria-valuenow='0']")
    check_shown(page, acres(store, on=days[0] - timedelta(days=1)))


def test_what_is_told_of_a_unit_is_of_the_day_shown(open_page: Open, sample_place: Path, days: list[date]) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html").page
    button = page.get_by_role("button", name="Middle Bluff", exact=True).first
    page.locator("#ruler").focus()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    button.click()
    told = page.locator(f"#{button.get_attribute('aria-controls')}").inner_text()
    assert "By October 19, 2024: " in told
    assert "Cut on October 19, 2024" in told
    assert "2025" not in told
    assert "Why it is number" not in told
    label = page.locator("path.unit[aria-label^='Middle Bluff:']").get_attribute("aria-label")
    assert label.endswith("by October 19, 2024")


def test_it_prints_the_day_shown_on_one_page_and_says_which(
    open_page: Open, sample_place: Path, tmp_path: Path, days: list[date]
) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html").page
    page.locator("#ruler").focus()
    page.keyboard.press("Home")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    printed = page.pdf(format="Letter", path=tmp_path / "then.pdf")
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert "as of December 7, 2024" in page.locator(".place").inner_text()
    assert page.locator("#ruler-said").inner_text() == "Cut on December 7, 2024: 10.0 acres on Pond Ridge."
    assert not page.locator("#ruler").is_visible()
    assert "up to December 7, 2024" in page.locator("footer .method").inner_text()
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("#ruler").is_visible()


def test_heads_sort_the_table_and_a_third_press_goes_back(open_page: Open, sample_place: Path) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html").page

    def order() -> list[str]:
        rows = page.locator("#account tr.unit").all()
        return [row.get_attribute("data-unit") or "" for row in rows]

    def column(index: int) -> list[float]:
        shown = read_account(page)
        return [float(shown[unit][index].replace(",", "")) for unit in order() if shown[unit][index] != "–"]

    grouped = order()
    headings = page.locator("#account tr.heading").all_inner_texts()
    page.get_by_role("button", name="Treated", exact=True).focus()
    page.keyboard.press("Enter")
    head = page.locator("#account thead th").nth(3)
    assert head.get_attribute("aria-sort") == "descending"
    assert column(1) == sorted(column(1), reverse=True)
    assert page.locator("#account tr.heading").count() == 0
    assert page.evaluate("document.activeElement.textContent") == "Treated"
    page.keyboard.press("Enter")
    assert head.get_attribute("aria-sort") == "ascending"
    assert column(1) == sorted(column(1))
    # The words about a unit stay under its row.
    button = page.locator("#account tr.unit button").nth(4)
    button.click()
    following = button.evaluate("one => one.closest('tr').nextElementSibling.id")
    assert following == button.get_attribute("aria-controls")
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Treated", exact=True).click()
    assert head.get_attribute("aria-sort") is None
    assert order() == grouped
    assert page.locator("#account tr.heading").all_inner_texts() == headings
    page.get_by_role("button", name="Unit", exact=True).click()
    names = page.locator("#account tr.unit button").all_inner_texts()
    assert names == sorted(names, key=str.casefold)


def test_sorting_follows_the_time(open_page: Open, sample_place: Path) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html").page
    page.get_by_role("button", name="Treated", exact=True).click()
    page.locator("#ruler").focus()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    first = page.locator("#account tr.unit").first
    assert first.locator("button").inner_text() == "Middle Bluff"
    assert first.locator("td.fig").nth(1).inner_text() == "6.8"
    assert page.evaluate("document.activeElement.id") == "ruler"


def test_a_row_brings_its_unit_into_view_only_if_it_is_out_of_view(open_page: Open, sample_place: Path) -> None:
    page = _drawn(open_page, sample_place / "out" / "map.html").page
    where = """id => { const r = document.querySelector(`path.unit[aria-label^='${id}:']`).getBoundingClientRect(),
                f = document.querySelector('.frame').getBoundingClientRect();
                return [r.left >= f.left, r.right <= f.right, r.top >= f.top, r.bottom <= f.bottom, r.left, r.top]; }"""
    page.get_by_role("button", name="Corner Cedars", exact=True).first.click()
    at_first = page.evaluate(where, "Corner Cedars")
    assert all(at_first[:4])
    for _ in range(3):
        if not all(page.evaluate(where, "Corner Cedars")[:4]):
            break  # farther out of view its drawing would be empty
        page.get_by_role("button", name="zoom in").click()
    assert not all(page.evaluate(where, "Corner Cedars")[:4])
    page.get_by_role("button", name="Corner Cedars", exact=True).first.click()  # lets go
    page.get_by_role("button", name="Corner Cedars", exact=True).first.click()
    assert all(page.evaluate(where, "Corner Cedars")[:4])
    at_last = page.evaluate(where, "Corner Cedars")
    page.get_by_role("button", name="Corner Cedars", exact=True).first.click()
    page.get_by_role("button", name="Corner Cedars", exact=True).first.click()
    assert page.evaluate(where, "Corner Cedars") == at_last


def test_units_drawn_otherwise_before_are_shown_as_they_were_drawn(open_page: Open, tmp_path: Path) -> None:
    """One unit of 200 by 100 m was split in two after its first half was cut."""
    whole = unit("W", box(0, 0, 200, 100), name="Whole ground")
    split = date(2025, 6, 1)
    made = GeoPackageStore.create(tmp_path / "place", "Split place")
    made.append([whole, entry("cut", "2025-03-14", box(0, 0, 100, 100))])
    made.append(
        [
            unit("E", box(100, 0, 200, 100), name="East half", valid_from=split, replaces=(whole.uuid,)),
            unit("W", box(0, 0, 100, 100), name="West half", valid_from=split, replaces=(whole.uuid,)),
            entry("burn", "2026-03-02", box(0, 0, 100, 100)),
        ]
    )
    target = tmp_path / "m.html"
    draw_map(made, target=target, now=NOW)
    seen = _drawn(open_page, target)
    page = seen.page
    assert read_account(page) == {"W": ["2.5", "2.5", "0.0"], "E": ["2.5", "0.0", "2.5"]}
    page.get_by_role("button", name="earlier", exact=True).click()
    assert read_account(page) == {"W": ["4.9", "2.5", "2.5"], "E": ["–", "–", "–"]}
    assert page.locator(".mark.unitname:not(.hushed)").all_inner_texts() == ["Whole ground"]
    page.get_by_role("button", name="now", exact=True).click()
    assert read_account(page) == {"W": ["2.5", "2.5", "0.0"], "E": ["2.5", "0.0", "2.5"]}
    assert set(page.locator(".mark.unitname:not(.hushed)").all_inner_texts()) == {"East half", "West half"}
    assert seen.complaints == []
