"""Hours and money from outside."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from small_places import make_place, square

Run = Callable[..., Any]
ACRES = 10_000 / 4046.8564224


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    return make_place(
        run_habmap,
        tmp_path_factory.mktemp("effort") / "place",
        [(f"C{i}", square(i), {}) for i in range(5)],
        entries="a,2026-01-20,cut,C0,,10,200\nb,2026-01-27,cut,C1,,14,280\n",
    )


def changed(place: Path, target: Path, old: str, new: str) -> Path:
    folder = Path(shutil.copytree(place, target / "place"))
    text = (folder / "habmap.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "habmap.toml").write_text(text.replace(old, new), encoding="utf-8")
    return folder


def test_hours_money_and_days_left(run_habmap: Run, place: Path) -> None:
    found = run_habmap("effort", "--on", "2026-02-01", "--json", place=place).json
    assert (found["person_hours"], found["cost"]) == (24, 480)
    assert found["acres_per_person_hour"] == pytest.approx(2 * ACRES / 24, rel=1e-6)
    # 12 hours a square, three squares left; residuals ±2, SE √(2·8)/2 = 2 hours a square; t(1) = 12.7062
    assert found["person_hours_left"] == pytest.approx(36, rel=1e-6)
    assert found["person_hours_left_low"] == 0
    assert found["person_hours_left_high"] == pytest.approx(3 * (12 + 12.7062 * 2), rel=1e-5)
    assert found["person_days_left"] == pytest.approx(36 / 8, rel=1e-6)
    assert found["cost_left"] == pytest.approx(20 * 36, rel=1e-6)
    assert found["cost_left_high"] == pytest.approx(20 * 3 * (12 + 12.7062 * 2), rel=1e-5)
    keys = {"unit_id", "remaining_acres", "person_hours_left_low", "person_hours_left", "person_hours_left_high"}
    assert [unit["unit_id"] for unit in found["units"]] == ["C2", "C3", "C4"]
    assert all(keys <= set(unit) for unit in found["units"])


def test_words_and_context(run_habmap: Run, place: Path) -> None:
    done = run_habmap("effort", "--on", "2026-02-01", place=place)
    first = done.out.splitlines()[0]
    assert "As of: work up to 2026-02-01." in done.out
    assert "24 person-hours" in first and "7.4 acres that remain" in first
    assert (
        "about 36 person-hours" in first
        and "of one person (too few days logged to tell how far off), going by" in first
    )  # two lines, of five
    assert "pass acres" in done.out and "Not in these hours: piling" in done.out
    assert "Nebraska" in done.out and "1993-94" in done.out and "context only" in done.out
    assert "hours_per_week" in done.out and "operator decide" in done.out


def test_a_finish_at_hours_a_week(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    mine = changed(place, tmp_path, "# hours_per_week = 10 ", "hours_per_week = 7.1 ")
    found = run_habmap("effort", "--on", "2026-02-01", "--json", place=mine).json
    # 1.014 hours a day from 1 February: 35 and a half days, the 36th is 8 March
    assert found["finish"] == "2026-03-08"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("# hours_per_week = 10 ", "hours_per_week = 0 "),
        ("hours_per_day = 8 ", "hours_per_day = 25 "),
        ("# rates.cut = 8.0 ", "rates.cut = -8.0 "),
        ("# rates.cut = 8.0 ", "rates.chop = 8.0 "),
    ],
)
def test_settings_that_cannot_be(run_habmap: Run, place: Path, tmp_path: Path, old: str, new: str) -> None:
    done = run_habmap("effort", "--json", place=changed(place, tmp_path, old, new))
    assert done.code == 3 and done.json["schema"] == "habmap/error/1" and ", line " in done.out
