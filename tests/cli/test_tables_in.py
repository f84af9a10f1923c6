"""What goes in by tables: whole units only with their word, acres that a person is sure of, ids that stay."""

from __future__ import annotations

import csv
import datetime as dt
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sheet_makers import Cell, write_ods, write_xlsx
from small_places import SIDE_M, make_place, square

Run = Callable[..., Any]
#: 4046.8564224 m² to the acre (NIST SP 811, appendix B).
SQUARE_ACRES = SIDE_M**2 / 4046.8564224


@pytest.fixture
def place(run_habmap: Run, tmp_path: Path) -> Path:
    return make_place(run_habmap, tmp_path / "place", [("C1", square(0), {}), ("C2", square(2), {})])


def table(folder: Path, text: str, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def treated_acres(run_habmap: Run, place: Path) -> float:
    return float(run_habmap("acres", "--json", place=place).json["totals"]["treated_acres"])


def test_a_row_that_names_a_unit_alone_treats_no_ground(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = table(tmp_path, "date,practice,unit_id,reported_acres\n2025-11-01,cut,C1,0.3\n2025-11-02,cut,C2,\n")
    done = run_habmap("load", "entries", path, "--json", place=place)
    assert done.code == 3
    faults = done.json["faults"]
    assert [(fault["where"].rpartition(", row ")[2], fault["value"]) for fault in faults] == [
        ("2, column whole", "blank"),
        ("3, column whole", "blank"),
    ]
    assert "all of C1" in faults[0]["allowed"]
    assert treated_acres(run_habmap, place) == 0


def test_with_its_word_a_whole_unit_counts(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = table(tmp_path, "date,practice,unit_id,whole\n2025-11-01,cut,C1;C2,YES\n")
    assert run_habmap("load", "entries", path, place=place).code == 0
    assert treated_acres(run_habmap, place) == pytest.approx(2 * SQUARE_ACRES, rel=1e-6)


def test_whole_beside_a_drawn_patch_is_two_grounds(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    patch = '"POLYGON ((-98 38, -97.9995 38, -97.9995 38.0005, -98 38))"'
    path = table(tmp_path, f"date,practice,unit_id,whole,patch_wkt\n2025-11-01,cut,C1,yes,{patch}\n")
    done = run_habmap("load", "entries", path, place=place)
    assert done.code == 3 and "two grounds" in done.err


@pytest.mark.parametrize(
    ("reported", "sd", "is_asked"),
    [
        # the square has 2.4711 acres; a tenth of it is 0.2471
        (2.23, "", False),
        (2.22, "", True),
        (2.72, "", True),
        (2.22, 0.13, False),  # 0.251 off, two standard deviations of the walk are 0.26
        (2.22, 0.12, True),
    ],
)
def test_acres_far_from_the_ground_are_asked_about_in_a_table_as_by_log(
    run_habmap: Run, place: Path, tmp_path: Path, reported: float, sd: object, is_asked: bool
) -> None:
    head = "entry_id,date,practice,unit_id,whole,reported_acres,acres_sd"
    path = table(tmp_path, f"{head}\na,2025-11-01,cut,C1,yes,{reported},{sd}\n")
    done = run_habmap("load", "entries", path, place=place)
    assert done.code == (3 if is_asked else 0), done.err
    if is_asked:
        assert "row 2, column reported_acres" in done.err and "column sure" in done.err
    if not sd:
        words = ("--date", "2025-11-01", "--unit", "C2", "--whole", "--reported-acres", str(reported))
        assert run_habmap("log", "cut", *words, place=place).code == (3 if is_asked else 0)


def test_who_is_sure_is_kept_and_check_lists_who_is_not(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = table(
        tmp_path,
        "entry_id,date,practice,unit_id,whole,reported_acres,sure\n"
        "a,2025-11-01,cut,C1,yes,1.5,yes\nb,2025-11-02,cut,C2,yes,2.5,yes\n",
    )
    assert run_habmap("load", "entries", path, place=place).code == 0
    assert run_habmap("load", "entries", path, "--json", place=place).json["already_there"] == 2
    assert run_habmap("check", place=place).code == 0
    words = ("--date", "2025-12-01", "--unit", "C1", "--whole", "--reported-acres", "1")
    assert run_habmap("log", "burn", *words, place=place).code == 3
    assert run_habmap("log", "burn", *words, "--yes", place=place).code == 0
    assert run_habmap("check", place=place).code == 0
    assert "reported as 1.5, and confirmed" in run_habmap("history", "C1", place=place).out
    out = tmp_path / "ledger.csv"
    assert run_habmap("export", "ledger", "-o", out, place=place).code == 0
    with out.open(encoding="utf-8", newline="") as stream:
        rows = {row["practice"] + row["unit_id"]: row["sure"] for row in csv.DictReader(stream)}
    assert rows == {"cutC1": "yes", "cutC2": "", "burnC1": "yes"}


def test_lines_from_before_that_nobody_confirmed_are_listed_and_can_be_confirmed(
    run_habmap: Run, place: Path, tmp_path: Path
) -> None:
    """A place whose log has no column for it yet, as every place before had."""
    path = table(tmp_path, "entry_id,date,practice,unit_id,whole\na,2025-11-01,cut,C1,yes\n")
    assert run_habmap("load", "entries", path, place=place).code == 0
    import sqlite3

    with sqlite3.connect(place / "place.gpkg") as connection:
        connection.execute("DROP TRIGGER entries_no_update")
        connection.execute("UPDATE entries SET reported_acres = 1.5")
        connection.execute("ALTER TABLE entries DROP COLUMN is_sure")
    connection.close()
    done = run_habmap("check", "--json", place=place)
    assert done.code == 1
    found = [fault for fault in done.json["faults"] if fault["rule"] == "reported"]
    assert len(found) == 1 and "1.50 acres are 0.97 less" in found[0]["what"]
    line = found[0]["where"].removeprefix("line ")
    confirm = ("correct", line, "--reported-acres", "1.5", "--why", "paced twice")
    assert run_habmap(*confirm, place=place).code == 3
    assert run_habmap(*confirm, "--yes", place=place).code == 0
    # the first write gave the old log its new column, and its guard anew
    assert run_habmap("check", "--json", place=place).json["faults"] == []
    # a later correction of something else asks nothing and keeps the word
    assert run_habmap("correct", line, "--note", "steep", "--why", "forgotten", place=place).code == 0
    assert run_habmap("check", place=place).code == 0


def test_the_blank_table_asks_for_the_word(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = tmp_path / "sheet.csv"
    assert run_habmap("export", "log-sheet", "-o", path, place=place).code == 0
    header = path.read_text(encoding="utf-8").strip().split(",")
    assert header.index("whole") == header.index("unit_id") + 1
    assert header.index("sure") == header.index("reported_acres") + 1


def test_an_imported_id_stays_through_exports_and_other_places(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = table(tmp_path, "entry_id,date,practice,unit_id,whole\nOLD-17,2025-11-01,cut,C1,yes\n")
    assert run_habmap("load", "entries", path, place=place).code == 0
    assert "OLD-17 in the file it came from" in run_habmap("history", place=place).out
    other = make_place(run_habmap, tmp_path / "other", [("C1", square(0), {})])
    for suffix in (".csv", ".gpkg", ".geojson"):
        out = tmp_path / f"ledger{suffix}"
        assert run_habmap("export", "ledger", "-o", out, place=place).code == 0
        loaded = run_habmap("load", "entries", out, "--json", place=other)
        assert loaded.code == 0, loaded.err
        assert (loaded.json["loaded"], loaded.json["already_there"]) == ((1, 0) if suffix == ".csv" else (0, 1))
        # and in the place that it came from it is no news
        assert run_habmap("load", "entries", out, "--json", place=place).json["already_there"] == 1
    told = [line["source_id"] for line in run_habmap("history", "--json", place=other).json["entries"]]
    assert told == ["OLD-17"]
    assert run_habmap("void", "OLD-17", "--why", "not ours", place=other).code == 0
    # the person's own file, loaded there too, is another line under the same id: pointed out
    again = run_habmap("load", "entries", path, place=other)
    assert again.code == 0 and "was loaded under the id OLD-17 too" in again.err
    public = tmp_path / "public.csv"
    assert run_habmap("export", "ledger", "-o", public, "--for", "public", place=place).code == 0
    assert "OLD-17" not in public.read_text(encoding="utf-8")


def test_a_corrected_line_that_went_out_comes_back_as_no_news(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    path = table(tmp_path, "entry_id,date,practice,unit_id,whole,person_hours\na,2025-11-01,cut,C1,yes,5\n")
    assert run_habmap("load", "entries", path, place=place).code == 0
    assert run_habmap("correct", "a", "--person-hours", "6", "--why", "miscounted", place=place).code == 0
    out = tmp_path / "ledger.csv"
    assert run_habmap("export", "ledger", "-o", out, place=place).code == 0
    for known in (path, out):
        assert run_habmap("load", "entries", known, "--json", place=place).json["already_there"] == 1


def test_a_plot_is_corrected_and_withdrawn(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    head = "plot_id,unit_id,method,plot_acres,stems\n"
    wrong, right = (
        table(tmp_path, f"{head}P1,C1,fixed,0.1,3\n", "a.csv"),
        table(tmp_path, f"{head}P1,C1,fixed,0.1,30\n", "b.csv"),
    )
    assert run_habmap("load", "plots", wrong, place=place).code == 0
    refused = run_habmap("load", "plots", right, place=place)
    assert refused.code == 3 and "stems 30, before 3" in refused.err and "--overwrite" in refused.err
    assert run_habmap("load", "plots", right, "--overwrite", place=place).code == 0
    assert run_habmap("plot", "void", "P1", place=place).code == 2
    done = run_habmap("plot", "void", "P1", "--why", "on the neighbor's side", place=place)
    assert done.code == 0 and "Withdrawn: plot P1" in done.out
    words = run_habmap("history", place=place).out
    assert "Plot P1 in C1 corrected on" in words and "stems 30, before 3" in words
    assert "Plot P1 in C1 withdrawn on" in words and "neighbor's side" in words
    assert run_habmap("plot", "void", "P1", "--why", "again", place=place).code == 3
    assert run_habmap("check", place=place).code == 0


def test_a_pipe_an_endless_device_and_an_endless_text_are_refused_at_once(
    run_habmap: Run, place: Path, tmp_path: Path
) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        done = run_habmap("load", "entries", path, place=place)
        assert done.code == 3 and "a pipe or a device" in done.err
    head = "date,practice,unit_id,whole,note\n2025-11-01,cut,C1,yes,"
    for note, words in (("x" * 20_001, "up to 20,000 characters"), ('"' + "x\n" * 9_000_000, "16,000,000")):
        done = run_habmap("load", "entries", table(tmp_path, f"{head}{note}\n"), place=place)
        assert done.code == 3 and words in done.err
        assert len(done.err) < 1_000
    assert run_habmap("log", "cut", "--unit", "C1", "--whole", "--date", "2025-11-01", "--note", "x" * 20_001,
                      place=place).code == 2  # fmt: skip


def test_a_table_with_a_fault_in_every_row_is_read_no_further_than_it_helps(
    run_habmap: Run, place: Path, tmp_path: Path
) -> None:
    rows = "2025-11-01,cut,C1,\n" * 5_000
    done = run_habmap("load", "entries", table(tmp_path, f"date,practice,unit_id,whole\n{rows}"), "--json", place=place)
    assert done.code == 3
    assert len(done.json["faults"]) == 1_000 and "read as far as row 1002" in done.json["where"]


def test_an_export_opened_by_a_spreadsheet_runs_nothing_and_comes_back_to_the_letter(
    run_habmap: Run, place: Path, tmp_path: Path
) -> None:
    texts = ["=1+1", "+x", "-5 trees", "@home", "'=quoted", "''+twice", "'plain", "a=b", '=HYPERLINK("x")', "-", "'"]
    for number, text in enumerate(texts, start=1):
        words = ("--unit", "C1", "--whole", "--date", f"2025-11-{number:02}", f"--note={text}", f"--who={text}")
        assert run_habmap("log", "mow", *words, place=place).code == 0
    out = tmp_path / "ledger.csv"
    assert run_habmap("export", "ledger", "-o", out, place=place).code == 0
    with out.open(encoding="utf-8", newline="") as stream:
        written = list(csv.DictReader(stream))
    assert not [cell for row in written for cell in row.values() if cell[:1] in tuple("=+-@\t\r")]
    other = make_place(run_habmap, tmp_path / "other", [("C1", square(0), {})])
    assert run_habmap("load", "entries", out, place=other).code == 0
    lines = run_habmap("history", "--json", place=other).json["entries"]
    assert [(line["note"], line["who"]) for line in lines] == [(text, text) for text in texts]
    assert run_habmap("load", "entries", out, "--json", place=place).json["already_there"] == len(texts)


@pytest.mark.parametrize("suffix", [".xlsx", ".ods"])
def test_a_log_kept_in_a_spreadsheet(run_habmap: Run, place: Path, tmp_path: Path, suffix: str) -> None:
    write = {".xlsx": write_xlsx, ".ods": write_ods}[suffix]
    head: list[Cell] = ["Date", "practice", "unit_id", "whole", "person_hours", "note"]
    log: list[list[Cell]] = [head, [dt.date(2025, 11, 14), "cut", "C1", True, 5, "=1"], [None] * 6]
    path = write(tmp_path / f"log{suffix}", log, [["lists"], ["cut"]])
    refused = run_habmap("load", "entries", path, place=place)
    assert refused.code == 3 and "Sheet1, Sheet2" in refused.err and "--sheet" in refused.err
    assert run_habmap("load", "entries", path, "--sheet", "Sheet1", place=place).code == 0
    (line,) = run_habmap("history", "--json", place=place).json["entries"]
    assert (line["date"], line["person_hours"], line["note"]) == ("2025-11-14", 5, "=1")
    # the same rows as CSV are the same line
    same = table(tmp_path, "date,practice,unit_id,whole,person_hours,note\n11/14/2025,cut,C1,yes,5,'=1\n")
    assert run_habmap("load", "entries", same, "--json", place=place).json["already_there"] == 1
    bad: list[Cell] = [None, "cut", "C1", True, "five", ""]
    broken = write(tmp_path / f"bad{suffix}", [head, bad])
    done = run_habmap("load", "entries", broken, "--json", place=place)
    assert [fault["where"].partition(", sheet ")[2] for fault in done.json["faults"]] == [
        "Sheet1, row 2, column date",
        "Sheet1, row 2, column person_hours",
    ]
    assert run_habmap("load", "entries", same, "--sheet", "Sheet1", place=place).code == 3


def test_an_export_saved_as_a_spreadsheet_comes_back_as_no_news(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    """As an office program makes it of the CSV: numbers and dates turned into real ones, apostrophes kept."""
    words = ("--unit", "C1", "--whole", "--date", "2025-11-01", "--person-hours", "2.1")
    said = ("--note", "=1+1", "--who", "'x", "--killed-pct", 100 / 3)
    assert run_habmap("log", "cut", *words, *said, place=place).code == 0
    out = tmp_path / "ledger.csv"
    assert run_habmap("export", "ledger", "-o", out, place=place).code == 0
    with out.open(encoding="utf-8", newline="") as stream:
        rows: list[list[Cell]] = [list(row) for row in csv.reader(stream)]
    for name in ("date", "person_hours", "killed_pct"):
        at = rows[0].index(name)
        text = str(rows[1][at])
        rows[1][at] = dt.date.fromisoformat(text) if name == "date" else float(f"{float(text):.15g}")
    for suffix, write in ((".xlsx", write_xlsx), (".ods", write_ods)):
        path = write(tmp_path / f"ledger{suffix}", rows)
        done = run_habmap("load", "entries", path, "--json", place=place)
        assert done.code == 0, done.out
        assert (done.json["loaded"], done.json["already_there"]) == (0, 1)
