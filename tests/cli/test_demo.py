"""``habmap demo`` from outside: the main job, end to end, by the real command."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from habmap.vocabulary import CAUTIONS, REMAINING, STAGES, STEEP_CAUTION_PUBLIC, TREATED


@dataclass(frozen=True, slots=True)
class Told:
    """What the command said the first time, and which of its papers lay there."""

    out: str
    papers: dict[str, bytes]


@pytest.fixture(scope="module")
def first(run_habmap: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Told]:
    folder = tmp_path_factory.mktemp("demo") / "new" / "place"
    folder.mkdir(parents=True)  # an empty folder is fine
    outcome = run_habmap("demo", folder)
    assert outcome.code == 0, outcome.err
    return folder, Told(outcome.out, {path.name: path.read_bytes() for path in (folder / "out").iterdir()})


@pytest.fixture(scope="module")
def sample(run_habmap: Callable[..., Any], first: tuple[Path, Told]) -> tuple[Path, dict[str, Any]]:
    """The sample property made anew over the first one."""
    folder, _ = first
    (folder / "beside.txt").write_text("put there since", encoding="utf-8")
    outcome = run_habmap("demo", folder, "--overwrite", "--json")
    assert outcome.code == 0, outcome.err
    assert not (folder / "beside.txt").exists()
    return folder, outcome.json


def test_it_ends_with_every_caution_whole(first: tuple[Path, Told]) -> None:
    said = first[1].out
    assert [words for words in CAUTIONS if words != STEEP_CAUTION_PUBLIC and words not in said] == []


def snapshot(folder: Path) -> dict[Path, tuple[int, bytes]]:
    return {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.rglob("*") if p.is_file()}


def test_the_account_closes_and_every_stage_is_present(sample: tuple[Path, dict[str, Any]]) -> None:
    _, result = sample
    assert result["schema"] == "habmap/demo/1"
    stages = result["stage_acres"]
    assert set(stages) == set(STAGES)
    assert {stage for stage in STAGES if stages[stage] <= 0.1} == set()
    assert sum(stages.values()) == pytest.approx(result["acres"], abs=1e-8)
    assert sum(stages[s] for s in TREATED) == pytest.approx(result["treated_acres"], abs=1e-8)
    assert sum(stages[s] for s in REMAINING) == pytest.approx(result["remaining_acres"], abs=1e-8)
    parts = ("treated_acres", "remaining_acres", "keep_acres", "other_acres")
    assert sum(result[part] for part in parts) == pytest.approx(result["acres"], abs=1e-8)
    assert 280 < result["acres"] < 320


def test_the_dense_south_facing_stand_comes_first(
    sample: tuple[Path, dict[str, Any]], run_habmap: Callable[..., Any]
) -> None:
    folder, result = sample
    assert result["first"][0] == "C1"
    terrain = {u["unit_id"]: u for u in run_habmap("terrain", "--json", place=folder).json["units"]}
    assert terrain["C1"]["facing"] == "S"
    assert terrain["C1"]["sun_facing_pct"] >= 50
    assert terrain["C5"]["sun_facing_pct"] < 10
    rank = {u["unit_id"]: u for u in run_habmap("rank", "--json", place=folder).json["units"]}
    assert (rank["C1"]["order"], rank["C1"]["tier"], rank["C1"]["close_call"]) == (1, "first", False)
    assert rank["C5"]["tier"] == "next"  # denser, but in the shade
    assert rank["C4"]["tier"] != "first"  # in the sun, but open
    density = {u["unit_id"]: u for u in run_habmap("density", "--json", place=folder).json["units"]}
    assert density["C1"]["plots"] + density["C1"]["plots_before_work"] == 8
    assert density["C1"]["dense"] and not density["C4"]["dense"]


def test_the_map_is_there(sample: tuple[Path, dict[str, Any]]) -> None:
    folder, result = sample
    page = Path(result["map"])
    assert page.is_relative_to(folder.resolve())
    text = page.read_text(encoding="utf-8")
    assert "<html" in text and "South Bluff" in text


def test_the_place_is_whole(sample: tuple[Path, dict[str, Any]], run_habmap: Callable[..., Any]) -> None:
    folder, result = sample
    account = run_habmap("acres", "--json", place=folder).json
    assert account["totals"]["acres"] == result["acres"]
    assert account["on"] == result["on"] == "2026-07-18"
    assert len(account["units"]) == result["units"] == 18
    check = run_habmap("check", place=folder)
    assert check.code == 0, check.out + check.err
    assert [p.name for p in folder.parent.iterdir()] == ["place"]  # no workshop left behind
    assert sorted(p.suffix for p in (folder / "tracks").iterdir()) == [".gpx"] * 3


def test_it_says_every_step_and_where_the_map_is(first: tuple[Path, Told]) -> None:
    folder, outcome = first
    for word in ("Started:", "Loaded:", "Account:", "Terrain:", "Order of work: next comes C1", "written burn plan"):
        assert word in outcome.out
    assert str(folder / "out" / "map.html") in outcome.out
    assert str(folder / "out" / "sheet.pdf") in outcome.out
    assert outcome.papers["sheet.pdf"].startswith(b"%PDF-")
    assert str(folder / "out" / "handout.pdf") in outcome.out
    assert outcome.papers["handout.pdf"].startswith(b"%PDF-")


def test_a_folder_with_something_in_it_is_refused(
    sample: tuple[Path, dict[str, Any]], run_habmap: Callable[..., Any], tmp_path: Path
) -> None:
    folder, _ = sample
    before = snapshot(folder)
    outcome = run_habmap("demo", folder, "--json")
    assert outcome.code == 3
    assert outcome.json["schema"] == "habmap/error/1" and outcome.json["where"] == str(folder.resolve())
    assert snapshot(folder) == before

    (tmp_path / "letters.txt").write_text("mine")
    for options in ((), ("--overwrite",)):
        assert run_habmap("demo", tmp_path, *options).code == 3
    assert [p.name for p in tmp_path.iterdir()] == ["letters.txt"]


def test_a_property_of_ones_own_is_never_replaced(run_habmap: Callable[..., Any], tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    assert run_habmap("start", folder, "--name", "My own land").code == 0
    before = snapshot(folder)
    outcome = run_habmap("demo", folder, "--overwrite", "--json")
    assert outcome.code == 3
    assert outcome.json["value"] == "My own land"
    assert snapshot(folder) == before
