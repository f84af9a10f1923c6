"""A season from outside: what fits, what does not and why, and command lines that cannot be."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from pdf_reading import pdf_info, pdf_words
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


def laid(done: Any, what: str) -> list[dict[str, Any]]:
    """Return the items of one kind, each with its week's first day."""
    return [
        {**item, "week": week["from_date"]}
        for week in done.json["weeks"]
        for item in week["items"]
        if item["what"] == what
    ]


def test_what_fits_lies_inside_every_window(run_habmap: Run, place: Path) -> None:
    done = run_habmap(*SEASON, "--json", place=place)
    assert done.code == 0, done.err
    found = done.json
    assert found["schema"] == "habmap/schedule/1" and len(found["weeks"]) == 12
    cuts = laid(done, "cut")
    assert {item["unit_id"] for item in cuts} == {"A1", "L1"}
    # deer season ends on 5 January: the first whole week after it from 1 January begins on the 8th
    assert cuts[0]["week"] == "2026-01-08"
    assert min(item["week"] for item in cuts if item["unit_id"] == "L1") >= "2026-02-02"
    assert sum(item["person_hours"] for item in cuts) == pytest.approx(2 * STAND_HOURS, rel=1e-6)
    assert sum(item["acres"] for item in cuts) == pytest.approx(2 * 10_000 / 4046.8564224, rel=1e-6)
    for week in found["weeks"]:
        assert sum(item["person_hours"] for item in week["items"]) <= 10 + 1e-9
    # each burn begins thirty days or more after the last day of the week of its cut
    for burn in laid(done, "burn"):
        ends = [date.fromisoformat(cut["to_date"]) for cut in cuts if cut["unit_id"] == burn["unit_id"]]
        assert any(30 <= (date.fromisoformat(burn["from_date"]) - end).days <= 60 for end in ends)
    why = {(line["what"], line["unit_id"]): line["why"] for line in found["unfit"]}
    assert why["cut", "H1"] == "on hold, no end is written: sale not settled"
    assert why["cut", "D1"] == (
        "closed to cutting until 2026-01-05: deer season; its slash would find no day to burn in its drying days: "
        "closed to burning until 2026-12-31: drought"
    )
    assert "assumption" in found["cut_rests_on"]


def test_the_first_line_is_readable_alone(run_habmap: Run, place: Path) -> None:
    done = run_habmap(*SEASON, place=place)
    assert done.out.splitlines()[0].startswith(
        "4.9 acres of cutting fit between 2026-01-01 and 2026-03-31, "
    ) and done.out.splitlines()[0].endswith("begin with: cut, A1, in the week of 2026-01-08.")
    assert "ready" not in done.out.lower() and "burn boss" in done.out
    assert "No written plan with author and date is in habmap.toml for: down cedar" in done.out
    assert run_habmap(*SEASON, place=place).out == done.out


LOG = """\
b1,2026-02-10,cut,B1,100,10,
p1,2025-11-01,cut,P1,100,10,
p2,2026-01-15,pile,P1,,10,
u1,2020-01-10,cut,U1,100,10,
u2,2020-03-10,burn,U1,,5,
o1,2025-05-20,cut,O1,100,10,
"""
MORE = """
[burn_plan.down_cedar]
author = "A. Burner"
date = 2026-01-01
from = "03-20"
to = "04-05"

[burn_plan.piles]
author = "A. Burner"
date = 2026-01-01
from = "12-01"
to = "03-10"

[[closed]]
work = "burn"
reason = "calving"
from = "03-23"
to = "03-25"
"""


def test_a_season_of_all_kinds_of_work(run_habmap: Run, tmp_path: Path) -> None:
    """Burns lie in the plan's days and the drying days, checks on days 1, 3 and 7, what is late is piled."""
    units = [(name, square(k), {}) for k, name in enumerate(["B1", "P1", "U1", "O1", "C1"])]
    folder = make_place(run_habmap, tmp_path / "place", units, entries=LOG)
    text = (folder / "habmap.toml").read_text(encoding="utf-8")
    rates = "rates.burn = 2.0\nrates.pile = 4.0\nrates.pile_burn = 1.0\nrates.checkup = 0.2\n"
    (folder / "habmap.toml").write_text(text.replace("[effort]\n", f"[effort]\n{rates}") + MORE, encoding="utf-8")
    season = ("schedule", "--hours-per-week", "14", "--from", "2026-02-16", "--to", "2026-05-10")
    done = run_habmap(*season, "--json", place=folder)
    assert done.code == 0, done.err
    acres = 10_000 / 4046.8564224
    # B1 was cut on February 10: 30 days on is March 12, 60 days on April 11; the plan's days are March 20 to April 5
    burns = [item for item in laid(done, "burn") if item["unit_id"] == "B1"]
    assert sum(item["acres"] for item in burns) == pytest.approx(acres, rel=1e-6)
    for burn in laid(done, "burn"):
        assert "2026-03-20" <= burn["from_date"] <= burn["to_date"] <= "2026-04-05"
        assert not (burn["from_date"] <= "2026-03-25" and burn["to_date"] >= "2026-03-23")  # calving
    # piles of P1 burn by the first day of the season that the plan of piles has: the first Monday
    (piles,) = [item for item in laid(done, "pile_burn") if item["unit_id"] == "P1"]
    assert piles["from_date"] == "2026-02-16"
    checks = [item["from_date"] for item in laid(done, "hand_check") if item["unit_id"] == "P1"]
    assert checks == ["2026-02-17", "2026-02-19", "2026-02-23"]
    assert all(item["from_date"] <= "2026-03-10" for item in laid(done, "pile_burn"))
    # U1 burned in March 2020: four years on it fell due; O1's slash is long past its drying days
    assert {item["unit_id"] for item in laid(done, "upkeep")} == {"U1"}
    assert {item["unit_id"] for item in [*laid(done, "pile"), *done.json["unfit"]] if item["what"] == "pile"} == {"O1"}
    assert {item["unit_id"] for item in laid(done, "checkup")} >= {"O1"}
    assert {item["unit_id"] for item in laid(done, "cut")} == {"C1"}
    rates_of = {line["what"]: (line["hours_per_acre"], line["rests_on"]) for line in done.json["rates"]}
    assert rates_of["burn"][0] == pytest.approx(5 / acres) and rates_of["burn"][1] == "one line of your own log"
    assert done.json["unsigned"] == []


def test_the_calendar_has_a_day_for_each_piece_of_work(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    target = tmp_path / "season.ics"
    done = run_habmap(*SEASON, "--json", "--ics", target, place=place)
    events = list(Calendar.from_ical(target.read_bytes()).walk("VEVENT"))
    items = [item for week in done.json["weeks"] for item in week["items"]]
    assert len(events) == len(items) and len({str(one["uid"]) for one in events}) == len(events)
    assert [one["dtstart"].dt.isoformat() for one in events] == [item["from_date"] for item in items]
    assert all("burn boss" in str(one["description"]) and one.walk("VALARM") for one in events)
    assert run_habmap(*SEASON, "--ics", target, place=place).code == 3
    assert run_habmap(*SEASON, "--ics", target, "--overwrite", place=place).code == 0


def unfit_reasons(done: Any) -> set[str]:
    """Return the reasons why work does not fit, those that name the last of the weeks as one."""
    past = "past the last of these weeks"
    return {past if past in line["why"] else line["why"] for line in done.json["unfit"]}


@pytest.mark.poppler
def test_the_handout_has_a_page_of_the_season_for_its_owner_alone(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(place, tmp_path / "place"))
    text = (folder / "habmap.toml").read_text(encoding="utf-8")
    (folder / "habmap.toml").write_text(text.replace("[effort]\n", "[effort]\nhours_per_week = 10\n"), encoding="utf-8")
    assert run_habmap("handout", "-o", tmp_path / "own.pdf", "--on", "2026-01-01", place=folder).code == 0
    done = run_habmap("schedule", "--hours-per-week", "10", "--from", "2026-01-01", "--json", place=folder)
    told = pdf_words(tmp_path / "own.pdf", "-f", "5", "-l", "5")
    assert "Pages: 5" in " ".join(pdf_info(tmp_path / "own.pdf").split()) and "page 5 of 5" in told
    assert f"{done.json['acres']:.1f} acres of cutting fit between Jan 1, 2026 and Jul 2, 2026" in told
    # every reason why work does not fit stands there, and what no plan is signed for
    assert done.json["unfit"] and told.count("Does not fit") == len(unfit_reasons(done)) and "more." not in told
    assert "nothing can be burned before there is one" in told
    january = sum(item["acres"] for item in laid(done, "cut") if item["from_date"] < "2026-02")
    assert f"January 2026: cut {january:.1f} acres (A1)" in told and "The cautions on page 2 belong to" in told
    assert "burn boss" in pdf_words(tmp_path / "own.pdf", "-f", "2", "-l", "2")
    other = ("--for", "public", "-o", tmp_path / "public.pdf", "--on", "2026-01-01")
    assert run_habmap("handout", *other, place=folder).code == 0
    assert "Pages: 4" in " ".join(pdf_info(tmp_path / "public.pdf").split())


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
