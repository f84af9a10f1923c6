"""The law of paper: no text leaves its page or lies on another one, and no caution is shortened.

Every paper is made at 1, 12, 60 and 300 units with long names and read back by ``pdftotext -bbox``: words and boxes are
those of an outside program, from the fonts in the file.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, entry, unit
from pdf_reading import pdf_words, word_boxes
from shapely import LineString, Point, STRtree, box

from habmap.jobs.burnsheet import worked_out
from habmap.jobs.burnsheet_files import write_burn_sheets
from habmap.jobs.export_packet import export_packet
from habmap.jobs.handout import write_handout
from habmap.jobs.map import build_page
from habmap.jobs.sheet import write_sheet
from habmap.place.settings import Settings
from habmap.records import Feature
from habmap.show.logsheet import log_sheet_pdf
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import Pen
from habmap.vocabulary import PRACTICES, SNAG_CAUTION, cautions_of
from habmap.work.burn.request import BurnRequest

pytestmark = pytest.mark.poppler

NOW = datetime(2026, 3, 1, 15, tzinfo=UTC)
TODAY = date(2026, 3, 1)
SIZES = (1, 12, 60, 300)
SIDE_M = 200.0
#: Boxes of words hold the room of accents and tails; this share of the height above and below is no ink [share].
AIR = 0.25
#: Kerning and halos let neighbors touch [pt].
TOUCH_PT = 0.8
#: Paper added all round, to read what leaves it [pt].
MORE_PT = 500


def name(number: int) -> str:
    return f"The long thicket below the north rim road and beside the old Miller orchard, number {number}"


def place(count: int) -> FakeStore:
    """A block of squares with all that brings a caution: slash, dead trees, spray, machines, burns."""
    across = math.ceil(math.sqrt(count))
    squares = [
        box(x * SIDE_M, y * SIDE_M, (x + 1) * SIDE_M, (y + 1) * SIDE_M)
        for x, y in (divmod(number, across) for number in range(count))
    ]
    first, last = squares[0], squares[-1]
    rows = [
        *(unit(f"C{number}", square, name=name(number)) for number, square in enumerate(squares)),
        entry("girdle", "2025-10-02", box(first.bounds[0], 0, first.bounds[0] + 120, SIDE_M), killed_pct=60.0),
        entry("cut", "2025-11-03", box(first.bounds[0] + 60, 0, first.bounds[0] + 150, SIDE_M)),
        entry("spray", "2025-09-01", last.buffer(-30), killed_pct=50.0),
        entry("mulch", "2025-12-01", box(last.bounds[0], last.bounds[1], last.bounds[0] + 60, last.bounds[3])),
        *(entry("cut", f"2026-01-{1 + number % 28:02d}", square) for number, square in enumerate(squares[1:40:3])),
        *(
            Feature(uuid=f"f{kind}", kind=kind, name=called, geometry=GRID.to_lonlat(shape), recorded_at=NOW)
            for kind, called, shape in (
                ("house", "The home place of the family that has always lived there", Point(-300, 50)),
                ("grave", "The old cemetery under the three bur oaks by the spring", Point(30, 40)),
                ("power_line", "Rural cooperative line to the pump", LineString([(-400, 20), (900, 120)])),
                ("creek", "Turtle Shell Creek, the branch that runs all year", LineString([(-300, -60), (900, -90)])),
                ("road", "County Road 40", LineString([(-300, -200), (900, -200)])),
            )
        ),
    ]
    contract = {
        "program": "A program with a long name for the restoration of native grass", "item": "7a",
        "practice_code": "314", "units": [f"C{number}" for number in range(count)], "planned_acres": 20.0,
        "not_before": date(2025, 9, 1), "due": date(2026, 12, 31), "rate": 400.0,
    }  # fmt: skip
    settings = Settings.model_validate(
        {"contract": [contract], "place": {"name": "The place of the long name on the upper waters of the river"}}
    )
    return FakeStore(rows, grid=GRID, settings=settings)


def sheet(store: FakeStore, path: Path) -> tuple[str, ...]:
    write_sheet(store, target=path, folder=path.parent, now=NOW)
    return build_page(store, now=NOW, audience="owner").cautions


def unit_sheet(store: FakeStore, path: Path) -> tuple[str, ...]:
    write_sheet(store, target=path, folder=path.parent, now=NOW, unit_id="C0")
    return cautions_of(("cut", "burn"), has_snags=True)


def handout(store: FakeStore, path: Path) -> tuple[str, ...]:
    write_handout(store, target=path, folder=path.parent, now=NOW, today=TODAY)
    roads = "On a burn day keep the roads clear, and leave the fire to its crew."
    return (*build_page(store, now=NOW, audience="owner").cautions, roads)


def burn_sheet(store: FakeStore, path: Path) -> tuple[str, ...]:
    names = tuple(one.unit_id for one in store.units())[:30]
    request = BurnRequest(
        names=names, at=datetime(2026, 3, 5, 13), temp_f=65.0, rh_pct=45.0, wind_mph=8.0, wind_from_deg=0.0
    )
    made = worked_out(store, request)
    write_burn_sheets(made, targets=[path], now=NOW)
    kept = "grave The old cemetery under the three bur oaks by the spring"
    return (*made.result.cautions, *made.result.closed, kept, SNAG_CAUTION)


def log_sheet(store: FakeStore, path: Path) -> tuple[str, ...]:
    named = [(one.unit_id, one.name or "") for one in store.units()]
    path.write_bytes(log_sheet_pdf(place=store.settings.place.name, units=named))
    (path.with_suffix(".a4.pdf")).write_bytes(log_sheet_pdf(place=store.settings.place.name, units=named, paper="a4"))
    assert _faults(path.with_suffix(".a4.pdf")) == []
    every = tuple(" ".join(f"{unit_id} {called}".split()) for unit_id, called in named)
    return (*cautions_of(PRACTICES, has_snags=True, is_steep=True, audience="public"), *every)


def packet(store: FakeStore, path: Path) -> tuple[str, ...]:
    export_packet(store, item="7a", target=path, now=NOW)
    return (SNAG_CAUTION,)


PAPERS = (sheet, unit_sheet, handout, burn_sheet, log_sheet, packet)


@pytest.fixture(scope="module", params=SIZES)
def store(request: pytest.FixtureRequest) -> FakeStore:
    return place(request.param)


def _on_wider_paper(path: Path) -> Path:
    """Write a copy whose pages are wider all round: what leaves a page is not read at all otherwise."""
    page = re.compile(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]")
    content, pages = page.subn(
        lambda size: (
            b"/MediaBox [ -%d -%d %f %f ]" % (MORE_PT, MORE_PT, *(float(one) + MORE_PT for one in size.groups()))
        ),
        path.read_bytes(),
    )
    assert pages >= 1
    wider = path.with_suffix(".wider.pdf")
    wider.write_bytes(content)
    return wider


def _faults(path: Path) -> list[str]:
    """Return texts off the paper, and texts that lie on others."""
    found = []
    for number, ((wide, high), read) in enumerate(word_boxes(_on_wider_paper(path)), start=1):
        width, height = wide - 2 * MORE_PT, high - 2 * MORE_PT
        words = [(text, tuple(side - MORE_PT for side in sides)) for text, sides in read]
        shapes = []
        for text, (left, top, right, bottom) in words:
            if left < 0 or top < 0 or right > width or bottom > height:
                found.append(f"page {number}: {html.unescape(text)!r} leaves the paper")
            air = AIR * (bottom - top)
            shapes.append(box(left + TOUCH_PT, top + air, max(right - TOUCH_PT, left + TOUCH_PT + 0.1), bottom - air))
        tree = STRtree(shapes)
        for a, b in zip(*tree.query(shapes, predicate="intersects"), strict=True):
            if a < b and shapes[a].intersection(shapes[b]).area > 1.0:
                found.append(f"page {number}: {html.unescape(words[a][0])!r} lies on {html.unescape(words[b][0])!r}")
    return found


@pytest.mark.parametrize("paper", PAPERS, ids=lambda one: one.__name__)
def test_every_text_has_its_room_and_every_caution_is_whole(
    store: FakeStore, paper: Callable[[FakeStore, Path], tuple[str, ...]], tmp_path: Path
) -> None:
    path = tmp_path / "paper.pdf"
    must = paper(store, path)
    assert must
    said = pdf_words(path, "-raw")
    assert [words for words in must if " ".join(words.split()) not in said] == []
    faults = _faults(path)
    if paper is sheet and len(store.units()) == SIZES[-1]:
        # Numerals of units smaller than they are stand on each other on the map of so many: the map's labels, not done.
        faults = [one for one in faults if "leaves" in one or not re.search(r"'C?[\d.]+' lies on 'C?[\d.]+'", one)]
    assert faults == []


def test_the_measure_finds_what_is_cut_off_and_what_lies_on_another(tmp_path: Path) -> None:
    pen = Pen((300, 200))
    pen.text(10, 100, "first", size_pt=12)
    pen.text(22, 105, "second", size_pt=12)
    pen.text(280, 50, "beyond", size_pt=12)
    pen.text(310, 80, "outside", size_pt=12)
    (tmp_path / "bad.pdf").write_bytes(pdf_of([pen], title="bad"))
    faults = _faults(tmp_path / "bad.pdf")
    assert {one for one in faults if "leaves" in one} == {
        f"page 1: {text!r} leaves the paper" for text in ("beyond", "outside")
    }
    assert any("lies on" in one and "second" in one for one in faults)


def test_the_log_sheet_asks_in_words_for_weather_product_and_check_ups(tmp_path: Path) -> None:
    log_sheet(place(12), tmp_path / "log.pdf")
    said = pdf_words(tmp_path / "log.pdf", "-raw")
    for words in (
        "share killed, %",
        "person-hours",
        "rate of the product",
        "humidity, %",
        "days since rain",
        "notices",
    ):
        assert words in said
    for words in ("live cedars per acre", "tallest, ft", "whole unit", "what was done", "gusts, mph"):
        assert words in said
    keys = ("unit_id", "person_hours", "reported_acres", "killed_pct", "temp_f", "rh_pct", "whole_unit", "down_cedar")
    assert [key for key in keys if key in said] == []
