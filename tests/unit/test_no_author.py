"""A plan that nobody signed is no plan: placeholders of every template that ever shipped, dots, blanks, no dates."""

from __future__ import annotations

import re
from datetime import date, datetime
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, unit
from shapely import box

from habmap.jobs.burnsheet import burnsheet
from habmap.place.settings import Settings
from habmap.place.settings_reading import read_settings
from habmap.place.template import settings_text
from habmap.work.burn.request import BurnRequest
from habmap.work.burn.result import BurnsheetResult
from habmap.work.burn.written_plan import author_of

#: Every author line that a template of habmap ever shipped (its history: `git log -p habmap/place/template.py`).
SHIPPED = ("who wrote and signed the plan", "…", "")
NOBODY = (
    *SHIPPED, " ", "...", "....", "-", "--", "—", "_____", "?", "???", "x", "xxx", "XXX", "TODO", "todo: name", "TBD",
    "tba", "n/a", "N.A.", "none", "Nobody", "name", "Name", "your name", "<your name>", "[author]", "{author}",
    "author", "the author", "First Last", "full name", "who?", "who wrote it", "signed by", "the burn boss",
    "burn boss", "somebody", "unknown", "not yet signed", "to be determined", "insert name here", "PLACEHOLDER", "123",
    "\u200b", "\u00a0", "\t",
)  # fmt: skip
SOMEBODY = ("P. Writer", "Ana Ruiz", "Boss, Will", "J.B.", "Müller", "Ng", "李雷", "O'Neil (burn boss)", "Whitebird")


def ask(settings: Settings) -> BurnsheetResult:
    store = FakeStore([unit("A", box(-100, -100, 100, 100), cover="grass")], grid=GRID, settings=settings)
    request = BurnRequest(
        names=("A",), at=datetime(2026, 3, 20, 14), temp_f=60.0, rh_pct=50.0, wind_mph=8.0, wind_from_deg=180.0
    )
    return burnsheet(store, request)


def plan(author: object, day: object) -> Settings:
    return Settings.model_validate({"burn_plan": {"grass": {"author": author, "date": day, "rh_pct": (40, 60)}}})


@pytest.mark.parametrize("author", NOBODY)
def test_a_placeholder_is_no_author(author: str) -> None:
    assert author_of(author) is None
    result = ask(plan(author, date(2026, 1, 31)))
    assert {line.comparison for line in result.prescription} == {"no plan"}
    assert (result.plan.author, result.plan_signed) == (None, ())


@pytest.mark.parametrize("author", SOMEBODY)
def test_a_name_is_an_author(author: str) -> None:
    result = ask(plan(f" {author} ", date(2026, 1, 31)))
    assert result.plan.author == author
    assert [line.comparison for line in result.prescription] == ["within"]


@pytest.mark.parametrize("day", ["…", "", " ", "date", "TODO", "soon", "2026", "2026-13-01", "31.01.2026", 0, None])
def test_what_is_no_date_is_no_date(day: object) -> None:
    result = ask(plan("P. Writer", day))
    assert {line.comparison for line in result.prescription} == {"no plan"}
    assert result.plan.date is None


def test_a_units_own_placeholder_signs_nothing() -> None:
    grass = {"rh_pct": (40, 60), "unit": {"A": {"author": "…", "date": date(2026, 1, 31)}}}
    result = ask(Settings.model_validate({"burn_plan": {"grass": grass}}))
    assert {line.comparison for line in result.prescription} == {"no plan"}


def test_the_template_uncommented_compares_nothing(tmp_path: Path) -> None:
    """Whoever takes the hash signs away and leaves the rest as it came has no plan."""
    text = settings_text("A place")
    start = text.index("# [burn_plan.grass]")
    shipped = text[start : text.index("# [[burn_for]]", start)] if "# [[burn_for]]" in text[start:] else text[start:]
    lines = []
    for line in shipped.splitlines():
        if not line.startswith("# ") or line.startswith("# [["):
            break
        lines.append(line.removeprefix("# "))
    assert sum(line.startswith("author") for line in lines) == 3
    assert all(re.match(r'(author|date) = ""', line) for line in lines if line.startswith(("author", "date")))
    (tmp_path / "habmap.toml").write_text("\n".join(lines), encoding="utf-8")
    settings = read_settings(tmp_path)
    assert settings.burn_plan.grass.rh_pct == (40, 70)
    assert {line.comparison for line in ask(settings).prescription} == {"no plan"}
