"""``habmap acres`` and ``habmap history`` from outside."""

from __future__ import annotations

import shutil
import sqlite3
import uuid
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fakes import entry, unit
from shapely import box

from habmap.measures import m2
from habmap.place.store import GeoPackageStore

SIDE_M = m2(10) ** 0.5  # a square of ten acres


def _uuid(text: str) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_URL, text))


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A place with two cedar units and a meadow: one cut, a burn withdrawn, keep ground, a name full of mischief."""
    folder = tmp_path_factory.mktemp("account") / "place"
    store = GeoPackageStore.create(folder, "Lark Hill")
    west = unit("W", box(0, 0, SIDE_M, SIDE_M), name="West\x1b[2J \N{RIGHT-TO-LEFT OVERRIDE}<b>")
    east = unit("E", box(SIDE_M, 0, 2 * SIDE_M, SIDE_M), cover="mixed")
    meadow = unit("M", box(0, SIDE_M, SIDE_M, 2 * SIDE_M), cover="grass")
    cut = entry("cut", "2025-02-03", box(0, 0, SIDE_M / 2, SIDE_M), person_hours=6, who="M. Vale")
    burn = entry("burn", "2025-04-01", box(0, 0, SIDE_M / 2, SIDE_M))
    keep = entry("keep", "2025-05-01", box(SIDE_M, 0, 1.1 * SIDE_M, SIDE_M))
    end = entry("other", "2025-04-01", action="void", target=_uuid(burn.entry_id), why="it rained", who="J. Roe")
    store.append([replace(row, uuid=_uuid(row.uuid)) for row in (west, east, meadow)])
    store.append([replace(row, entry_id=_uuid(row.entry_id)) for row in (cut, burn, keep, end)])
    return folder


def test_the_account_as_json(run_habmap: Callable[..., Any], place: Path) -> None:
    result = run_habmap("acres", "--json", place=place)
    assert (result.code, result.err) == (0, "")
    account = result.json
    assert account["schema"] == "habmap/acres/1"
    assert (account["place"], account["on"], account["acre_m2"]) == ("Lark Hill", "2025-05-01", 4046.8564224)
    totals = account["totals"]
    assert totals["acres"] == pytest.approx(30, abs=1e-7)
    assert totals["treated_acres"] == pytest.approx(5, abs=1e-7)
    assert totals["keep_acres"] == pytest.approx(1, abs=1e-7)
    assert totals["remaining_acres"] == pytest.approx(14, abs=1e-7)
    assert totals["stage_acres"]["other"] == pytest.approx(10, abs=1e-7)
    assert account["closure_m2"] <= 1e-6
    by_id = {line["unit_id"]: line for line in account["units"]}
    assert by_id["W"]["treated_pct"] == pytest.approx(50, abs=1e-6)
    assert by_id["W"]["stage_acres"]["down"] == pytest.approx(5, abs=1e-7)
    assert by_id["W"]["acres_sd"] is None
    assert [(line["practice"], line["practice_code"]) for line in account["practices"]] == [
        ("keep", None),
        ("cut", "314"),
    ]


def test_the_account_in_words(run_habmap: Callable[..., Any], place: Path) -> None:
    result = run_habmap("acres", place=place)
    first = result.out.splitlines()[0]
    assert first == (
        "5.0 of 20.0 cedar acres treated at least once; 14.0 remain and 1.0 are left on purpose "
        "(work up to 2025-05-01)."
    )
    assert "cut, slash on ground 5.00" in result.out
    assert "\x1b" not in result.out and "\N{RIGHT-TO-LEFT OVERRIDE}" not in result.out


def test_as_of_a_day(run_habmap: Callable[..., Any], place: Path) -> None:
    before = run_habmap("acres", "--on", "2025-02-02", "--json", place=place).json
    assert (before["on"], before["totals"]["treated_acres"], before["practices"]) == ("2025-02-02", 0, [])
    assert run_habmap("acres", "--on", "2025-02-30", place=place).code == 2


def test_the_history_in_words(run_habmap: Callable[..., Any], place: Path) -> None:
    result = run_habmap("history", place=place)
    assert result.code == 0
    assert "Cut on Feb 3, 2025, 5.0 acres in W, 6 person-hours (M. Vale)." in result.out
    assert "(J. Roe): it rained." in result.out
    east = run_habmap("history", "E", place=place).out
    assert "Left on purpose on May 1, 2025" in east
    assert "Cut on" not in east


def test_the_history_as_json_and_an_unknown_unit(run_habmap: Callable[..., Any], place: Path) -> None:
    lines = run_habmap("history", "W", "--json", place=place).json["entries"]
    assert [(line["action"], line["practice"], line["counts"]) for line in lines] == [
        ("log", "cut", True),
        ("log", "burn", False),
        ("void", "other", False),
    ]
    assert lines[2]["why"] == "it rained"
    assert lines[0]["acres"] == pytest.approx(5, abs=1e-7)
    refused = run_habmap("history", "X", "--json", place=place)
    assert refused.code == 3
    assert refused.json["allowed"] == "E, M, W"


def test_a_unit_with_ground_left_is_not_all_done_and_a_meadow_has_no_share(
    run_habmap: Callable[..., Any], tmp_path: Path
) -> None:
    store = GeoPackageStore.create(tmp_path / "place", "Lark Hill")
    ground, meadow = unit("W", box(0, 0, SIDE_M, SIDE_M)), unit("M", box(0, SIDE_M, SIDE_M, 2 * SIDE_M), cover="grass")
    most = entry("cut", "2025-02-03", box(0, 0, 0.997 * SIDE_M, SIDE_M))
    store.append([replace(row, uuid=_uuid(row.uuid)) for row in (ground, meadow)])
    store.append([replace(most, entry_id=_uuid("most"))])
    lines = run_habmap("acres", place=tmp_path / "place").out.splitlines()
    (west,) = [line for line in lines if line.startswith("W ")]
    (grass,) = [line for line in lines if line.startswith("M ")]
    assert "99.7%" in west and "100%" not in west
    assert "%" not in grass


@pytest.mark.parametrize(
    ("table", "column", "words"),
    [("entries", "practice", "the practice of a log line"), ("units", "cover", "the cover")],
)
def test_a_word_that_nobody_here_knows_stops_the_account_instead_of_thinning_it(
    run_habmap: Callable[..., Any], tmp_path: Path, place: Path, table: str, column: str, words: str
) -> None:
    folder = tmp_path / "place"
    shutil.copytree(place, folder)
    connection = sqlite3.connect(folder / "place.gpkg")
    connection.execute(f"DROP TRIGGER {table}_no_update")
    connection.execute(f"UPDATE {table} SET {column} = 'frobnicate' WHERE fid = 1")
    connection.commit()
    connection.close()
    for command in (("acres",), ("rank",), ("map", "-o", tmp_path / "map.html")):
        done = run_habmap(*command, place=folder)
        assert done.code == 3
        assert words in done.err
        assert "frobnicate" in done.err
        assert done.out == ""
    looked = run_habmap("check", place=folder)
    assert looked.code == 1
    assert "'frobnicate' is not known" in looked.out
