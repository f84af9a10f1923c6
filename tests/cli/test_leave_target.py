"""Cedar to be left on purpose: the goal by place and unit, and the warning before a line that takes it.

Every figure is by hand: squares of 100 m, 10,000 m², of which a strip so many meters wide is so many percent.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from fakes import GRID
from shapely.geometry import mapping
from small_places import make_place, square

#: Acres of 100 m by 1 m: a hundredth of a square.
PERCENT_ACRES = 100 / 4046.8564224


@pytest.fixture
def place(run_habmap: Callable[..., Any], tmp_path: Path) -> Path:
    units = [("A", square(0), {}), ("B", square(2), {}), ("G", square(4), {"cover": "grass"})]
    folder = make_place(run_habmap, tmp_path / "leave", units)
    settings = folder / "habmap.toml"
    text = settings.read_text(encoding="utf-8")
    assert "# unit.C2.leave_pct = [5, 10]" in text
    settings.write_text(text.replace("# unit.C2.leave_pct = [5, 10]", "unit.B.leave_pct = [5, 8]"), encoding="utf-8")
    return folder


def strip(folder: Path, from_m: float, to_m: float) -> str:
    path = folder / f"strip_{from_m:g}_{to_m:g}.geojson"
    shape = mapping(GRID.to_lonlat(shapely.box(from_m, 0, to_m, 100)))
    path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": shape}), encoding="utf-8")
    return str(path)


def test_a_unit_may_have_a_goal_of_its_own(run_habmap: Callable[..., Any], place: Path) -> None:
    account = run_habmap("acres", "--json", place=place).json
    found = {line["unit_id"]: (line["leave_target_acres"], line["still_to_leave_acres"]) for line in account["units"]}
    low_high = {"A": (10, 20), "B": (5, 8), "G": (0, 0)}
    for unit_id, (low, high) in low_high.items():
        goal, missing = found[unit_id]
        assert goal == pytest.approx([low * PERCENT_ACRES, high * PERCENT_ACRES], rel=1e-5)
        assert missing == pytest.approx(low * PERCENT_ACRES, rel=1e-5)
    assert account["totals"]["leave_target_acres"] == pytest.approx([15 * PERCENT_ACRES, 28 * PERCENT_ACRES], rel=1e-5)
    assert account["totals"]["still_to_leave_acres"] == pytest.approx(15 * PERCENT_ACRES, rel=1e-5)


def test_a_line_that_takes_cedar_to_be_left_says_so_first_and_is_written(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    def cut(day: str, from_m: float, to_m: float, *more: str) -> Any:
        done = run_habmap("log", "cut", "--date", day, "--patch", strip(tmp_path, from_m, to_m), *more, place=place)
        assert done.code == 0, done.err
        return done

    within = cut("2025-01-05", 0, 89)  # 11 of 100 m stay, 10 are meant to
    assert "to be left on purpose" not in within.err + within.out
    keep = run_habmap("log", "keep", "--date", "2025-01-06", "--patch", strip(tmp_path, 89, 93), place=place)
    assert keep.code == 0 and "to be left on purpose" not in keep.err
    # 4 m kept and 3 m live stay; of B, 100 m east of it, nothing is touched
    under = cut("2025-01-07", 93, 97, "--json").json
    assert under["warnings"][0] == (
        "this takes unit A below what is to be left on purpose: 0.17 acres of live cedar ground stay, "
        "where at least 0.25 are meant to"
    )
    again = cut("2025-01-08", 97, 99, "--reported-acres", "0.049")
    assert "(0.17 before this line, too little already)" in again.err
    assert run_habmap("acres", "--json", place=place).json["units"][0]["remaining_acres"] == pytest.approx(
        1 * PERCENT_ACRES, rel=1e-4
    )
    account = run_habmap("acres", "--json", place=place).json["units"][0]
    # 10 m are meant to stay, 4 are left on purpose, 1 still could be, and for 5 it is too late
    assert account["still_to_leave_acres"] == pytest.approx(1 * PERCENT_ACRES, rel=1e-4)
    assert account["too_late_to_leave_acres"] == pytest.approx(5 * PERCENT_ACRES, rel=1e-4)
    # a pass over ground at its target takes nothing any more, nor does a look
    assert "to be left on purpose" not in cut("2025-02-01", 0, 50).err
    # B keeps its own share: 6 of 100 m are enough where 5 are asked, 4 are not
    assert "unit B" not in cut("2025-03-01", 200, 294).err
    assert "takes unit B below" in cut("2025-03-02", 294, 296).err


def test_the_warning_is_the_first_line_on_screen_and_a_preview_gives_it_too(place: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "habmap", "--place", str(place), "log", "cut", "--date", "2025-01-05"]
    command += ["--patch", strip(tmp_path, 0, 95)]
    for more in (["--preview"], []):
        told = subprocess.run(
            [*command, *more], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=True
        ).stdout
        assert told.startswith("note: this takes unit A below what is to be left on purpose: 0.12 acres"), told


def test_a_correction_is_looked_at_in_place_of_its_line(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    patch = strip(tmp_path, 0, 95)
    less = run_habmap("log", "cut", "--date", "2025-01-05", "--patch", patch, "--killed-pct", "40", place=place)
    assert less.code == 0 and "to be left" not in less.err  # part killed: it could still be left
    more = run_habmap("correct", "1", "--why", "counted again", "--killed-pct", "95", place=place)
    assert more.code == 0 and "takes unit A below" in more.err


def test_ground_that_a_corrected_line_no_longer_keeps_is_looked_at_too(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    for practice, from_m in (("keep", 90), ("cut", 0)):
        patch = strip(tmp_path, from_m, 100)
        assert run_habmap("log", practice, "--date", "2025-01-05", "--patch", patch, place=place).code == 0
    moved = run_habmap("correct", "1", "--why", "was in B", "--patch", strip(tmp_path, 200, 210), place=place)
    assert moved.code == 0 and "takes unit A below what is to be left on purpose: 0.00 acres" in moved.err


def test_a_goal_outlives_the_splitting_of_its_unit_and_a_slip_is_found(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    line = tmp_path / "line.geojson"
    shape = mapping(GRID.to_lonlat(shapely.LineString([(250, -10), (250, 110)])))
    line.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": shape}), encoding="utf-8")
    done = run_habmap("unit", "split", "B", "--by", str(line), place=place)
    assert done.code == 0, done.err
    account = run_habmap("acres", "--json", place=place).json
    halves = [one for one in account["units"] if one["unit_id"] not in ("A", "G")]
    assert len(halves) == 2
    for half in halves:
        assert half["leave_target_acres"] == pytest.approx([2.5 * PERCENT_ACRES, 4 * PERCENT_ACRES], rel=1e-4)
    settings = place / "habmap.toml"
    text = settings.read_text(encoding="utf-8").replace("unit.B.leave_pct", "unit.Q9.leave_pct")
    settings.write_text(text, encoding="utf-8")
    checked = run_habmap("check", place=place)
    assert checked.code == 1 and "Q9" in checked.out + checked.err
