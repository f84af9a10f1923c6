"""``habmap unit`` from outside: each change previewed, made, told by `history`, undone; and every way to be refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from fakes import GRID
from shapely.geometry import mapping
from small_places import make_place, square

Run = Callable[..., Any]
ACRES = 10_000 / 4046.8564224


def drawn(path: Path, *shapes: shapely.Geometry) -> Path:
    features = [{"type": "Feature", "properties": {}, "geometry": mapping(GRID.to_lonlat(shape))} for shape in shapes]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


@pytest.fixture
def place(tmp_path: Path, run_habmap: Run) -> Path:
    """Squares 1 and 2 side by side and 9 apart; the west half of 1 is cut."""
    folder = make_place(
        run_habmap, tmp_path / "place", [("1", square(0), {}), ("2", square(1), {}), ("9", square(6), {})]
    )
    patch = drawn(tmp_path / "half.geojson", shapely.box(0, 0, 50, 100))
    done = run_habmap("log", "cut", "--date", "2025-02-01", "--patch", patch, place=folder)
    assert done.code == 0, done.err
    return folder


def acres(run: Run, place: Path, *more: str) -> dict[str, tuple[float, float]]:
    units = run("acres", "--json", *more, place=place).json["units"]
    return {unit["unit_id"]: (unit["acres"], unit["treated_acres"]) for unit in units}


def test_a_split_is_previewed_made_told_and_undone(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    line = drawn(tmp_path / "line.geojson", shapely.LineString([(25, -20), (25, 120)]))
    before = acres(run_habmap, place)
    look = run_habmap("unit", "split", "1", "--by", line, "--preview", "--json", place=place)
    assert look.code == 0 and not look.json["is_written"]
    after = [(unit["unit_id"], unit["acres"], unit["treated_acres"]) for unit in look.json["after"]]
    assert after == [
        ("1-1", pytest.approx(ACRES / 4), pytest.approx(ACRES / 4)),
        ("1-2", pytest.approx(3 * ACRES / 4), pytest.approx(ACRES / 4)),
    ]
    assert acres(run_habmap, place) == before
    done = run_habmap("unit", "split", "1", "--by", line, "--into", "W,E", "--from", "2026-01-01", place=place)
    assert done.code == 0 and "1 split from 2026-01-01." in done.out
    now = acres(run_habmap, place)
    assert set(now) == {"W", "E", "2", "9"}
    assert now["W"] == (pytest.approx(ACRES / 4), pytest.approx(ACRES / 4))
    assert set(acres(run_habmap, place, "--on", "2025-12-31")) == {"1", "2", "9"}
    told = run_habmap("history", "W", place=place)
    assert "Split from Jan 1, 2026." in told.out and "Redrawn" not in told.out
    assert "1, cedar, 2.47 acres, from the beginning: until Jan 1, 2026" in told.out
    assert "W, cedar, 0.62 acres, from Jan 1, 2026, after 1: holds" in told.out
    assert run_habmap("unit", "redate", "W", "--from", "2025-06-01", place=place).code == 0
    assert set(acres(run_habmap, place, "--on", "2025-06-01")) == {"W", "E", "2", "9"}
    assert set(acres(run_habmap, place, "--on", "2025-05-31")) == {"1", "2", "9"}
    assert run_habmap("unit", "undo", "E", place=place).code == 0
    assert acres(run_habmap, place) == before
    assert "taken back, never held" in run_habmap("history", "1", place=place).out
    assert run_habmap("check", place=place).code == 0


def test_holds_contracts_and_checks_outlive_a_split_and_a_retirement(
    place: Path, tmp_path: Path, run_habmap: Run
) -> None:
    with (place / "habmap.toml").open("a") as toml:
        toml.write('\n[[hold]]\nunit = "1"\nreason = "owls"\nfrom = 2026-01-01\n')
        toml.write('\n[[contract]]\nprogram = "P"\nitem = "1"\npractice_code = "314"\nunits = ["1"]\n')
    line = drawn(tmp_path / "line.geojson", shapely.LineString([(25, -20), (25, 120)]))
    done = run_habmap(
        "unit", "split", "1", "--by", line, "--into", "W,E", "--from", "2026-01-01", "--json", place=place
    )
    assert any(
        "names 1 in [[contract]] P 1, [[hold]] owls: that goes for all of W, E" in note for note in done.json["notes"]
    )
    ranked = run_habmap("rank", "--json", place=place).json
    assert {unit["unit_id"]: unit["on_hold"] for unit in ranked["units"]} == {
        "W": True, "E": True, "2": False, "9": False,
    }  # fmt: skip
    assert ranked["next_unit_id"] in ("2", "9")
    told = run_habmap("export", "practices", "-o", tmp_path / "p.csv", "--json", place=place).json
    of_item = {line["unit_id"]: line["applied_acres"] for line in told["lines"] if line["program"] == "P"}
    assert of_item == {"W": pytest.approx(ACRES / 4), "E": pytest.approx(ACRES / 4)}
    named = run_habmap("check", place=place)
    assert named.code == 1 and "it goes for E, W now" in named.out
    # a new unit with the old name: what is said of it goes for it alone, and that is said
    (place / "habmap.toml").write_text((place / "habmap.toml").read_text().replace('"1"\nreason', '"2"\nreason'))
    line = drawn(tmp_path / "line2.geojson", shapely.LineString([(150, -20), (150, 120)]))
    split = run_habmap("unit", "split", "2", "--by", line, "--into", "2,2E", "--json", place=place)
    assert any("that does not go for 2E" in note for note in split.json["notes"])


def test_work_on_a_unit_that_was_retired_is_no_fault(place: Path, run_habmap: Run) -> None:
    assert run_habmap("unit", "retire", "1", "--from", "2026-01-01", place=place).code == 0
    done = run_habmap("check", place=place)
    assert done.code == 0, done.out


def test_a_polygon_splits_what_lies_in_it_from_the_rest(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    ring = drawn(tmp_path / "ring.geojson", shapely.box(40, 40, 60, 60))
    done = run_habmap("unit", "split", "1", "--by", ring, "--json", place=place)
    assert [unit["acres"] for unit in done.json["after"]] == [
        pytest.approx(400 / 4046.8564224), pytest.approx(9600 / 4046.8564224),
    ]  # fmt: skip
    assert any("0.0988 acres only" in note for note in done.json["notes"])


def test_units_that_do_not_touch_are_merged_and_it_is_said(place: Path, run_habmap: Run) -> None:
    done = run_habmap("unit", "merge", "2", "9", "--into", "29", "--json", place=place)
    assert done.code == 0 and any("2 parts that do not touch" in note for note in done.json["notes"])
    assert acres(run_habmap, place)["29"] == (pytest.approx(2 * ACRES), 0)
    assert run_habmap("unit", "merge", "1", "29", "--into", "1", place=place).code == 0
    assert acres(run_habmap, place) == {"1": (pytest.approx(3 * ACRES), pytest.approx(ACRES / 2))}


def test_a_redrawn_unit_must_not_lie_on_others_and_a_retired_one_comes_back(
    place: Path, tmp_path: Path, run_habmap: Run
) -> None:
    wide = drawn(tmp_path / "wide.geojson", shapely.box(0, 0, 110, 100))
    refused = run_habmap("unit", "redraw", "1", wide, "--json", place=place)
    assert refused.code == 3 and "1 and 2 cover the same ground" in refused.json["faults"][0]["what"]
    assert run_habmap("unit", "redraw", "1", wide, "--trim", place=place).code == 0
    assert acres(run_habmap, place)["1"][0] == pytest.approx(ACRES, rel=1e-7)
    assert run_habmap("unit", "retire", "1", "--from", "2099-01-01", place=place).code == 0
    assert "1" not in acres(run_habmap, place)
    assert "1" in acres(run_habmap, place, "--on", "2098-12-31")
    gone = run_habmap("unit", "retire", "1", "--json", place=place)
    assert gone.code == 3 and gone.json["what"] == "this unit was retired"
    assert run_habmap("unit", "undo", "1", place=place).code == 0
    assert acres(run_habmap, place)["1"][0] == pytest.approx(ACRES, rel=1e-7)


LINES = {
    "stops inside": (shapely.LineString([(25, -20), (25, 60)]), "25.0 m inside"),
    "misses": (shapely.LineString([(-50, -20), (-50, 60)]), "50.0 m away"),
    "along the edge": (shapely.LineString([(0, -20), (0, 120)]), "does not cross"),
    "a point": (shapely.Point(50, 50), "by a line or a polygon"),
    "all of it": (shapely.box(-10, -10, 110, 110), "covers all"),
    "none of it": (shapely.box(-50, -10, -20, 110), "covers none"),
}


@pytest.mark.parametrize("kind", LINES)
def test_what_cuts_nothing_off_is_refused(kind: str, place: Path, tmp_path: Path, run_habmap: Run) -> None:
    shape, words = LINES[kind]
    done = run_habmap("unit", "split", "1", "--by", drawn(tmp_path / "by.geojson", shape), place=place)
    assert done.code == 3 and words in done.err, done.err
    assert set(acres(run_habmap, place)) == {"1", "2", "9"}


def test_bad_names_files_and_days_are_refused(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    line = drawn(tmp_path / "line.geojson", shapely.LineString([(25, -20), (25, 120)]))
    two = drawn(tmp_path / "two.geojson", square(0), square(1))
    for words, command in (
        ("there is no such unit", ("split", "7", "--by", line)),
        ("as many names as pieces", ("split", "1", "--by", line, "--into", "A")),
        ("cannot be given", ("split", "1", "--by", line, "--into", "A,2")),
        ("cannot be given", ("split", "1", "--by", line, "--into", "A,A")),
        ("must hold one polygon", ("redraw", "1", two)),
        ("must hold one line or polygon", ("split", "1", "--by", two)),
        ("is wanted here", ("redraw", "1", line)),
        ("never changed", ("undo", "1")),
        ("never changed", ("redate", "1", "--from", "2026-01-01")),
        ("cannot be given", ("merge", "1", "2", "--into", "9")),
        ("there is no such unit", ("merge", "1", "8", "--into", "1")),
    ):
        done = run_habmap("unit", *command, place=place)
        assert (done.code, words in done.err) == (3, True), done.err
    assert run_habmap("unit", "merge", "1", "1", "--into", "1", place=place).code == 2
    assert run_habmap("unit", "merge", "1", "2", "--into", "1", "--cover", "pine", place=place).code == 2
    assert run_habmap("unit", "split", "1", "--by", line, "--from", "2026-01-01", place=place).code == 0
    late = run_habmap("unit", "retire", "1-1", "--from", "2025-01-01", place=place)
    assert late.code == 3 and "begins later" in late.err
    gone = run_habmap("unit", "retire", "1", place=place)
    assert gone.code == 3 and "split or merged" in gone.err
    assert run_habmap("unit", "retire", "1-1", "--from", "2026-02-01", place=place).code == 0
    later = run_habmap("unit", "undo", "1-2", place=place)
    assert later.code == 3 and "changed again since" in later.err
