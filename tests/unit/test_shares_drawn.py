"""Where trees stand dead among slash: a pattern of its own on page, sheet and burn sheet, its acres by hand."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from pdf_reading import pdf_words
from shapely import box

from habmap.jobs.burnsheet import worked_out
from habmap.jobs.burnsheet_files import write_burn_sheets
from habmap.jobs.map import build_page
from habmap.jobs.sheet import write_sheet
from habmap.show.page.render import drawing_json, render_page
from habmap.show.shares import share_of
from habmap.work.burn.request import BurnRequest
from habmap.work.stages import GroundState

NOW = datetime(2026, 3, 1, 15, tzinfo=UTC)
ACRE_M2 = 4046.8564224
#: 60% of the cedars girdled on 70 m, 90% of the rest cut on 50 m of them: 50 m hold both, 20 m dead trees only; 10 m
#: more were cut alone.
WORK = [
    entry("girdle", "2025-11-01", box(0, 0, 70, 100), killed_pct=60.0),
    entry("cut", "2026-01-10", box(20, 0, 80, 100), killed_pct=90.0),
]


def store() -> FakeStore:
    return FakeStore([unit("A", box(0, 0, 100, 100), name="Bench"), *WORK], grid=GRID)


@pytest.mark.parametrize(
    ("lying", "piled", "snag", "share"),
    [(0.0, 0.0, 0.0, None), (0.4, 0.0, 0.0, "slash"), (0.0, 0.2, 0.3, "both"), (0.0, 0.0, 0.3, "snags")],
)
def test_the_shares_decide_and_not_the_stage(lying: float, piled: float, snag: float, share: str | None) -> None:
    for stage in ("part_cut", "down", "dead_standing"):
        assert share_of(GroundState(stage=stage, lying_frac=lying, piled_frac=piled, snag_frac=snag)) == share


def test_page_and_sheet_draw_it_over_the_stages(tmp_path: Path) -> None:
    page = build_page(store(), now=NOW, audience="owner")
    found = {share.kind: share for share in page.shares}
    assert {kind: one.acres * ACRE_M2 for kind, one in found.items()} == pytest.approx(
        {"both": 5_000, "snags": 2_000, "slash": 1_000}, rel=1e-5
    )
    (mixed,) = (one["shape"] for one in json.loads(drawing_json(page))["mixed"])
    drawn = GRID.to_grid(shapely.geometry.shape(mixed))
    assert drawn.symmetric_difference(box(20, 0, 70, 100)).area < 5  # coordinates of the page end at 1e-6 degree
    html = render_page(page)
    assert 'fill="url(#over-both)"' in html and "dead trees in slash" in html and "1.2 ac" in html
    none = build_page(FakeStore([unit("A", box(0, 0, 100, 100)), WORK[1]], grid=GRID), now=NOW, audience="owner")
    assert json.loads(drawing_json(none))["mixed"] == [] and "dead trees in slash" not in render_page(none)


@pytest.mark.poppler
def test_sheets_of_property_unit_and_burn_say_it_with_its_acres(tmp_path: Path) -> None:
    for number, unit_id in enumerate((None, "A")):
        path = tmp_path / f"{number}.pdf"
        write_sheet(store(), target=path, folder=tmp_path, now=NOW, unit_id=unit_id)
        assert "dead trees in slash 1.2" in pdf_words(path)
    request = BurnRequest(
        names=("A",), at=datetime(2026, 3, 1, 13), temp_f=70.0, rh_pct=50.0, wind_mph=8.0, wind_from_deg=0.0
    )
    path = tmp_path / "burn.pdf"
    write_burn_sheets(worked_out(store(), request), targets=[path], now=NOW)
    told = pdf_words(path)
    for words in (
        "cut, slash on ground, 1.5 acres",
        "killed, left standing, 0.5 acres",
        "dead trees in slash, 1.2 acres",
    ):
        assert words in told


def test_a_private_copy_for_the_public_has_it_too() -> None:
    page = build_page(store(), now=NOW, audience="public", on=date(2026, 2, 1))
    assert [share.kind for share in page.shares if share.kind == "both"] == ["both"]
