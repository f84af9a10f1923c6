"""The burn sheet's HTML prints on two pages, whatever face the reader has."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from pdf_reading import pdf_info, pdf_text, pdf_words
from playwright.sync_api import Browser

from habmap.jobs.burnsheet import worked_out
from habmap.jobs.burnsheet_files import write_burn_sheets
from habmap.place.store import GeoPackageStore
from habmap.records import ForecastHour
from habmap.show.burn.sheet import BurnPaper
from habmap.show.sheet.pen import LEAST_PT
from habmap.work.burn.request import BurnRequest

pytestmark = pytest.mark.browser
PLAN = """
[burn_plan.down_cedar]
author = "J. Example"
date = 2026-01-31
temp_f = [32, 75]
rh_pct = [30, 60]
wind_mph = [3, 12]
wind_from_deg = [290, 30]
gust_mph = [0, 18]
fine_fuel_pct = [6, 12]
"""
AT = datetime(2026, 3, 5, 13, 30)


@pytest.fixture(scope="module")
def planned(sample_place: Path, tmp_path_factory: pytest.TempPathFactory) -> GeoPackageStore:
    folder = tmp_path_factory.mktemp("print") / "place"
    shutil.copytree(sample_place, folder)
    with (folder / "habmap.toml").open("a", encoding="utf-8") as settings:
        settings.write(PLAN)
    return GeoPackageStore.open(folder)


def _hours() -> tuple[ForecastHour, ...]:
    """Thirty hours with a hole and a turn of the wind."""
    return tuple(
        ForecastHour(
            at=datetime(2026, 3, 5, 8) + timedelta(hours=n), temp_f=55 + n % 12, rh_pct=25 + 2 * n, wind_mph=8,
            gust_mph=14, wind_from_deg=340 if n < 9 else 90,
        )
        for n in range(30)
        if n not in (12, 13)
    )  # fmt: skip


@pytest.mark.poppler
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_two_pages_in_the_readers_own_face_and_in_a_wide_one(
    planned: GeoPackageStore, browser: Browser, tmp_path: Path, paper: BurnPaper
) -> None:
    request = BurnRequest(names=("C1",), at=AT, plan_kind="down_cedar", wind_height="20ft", forecast=_hours())
    html, pdf = tmp_path / "burn.html", tmp_path / "burn.pdf"
    sheet = worked_out(planned, request)
    write_burn_sheets(sheet, targets=[html, pdf], now=datetime(2026, 3, 4, tzinfo=UTC), paper=paper)
    pages = _pages(pdf)
    assert pages <= 3  # two, but for a wind that turns twice and six edges that come to lie downwind
    said = pdf_text(pdf)
    assert "Left out for room" not in said
    for part in ("The forecast, hour by hour", "ignition 13:30", "night", "diagonal hatching", "decides nothing"):
        assert part in " ".join(said.split())
    context = browser.new_context(bypass_csp=True)  # only so that a test may set another face
    page = context.new_page()
    page.goto(html.as_uri())
    for face in ("", "DejaVu Sans", "DejaVu Serif"):
        if face:
            page.add_style_tag(content=f'*{{font-family:"{face}"!important}}')
        out = tmp_path / f"printed {face}.pdf"
        page.pdf(path=out, prefer_css_page_size=True)
        assert _pages(out) == pages, face
        words = pdf_words(out)
        for part in ("not permission to burn", "The forecast, hour by hour", "Signature, date, time", "Cautions"):
            assert part in words
    context.close()


def _pages(path: Path) -> int:
    told = pdf_info(path)
    found = re.search(r"Pages:\s+(\d+)", told)
    assert found
    return int(found[1])


def test_the_map_can_be_read_on_a_phone(planned: GeoPackageStore, browser: Browser, tmp_path: Path) -> None:
    html = tmp_path / "burn.html"
    sheet = worked_out(
        planned, BurnRequest(names=("C1",), at=AT, plan_kind="down_cedar", wind_height="20ft", forecast=_hours())
    )
    write_burn_sheets(sheet, targets=[html], now=datetime(2026, 3, 4, tzinfo=UTC), paper="letter")
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(html.as_uri())
    drawn = page.evaluate(
        """() => {
          const map = document.querySelector("img");
          const box = map.parentElement;
          return [map.getBoundingClientRect().width, map.getAttribute("width"), box.scrollWidth > box.clientWidth,
                  getComputedStyle(box).overflowX, box.tabIndex, document.documentElement.scrollWidth];
        }"""
    )
    # drawn in points of 4/3 pixels: its least type is 12 pixels high only at its own size, and the page stays still
    assert drawn[0] == pytest.approx(float(drawn[1]), abs=1) and LEAST_PT * 4 / 3 >= 12
    assert drawn[2:] == [True, "auto", 0, 390]
    page.close()
