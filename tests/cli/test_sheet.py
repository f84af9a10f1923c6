"""``habmap sheet`` from outside: a PDF that any reader opens, true to scale, and faults said without a trace left."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from pdf_reading import pdf_fonts, pdf_info, pdf_words

from habmap.vocabulary import FIRE_CAUTION, SAW_CAUTION, STEEP_CAUTION_PUBLIC


@pytest.mark.poppler
def test_the_sheet_says_what_the_account_says(run_habmap: Callable, demo_place: Path, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    done = run_habmap("sheet", "-o", path, "--paper", "a4", "--json", place=demo_place)
    assert (done.code, done.err) == (0, "")
    drawn, totals = done.json, run_habmap("acres", "--json", place=demo_place).json["totals"]
    for key in ("acres", "treated_acres", "remaining_acres"):
        assert drawn[key] == pytest.approx(totals[key], abs=1e-9)
    words = pdf_words(path)
    assert words.startswith(f"{totals['treated_acres']:.1f} of ")
    assert f"{totals['remaining_acres']:.1f} remain" in words
    for part in (
        f"1:{drawn['scale']:,}",
        "feet",
        "meters",
        "True north",
        "elevation.tif, cells of 3 m",
        "nest (private)",
    ):
        assert part in words
    assert SAW_CAUTION in words
    assert FIRE_CAUTION in words
    info = pdf_info(path)
    assert re.search(rf"Pages:\s+{drawn['pages']}\n", info)
    assert re.search(r"Page size:\s+841\.8\d+ x 595\.2\d+ pts \(A4\)", info)
    fonts = pdf_fonts(path)
    assert len(fonts) >= 3
    assert all(re.search(r"\byes yes yes\b", font) for font in fonts)  # embedded, subset, with its letters' names


@pytest.mark.poppler
def test_the_public_sheet_keeps_the_owners_things_back(run_habmap: Callable, demo_place: Path, tmp_path: Path) -> None:
    path = tmp_path / "public.pdf"
    done = run_habmap("sheet", "-o", path, "--for", "public", place=demo_place)
    assert done.code == 0, done.err
    assert "made for the public" in done.out
    words = pdf_words(path)
    names = {entry["who"] for entry in run_habmap("history", "--json", place=demo_place).json["entries"]} - {None}
    assert names
    for secret in (*names, "Hawk", "nest", "USD", "person-hours", "Home place", "elevation.tif", "habmap"):
        assert secret not in words
    assert STEEP_CAUTION_PUBLIC in words


def test_one_unit_goes_where_it_is_told_by_its_name(run_habmap: Callable, demo_place: Path, tmp_path: Path) -> None:
    place = tmp_path / "copy"
    shutil.copytree(demo_place, place)
    done = run_habmap("sheet", "--unit", "C1", place=place)
    assert done.code == 0, done.err
    assert (place / "out" / "sheet-C1.pdf").read_bytes().startswith(b"%PDF-")
    assert run_habmap("sheet", "--unit", "C1", place=place).code == 0  # its own earlier one
    (place / "out" / "sheet-C1.pdf").write_bytes(b"%PDF-1.7 mine")
    again = run_habmap("sheet", "--unit", "C1", place=place)
    assert again.code == 3
    assert "--overwrite" in again.err
    assert run_habmap("sheet", "--unit", "C1", "--overwrite", place=place).code == 0


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--unit", "NOPE"], 3, "no such unit"),
        (["--paper", "foolscap"], 2, "foolscap"),
        (["-o", "sheet.docx"], 2, ".pdf"),
        (["-o", "no/such/folder/sheet.pdf"], 3, "no such folder"),
        (["--on", "2026-02-30"], 2, "not a date"),
    ],
)
def test_faults_are_said_and_nothing_is_written(
    run_habmap: Callable, demo_place: Path, tmp_path: Path, arguments: list[str], code: int, words: str
) -> None:
    if "-o" not in arguments:
        arguments = [*arguments, "-o", "sheet.pdf"]
    done = run_habmap("sheet", *arguments, place=demo_place, cwd=tmp_path)
    assert (done.code, done.out) == (code, "")
    assert words in done.err
    assert "Traceback" not in done.err
    assert list(tmp_path.iterdir()) == []
