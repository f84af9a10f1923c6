"""Names and notes that are markup, formulas or walls of text, in every room; and a property of nothing at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from desk_process import ROOMS, Running
from grounds import HOSTILE, HOSTILE_NAMES, squares
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser


def look_around(browser: Browser, desk: Running, key: str) -> dict[str, list[str]]:
    """Visit every room as a browser does, and return what each complained of or asked for elsewhere."""
    context = browser.new_context()
    name, _, value = desk.jar.partition("=")
    context.add_cookies([{"name": name, "value": value, "url": desk.origin}])
    page = context.new_page()
    page.set_default_timeout(60_000)
    found: dict[str, list[str]] = {}
    now = [""]

    def note(words: str) -> None:
        found.setdefault(now[0], []).append(words)

    page.on("console", lambda said: note(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: note(str(error)))
    page.on("dialog", lambda dialog: (note(f"dialog {dialog.message}"), dialog.dismiss()))
    page.on("request", lambda one: None if one.url.startswith((desk.origin, "data:")) else note(one.url))
    for room in ROOMS:
        now[0] = room
        page.goto(f"{desk.origin}/{key}/{room}")
        page.wait_for_selector("[data-waiting]", state="detached")
        if page.locator("img[src=x]").count():
            note("markup of a name became the page's own")
    context.close()
    return found


def test_hostile_names_are_words_in_every_room(browser: Browser, begin: Callable[..., Running], tmp_path: Path) -> None:
    store = squares(tmp_path / "hostile", HOSTILE_NAMES, place=HOSTILE, worked=1)
    desk = begin(place=store.folder).enter()
    found = look_around(browser, desk, desk.key)
    # a line 2 or 3 is not there: told as a refusal, which a browser writes into its console as well
    told = {room: [one for one in words if "422" not in one] for room, words in found.items()}
    assert {room: words for room, words in told.items() if words} == {}


def test_a_property_of_nothing_has_all_its_rooms(
    browser: Browser, begin: Callable[..., Running], tmp_path: Path, run_habmap: Any
) -> None:
    folder = tmp_path / "empty"
    assert run_habmap("start", folder, "--name", "Empty", "--timezone", "America/Chicago").code == 0
    desk = begin(place=folder).enter()
    found = look_around(browser, desk, desk.key)
    told = {room: [one for one in words if "422" not in one] for room, words in found.items()}
    assert {room: words for room, words in told.items() if words} == {}
