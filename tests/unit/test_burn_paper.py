"""The burn sheet as the crew sees it: what is heavy on its map, its legend, houses, and what is kept from fire."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from pdf_reading import pdf_streams, pdf_words
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.jobs import burnsheet_files
from habmap.jobs.burnsheet import Burnsheet, worked_out
from habmap.jobs.burnsheet_files import write_burn_sheets
from habmap.place.settings import Settings
from habmap.records import Boundary, Feature
from habmap.show.burn.compose import burn_sheet
from habmap.show.burn.frame import burn_frame, off_the_map, pointer_words
from habmap.show.burn.map import draw_burn_map
from habmap.show.burn.sections import plan_section
from habmap.show.burn.sheet import BurnSheet
from habmap.show.burn.words import answer
from habmap.show.relief import Contour, relief_bounds
from habmap.show.sheet.feature_labels import draw_contour_labels
from habmap.show.sheet.label_boxes import Labels
from habmap.show.sheet.pen import Pen, text_width_pt
from habmap.show.words import short_day
from habmap.work.burn.request import BurnRequest

NOW = datetime(2026, 3, 1, 15, tzinfo=UTC)
FT = 0.3048
BLOCK = box(-150, -150, 150, 150)


def feature(kind: str, name: str, planar: BaseGeometry, *, sensitive: bool = False) -> Feature:
    return Feature(
        uuid=f"{kind} {name}", kind=kind, name=name, geometry=GRID.to_lonlat(planar), sensitive=sensitive,
        recorded_at=NOW,
    )  # fmt: skip


def asked(*more: object, plan: dict[str, object] | None = None) -> Burnsheet:
    """A block of 300 m with slash on its west half, cedars standing on its east half."""
    rows = [
        unit("A", BLOCK), unit("B", box(150, -150, 450, 150), cover="grass"),
        entry("cut", "2026-01-10", box(-150, -150, 0, 150)), *more,
    ]  # fmt: skip
    settings = Settings.model_validate({"burn_plan": {"grass": plan, "down_cedar": plan}} if plan else {})
    request = BurnRequest(
        names=("A",), at=datetime(2026, 3, 5, 13), temp_f=65.0, rh_pct=45.0, wind_mph=8.0, wind_from_deg=0.0
    )
    return worked_out(FakeStore(rows, grid=GRID, settings=settings), request)  # type: ignore[arg-type]


def sheet_of(sheet: Burnsheet) -> BurnSheet:
    return burn_sheet(
        sheet.result, weather=sheet.weather, grid=GRID, zone=ZoneInfo("America/Chicago"), drawn_on=date(2026, 3, 1),
        features=sheet.store.features(), pieces=sheet.pieces,
    )  # fmt: skip


def frame_of(sheet: BurnSheet, side_pt: float = 480.0):  # type: ignore[no-untyped-def]
    return burn_frame(sheet, left=25, bottom=200, width=side_pt, height=side_pt)


def written(sheet: Burnsheet, path: Path) -> Path:
    write_burn_sheets(sheet, targets=[path], now=NOW)
    return path


def test_the_map_widens_for_the_nearest_house_and_names_the_others_at_its_edge() -> None:
    # 112.8 m = 370 ft south of the block; the other 2,000 m east of its edge, 1.24 mi of 1,609.344 m
    near = feature("house", "Home place", Point(0, -150 - 370 * FT))
    far = feature("house", "East farm", Point(2150, 0))
    alone, both = sheet_of(asked()), sheet_of(asked(near, far))
    shown, bare = frame_of(both), frame_of(alone)
    assert bare.scale <= shown.scale <= 2 * bare.scale
    window = box(*shown.box)
    assert window.contains(shown.on_paper(near.geometry))
    assert all(window.contains(shown.on_paper(edge.line)) for edge in both.edges)
    assert not box(*bare.box).contains(bare.on_paper(near.geometry))  # it would have been missed
    assert [place.name for place in off_the_map(shown, both.places)] == []  # not listed: past half a mile, not downwind


@pytest.mark.poppler
def test_what_lies_off_the_map_is_named_with_its_distance_and_way(tmp_path: Path) -> None:
    # The wind blows from the north: the house 500 m south of the block's edge lies downwind of it.
    house = feature("house", "Home place", Point(0, -650))
    sheet = sheet_of(asked(house))
    frame = frame_of(sheet)
    (place,) = off_the_map(frame, sheet.places)
    assert place.distance_m == pytest.approx(500, abs=0.01)
    assert pointer_words(place, "↓") == "Home place, house, 0.31 mi ↓ S"  # 500 / 1609.344
    assert "Home place, house, 0.31 mi ↓ S" in pdf_words(written(asked(house), tmp_path / "far.pdf"))
    near = feature("airport", "Strip", Point(150 + 900 * FT, 0))
    (strip,) = sheet_of(asked(near)).places
    assert pointer_words(strip, "→") == "Strip, airport, 900 ft → E"


@pytest.mark.poppler
def test_only_edges_of_the_burn_are_heavy_and_the_property_line_stands_in_the_legend(tmp_path: Path) -> None:
    outline = shapely.MultiPolygon([box(-170, -170, 470, 170)])
    boundary = Boundary(uuid="b", geometry=GRID.to_lonlat(outline), recorded_at=NOW)
    lane = feature("lane", "Farm lane", LineString([(-60, -300), (-60, 300)]))
    path = written(asked(boundary, lane), tmp_path / "burn.pdf")
    first = pdf_streams(path)[0]
    dashes = {}
    for width, dash in re.findall(r"([\d.]+) w\b(?:(?!\bw\b).)*?\[([\d. ]*)\] [\d.]+ d", first, re.DOTALL):
        dashes.setdefault(dash, set()).add(float(width))
    # Long dash and two dots, 0.9 pt: the lightest edge of the burn has 2.6 pt.
    property_line = [dash for dash in dashes if [float(part) for part in dash.split()] == [9, 3, 1.4, 3, 1.4, 3]]
    assert len(property_line) == 1 and max(dashes[property_line[0]]) < 1.0
    told = pdf_words(path, "-l", "1")
    for words in ("property line", "unit edge", "lane", "D: downwind edge", "S: side edge", "U: upwind edge"):
        assert words in told
    assert "creek" not in told  # none is drawn


@pytest.mark.poppler
def test_what_must_be_kept_from_fire_is_named_listed_ringed_and_checked(tmp_path: Path) -> None:
    inside = (
        feature("grave", "Old cemetery", Point(-50, 50)), feature("nest", "Hawk tree", Point(60, 60)),
        feature("hay", "", Point(60, -60)), feature("power_line", "Co-op line", LineString([(-400, 10), (400, 10)])),
        feature("lane", "Farm lane", LineString([(-60, -300), (-60, 300)])),
        feature("grave", "Churchyard", Point(300, 0)),
    )  # fmt: skip
    sheet = asked(*inside)
    named = "grave Old cemetery; nest Hawk tree; hay; power line Co-op line."
    assert {(one.kind, one.name) for one in sheet.result.kept_from_fire} == {
        ("grave", "Old cemetery"), ("nest", "Hawk tree"), ("hay", ""), ("power_line", "Co-op line"),
    }  # fmt: skip
    drawn = sheet_of(sheet)
    assert len(drawn.ringed) == 3  # the line is drawn along its length, what lies outside is not kept here
    checks = next(section for section in drawn.by_hand if section.title == "Go / no-go").boxes
    assert [one for one in checks if one.startswith("Inside the block, to be kept from fire: ")] != []
    told = pdf_words(written(sheet, tmp_path / "kept.pdf"))
    assert told.count(f"Inside the block, to be kept from fire: {named}") == 3  # head, checks and list
    assert "Also inside the block: lane Farm lane" in told
    none = sheet_of(asked())
    assert not any("kept from fire" in text for section in none.by_hand for text in section.boxes) and not none.kept


@pytest.mark.poppler
def test_stages_are_drawn_inside_the_block_and_stand_in_the_legend(tmp_path: Path) -> None:
    sheet = asked()
    # by hand: 150 m × 300 m = 45,000 m² / 4,046.8564224 = 11.12 acres each
    assert {ground.stage: ground.acres for ground in sheet_of(sheet).stages} == pytest.approx(
        {"down": 11.1198, "standing": 11.1198}, rel=1e-4
    )
    told = pdf_words(written(sheet, tmp_path / "stages.pdf"))
    assert "cedars standing, 11.1 acres" in told and "cut, slash on ground, 11.1 acres" in told
    drawn = {stage: _fills(tmp_path / "stages.pdf", stage) for stage in ("standing", "down", "piled")}
    assert drawn["standing"] >= 2 and drawn["down"] >= 2 and drawn["piled"] == 0  # on the map and in the legend


def _fills(path: Path, stage: str) -> int:
    from habmap.show.sheet.marks import tint

    pattern = tint(stage)
    assert pattern is not None
    color = [int(pattern.fill[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    found = re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) rg", pdf_streams(path)[0])
    return sum(np.allclose([float(part) for part in one], color, atol=1e-3) for one in found)


def test_a_comparison_is_never_a_go_and_names_what_the_plan_leaves_open() -> None:
    plan = {"author": "P. Writer", "date": date(2026, 1, 31), "rh_pct": [30, 50], "mixing_height_ft": [1800, 99999]}
    result = asked(plan=plan).result
    section = plan_section(result)
    assert "“Within” compares one number with one limit. It is not a go." in section.after
    (open_,) = (text for text in section.after if text.startswith("This plan sets no limit for: "))
    assert all(item in open_ for item in ("temperature", "wind", "days since rain")) and "humidity" not in open_
    assert open_ in answer(result)
    limits = {row[0]: row[2] for row in section.rows}
    assert limits == {"relative humidity": "30 to 50", "mixing height": "1,800 or more"}
    bare = asked().result
    assert not any("compared here" in words for words in bare.block_words)
    assert any("cut slash on the ground" in words for words in bare.block_words)
    assert plan_section(bare).after == ()


def test_fuel_stands_before_notes_on_the_figures_and_the_owner_s_closed_days_before_all() -> None:
    closed = {"closed": [{"work": "burn", "from": "03-01", "to": "03-31", "reason": "nesting"}]}
    sheet = asked()
    (notes,) = (line for line in sheet_of(sheet).lines if "live standing cedars" in line)
    assert notes.index("live standing cedars") < notes.index("The height of the wind")
    rows = [unit("A", BLOCK)]
    request = BurnRequest(
        names=("A",), at=datetime(2026, 3, 5, 13), temp_f=65.0, rh_pct=45.0, wind_mph=8.0, wind_from_deg=0.0
    )
    shut = worked_out(FakeStore(rows, grid=GRID, settings=Settings.model_validate(closed)), request)
    assert shut.result.closed and shut.result.warnings[0] == shut.result.closed[0]
    (notes,) = (line for line in sheet_of(shut).lines if "nesting" in line)
    assert notes.index("nesting") < notes.index("live standing cedars")


def test_the_checks_ask_for_help_air_and_a_stop() -> None:
    checks = " ".join(text for section in sheet_of(asked()).by_hand for text in (*section.boxes, *section.blanks))
    for words in (
        "Nearest hospital and EMS", "Smoke or air approval", "Burn boss qualified", "drought", "anyone may call a stop",
        "Power lines, gas lines, tanks, hay and houses: protected, or the burn called off",
        "All notices made and confirmed",
        "Crew fit, in full PPE, briefed", "tested on site", "Contingency crew, equipment and lines named",
        "tool first, then the back of the hand held near; never into ash",
    ):  # fmt: skip
        assert words in checks


def test_no_word_at_the_edge_leaves_the_map() -> None:
    places = [
        feature("house", f"A house with a name far too long to be read on any map, number {n}", Point(x, y))
        for n, (x, y) in enumerate([(0, -700), (5, -701), (-8, -702), (700, 3), (-700, 690), (690, 690)])
    ]
    sheet = sheet_of(asked(*places))
    frame = frame_of(sheet, 300)
    set_: list[tuple[float, float, str]] = []

    class Spy(Pen):
        def text(self, x: float, y: float, words: str, **style: object) -> None:
            set_.append((x, y, words))

        def box(self, left: float, bottom: float, width: float, height: float, **style: object) -> None:
            boxes.append(box(left, bottom, left + width, bottom + height))

    boxes: list[BaseGeometry] = []
    from habmap.show.burn.frame import draw_pointers

    draw_pointers(Spy((612, 792)), frame, sheet, Labels(frame))
    assert len(set_) == len(boxes) == len(off_the_map(frame, sheet.places)) > 1
    assert all(box(*frame.box).contains(one) for one in boxes)
    assert not any(a.intersection(b).area for n, a in enumerate(boxes) for b in boxes[:n])
    assert all(re.search(r"house, [\d,.]+ (ft|mi) . (N|NE|E|SE|S|SW|W|NW)$", words) for _, _, words in set_)


@pytest.mark.poppler
def test_a_compass_is_told_for_the_day_of_the_burn(tmp_path: Path) -> None:
    sheet = asked()
    day = datetime.fromisoformat(sheet.result.time).date()
    assert day != NOW.date()
    words = pdf_words(written(sheet, tmp_path / "a.pdf"))
    assert f"Magnetic north on {short_day(day)}: " in words
    assert "(WMM20" in words


def test_names_on_the_burn_map_lie_on_their_own_ground(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name where it has room; a unit with a long name and little ground in the frame says its id, or nothing."""
    narrow = Polygon([(150, -150), (175, -150), (260, 400), (235, 400)])
    wide = box(-400, 150, 140, 420)
    sheet = replace(
        sheet_of(asked()),
        units=tuple(
            (unit_id, name, GRID.to_lonlat(shape))
            for unit_id, name, shape in (
                ("X1", "Old Orchard Bench Below the Spring", box(-150, -150, 150, 150)),
                ("N1", "North Side of the County Line Road Cedars", narrow), ("W1", "West Meadow", wide),
            )
        ),
    )  # fmt: skip
    frame, told = frame_of(sheet), []
    monkeypatch.setattr(Pen, "text", lambda self, x, y, words, **style: told.append((x, y, words, style)))
    monkeypatch.setattr(Pen, "path", lambda self, outline, **style: None)
    draw_burn_map(Pen((612, 792)), frame, sheet)
    ground = {unit_id: frame.on_paper(shape) for unit_id, _, shape in sheet.units}
    spoken = {unit_id: f"{unit_id} {name}".split() for unit_id, name, _ in sheet.units}
    seen = set()
    for x, y, words, style in told:
        if style.get("size_pt") != 10.0:
            continue
        owner = next(one for one, parts in spoken.items() if set(words.split()) <= set(parts))
        half = text_width_pt(words, size_pt=10.0, is_serif=True) / 2
        own = box(x - half, y - 2, x + half, y + 7.5)
        assert own.intersection(ground[owner]).area >= 0.8 * own.area, words
        seen.add(owner)
    assert {"X1", "W1"} <= seen


@pytest.mark.parametrize("house_m", [None, 260.0])
@pytest.mark.parametrize("size_pt", [(562.0, 420.0), (562.0, 260.0), (420.0, 560.0)])
def test_the_relief_reaches_past_every_edge_of_the_map(house_m: float | None, size_pt: tuple[float, float]) -> None:
    """Contours that end within the frame read as an edge of the land."""
    more = () if house_m is None else (feature("house", "Home place", Point(0, -150 - house_m)),)
    sheet = sheet_of(asked(*more))
    frame = burn_frame(sheet, left=25, bottom=100, width=size_pt[0], height=size_pt[1])
    outline = shapely.MultiLineString([edge.line for edge in sheet.edges])
    drawn = frame.on_paper(box(*relief_bounds([outline], margins=burnsheet_files.AROUND)))
    assert drawn.contains(box(*frame.box))


def test_heights_stand_along_the_heavier_contours_only(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(Pen, "text", lambda self, x, y, words, **style: told.append(words))
    frame = frame_of(sheet_of(asked()))

    def lines(heavy: int) -> tuple[Contour, ...]:
        heights = range(1000, 1150, 5)
        ground = [GRID.to_lonlat(LineString([(-140, -140 + h - 1000), (140, -140 + h - 1000)])) for h in heights]
        return tuple(
            Contour(h, shapely.get_coordinates(line), h % heavy == 0) for h, line in zip(heights, ground, strict=True)
        )

    for heavy, expected in ((25, {"1,000", "1,025", "1,050", "1,075", "1,100", "1,125"}), (1100, None)):
        told.clear()
        relief: Any = SimpleNamespace(contours=lines(heavy))
        draw_contour_labels(Pen((612, 792)), frame, relief, Labels(frame))
        if expected is not None:
            assert set(told) == expected
        else:  # one heavy line alone does not tell the ground
            assert "1,100" in told
            assert len(told) >= 4
