"""``habmap export packet``: one contract item on paper, every figure by hand.

Units are squares of 100 m, work is strips over their whole depth: a meter of width is 100 m², 0.0247 acre. The squares
are drawn in an equal-area grid of the tests' own (`fakes.GRID`), not in the property's.
"""

from __future__ import annotations

import itertools
import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from fakes import GRID
from pdf_reading import closed_paths, pdf_info, pdf_words, word_boxes
from photo_makers import write_photo
from shapely.geometry import mapping
from small_places import make_place, square

ACRE_M2 = 4046.8564224
CONTRACT = """
[[contract]]
program = "Prairie Fund"
item = "7a"
practice_code = "314"
units = ["A", "B"]
planned_acres = 1.5
not_before = 2025-01-01
due = 2025-12-31
rate = 400.0

[[contract]]
program = "Prairie Fund"
item = "8"
practice_code = "314"
units = ["B"]

[[contract]]
program = "Other Fund"
item = "8"
practice_code = "338"
units = ["A"]

[[hold]]
unit = "B"
reason = "an eagle's nest"
from = 2025-05-01
to = 2025-05-31
"""
#: Practice, day, from and to in meters east of the middle, share killed; unit A is 0–100, B is 200–300.
WORK = [
    ("cut", "2024-12-20", 0, 10, None),
    ("burn", "2025-01-20", 280, 290, 100),
    ("cut", "2025-02-01", 0, 50, None),
    ("girdle", "2025-03-01", 60, 80, 40),
    ("cut", "2025-05-10", 200, 230, None),
    ("cut", "2025-08-01", 230, 280, None),
    ("cut", "2025-09-01", 280, 300, None),
    ("cut", "2026-01-15", 90, 95, None),
]
#: Meters of strip in each: 0–10 m of A were cut too early, 10–50 m in time; 30 m of B on hold, 10 m burned before.
METERS = {
    "applied": 40 + 60, "below_target": 20, "treated_before": 10, "too_early": 10, "late": 5, "on_hold": 30,
    "elsewhere": 0,
}  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Callable[..., Any]) -> Path:
    top = tmp_path_factory.mktemp("packet")
    units = [("A", square(0), {}), ("B", square(2), {}), ("C", square(4), {})]
    folder = make_place(run_habmap, top / "place", units, settings=CONTRACT)
    for number, (practice, day, west, east, killed) in enumerate(WORK):
        path = top / f"{number}.geojson"
        shape = mapping(GRID.to_lonlat(shapely.box(west, 0, east, 100)))
        path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": shape}), encoding="utf-8")
        more = [] if killed is None else ["--killed-pct", str(killed)]
        done = run_habmap("log", practice, "--date", day, "--patch", path, "--who", "Quill Ash", *more, place=folder)
        assert done.code == 0, done.err
    seen = GRID.to_lonlat(shapely.Point(0, 50))
    for day, color in (("2025:01:05", "#335533"), ("2025:06:01", "#ccbb77")):
        write_photo(top / "photos" / f"{color[1:]}.jpg", seen.y, seen.x, 90.0, f"{day} 09:00:00", color=color)
    nest = {"type": "Feature", "properties": {"kind": "nest", "name": "Old eyrie"}}
    nest["geometry"] = mapping(GRID.to_lonlat(shapely.Point(450, 50)))
    (top / "nest.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [nest]}), encoding="utf-8")
    for command in (("photos", top / "photos"), ("features", top / "nest.geojson")):
        assert run_habmap("load", *command, place=folder).code == 0
    return folder


@pytest.fixture(scope="module")
def drawn(place: Path, run_habmap: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Any]:
    path = tmp_path_factory.mktemp("drawn") / "packet.pdf"
    done = run_habmap("export", "packet", "--item", "7a", "-o", path, "--json", place=place)
    assert done.code == 0, done.err
    return path, done.json


def test_the_acres_are_those_worked_out_by_hand(drawn: tuple[Path, Any]) -> None:
    _, figures = drawn
    assert figures["applied_acres"] == pytest.approx(METERS["applied"] * 100 / ACRE_M2, rel=1e-5)
    for column, meters in METERS.items():
        if column != "applied":
            assert figures["apart_acres"][f"{column}_acres"] == pytest.approx(meters * 100 / ACRE_M2, rel=1e-5), column
    # A 0.988 and B 1.483 acres print as 1.0 and 1.5; 1.5 are planned: 1.0 and 0.5 are paid, at 400
    assert (figures["paper_acres"], figures["paper_payment"]) == (2.5, 600.0)


@pytest.mark.poppler
def test_the_paper_says_the_same_and_multiplies_to_its_own_payment(drawn: tuple[Path, Any]) -> None:
    path, figures = drawn
    told = pdf_words(path, "-layout")
    assert "Prairie Fund 7a (314): 2.5 acres of 1.5 planned count." in told
    rate, acres, paid = re.search(r"([\d.,]+) × ([\d.]+) acres = ([\d,.]+) USD", told).groups()  # type: ignore[union-attr]
    assert float(rate) * float(acres) == float(paid) == 600.0
    assert "1.0 acres beyond the planned ones are not paid" in told
    # the rows of the table: counts, below target, treated before, too early, late, on hold
    assert re.search(r"\bA 1\.0 0\.5 0\.0 0\.2 0\.1 0\.0\b", told) and re.search(
        r"\bB 1\.5 0\.0 0\.2 0\.0 0\.0 0\.7\b", told
    )
    assert re.search(r"all units 2\.5 0\.5 0\.2 0\.2 0\.1 0\.7\b", told)
    for words in (
        "0.7 acres worked while on hold", "0.1 acres worked after the due date", "How these acres were made",
        "For the property", "Inspected and certified by", "Before: Jan 5, 2025", "After: Jun 1, 2025", "Quill Ash",
        "looks 090° true (east)", "Feb 1, 2025 to Sep 1, 2025", f"1:{figures['scale']:,}", "WGS 84",
    ):  # fmt: skip
        assert words in told, words
    assert "eyrie" not in told.lower() and "nest" not in told.replace("eagle's nest", "").lower()
    pages = int(re.search(r"Pages:\s+(\d+)", pdf_info(path)).group(1))  # type: ignore[union-attr]
    assert pages == figures["pages"]
    assert [f"page {n} of {pages}" in told for n in range(1, pages + 1)] == [True] * pages
    assert len(re.findall(r"made [A-Z][a-z]{2} \d+, \d{4}", told)) >= pages


def test_what_would_be_asked_is_told_with_its_figures(drawn: tuple[Path, Any]) -> None:
    _, figures = drawn
    asked = " ".join(figures["questions"])
    # The pair looks east over A from its west edge: its slice of 60° is 2x·tan 30° wide at x, and ends at 150 m.
    slice_m2 = math.tan(math.radians(30)) * (50**2 - 10**2)
    unseen = (10_000 - slice_m2) / ACRE_M2
    assert f"{unseen:.1f} acres of the ground that counts are in no photo pair's view" in asked
    assert "Lines 1 and 3 to 8 rest on an outline that was drawn" in asked  # 2 is a burn, no 314
    assert "Lines 1 and 8 were done outside the item's days (2024-12-20 and 2026-01-15); 0.4 acres" in asked
    assert "Lines 1, 3 and 5 to 8: nobody wrote the share of cedars killed" in asked
    assert "2.5 acres of the ground that counts still hold felled cedar" in asked


@pytest.mark.poppler
def test_no_text_leaves_the_page_or_covers_other_text(drawn: tuple[Path, Any]) -> None:
    path, _ = drawn
    counted = 0
    for (width, height), words in word_boxes(path):
        assert (width, height) == (612, 792)
        inner = []
        for text, (left, top, right, bottom) in words:
            assert left >= 36 and right <= width - 36 and top >= 30 and bottom <= height - 30, text
            rim = 0.25 * (bottom - top)  # boxes reach above and below the signs themselves
            inner.append((shapely.box(left, top + rim, right, bottom - rim), text))
        for (one, text), (other, beside) in itertools.combinations(inner, 2):
            assert one.intersection(other).area < 0.5, (text, beside)
        counted += len(words)
    assert counted > 300


def test_the_map_is_true_to_its_scale(drawn: tuple[Path, Any]) -> None:
    path, figures = drawn
    side_pt = 100 / figures["scale"] * 1000 / 25.4 * 72
    sizes = [np.ptp(outline, axis=0) for outline in closed_paths(path)]
    assert any(np.allclose(size, (side_pt, side_pt), rtol=0.002) for size in sizes)
    # the strip of B that was cut in time is 50 m wide, that below target in A 20 m
    for share in (0.5, 0.2):
        assert any(np.allclose(size, (share * side_pt, side_pt), rtol=0.002) for size in sizes)


@pytest.mark.poppler
def test_a_packet_for_the_public_tells_no_program_rate_name_or_reason(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    path = tmp_path / "public.pdf"
    done = run_habmap("export", "packet", "--item", "7a", "-o", path, "--for", "public", "--json", place=place)
    assert done.code == 0, done.err
    told = pdf_words(path) + pdf_info(path) + done.out
    for secret in ("Prairie", "400.00", "600", "Quill", "eagle", "eyrie", "corrected", "walked", "Payment at"):
        assert secret not in told, secret
    assert "Contract item 1 (314): 2.5 acres" in told and "made for the public" in told
    assert done.json["paper_payment"] is None and done.json["program"] == ""


def test_an_item_is_named_without_doubt_and_nothing_is_written_over(
    run_habmap: Callable[..., Any], place: Path, tmp_path: Path
) -> None:
    path = tmp_path / "p.pdf"
    several = run_habmap("export", "packet", "--item", "8", "-o", path, place=place)
    assert several.code == 3 and "Prairie Fund 8, Other Fund 8" in several.err
    unknown = run_habmap("export", "packet", "--item", "99", "-o", path, place=place)
    assert unknown.code == 3 and "no such contract item" in unknown.err
    nothing = run_habmap("export", "packet", "--item", "other fund 8", "-o", path, place=place)
    assert nothing.code == 3 and "no work of this item's practice code" in nothing.err  # the burn lies in B
    assert not path.exists()
    again = run_habmap("export", "packet", "--item", "prairie fund 8", "-o", path, "--json", place=place)
    # item 7a comes first in the file and has all of B's ground that was cut in time but the 30 m on hold
    assert again.code == 0, again.err
    apart = again.json["apart_acres"]
    assert apart["elsewhere_acres"] == pytest.approx(6_000 / ACRE_M2, rel=1e-5)
    assert apart["on_hold_acres"] == pytest.approx(3_000 / ACRE_M2, rel=1e-5)
    over = run_habmap("export", "packet", "--item", "7a", "-o", path, place=place)
    assert over.code == 3 and "--overwrite" in over.err
    assert run_habmap("export", "packet", "--item", "7a", "-o", tmp_path / "p.txt", place=place).code == 2
