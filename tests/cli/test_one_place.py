"""A fact stands once: a copy of the program with one line more knows a new field of a log line, or a new practice."""

from __future__ import annotations

import csv
import json
import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pdf_reading import pdf_words
from small_places import Run, make_place, square, write_dem

import habmap

SOURCE = Path(habmap.__file__).parent


def with_lines(folder: Path, *changes: tuple[str, str, str]) -> Run:
    """Copy the program, put lines of source into it, each after the one that holds the mark, and name its command."""
    shutil.copytree(SOURCE, folder / "habmap", ignore=shutil.ignore_patterns("__pycache__"))
    for name, mark, line in changes:
        path = folder / "habmap" / name
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        (at,) = [number for number, text in enumerate(lines) if mark in text]
        lines.insert(at + 1, line)
        path.write_text("".join(lines), encoding="utf-8")
    return lambda run, *words, **more: run(*words, env={"PYTHONPATH": str(folder)}, **more)


@pytest.fixture
def place(run_habmap: Run, tmp_path: Path) -> Path:
    units = [("U", square(0), {}), ("V", square(1), {})]
    return make_place(run_habmap, tmp_path / "place", units, entries="A1,2026-02-01,cut,U,,6,\nA2,2026-03-01,mow,V,,2,")


def ok(done: Any) -> Any:
    assert done.code == 0, done.err
    return json.loads(done.out) if done.out.startswith("{") else done.out


def test_a_field_of_a_log_line_is_one_line_of_source(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    entry = re.compile(r"class Entry:.*?^    supersedes:[^\n]*\n", re.DOTALL | re.MULTILINE)
    source = (SOURCE / "records" / "log.py").read_text(encoding="utf-8")
    copied = with_lines(tmp_path / "copy")
    found = entry.search(source)
    assert found is not None
    crew = '    crew: int | None = fact("crew", low=1, high=99, is_private=True, metavar="N", help="People who worked",'
    crew += ' tells="a crew of {}")\n'
    changed = source[: found.end()] + crew + source[found.end() :]
    (tmp_path / "copy" / "habmap" / "records" / "log.py").write_text(changed, encoding="utf-8")

    def run(*words: object) -> Any:
        return copied(run_habmap, *words, place=place)

    # The place was made by a version without the field; the first write gives it the column.
    whole = ("--unit", "U", "--whole", "--date", "2026-04-01")
    assert "a whole number, 1 to 99" in run("log", "mow", *whole, "--crew", "0").err
    logged = ok(run("log", "mow", *whole, "--crew", "3", "--json"))
    assert logged["number"] == 3
    assert run("log", "mow", *whole, "--crew", "2").err.count("already logged") == 0  # another crew: other work
    ok(run("correct", "#3", "--crew", "4", "--why", "counted again"))
    assert "a crew of 4" in ok(run("history"))
    lines = ok(run("history", "--json"))["entries"]
    assert [line["crew"] for line in lines] == [None, None, 3, 2, 4]
    for audience, heads in (("owner", True), ("public", False)):
        table = tmp_path / f"{audience}.csv"
        ok(run("export", "ledger", "-o", table, "--for", audience))
        rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
        assert ("crew" in rows[0]) == heads
        assert not heads or sorted(row["crew"] for row in rows) == ["", "", "2", "4"]
    assert "4 were there already" in ok(run("load", "entries", tmp_path / "owner.csv"))
    more = tmp_path / "more.csv"
    more.write_text("date,practice,unit_id,whole,crew\n2026-05-01,mow,V,yes,2.5\n", encoding="utf-8")
    assert "no whole number" in run("load", "entries", more).err
    more.write_text("date,practice,unit_id,whole,crew\n2026-05-01,mow,V,yes,5\n", encoding="utf-8")
    ok(run("load", "entries", more))
    assert "already" in ok(run("load", "entries", more))
    ok(run("check"))
    # A row that somebody loaded before the field was known, and that says nothing of it, is still the same row.
    old = tmp_path / "old.csv"
    old.write_text("date,practice,unit_id,whole\n2026-06-01,mow,V,yes\n", encoding="utf-8")
    other = make_place(run_habmap, tmp_path / "other", [("V", square(1), {})])
    assert "1 log line" in ok(run_habmap("load", "entries", old, place=other))
    assert "already" in ok(copied(run_habmap, "load", "entries", old, place=other))


def test_a_practice_is_one_row_and_its_stage_rule(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    row = '    Practice("chip", "chipped", "chipping", "314", kills=True, default_pct=100.0, has_saw=True),\n'
    stage = '        "chip": "share share share share share share share share kept_up . .",\n'
    shares = '        "chip": "gone target target target .",\n'
    run = with_lines(
        tmp_path / "copy",
        ("vocabulary.py", 'Practice("mulch"', row),
        ("work/stages.py", '"mulch":     "share', stage),
        ("work/stages.py", '"mulch":     "gone', shares),
    )

    def chip(*words: object) -> Any:
        return run(run_habmap, *words, place=place)

    done = chip("log", "chip", "--unit", "V", "--whole", "--date", "2026-04-01", "--person-hours", "10")
    assert done.code == 0 and "chipped" in done.out and "Chain saws" in done.err
    acres = ok(chip("acres", "--json"))
    (unit,) = [one for one in acres["units"] if one["unit_id"] == "V"]
    assert unit["stage_acres"]["slash_gone"] == pytest.approx(2.471, abs=0.01)  # not killed and left standing
    assert unit["slash_acres"] == unit["snag_acres"] == 0
    assert {"chip", "314"} <= {value for one in acres["practices"] for value in one.values() if isinstance(value, str)}
    effort = ok(chip("effort", "--json"))
    assert effort["acres_per_person_hour"] == pytest.approx(4.942 / 16, rel=0.01)  # 6 hours of cutting, 10 of chipping
    ok(chip("check"))


@pytest.mark.poppler
def test_a_figure_of_the_terrain_is_its_sum_and_its_field(run_habmap: Run, tmp_path: Path) -> None:
    """Two files of source: its sum in land, its field and formula in work. Command, JSON, map and sheet know it."""
    place = make_place(run_habmap, tmp_path / "place", [("U", square(0), {}), ("V", square(1), {})])
    # Planes of 10% and 20% that meet between the units; over the bend Horn's window gives 12.5% and 17.5%.
    dem = write_dem(tmp_path / "dem.tif", lambda east, north: np.where(east < 100, 0.1 * east, 10 + 0.2 * (east - 100)))
    ok(run_habmap("load", "dem", dem, place=place))
    changes = (
        (
            "land/zones.py",
            "        return self.plain[:, PLAIN_SUMS.index(name)]",
            "\n    def over_15_m2(self) -> Floats:\n"
            "        own = self.table()\n"
            "        row = np.repeat(np.arange(len(self)), np.diff(own.class_ends))\n"
            "        return np.bincount(row, own.class_m2[:, 0] * (own.classes >= 150), minlength=len(self))\n",
        ),
        (
            "work/terrain.py",
            "    flat_pct: float | None = fact(",
            '    over_15_pct: float | None = fact("steep share", column="over 15%", rough_step=10,'
            ' tells="{:.0f}% is over 15%")\n',
        ),
        (
            "work/terrain.py",
            '            "flat_pct": flat_pct,',
            '            "over_15_pct": 100 * table.over_15_m2() / ground_m2,\n',
        ),
    )
    assert len({name for name, _, _ in changes}) == 2
    copied = with_lines(tmp_path / "copy", *changes)

    def run(*words: object) -> Any:
        return copied(run_habmap, *words, place=place)

    units = {unit["unit_id"]: unit for unit in ok(run("terrain", "--json"))["units"]}
    assert [units[name]["over_15_pct"] for name in "UV"] == pytest.approx([0, 100], abs=1e-3)
    assert "over 15%" in ok(run("terrain"))
    assert "over 15%" not in ok(run_habmap("terrain", place=place))
    said = "100% is over 15%"
    ok(run("map", "-o", tmp_path / "map.html"))
    assert said in (tmp_path / "map.html").read_text(encoding="utf-8")
    ok(run("sheet", "--unit", "V", "-o", tmp_path / "sheet.pdf"))
    assert said in pdf_words(tmp_path / "sheet.pdf")


def test_a_line_is_named_by_its_number(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    def run(*words: object, at: Path = place) -> Any:
        return run_habmap(*words, place=at)

    numbers = [(one["number"], one["source_id"]) for one in ok(run("history", "--json"))["entries"]]
    assert numbers == [(1, "A1"), (2, "A2")]
    ok(run("correct", "2", "--person-hours", "3", "--why", "slip"))
    gone = ok(run("void", "#1", "--why", "twice", "--json"))
    assert gone["number"] == 1 and gone["before"]["source_id"] == "A1" and gone["after"] is None
    assert [one["number"] for one in ok(run("history", "--json"))["entries"]] == [1, 2, 2, 1]
    for name in ("3", "#3", "0", "#0", "#A1"):
        assert "no such line" in run("void", name, "--why", "x").err
    # An imported id that reads like another line's number: asked which is meant, never guessed.
    table = tmp_path / "paper.csv"
    table.write_text("entry_id,date,practice,unit_id,whole\n2,2026-05-01,mow,V,yes\n", encoding="utf-8")
    ok(run("load", "entries", table))
    assert "several lines" in run("void", "2", "--why", "x").err
    assert ok(run("void", "#3", "--why", "x", "--json"))["before"]["source_id"] == "2"


def test_numbers_are_alike_whichever_copy_took_the_others_rows(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    shutil.copytree(place, other)
    for at, unit in ((place, "U"), (other, "V"), (place, "V")):
        ok(run_habmap("log", "graze", "--unit", unit, "--whole", "--date", "2026-06-01", place=at))
    third = tmp_path / "third"
    shutil.copytree(other, third)
    ok(run_habmap("unite", place, place=third))
    ok(run_habmap("unite", other, place=place))

    def numbered(at: Path) -> dict[str, int]:
        lines = ok(run_habmap("history", "--json", place=at))["entries"]
        return {one["entry_id"]: one["number"] for one in lines}

    assert numbered(place) == numbered(third)
    assert sorted(numbered(place).values()) == [1, 2, 3, 4, 5]
