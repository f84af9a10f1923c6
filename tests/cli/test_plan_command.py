"""A season from outside: what fits, what does not and why, and command lines that cannot be."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from small_places import make_place, square

Run = Callable[..., Any]
#: 2.4711 acres at 8 hours an acre.
STAND_HOURS = 8 * 10_000 / 4046.8564224
SETTINGS = """
[[hold]]
unit = "H1"
reason = "sale not settled"

[[closed]]
work = "cut"
reason = "deer season"
from = "11-15"
to = "01-05"

[[closed]]
work = "burn"
reason = "drought"
units = ["D1"]
from = 2026-01-01
to = 2026-12-31

[[contract]]
program = "EQIP"
item = "7"
practice_code = "314"
units = ["L1"]
not_before = 2026-02-02
due = 2026-12-31
"""


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    units = [
        ("A1", square(0), {"stems_per_acre": 900}),
        ("H1", square(1), {"stems_per_acre": 800}),
        ("D1", square(2), {"stems_per_acre": 700}),
        ("L1", square(3), {"stems_per_acre": 600}),
    ]
    return make_place(run_habmap, tmp_path_factory.mktemp("plan") / "place", units, settings=SETTINGS)


@pytest.fixture(scope="module")
def place(bare: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = Path(shutil.copytree(bare, tmp_path_factory.mktemp("rated") / "place"))
    text = (folder / "habmap.toml").read_text(encoding="utf-8")
    (folder / "habmap.toml").write_text(text.replace("[effort]\n", "[effort]\nrates.cut = 8.0\n"), encoding="utf-8")
    return folder


SEASON = ("schedule", "--hours-per-week", "10", "--from", "2026-01-01", "--to", "2026-03-31")


def test_what_fits_lies_inside_every_window(run_habmap: Run, place: Path) -> None:
    done = run_habmap(*SEASON, "--json", place=place)
    assert done.code == 0, done.err
    plan = done.json
    slots = plan["slots"]
    assert {slot["unit_id"] for slot in slots} == {"A1", "L1"}
    # deer season ends on 5 January: the first whole week after it from 1 January begins on the 8th
    assert slots[0]["week_from"] == "2026-01-08"
    assert min(slot["week_from"] for slot in slots if slot["unit_id"] == "L1") >= "2026-02-02"
    assert sum(slot["person_hours"] for slot in slots) == pytest.approx(2 * STAND_HOURS, rel=1e-6)
    weeks: dict[str, float] = {}
    for slot in slots:
        weeks[slot["week_from"]] = weeks.get(slot["week_from"], 0) + slot["person_hours"]
        last_cut, burn_from = date.fromisoformat(slot["week_to"]), date.fromisoformat(slot["burn_from"])
        assert (burn_from - last_cut).days == 30
    assert max(weeks.values()) <= 10 + 1e-9
    why = {line["unit_id"]: line["why"] for line in plan["unfit"]}
    assert why == {
        "H1": "on hold, no end is written: sale not settled",
        "D1": "no day without a burn ban inside its drying window",
    }
    assert "assumption" in plan["rests_on"]


def test_the_first_line_is_readable_alone(run_habmap: Run, place: Path) -> None:
    done = run_habmap(*SEASON, place=place)
    assert done.out.splitlines()[0] == (
        "4.9 acres fit between 2026-01-01 and 2026-03-31, 40 person-hours; begin with A1 in the week of 2026-01-08."
    )
    assert "ready" not in done.out.lower() and "burn boss" in done.out
    assert run_habmap(*SEASON, place=place).out == done.out


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("--hours-per-week", "0"), 2),
        (("--hours-per-week", "-5"), 2),
        (("--hours-per-week", "nan"), 2),
        (("--hours-per-week", "10", "--from", "2026-03-01", "--to", "2026-02-01"), 2),
        (("--hours-per-week", "10", "--from", "2026-03-01", "--to", "2026-03-05"), 2),
        (("--hours-per-week", "10", "--from", "2026-02-30"), 2),
        ((), 2),
    ],
)
def test_command_lines_that_cannot_be(run_habmap: Run, place: Path, arguments: tuple[str, ...], code: int) -> None:
    done = run_habmap("schedule", *arguments, place=place)
    assert done.code == code and "Traceback" not in done.err


def test_without_hours_an_acre_there_is_no_plan(run_habmap: Run, bare: Path) -> None:
    done = run_habmap(*SEASON, "--json", place=bare)
    assert done.code == 3 and "how many hours an acre" in done.json["what"] and "rates.cut" in done.json["mend"]
