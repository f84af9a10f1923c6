"""What came up, as a person reads it on a wide screen, on a phone and on paper, beside the library's own figures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from habmap.jobs.response import response
from habmap.place.store import GeoPackageStore
from habmap.work.response_records import UnitResponse

pytestmark = pytest.mark.browser
#: Least size of a drawing's letters on a screen [px].
LEAST_PX = 12.5


@pytest.fixture(scope="module")
def read(sample_place: Path) -> dict[str, UnitResponse]:
    units = response(GeoPackageStore.open(sample_place)).units
    return {unit.name: unit for unit in units if unit.frames_before or unit.frames_after}


@pytest.mark.parametrize("width_px", [1400, 390])
def test_each_unit_read_has_a_drawing_with_its_figures_in_words(
    open_page: Callable[..., Any], sample_place: Path, read: dict[str, UnitResponse], width_px: int
) -> None:
    page = open_page(sample_place / "out" / "map.html", width_px=width_px).page
    section = page.get_by_role("region", name="What has grown back")
    charts = section.get_by_role("img")
    assert charts.count() == len(read)
    for chart in charts.all():
        label = chart.get_attribute("aria-label")
        unit = read[label.partition(".")[0]]
        for pct in (
            unit.native_cover_before_pct, unit.native_cover_after_pct, unit.canopy_before_pct, unit.canopy_after_pct,
        ):  # fmt: skip
            assert (f"{pct:.0f}%" if pct is not None else "not read") in label
            drawn = chart.locator("text").all_text_contents()
            assert (f"{pct:.0f}%" if pct is not None else "not read") in drawn
    assert page.evaluate("document.documentElement.scrollWidth") <= width_px
    sizes = charts.first.evaluate(
        "node => [...node.querySelectorAll('text')].map(text => text.getBoundingClientRect().height)"
    )
    scale = charts.first.evaluate("node => node.getBoundingClientRect().width / node.viewBox.baseVal.width")
    assert min(sizes) >= LEAST_PX and 14 * scale >= LEAST_PX


def test_the_marks_stand_at_their_figures(
    open_page: Callable[..., Any], sample_place: Path, read: dict[str, UnitResponse]
) -> None:
    page = open_page(sample_place / "out" / "map.html").page
    chart = page.get_by_role("region", name="What has grown back").get_by_role("img").first
    unit = read[chart.get_attribute("aria-label").partition(".")[0]]
    # the seed head of a stalk stands over its figure: read the scale from its own ticks
    ticks = chart.locator("text[text-anchor=middle]")
    zero, full = (float(ticks.nth(number).get_attribute("x")) for number in (0, 4))
    end_pct = float(ticks.nth(4).text_content().split()[0].rstrip("%"))
    heads = [float(head.get_attribute("cx")) for head in chart.locator("ellipse").all()]
    drawn_pct = [(x - zero) / (full - zero) * end_pct for x in heads]
    # a tenth of a pixel of the drawing
    assert drawn_pct == pytest.approx(
        [unit.native_cover_before_pct, unit.native_cover_after_pct], abs=0.1 * end_pct / (full - zero)
    )


def test_it_stays_off_the_printed_page(open_page: Callable[..., Any], sample_place: Path) -> None:
    page = open_page(sample_place / "out" / "map.html").page
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert not page.locator(".response").is_visible()
