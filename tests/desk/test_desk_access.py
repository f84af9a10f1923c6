"""The desk for every reader: axe-core in every room and state, narrow screens, large letters, no scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from desk_process import ROOMS, Running
from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

AXE = Path(__file__).resolve().parents[1] / "browser" / "axe" / "axe.min.js"
#: The drawing takes the focus, as on the map page itself (see tests/browser/test_access.py).
OFF = ["focus-order-semantics"]
Reader = Callable[..., Page]


@pytest.fixture
def reader(browser: Browser, desk: Running) -> Iterator[Reader]:
    """Open the desk as one kind of reader does. The policy is set aside only so that axe-core itself may run."""
    contexts: list[Any] = []

    def opened(*, width_px: int = 1280, height_px: int = 800, letters_px: int = 16, **wishes: Any) -> Page:
        context = browser.new_context(viewport={"width": width_px, "height": height_px}, bypass_csp=True, **wishes)
        contexts.append(context)
        name, _, value = desk.jar.partition("=")
        context.add_cookies([{"name": name, "value": value, "url": desk.origin}])
        page = context.new_page()
        page.set_default_timeout(60_000)
        if letters_px != 16:  # the reader's own setting of the browser, not a zoom of the page
            sizes = {"standard": letters_px, "fixed": letters_px}
            context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": sizes})
        return page

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture(scope="module")
def inside(desk: Running) -> str:
    """The address of the property at the desk, its rooms warm."""
    key = desk.key
    desk.get(f"/{key}/week")
    return f"{desk.origin}/{key}"


def faults(page: Page) -> list[str]:
    """Run every rule that axe-core has, level AAA, best practice and experiments too, and return what fails."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate(
        """(off) => axe.run(document, { resultTypes: ["violations"], rules: Object.fromEntries(
             axe.getRules().map(({ ruleId }) => [ruleId, { enabled: !off.includes(ruleId) }])) })""",
        OFF,
    )
    assert len(found["passes"]) > 15, "axe-core looked at nothing"
    return [
        f"{fault['id']}: {node['target']} {node['html'][:160]}"
        for fault in found["violations"]
        for node in fault["nodes"]
    ]


def enter(page: Page, address: str) -> None:
    """Go to a page, and wait where it says that it is still being worked out."""
    page.goto(address)
    page.wait_for_selector("[data-waiting]", state="detached")


def test_axe_core_finds_nothing_in_any_room(reader: Reader, inside: str, desk: Running) -> None:
    page = reader()
    found = {}
    for room in ("", *ROOMS):
        enter(page, f"{inside}/{room}" if room else f"{desk.origin}/")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        if seen := faults(page):
            found[room] = seen
    assert found == {}


def test_axe_core_finds_nothing_in_the_states_between(reader: Reader, inside: str) -> None:
    page = reader()
    page.goto(f"{inside}/log?practice=cut")
    page.get_by_role("button", name="look at it before it is saved").click()  # nothing was filled in
    page.get_by_role("alert").wait_for()
    assert faults(page) == []
    page.get_by_label("day of the work").fill("2026-08-03")
    page.locator("[name=unit]").first.check()
    page.locator("[name=whole]").check()
    page.get_by_role("button", name="look at it before it is saved").click()
    page.get_by_role("heading", name="Preview, nothing is written").wait_for()
    assert faults(page) == []
    page.goto(f"{inside}/papers")
    page.get_by_role("button", name="make the calendar").click()
    page.get_by_role("heading", name="The calendar").wait_for()
    assert faults(page) == []
    page.get_by_role("heading", name="The calendar for the owner: done.").wait_for()
    assert faults(page) == []
    page.goto(f"{inside}/units")
    page.get_by_text("Let a unit be no unit any more").click()
    page.locator("#field-retire-unit").select_option(index=1)
    page.locator("form[aria-label^='let a unit'] button").click()
    page.get_by_role("heading", name="Nothing is written yet").wait_for()
    assert faults(page) == []


@pytest.mark.parametrize(("widths_px", "letters_px"), [((320, 390, 1280), 16), ((640,), 32)])
def test_nothing_is_cut_off_on_a_narrow_screen_or_with_large_letters(
    reader: Reader, inside: str, widths_px: tuple[int, ...], letters_px: int
) -> None:
    page = reader(width_px=widths_px[0], letters_px=letters_px)
    wide = {}
    for room in ROOMS:
        enter(page, f"{inside}/{room}")
        for width_px in widths_px:
            page.set_viewport_size({"width": width_px, "height": 800})
            over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            if over > 0:
                wide[room, width_px] = over
    assert wide == {}


def test_the_rooms_work_without_scripts(reader: Reader, inside: str) -> None:
    page = reader(java_script_enabled=False)
    page.goto(f"{inside}/log?practice=mow")
    assert not page.locator("a", has_text="draw it on the map").is_visible()
    page.get_by_label("day of the work").fill("2026-08-02")
    page.locator("[name=unit]").first.check()
    page.locator("[name=whole]").check()
    page.get_by_role("button", name="look at it before it is saved").click()
    assert "Preview, nothing is written" in page.locator("h1").inner_text()
    page.goto(f"{inside}/papers")
    page.get_by_role("button", name="make the log as a table").click()
    page.get_by_role(
        "heading", name="The log as a table for the owner: done."
    ).wait_for()  # the page comes back by itself


def test_every_room_can_be_reached_by_keys_and_shows_where_the_focus_is(reader: Reader, inside: str) -> None:
    page = reader()
    page.goto(f"{inside}/papers")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#room"
    page.keyboard.press("Tab")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert page.evaluate("document.activeElement.closest('main') !== null")
    assert outline == "solid"
