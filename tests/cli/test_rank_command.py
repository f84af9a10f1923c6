"""The order of work from outside, on a ridge that a person can check in the head: sun south of it, shade north."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from small_places import make_place, square, with_settings, write_dem

Run = Callable[..., Any]
ON = "2026-01-01"
SETTINGS = """
[[hold]]
unit = "S1"
reason = "sale not settled"
from = 2025-12-01

[[contract]]
program = "EQIP"
item = "7"
practice_code = "314"
units = ["N1"]
due = 2026-04-30
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    folder = tmp_path_factory.mktemp("rank")
    made = make_place(
        run_habmap,
        folder / "place",
        [
            ("S1", square(0, -3), {"stems_per_acre": 400}),
            ("S2", square(-2, -3), {}),
            ("S3", square(-4, -3), {"stems_per_acre": 100}),
            ("M1", square(4, -3), {"stems_per_acre": 900, "cover": "mixed"}),
            ("N1", square(0, 2), {"stems_per_acre": 400}),
            ("N2", square(-2, 2), {"stems_per_acre": 100}),
            ("UP", square(2, -3), {"stems_per_acre": 400}),
            # slopes are known on 30 of its 100 m (Horn needs a ring of cells), all sunny: the rest could turn it
            ("HALF", shapely.box(560, -300, 660, -200), {"stems_per_acre": 900}),
            ("OFF", shapely.box(700, -300, 800, -200), {"stems_per_acre": 900}),
        ],
        entries="a,2021-02-15,cut,UP,,6,\nb,2021-04-10,burn,UP,,3,\n",
        settings=SETTINGS,
    )
    dem = write_dem(folder / "ridge.tif", lambda east, north: 500 - 0.2 * abs(north))
    done = run_habmap("load", "dem", dem, place=made)
    assert done.code == 0, done.err
    return made


def ranked(run: Run, place: Path, on: str = ON) -> dict[str, dict[str, Any]]:
    done = run("rank", "--on", on, "--json", place=place)
    assert done.code == 0, done.err
    assert [unit["order"] for unit in done.json["units"]] == list(range(1, len(done.json["units"]) + 1))
    return {unit["unit_id"]: unit for unit in done.json["units"]}


def test_tiers_keys_and_reasons(run_habmap: Run, place: Path) -> None:
    units = ranked(run_habmap, place)
    keys = {"order", "unit_id", "tier", "score", "reasons", "parts", "firm_pct", "close_call", "remaining_acres"}
    assert all(keys <= set(unit) for unit in units.values())
    tiers = {unit_id: unit["tier"] for unit_id, unit in units.items()}
    assert tiers == {
        "S1": "first", "UP": "upkeep", "S2": "next", "S3": "next", "M1": "next", "N1": "next", "HALF": "next",
        "OFF": "next", "N2": "later",
    }  # fmt: skip
    assert (units["S1"]["order"], units["UP"]["order"]) == (1, 2)
    assert "how dense it is now has not been measured" in units["S2"]["reasons"]
    assert "which way it faces is not known: no elevation here" in units["OFF"]["reasons"]
    assert "elevation covers only 30% of it" in units["HALF"]["reasons"]
    assert "on hold, no end is written: sale not settled" in units["S1"]["reasons"]
    assert "contract EQIP 7: due 2026-04-30" in units["N1"]["reasons"]
    assert units["OFF"]["parts"]["sun_facing"] is None
    # alone in its tier it keeps its place under every weighting
    assert (units["S1"]["firm_pct"], units["S1"]["close_call"]) == (100.0, False)


def test_a_score_by_hand(run_habmap: Run, place: Path) -> None:
    unit = ranked(run_habmap, place)["S1"]
    parts = unit["parts"]
    acres = 10_000 / 4046.8564224
    slope, lat = math.atan(0.2), math.radians(38 - 250 / 111_000)
    # McCune & Keon 2002, eq. 3, aspect 180 folded about 225: 135°; scaled from 0.6–1.05 to 0–1
    heat = (
        0.339
        + 0.808 * math.cos(lat) * math.cos(slope)
        - 0.196 * math.sin(lat) * math.sin(slope)
        - 0.482 * math.cos(math.radians(135)) * math.sin(slope)
    )
    expected = {
        "sun_facing": 1.0,
        "heat_load": (heat - 0.6) / 0.45,
        "density": 400 / 1000,  # full at four times the limit of 250
        "remaining": acres / (acres + 5),
        "near_open": 0.5,  # 100 m to UP
        "gentle": 1.0,  # 20% is below the machine limit of 30%
    }
    for name, value in expected.items():
        assert parts[name] == pytest.approx(value, abs=2e-4), name
    weights = {"sun_facing": 30, "heat_load": 15, "density": 30, "remaining": 10, "near_open": 15, "gentle": 5}
    score = sum(weights[name] * expected[name] for name in weights) / 105
    assert unit["score"] == pytest.approx(score, abs=2e-4)


def test_burned_ground_asks_for_upkeep_after_four_years(run_habmap: Run, place: Path) -> None:
    # burned on 10 April 2021: four years of 365.25 days are over on 10 April 2025
    assert ranked(run_habmap, place, "2025-04-09")["UP"]["tier"] == "none"
    unit = ranked(run_habmap, place, "2025-04-10")["UP"]
    assert unit["tier"] == "upkeep" and "ask for upkeep" in unit["reasons"][-1]
    # its own part: how near the cedars stand that would seed it, S1 100 m off
    assert unit["parts"]["near_seed"] == pytest.approx(0.5, abs=1e-3)


def test_the_first_line_is_readable_alone(run_habmap: Run, place: Path) -> None:
    done = run_habmap("rank", "--on", ON, place=place)
    assert done.out.startswith(
        "S1 (Stand S1) would come first but is on hold, no end is written: sale not settled. Next"
    )
    assert "Go to" not in done.out
    before = run_habmap("rank", "--on", "2025-11-30", place=place)
    assert before.out.startswith("Go to S1 (Stand S1) first: cedar, faces south")
    assert "The order is firm." in before.out.splitlines()[0]
    assert "on hold from 2025-12-01: sale not settled" in before.out.splitlines()[0]
    assert "UP (Stand UP)" in done.out.splitlines()[1]
    assert "Never cut alone" in done.out


def test_the_owner_may_count_other_faces(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    mine = Path(shutil.copytree(place, tmp_path / "mine"))
    text = (mine / "habmap.toml").read_text(encoding="utf-8")
    text = text.replace("sun_facing_deg = [112.5, 247.5]", "sun_facing_deg = [315, 45]")
    (mine / "habmap.toml").write_text(text, encoding="utf-8")
    units = ranked(run_habmap, mine)
    assert (units["N1"]["tier"], units["S1"]["tier"]) == ("first", "next")


def test_weights_that_cannot_be_are_refused_with_their_line(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    mine = Path(shutil.copytree(place, tmp_path / "mine"))
    text = (mine / "habmap.toml").read_text(encoding="utf-8").replace("near_open = 15", "near_open = -15")
    (mine / "habmap.toml").write_text(text, encoding="utf-8")
    number = next(i for i, line in enumerate(text.splitlines(), start=1) if line.startswith("near_open"))
    done = run_habmap("rank", "--json", place=mine)
    assert done.code == 3 and f"line {number}," in done.out
    with_settings(mine, "\n[rank]\n")  # and a table twice is no TOML at all
    assert run_habmap("rank", place=mine).code == 3


def test_a_place_without_units_is_not_said_to_be_done(run_habmap: Run, tmp_path: Path) -> None:
    assert run_habmap("start", tmp_path / "bare", "--name", "Bare").code == 0
    done = run_habmap("rank", place=tmp_path / "bare")
    assert done.code == 0 and "No units are loaded yet" in done.out and "left to cut" not in done.out
