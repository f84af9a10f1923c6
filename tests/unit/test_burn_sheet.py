"""The burn sheet's parts: edges told apart without color, the map true to scale, and boxes that are always empty."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
import shapely
from shapely import LineString

from habmap.errors import InputError, UsageError
from habmap.jobs.burnsheet_files import refuse_targets
from habmap.land.edges import Side
from habmap.land.grid import LocalGrid
from habmap.show.burn.frame import burn_frame
from habmap.show.burn.html import render_burn_html
from habmap.show.burn.map import SIDE_STYLES, WIND_BOX_PT, rise_ticks, wind_spot
from habmap.show.burn.pages import draw_burn_pdf, draw_burn_svg
from habmap.show.burn.sheet import NOT_FOR_ALL, SIDE_LETTERS, SIDE_LINES, BurnSheet, Section, hand_sections
from habmap.work.burn.block_edges import Edge

GRID = LocalGrid(lat=37.0, lon=-96.0)


def _edge(side: Side, points_m: Sequence[tuple[float, float]], outward_deg: float) -> Edge:
    coordinates = tuple(GRID.to_lonlat(LineString(points_m)).coords)
    return Edge(
        side=side, length_m=LineString(points_m).length, outward_deg=outward_deg, beyond="X2", beyond_stage=None,
        beyond_words="X2", mapped_break=False, break_name=None, boss_checked=False, upslope=None,
        coordinates=coordinates,
    )  # fmt: skip


def _sheet(**changed: object) -> BurnSheet:
    """A square of 200 m with the wind from the south: its north edge is downwind."""
    parts: dict[str, object] = {
        "place": "A place",
        "headline": "Burn sheet: X1, 9.9 acres, 2026-03-05 13:30",
        "lines": ("Weather.",),
        "drawn_on": date(2026, 3, 1),
        "burn_day": date(2026, 3, 5),
        "grid": GRID,
        "edges": (
            _edge("downwind", [(-100, 100), (100, 100)], 0),
            _edge("side", [(100, 100), (100, -100)], 90),
            _edge("upwind", [(100, -100), (-100, -100)], 180),
            _edge("side", [(-100, -100), (-100, 100)], 270),
        ),
        "keys": {("downwind", "X2"): "D1", ("side", "X2"): "S1", ("upwind", "X2"): "U1"},
        "units": (),
        "features": (),
        "ringed": (),
        "boundary": None,
        "relief": None,
        "wind_from_deg": 180.0,
        "wind_words": ("wind from S (180°)", "5 mph"),
        "measured": (Section(title="Cautions", sentences=("Take care.",), is_framed=True),),
        "by_hand": hand_sections(notify=("<b>Who</b> & $1$",), middle_words="Middle.", crew_rows=3),
    }
    return BurnSheet(**{**parts, **changed})  # type: ignore[arg-type]


def test_sides_differ_by_letter_and_by_line() -> None:
    assert set(SIDE_STYLES) == set(SIDE_LETTERS) == set(SIDE_LINES)
    assert len({style[1] for style in SIDE_STYLES.values()}) == 3  # dash alone tells them apart
    assert len(set(SIDE_LETTERS.values())) == 3


def test_the_map_is_true_to_its_scale() -> None:
    frame = burn_frame(_sheet(), left=0, bottom=0, width=562, height=450)
    north = frame.on_paper(GRID.to_lonlat(LineString([(-100, 100), (100, 100)])))
    # 200 m at 1:N are 200 / N m of paper; an inch is 0.0254 m and 72 points by definition
    assert shapely.length(north) == pytest.approx(200 / frame.scale / 0.0254 * 72, rel=1e-6)
    left, bottom, right, top = north.bounds
    assert 0 < left < right < 562
    assert 0 < bottom <= top < 450


@pytest.mark.parametrize("width_pt", [562.0, 470.0, 400.0])
@pytest.mark.parametrize("half_m", [100.0, 300.0, 500.0])
def test_the_wind_hides_no_edge_of_the_block(width_pt: float, half_m: float) -> None:
    corners = [(-half_m, half_m), (half_m, half_m), (half_m, -half_m), (-half_m, -half_m)]
    sides = zip(corners, [*corners[1:], corners[0]], strict=True)
    sheet = _sheet(edges=tuple(_edge("side", ends, 0) for ends in sides))
    frame = burn_frame(sheet, left=10, bottom=20, width=width_pt, height=410)
    x, y = wind_spot(frame, sheet)
    wind = shapely.box(x, y, x + WIND_BOX_PT[0], y + WIND_BOX_PT[1])
    assert shapely.box(*frame.box).covers(wind)
    assert not any(frame.on_paper(edge.line).intersects(wind) for edge in sheet.edges)


def test_boxes_are_empty_and_nothing_is_counted() -> None:
    html = render_burn_html(_sheet(), paper="letter")
    assert not re.search(r"<input|checkbox|[☑☒✓✔✗]", html)
    assert "&lt;b&gt;Who&lt;/b&gt; &amp; $1$" in html
    listed = [text for section in _sheet().by_hand for text in section.boxes]
    assert len(re.findall("<li>", html)) == len(listed)
    assert not re.search(r"\d+ of \d+", " ".join(listed))


def test_long_lists_go_overleaf_whole() -> None:
    assert draw_burn_pdf(_sheet(), paper="a4").pages == 3
    many = tuple(Section(title=f"Part {n}", sentences=("words " * 60,)) for n in range(30))
    drawn = draw_burn_pdf(_sheet(measured=many), paper="letter")
    assert drawn.pages > 3
    assert drawn.content.startswith(b"%PDF")


def test_names_of_files_are_looked_at_first(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        refuse_targets([tmp_path / "sheet.png"], overwrite=False)
    (tmp_path / "there.pdf").write_text("mine")
    with pytest.raises(InputError):
        refuse_targets([tmp_path / "there.pdf"], overwrite=False)
    refuse_targets([tmp_path / "there.pdf", tmp_path / "new.html"], overwrite=True)


def test_every_page_says_what_it_is_not_and_who_it_is_not_for() -> None:
    assert render_burn_html(_sheet(), paper="letter").count(NOT_FOR_ALL) == 2  # on the first page and on the second
    assert all(word in NOT_FOR_ALL for word in ("not permission", "not for the public"))


def test_ticks_point_outward_where_the_ground_rises_away() -> None:
    sheet = _sheet()
    frame = burn_frame(sheet, left=0, bottom=0, width=562, height=450)
    for edge, way in zip(sheet.edges, ((0, 1), (1, 0), (0, -1), (-1, 0)), strict=True):  # north, east, south, west
        ticks = rise_ticks(frame, edge)
        # 200 m of edge at 1:N, a tick for every 7 points of it
        assert len(ticks) == round(200 / frame.scale / 0.0254 * 72 / 7)
        middle = frame.on_paper(edge.line).interpolate(0.5, normalized=True)
        for tick in ticks:
            foot, tip = tick.vertices
            assert tip - foot == pytest.approx([5.5 * part for part in way], abs=1e-3)
            assert (tip - [middle.x, middle.y]) @ way == pytest.approx(8.0, abs=1e-3)


def test_ticks_are_drawn_only_where_the_ground_is_known_to_rise() -> None:
    bare, rising = (draw_burn_svg(_sheet(edges=tuple(replace(edge, upslope=rises) for edge in _sheet().edges)),
                                  paper="letter").svg for rises in (None, True))  # fmt: skip
    assert rising.count("<path") > bare.count("<path") + 20
    assert draw_burn_svg(_sheet(), paper="letter").svg == bare
