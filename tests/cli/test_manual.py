"""``habmap manual``: the reference in the terminal and as one page, as the parser and the schemas have it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]


class Reader(HTMLParser):
    """What a browser would find: anchors, links, requests, and the text of code."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.anchors: set[str] = set()
        self.links: set[str] = set()
        self.requests: list[str] = []
        self.code: list[str] = []
        self._in_code = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        if anchor := said.get("id"):
            self.anchors.add(anchor)
        if tag == "a":
            self.links.add(said.get("href") or "")
        elif said.get("href") or said.get("src"):
            self.requests.append(tag)
        self._in_code = tag == "code"

    def handle_endtag(self, tag: str) -> None:
        if tag == "code":
            self._in_code = False

    def handle_data(self, data: str) -> None:
        if self._in_code:
            self.code.append(data)


@pytest.fixture(scope="module")
def page(run_habmap: Run, tmp_path_factory: pytest.TempPathFactory) -> Reader:
    target = tmp_path_factory.mktemp("manual") / "manual.html"
    done = run_habmap("manual", "-o", str(target))
    assert done.code == 0, done.err
    return Reader(target.read_text(encoding="utf-8"))


def commands(run_habmap: Run) -> list[str]:
    """Every command's words, groups opened, from the help texts alone."""
    found = []
    for name in re.findall(r"^  ([a-z][a-z-]*) ", run_habmap("--help").out.partition("\nCommands:\n")[2], re.M):
        inner = run_habmap(name, "--help").out.partition("\nCommands:\n")[2]
        found += [f"{name} {word}" for word in re.findall(r"^  ([a-z][a-z-]*) ", inner, re.M)] or [name]
    return found


def test_the_page_holds_every_command_and_asks_for_nothing(page: Reader, run_habmap: Run) -> None:
    wanted = {name.replace(" ", "-") for name in commands(run_habmap)}
    assert len(wanted) > 40
    assert wanted <= page.anchors
    assert {link.removeprefix("#") for link in page.links} <= page.anchors
    assert page.requests == []


def test_every_option_that_help_shows_stands_on_the_page(page: Reader, run_habmap: Run) -> None:
    typed = " ".join(page.code)
    for name in ("log", "burnsheet", "load units", "export practices"):
        options = set(re.findall(r"^ +(?:-\w, )?(--[a-z-]+)", run_habmap(*name.split(), "--help").out, re.M))
        assert options and all(option in typed for option in options), name


def test_the_keys_of_an_answer_stand_on_the_page(page: Reader, repository: Path) -> None:
    keys = json.loads((repository / "habmap" / "schema" / "acres.json").read_text(encoding="utf-8"))["properties"]
    listed = {text.removesuffix("[]") for text in page.code}
    assert keys.keys() <= listed
    assert "units[].stage_acres.down" in page.code


def test_one_command_and_a_group_in_the_terminal(run_habmap: Run) -> None:
    assert "--killed-pct" in run_habmap("manual", "log").out
    assert "--map FIELD=COLUMN" in run_habmap("manual", "load", "units").out
    group = run_habmap("manual", "export").out
    assert all(f"habmap export {word}" in group for word in ("practices", "ledger", "gpx"))


def test_all_commands_a_line_each(run_habmap: Run) -> None:
    lines = run_habmap("manual").out.splitlines()
    named = [line.split("  ")[0].removeprefix("habmap ") for line in lines if line.startswith("habmap ")]
    assert sorted(named) == sorted(commands(run_habmap))


def test_what_cannot_be(run_habmap: Run, tmp_path: Path) -> None:
    done = run_habmap("manual", "mow-the-lawn")
    assert done.code == 2 and "acres" in done.err
    assert run_habmap("manual", "-o", str(tmp_path / "manual.pdf")).code == 2
    there = tmp_path / "manual.html"
    there.write_text("mine", encoding="utf-8")
    assert run_habmap("manual", "-o", str(there)).code == 3
    assert there.read_text(encoding="utf-8") == "mine"
    assert run_habmap("manual", "log", "-o", str(tmp_path / "m.html")).code == 2
