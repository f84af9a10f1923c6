"""`habmap unite` from outside: two people, two copies of one folder."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from walk_makers import SQUARE, segment, walk, write_gpx

Run = Callable[..., Any]


@pytest.fixture
def copies(tmp_path: Path, run_habmap: Run) -> tuple[Path, Path]:
    """Two copies of a place with one unit; each person then logged work of their own."""
    mine, theirs = tmp_path / "mine", tmp_path / "theirs"
    edge = write_gpx(tmp_path / "edge.gpx", segment(*walk(SQUARE)))
    xy, times = walk(SQUARE)
    half = write_gpx(tmp_path / "half.gpx", segment(xy / 2, times))
    assert run_habmap("start", mine, "--name", "Two Hands").code == 0
    assert run_habmap("trace", edge, "--unit-id", "C1", "--cover", "cedar", place=mine).code == 0
    shutil.copytree(mine, theirs)
    assert run_habmap("log", "cut", "--date", "2026-03-14", "--track", half, place=mine).code == 0
    assert (
        run_habmap(
            "log", "girdle", "--date", "2026-03-15", "--unit", "C1", "--whole", "--killed-pct", 60, place=theirs
        ).code
        == 0
    )
    return mine, theirs


def account(run_habmap: Run, place: Path) -> Any:
    return run_habmap("acres", "--json", place=place).json


def test_either_order_gives_one_account_and_twice_changes_nothing(
    tmp_path: Path, copies: tuple[Path, Path], run_habmap: Run
) -> None:
    mine, theirs = copies
    kept = tmp_path / "kept"
    shutil.copytree(mine, kept)
    joined = run_habmap("unite", theirs, "--json", place=mine)
    assert joined.code == 0, joined.err
    assert joined.json["schema"] == "habmap/unite/1"
    assert joined.json["added"]["entries"] == 1
    assert run_habmap("unite", kept, place=theirs).code == 0
    one, other = account(run_habmap, mine), account(run_habmap, theirs)
    assert one["totals"] == other["totals"]
    assert one["units"] == other["units"]
    assert len(one["practices"]) == 2

    again = run_habmap("unite", theirs / "place.gpkg", place=mine)
    assert again.code == 0
    assert "nothing was changed" in again.out
    assert account(run_habmap, mine) == one
    assert run_habmap("check", place=mine).code == 0


def test_a_row_changed_by_another_program_is_refused(copies: tuple[Path, Path], run_habmap: Run) -> None:
    mine, theirs = copies
    assert run_habmap("unite", theirs, place=mine).code == 0
    connection = sqlite3.connect(theirs / "place.gpkg")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f'DROP TRIGGER "{name}"')
    connection.execute("UPDATE entries SET killed_pct = 5 WHERE practice = 'girdle'")
    connection.commit()
    connection.close()
    before = account(run_habmap, mine)
    refused = run_habmap("unite", theirs, "--json", place=mine)
    assert refused.code == 3
    assert "killed_pct 60.0 here, 5.0 there" in refused.json["faults"][0]["value"]
    assert account(run_habmap, mine) == before


def test_what_is_no_copy_is_refused(tmp_path: Path, copies: tuple[Path, Path], run_habmap: Run) -> None:
    mine, _ = copies
    stranger = tmp_path / "stranger"
    assert run_habmap("start", stranger, "--name", "Elsewhere").code == 0
    refused = run_habmap("unite", stranger, "--json", place=mine)
    assert (refused.code, refused.json["what"]) == (3, "these are two different properties, not copies of one")
    assert run_habmap("unite", tmp_path / "nowhere", place=mine).code == 3


def test_one_day_told_twice_and_settings_that_differ_are_said(copies: tuple[Path, Path], run_habmap: Run) -> None:
    here, there = copies
    for place, who, hours in ((here, "Bob", 20), (there, "Ann", 19)):
        words = ("log", "pile", "--date", "2026-03-03", "--unit", "C1", "--whole")
        done = run_habmap(*words, "--who", who, "--person-hours", hours, place=place)
        assert done.code == 0, done.err
    with (there / "habmap.toml").open("a", encoding="utf-8") as settings:
        settings.write('\n[[hold]]\nunit = "C1"\nreason = "nest"\n')
    said = run_habmap("unite", there, place=here)
    assert said.code == 0, said.err
    assert "may tell one day's work" in said.out and "habmap void" in said.out
    assert "(Bob)" in said.out and "(Ann)" in said.out
    assert "hold[C1 nest]" in said.out
