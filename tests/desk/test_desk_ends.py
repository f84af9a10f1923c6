"""How the desk ends, and what a sudden end leaves: in a real browser, and by killing it."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from desk_process import PATIENCE_S, Running, environment
from playwright.sync_api import Browser

#: The desk as the command starts it, but for how long it waits when nobody is there [s].
SOON = """
import sys
from pathlib import Path
from habmap.desk.start import run_desk
home = Path(sys.argv[1])
run_desk(home=home / "config", made_in=home / "made", folder=None, port=0, is_opening=False,
         tell=lambda words: print(words, flush=True), empty_s=3.0)
"""


@pytest.mark.browser
def test_it_stays_while_a_page_is_open_and_ends_soon_after_the_last_was_closed(
    browser: Browser, tmp_path: Path
) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", SOON, str(tmp_path)], env=environment(tmp_path), stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        context = browser.new_context()
        one, two = context.new_page(), context.new_page()
        with one.expect_request(lambda request: request.url.endswith("/alive")):
            one.goto(address)
        two.goto(address.partition("?")[0])
        one.close()  # the other page takes over to say that somebody is there
        time.sleep(8)
        assert process.poll() is None
        two.get_by_role("button", name="try the sample").wait_for()
        context.close()
        process.wait(timeout=PATIENCE_S)
        assert process.returncode == 0
        assert not (tmp_path / "config" / "desk.json").exists()
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def test_a_killed_desk_loses_nothing_that_it_said_is_saved(
    begin: Callable[..., Running], desk_place: Path, run_habmap: Any
) -> None:
    desk = begin(place=desk_place).enter()
    key = desk.key
    desk.get(f"/{key}/week")
    look = desk.post(f"/{key}/log/preview", {"practice": "mow", "date": "2026-07-28", "unit": "G2", "whole": "yes"})
    draft = re.findall(r'name="draft" value="([^"]+)"', look.text)[-1]
    answer = desk.post(f"/{key}/log/save", {"draft": draft, "once": draft})
    desk.process.kill()
    desk.process.wait()
    assert answer.status == 303
    number = re.findall(r"saved=(\d+)", answer.heads["location"])[0]
    entries = run_habmap("history", "--json", place=desk_place).json["entries"]
    assert [(one["date"], one["practice"]) for one in entries if str(one["number"]) == number] == [
        ("2026-07-28", "mow")
    ]
    assert run_habmap("check", place=desk_place).code in (0, 1)


def test_the_sample_is_made_while_the_page_says_so(begin: Callable[..., Running]) -> None:
    desk = begin().enter()
    answer = desk.post("/start/sample")
    assert answer.status == 303
    first = desk.raw("GET", answer.heads["location"], heads={"Cookie": desk.jar})
    assert "The sample property is being made." in first.text
    last = desk.get(answer.heads["location"])
    assert last.status == 303, last.text
    assert re.fullmatch(r"/[0-9a-f]{10}/week", last.heads["location"])
    assert "This week" in desk.get(last.heads["location"]).text
