"""Words stand on the ground that they name: measured on the sheet, at four places of different shape."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from fakes import GRID, FakeStore
from fakes import unit as unit_of
from hypothesis import given
from hypothesis import strategies as st
from label_places import NOW, PLACES, winding
from pdf_reading import pdf_words
from shapely import MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs.map import build_page
from habmap.jobs.sheet import write_sheet
from habmap.land.label_room import LEAST_SHARE, label_rooms, spots
from habmap.show.on_own_ground import name_lines, newest_work
from habmap.show.records import Page
from habmap.show.sheet import sheet as sheet_module
from habmap.show.sheet.edge_figures import figures_around
from habmap.show.sheet.map import Frame
from habmap.show.sheet.pen import Pen, text_width_pt
from habmap.show.words import short_day, unit_title
from habmap.vocabulary import PRACTICE_WORDS

LEAST = 0.8


class _Told:
    """The blocks of words that a sheet sets on its map: what they say, and their box on the page."""

    def __init__(self) -> None:
        self.blocks: list[tuple[str, BaseGeometry]] = []
        self.frame: Frame | None = None
        self.page: Page | None = None


def _sheet(name: str, tmp_path: Any, monkeypatch: pytest.MonkeyPatch, paper: str = "letter") -> _Told:
    told = _Told()
    real_text, real_words = Pen.text, sheet_module.draw_words
    lines: list[tuple[float, float, str, dict[str, Any]]] = []

    def text(self: Pen, x: float, y: float, words: str, **style: Any) -> None:
        lines.append((x, y, words, style))
        real_text(self, x, y, words, **style)

    def draw_words(pen: Pen, frame: Frame, page: Page, **more: Any) -> int:
        lines.clear()
        left_out = real_words(pen, frame, page, **more)
        told.frame, told.page = frame, page
        last: tuple[float, float] | None = None
        for x, y, words, style in lines:
            if style.get("align") != "center" or style.get("turn_deg"):
                continue
            size = style.get("size_pt", 9.0)
            face = {key: style.get(key, False) for key in ("is_serif", "is_bold")}
            half = text_width_pt(words, size_pt=size, **face) / 2
            own = box(x - half, y - 0.2 * size, x + half, y + 0.75 * size)
            if last is not None and last[0] == x and 0 < last[1] - y < 1.25 * size:  # the next line of one block
                said, shape = told.blocks.pop()
                told.blocks.append((f"{said} {words}", shapely.union(shape, own).envelope))
            else:
                told.blocks.append((words, own))
            last = (x, y)
        return left_out

    monkeypatch.setattr(Pen, "text", text)
    monkeypatch.setattr(sheet_module, "draw_words", draw_words)
    write_sheet(PLACES[name](), target=tmp_path / "a.pdf", folder=tmp_path, now=NOW, paper=paper)  # type: ignore[arg-type]
    return told


def _inside(words: BaseGeometry, ground: BaseGeometry) -> float:
    return float(shapely.intersection(words, shapely.make_valid(ground)).area / words.area)


@pytest.mark.parametrize("paper", ["letter", "tabloid"])
@pytest.mark.parametrize("name", PLACES)
def test_names_and_dates_on_the_sheet_lie_on_their_own_ground(
    name: str, paper: str, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = _sheet(name, tmp_path, monkeypatch, paper)
    frame, page = told.frame, told.page
    assert frame is not None
    assert page is not None
    seen = 0
    for unit in page.units:
        for said, words in told.blocks:
            if unit_title(unit) in said:
                seen += 1
                assert _inside(words, frame.on_paper(unit.geometry)) >= LEAST, said
    newest = newest_work(page.work)
    for said, words in told.blocks:
        grounds = [
            frame.on_paper(one.newest)
            for work, one in zip(page.work, newest, strict=True)
            if said.startswith(PRACTICE_WORDS[work.entry.practice])
            and said.endswith((short_day(work.entry.date), f"{short_day(work.entry.date)[:3]} {work.entry.date.year}"))
        ]
        if grounds:
            assert max(_inside(words, ground) for ground in grounds) >= LEAST, said
    assert seen > 0 or name == "sixty"
    for unit in page.units:  # every unit is told of, by its name or its number
        assert any(str(unit.order) in said.split() for said, _ in told.blocks)


def test_no_words_cover_a_house(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("winding", "ten acres"):
        told = _sheet(name, tmp_path, monkeypatch)
        assert told.page is not None
        assert told.frame is not None
        for feature in told.page.features:
            if feature.kind in ("house", "building"):
                mark = told.frame.on_paper(feature.geometry).buffer(5, cap_style="square")
                assert not [said for said, words in told.blocks if words.intersects(mark)]


def test_the_newest_work_is_told_and_older_work_only_where_it_is_still_the_newest() -> None:
    page = build_page(winding(), now=NOW, audience="owner")
    days = [work.entry.date.isoformat() for work in page.work]
    found = dict(zip(days, newest_work(page.work), strict=True))
    assert found["2024-12-07"].newest.area == pytest.approx(0, abs=1e-12)  # burned since, all of it
    whole = {work.entry.date.isoformat(): work.geometry.area for work in page.work}
    assert found["2025-03-11"].newest.area == pytest.approx(whole["2025-03-11"] * 130 / 330, rel=1e-3)
    assert found["2026-07-04"].until is None
    assert days[found["2024-12-07"].until or 0] == "2025-03-11"


@given(
    st.lists(st.tuples(st.floats(0.2, 1.0), st.floats(0.0, 1.0)), min_size=5, max_size=24),
    st.floats(0.05, 1.0),
    st.floats(0.05, 1.0),
)
def test_a_box_in_a_room_lies_on_its_ground(rim: list[tuple[float, float]], wide: float, high: float) -> None:
    """Star-shaped ground of any roughness; the share is measured, not taken from the rule."""
    corners = [
        (r * math.cos(2 * math.pi * k / len(rim)) * 3, r * math.sin(2 * math.pi * k / len(rim)))
        for k, (r, _) in enumerate(rim)
    ]
    ground = Polygon(corners)
    (rooms,) = label_rooms([ground])
    for room in rooms:
        width, height = 2 * room[2] * wide, 2 * room[3] * high
        for x, y in spots(rooms, width, height):
            words = box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
            assert ground.intersection(words).area / words.area >= LEAST_SHARE - 1e-9


def test_a_square_has_room_and_a_line_has_none() -> None:
    rooms = label_rooms([box(0, 0, 10, 10), Point(3, 3), MultiPolygon([box(0, 0, 1, 1), box(5, 0, 9, 4)]), Polygon()])
    assert np.isfinite(rooms[0]).all()
    assert not np.isfinite(rooms[1]).any()
    assert rooms[2, 3, :2] == pytest.approx([7, 2], abs=0.3)  # on the larger part
    assert not list(spots(rooms[0], 11, 1))
    assert LEAST_SHARE > LEAST


def test_a_name_is_broken_where_its_lines_come_out_alike() -> None:
    assert name_lines("Old Orchard Bench Below the Spring") == [
        ["Old Orchard Bench Below the Spring"],
        ["Old Orchard Bench", "Below the Spring"],
        ["Old Orchard", "Bench Below", "the Spring"],
    ]
    assert name_lines("Rim") == [["Rim"]]


def test_a_creeks_name_runs_along_its_line(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[tuple[float, float, float]] = []
    real = Pen.text

    def text(self: Pen, x: float, y: float, words: str, **style: Any) -> None:
        if words == "Turtle Creek":
            told.append((x, y, style.get("turn_deg", 0.0)))
        real(self, x, y, words, **style)

    monkeypatch.setattr(Pen, "text", text)
    frames: list[Frame] = []
    real_words = sheet_module.draw_words
    monkeypatch.setattr(
        sheet_module,
        "draw_words",
        lambda pen, frame, page, **more: (frames.append(frame), real_words(pen, frame, page, **more)),
    )
    write_sheet(winding(), target=tmp_path / "a.pdf", folder=tmp_path, now=NOW, paper="letter")
    ((x, y, turn_deg),) = told
    creek = frames[0].on_paper(next(f.geometry for f in winding().features() if f.kind == "creek"))
    assert Point(x, y).distance(creek) < 14
    at = creek.project(Point(x, y))
    ahead, behind = creek.interpolate(at + 20), creek.interpolate(at - 20)
    assert turn_deg == pytest.approx(math.degrees(math.atan2(ahead.y - behind.y, ahead.x - behind.x)), abs=5)


@pytest.mark.poppler
def test_small_units_keep_small_numerals_on_their_own_ground_or_are_counted(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seventy units of 80 by 56 m and two of 6 by 6 m, at a scale that a far one makes small."""

    def crowded() -> FakeStore:
        small = [box(80 * (k % 10), 56 * (k // 10), 80 * (k % 10) + 80, 56 * (k // 10) + 56) for k in range(70)]
        shapes = [*small, box(900, 0, 906, 6), box(900, 10, 906, 16), box(1900, 0, 2000, 600)]
        return FakeStore([unit_of(f"K{k}", shape, name=f"Unit {k}") for k, shape in enumerate(shapes)], grid=GRID)

    monkeypatch.setitem(PLACES, "crowded", crowded)
    told = _sheet("crowded", tmp_path, monkeypatch)
    assert told.page is not None and told.frame is not None
    ground = {str(one.order or one.unit_id): told.frame.on_paper(one.geometry) for one in told.page.units}
    numerals = [(words, shape) for words, shape in told.blocks if words.split()[0] in ground]
    for words, shape in numerals:  # on its own ground, or on nobody's
        other = shapely.union_all([one for name, one in ground.items() if name != words.split()[0]])
        assert _inside(shape, ground[words.split()[0]]) >= LEAST or _inside(shape, other) <= 1 - LEAST, words
    missing = set(ground) - {words.split()[0] for words, _ in numerals}
    # One of the two tiny ones that lie side by side, and what the figures along the edge of the map take.
    figures = shapely.union_all([box(*one) for one in figures_around(told.frame).boxes])
    assert len(missing & _smallest(ground, 2)) == 1
    assert all(ground[one].intersects(figures) for one in missing - _smallest(ground, 2))
    tree = shapely.STRtree([shape.buffer(-0.5) for _, shape in numerals])
    assert all(len(tree.query(shape.buffer(-0.5), "intersects")) == 1 for _, shape in numerals)
    assert f"No room here for the numbers of {len(missing)} units." in pdf_words(tmp_path / "a.pdf")


def _smallest(ground: dict[str, BaseGeometry], count: int) -> set[str]:
    return set(sorted(ground, key=lambda order: ground[order].area)[:count])
