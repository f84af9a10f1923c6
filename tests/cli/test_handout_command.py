"""``habmap handout`` from outside: four landscape pages that any reader opens, and faults said without a trace left."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from pdf_reading import pdf_fonts, pdf_info, pdf_words

from habmap.vocabulary import FIRE_CAUTION, SAW_CAUTION


@pytest.mark.poppler
def test_the_story_says_what_the_commands_say(run_habmap: Callable, demo_place: Path, tmp_path: Path) -> None:
    path = tmp_path / "handout.pdf"
    done = run_habmap("handout", "-o", path, "--paper", "a4", "--json", "--with-hours", "--with-cost", place=demo_place)
    assert (done.code, done.err) == (0, "")
    told, totals = done.json, run_habmap("acres", "--json", place=demo_place).json["totals"]
    assert told["schema"] == "habmap/handout/1"
    for key in ("acres", "treated_acres", "remaining_acres"):
        assert told[key] == pytest.approx(totals[key], abs=1e-9)
    assert told["seasons"][-1]["cumulative_treated_acres"] == pytest.approx(totals["treated_acres"], abs=1e-9)
    spent = run_habmap("effort", "--json", place=demo_place).json
    assert told["person_hours_left"] == pytest.approx(spent["person_hours_left"], abs=1e-9)
    words = pdf_words(path)
    assert f"{totals['treated_acres']:.1f} of " in words
    first = run_habmap("rank", "--json", place=demo_place).json["units"][0]
    for part in (
        f"1:{told['now_scale']:,}",
        f"1:{told['order_scale']:,}",
        f"1. {first['name']}, {first['remaining_acres']:.1f} acres",
        f"about {round(spent['person_hours'], -1):,.0f} person-hours and ${round(spent['cost'], -3):,.0f}",
        "elevation.tif, cells of 3 m",
        SAW_CAUTION,
        FIRE_CAUTION,
    ):
        assert part in words
    info = pdf_info(path)
    assert re.search(r"Pages:\s+4\n", info)
    assert re.search(r"Page size:\s+841\.8\d+ x 595\.2\d+ pts \(A4\)", info)
    fonts = pdf_fonts(path)
    assert len(fonts) >= 3
    assert all(re.search(r"TrueType.*\byes yes yes\b", font) for font in fonts)  # embedded, subset, letters' names


@pytest.mark.poppler
def test_the_public_story_keeps_the_owners_things_back(run_habmap: Callable, demo_place: Path, tmp_path: Path) -> None:
    path = tmp_path / "public.pdf"
    done = run_habmap("handout", "-o", path, "--for", "public", place=demo_place)
    assert done.code == 0, done.err
    assert "made for the public" in done.out
    words = pdf_words(path)
    names = {entry["who"] for entry in run_habmap("history", "--json", place=demo_place).json["entries"]} - {None}
    assert names
    for secret in (*names, "Hawk", "nest (", "USD", "hours", "Home place", "elevation.tif", "habmap"):
        assert secret not in words


def test_it_goes_where_stories_go_and_never_over_another(
    run_habmap: Callable, demo_place: Path, tmp_path: Path
) -> None:
    place = tmp_path / "copy"
    shutil.copytree(demo_place, place, ignore=shutil.ignore_patterns("out"))
    done = run_habmap("handout", place=place)
    assert done.code == 0, done.err
    assert "4 pages on letter paper" in done.out
    assert (place / "out" / "handout.pdf").read_bytes().startswith(b"%PDF-")
    (place / "out" / "handout.pdf").write_bytes(b"%PDF-1.7 mine")
    again = run_habmap("handout", place=place)
    assert again.code == 3
    assert "--overwrite" in again.err


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--paper", "foolscap"], 2, "foolscap"),
        (["-o", "story.docx"], 2, ".pdf"),
        (["-o", "no/such/folder/handout.pdf"], 3, "no such folder"),
    ],
)
def test_faults_are_said_and_nothing_is_written(
    run_habmap: Callable, demo_place: Path, tmp_path: Path, arguments: list[str], code: int, words: str
) -> None:
    if "-o" not in arguments:
        arguments = [*arguments, "-o", "handout.pdf"]
    done = run_habmap("handout", *arguments, place=demo_place, cwd=tmp_path)
    assert (done.code, done.out) == (code, "")
    assert words in done.err
    assert "Traceback" not in done.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.poppler
def test_an_empty_place_says_what_is_missing(run_habmap: Callable, tmp_path: Path) -> None:
    place = tmp_path / "bare"
    assert run_habmap("start", place, "--name", "Bare hollow").code == 0
    done = run_habmap("handout", "--json", place=place)
    assert done.code == 0, done.err
    assert (done.json["pages"], done.json["now_scale"], done.json["seasons"]) == (4, None, [])
    words = pdf_words(place / "out" / "handout.pdf")
    for part in ("No units are drawn yet.", "No elevation is loaded", "Nothing is logged yet", "Bare hollow"):
        assert part in words
    public = tmp_path / "public.pdf"
    done = run_habmap("handout", "-o", public, "--for", "public", place=place)
    assert "`habmap load dem`" in done.err  # who makes the copy is told what mends it; who reads it is not
    assert "No units are drawn yet" in pdf_words(public)
    assert not re.findall(r"habmap|`", pdf_words(public))
