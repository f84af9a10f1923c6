"""``habmap burnsheet --sheet`` from outside: two pages a burn boss can read, nothing in them allows anything."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from pdf_reading import pdf_fonts, pdf_info, pdf_words

from habmap.vocabulary import FIRE_CAUTION

WEATHER = ("--time", "2026-03-05T13:30", "--temp-f", 61, "--rh-pct", 38, "--wind-mph", 7, "--wind-from", "NNW")
PLAN = """
[burn_plan.down_cedar]
author = "J. Example"
date = 2026-01-31
temp_f = [32, 86]
rh_pct = [45, 100]
gust_mph = [0, 12]
"""
HOSTILE = '<script>alert(1)</script> $x^2$ & \\"Sheriff\\" ' + "long " * 30


@pytest.fixture(scope="module")
def planned_place(demo_place: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample property with a signed plan and a hostile name among those to be told."""
    folder = tmp_path_factory.mktemp("burn") / "place"
    shutil.copytree(demo_place, folder)
    settings = folder / "habmap.toml"
    text = settings.read_text(encoding="utf-8")
    told, count = re.subn(r"(?m)^notify = .*$", lambda _: f'notify = ["Dispatch 555-0100", "{HOSTILE}"]', text)
    assert count == 1
    settings.write_text(told + PLAN, encoding="utf-8")
    return folder


@pytest.mark.poppler
@pytest.mark.parametrize(("paper", "size"), [("letter", "612 x 792"), ("a4", r"595\.\d+ x 841\.\d+")])
def test_three_pages_on_letter_and_a4(
    run_habmap: Callable, planned_place: Path, tmp_path: Path, paper: str, size: str
) -> None:
    path = tmp_path / "burn.pdf"
    done = run_habmap(
        "burnsheet", "C1", *WEATHER, "--plan-kind", "down_cedar", "--sheet", path, "--paper", paper, place=planned_place
    )
    assert done.code == 0, done.err
    info = pdf_info(path)
    assert re.search(r"Pages:\s+3\n", info)
    assert re.search(rf"Page size:\s+{size}", info)
    words = pdf_words(path, "-layout")
    for part in (
        "not permission to burn", "Escape routes", "Contingency lines", "Firing sequence", "Scale 1:", "Go / no-go",
        "Dispatch 555-0100", "Day 1", "Day 3", "Day 7", "For 911", "Signature", "red flag warnings", "J. Example",
    ):  # fmt: skip
        assert part in words
    fonts = pdf_fonts(path)
    assert fonts
    assert all(re.search(r"\byes yes yes\b", font) for font in fonts)


def test_the_page_is_sealed_and_says_the_figures_of_the_burn_day(
    run_habmap: Callable, planned_place: Path, tmp_path: Path
) -> None:
    path = tmp_path / "burn.html"
    done = run_habmap(
        "burnsheet", "C1", *WEATHER, "--plan-kind", "down_cedar", "--sheet", path, "--json", place=planned_place
    )
    assert done.code == 0, done.err
    assert done.json["sheets"] == [str(path)]
    html = path.read_text(encoding="utf-8")
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt; $x^2$" in html
    assert "default-src &#39;none&#39;" in html or "default-src 'none'" in html
    assert not re.search(r"""(?:src|href)=["'](?!data:)""", html)
    assert " style=" not in html  # the policy would refuse it
    rows = re.findall(r"<tr>(.*?)</tr>", html, re.DOTALL)
    comparisons = [line["comparison"] for line in done.json["prescription"]]
    assert comparisons == ["not met", "not given", "within"]  # humidity, gusts, temperature
    order = [html.index(f"<td>{word}") for word in ("not met, by 7%", "not given", "within")]
    assert order[0] < order[2]
    assert any("relative humidity" in row and "not met, by 7%" in row for row in rows)
    for part in done.json["not_checked"]:
        assert part in html
    assert FIRE_CAUTION in html
    assert not re.search(r"\b(?:safe to burn|ready|approved|permitted|good to go|cleared)\b", html, re.IGNORECASE)


def test_without_author_and_date_it_says_that_there_is_no_plan(
    run_habmap: Callable, demo_place: Path, tmp_path: Path
) -> None:
    path = tmp_path / "burn.html"
    done = run_habmap("burnsheet", "G1", *WEATHER, "--sheet", path, place=demo_place)
    assert done.code == 0, done.err
    html = path.read_text(encoding="utf-8")
    assert "There is no written plan for grass" in html
    assert "<td>within" not in html
    assert "not met," not in html


def test_faults_leave_nothing_behind(run_habmap: Callable, demo_place: Path, tmp_path: Path) -> None:
    kept, other = tmp_path / "kept.pdf", tmp_path / "other.html"
    kept.write_text("mine", encoding="utf-8")
    for code, names in ((3, (other, kept)), (2, (other, tmp_path / "burn.txt")), (3, (tmp_path / "no" / "b.pdf",))):
        words = [word for name in names for word in ("--sheet", name)]
        done = run_habmap("burnsheet", "C1", *WEATHER, *words, place=demo_place)
        assert done.code == code, done.err
        assert not other.exists()
    assert kept.read_text(encoding="utf-8") == "mine"
    assert run_habmap("burnsheet", "C1", *WEATHER, "--paper", "a9", "--sheet", other, place=demo_place).code == 2
    done = run_habmap("burnsheet", "C1", *WEATHER, "--sheet", kept, "--overwrite", place=demo_place)
    assert done.code == 0, done.err
    assert kept.read_bytes().startswith(b"%PDF")


def test_a_turn_of_the_wind_stands_on_the_sheet(run_habmap: Callable, planned_place: Path, tmp_path: Path) -> None:
    hours, path = tmp_path / "hours.csv", tmp_path / "burn.html"
    hours.write_text(
        "time,temp_f,rh_pct,wind_mph,wind_from_deg\n"
        "2026-03-05T13:00,61,50,5,340\n2026-03-05T14:00,61,50,5,340\n2026-03-05T15:00,60,50,5,80\n",
        encoding="utf-8",
    )
    done = run_habmap(
        "burnsheet", "C1", "--time", "2026-03-05T13:30", "--forecast", hours, "--plan-kind", "down_cedar",
        "--sheet", path, place=planned_place,
    )  # fmt: skip
    assert done.code == 0, done.err
    html = path.read_text(encoding="utf-8")
    assert re.search(r"<td>wind shift</td><td>03-05 15:00</td>", html)  # 340° to 80° is a turn of 100°
    assert "<td>no forecast</td><td>03-05 10:00 to 12:00; 16:00 to 03-06 08:00</td>" in html


def test_a_block_that_no_elevation_covers_has_its_sheet(run_habmap: Callable, demo_place: Path, tmp_path: Path) -> None:
    ring = [[-96.021, 37.057], [-96.015, 37.057], [-96.015, 37.06], [-96.021, 37.06], [-96.021, 37.057]]
    patch, path = tmp_path / "far.geojson", tmp_path / "far.html"
    patch.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}), encoding="utf-8")
    done = run_habmap("burnsheet", "--patch", patch, *WEATHER, "--sheet", path, place=demo_place)
    assert done.code == 0, done.err
    html = path.read_text(encoding="utf-8")
    assert "No elevation covers this block" in html
    assert "? = not known" in html
