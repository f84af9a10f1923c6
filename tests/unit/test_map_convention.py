"""The map as a national sheet draws it: edges that show on any ground, contours by scale and slope, full relief."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from affine import Affine
from label_places import NOW, PLACES
from rasterio.crs import CRS
from shapely import Point, box

from habmap.jobs.map import build_page
from habmap.land.grid import LocalGrid
from habmap.measures import M_PER_FT
from habmap.show import relief as relief_module
from habmap.show.palette import INK, PAPER, STAGE_FILLS, WATER_FILL, WATER_INK
from habmap.show.relief import CONTOUR_STEPS_FT, Relief, contour_step, draw_relief, relief_bounds
from habmap.show.sheet.map import Frame, drawn_in_to_relief
from habmap.show.symbols import EDGE_STROKES, EDGE_WORDS, LINE_STROKES, line_strokes

UTM_14N = CRS.from_epsg(32614).to_wkt()


def _luminance(color: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(color[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _lightness(luminance: float) -> float:
    """CIE L*."""
    return 116 * luminance ** (1 / 3) - 16 if luminance > 0.008856 else 903.3 * luminance


def _relief(heights_m: Any, cell_m: float = 5.0) -> Relief:
    found = draw_relief(heights_m, transform=Affine(cell_m, 0, 500_000, 0, -cell_m, 4_100_000), crs_wkt=UTM_14N)
    assert found is not None
    return found


@pytest.mark.parametrize("fill", sorted(set(STAGE_FILLS.values())))
@pytest.mark.parametrize("kind", EDGE_WORDS)
def test_every_edge_shows_on_every_ground(kind: str, fill: str) -> None:
    assert max(_contrast(stroke.ink, fill) for stroke in EDGE_STROKES[kind]) >= 2.5


def test_no_two_lines_are_drawn_alike_and_the_property_is_the_boldest() -> None:
    drawn = [*EDGE_STROKES.values(), *LINE_STROKES.values()]
    assert len(set(drawn)) == len(drawn)
    ink = {kind: max(s.width for s in strokes if s.ink == INK and not s.dash) for kind, strokes in
           {**EDGE_STROKES, **LINE_STROKES}.items() if any(s.ink == INK and not s.dash for s in strokes)}  # fmt: skip
    assert max(width for kind, width in ink.items() if kind not in ("boundary", "road")) < ink["boundary"]
    assert [s.dash != "" for s in line_strokes("lane")] == [True]
    assert [s.ink for s in line_strokes("road")] == [INK, PAPER]
    assert {s.ink for kind in ("creek", "pond") for s in line_strokes(kind)} == {WATER_INK}


def test_water_is_blue() -> None:
    red, _, blue = (int(WATER_FILL[k : k + 2], 16) for k in (1, 3, 5))
    assert blue - red > 15
    assert _luminance(WATER_FILL) > 0.7  # pale


@pytest.mark.parametrize("slope", [0.04, 0.1, 0.2, 0.35, 0.6])
@pytest.mark.parametrize("scale", [2_400, 6_000, 12_000, 24_000, 50_000])
def test_contours_stand_1_5_to_3_mm_apart(slope: float, scale: int) -> None:
    """Arithmetic on a plane: step over slope is the way along the ground, over the scale that on paper."""
    step = contour_step(slope, scale)
    apart_mm = step * M_PER_FT / slope / scale * 1000
    assert step in CONTOUR_STEPS_FT
    # Between 2 and 5 ft the steps in use stand wider apart than 1 to 2.
    assert 1.3 <= apart_mm <= 3.4
    if step > 5:
        assert 1.45 <= apart_mm <= 3.0


def test_contours_drawn_for_a_scale_are_so_far_apart() -> None:
    heights = np.mgrid[0:120, 0:120][1] * 5.0 * 0.2 + 300  # up one in five, eastward
    for scale in (4_800, 12_000, 24_000):
        relief = _relief(heights).at_scale(scale)
        east = sorted({line.height_ft: float(np.median(line.lonlat[:, 0])) for line in relief.contours}.values())
        metres = np.diff(east) * 111_320 * math.cos(math.radians(37.04))
        assert 1.5 <= np.median(metres) / scale * 1000 <= 3.0


def test_contours_are_traced_once_for_the_scale_that_is_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[int] = []
    trace = relief_module._contours
    monkeypatch.setattr(relief_module, "_contours", lambda *asked: (steps.append(asked[2]), trace(*asked))[1])
    relief = _relief(np.mgrid[0:120, 0:120][1] * 5.0 * 0.2 + 300)
    drawn = relief.at_scale(48_000)
    assert drawn.contour_step_ft != relief.contour_step_ft and drawn.may_have_contours and not steps
    assert drawn.contours and drawn.contours is drawn.contours and steps == [drawn.contour_step_ft]
    level = _relief(np.full((120, 120), 300.2))
    assert not level.may_have_contours and not level.contours


def test_contours_of_a_round_hill_have_no_corners() -> None:
    row, column = np.mgrid[0:100, 0:100] - 49.5
    relief = _relief(400 - np.hypot(row, column) * 5.0 * 0.25)
    looked = 0
    for line in relief.at_scale(12_000).contours:
        xy = line.lonlat * [math.cos(math.radians(37.04)), 1.0]
        radius = np.hypot(*(xy - (xy.max(axis=0) + xy.min(axis=0)) / 2).T) * 111_200
        if not 60 < radius.mean() < 200 or not np.array_equal(line.lonlat[0], line.lonlat[-1]):
            continue
        looked += 1
        assert np.ptp(radius) < 0.02 * radius.mean() + 0.5  # a tenth of a cell
        ways = np.unwrap(np.arctan2(*np.diff(xy, axis=0).T))
        assert np.degrees(np.abs(np.diff(ways))).max() < 25
    assert looked >= 2


@pytest.mark.parametrize("name", PLACES)
@pytest.mark.parametrize("shape", [0.72, 1.0, 1.5, 2.1])
def test_relief_fills_a_frame_of_any_shape(name: str, shape: float) -> None:
    shapes = [unit.geometry for unit in build_page(PLACES[name](), now=NOW, audience="owner").units]
    west, south, east, north = relief_bounds(shapes)
    lows, highs = zip(*[(s.bounds[:2], s.bounds[2:]) for s in shapes], strict=True)
    low, high = np.min(lows, axis=0), np.max(highs, axis=0)
    flat = math.cos(math.radians((low[1] + high[1]) / 2))
    across, up = (high[0] - low[0]) * flat, high[1] - low[1]
    frame = (max(across, up * shape) * 1.06, max(up, across / shape) * 1.06)  # a little air about the ground
    assert (east - west) * flat >= frame[0]
    assert north - south >= frame[1]


def test_slope_shows_through_the_fill_of_standing_cedar() -> None:
    """A slope toward the light and one away differ by a step that eyes see with ease (CIE L*), as printed on cedar."""
    row, column = np.mgrid[0:100, 0:100]
    shades = [float(np.nanmedian(_relief(300 + way * (row + column) * 1.0).shade)) for way in (1, -1)]

    def seen(shade: float) -> float:
        over = INK if shade < 0 else PAPER
        mixed = [int(STAGE_FILLS["standing"][k : k + 2], 16) * (1 - abs(shade)) + int(over[k : k + 2], 16) * abs(shade)
                 for k in (1, 3, 5)]  # fmt: skip
        return _lightness(_luminance("#" + "".join(f"{round(part):02x}" for part in mixed)))

    assert seen(shades[0]) - seen(shades[1]) >= 8


def test_the_frame_shrinks_to_the_relief_but_never_into_the_ground() -> None:
    """Heights reach 450 m from their middle each way; the frame's middle lies 150 m northeast of that."""
    grid = LocalGrid(37.03, -98.99)
    heights = np.full((180, 180), 300.0) + np.mgrid[0:180, 0:180][1]
    relief = _relief(heights)
    middle = grid.to_grid(Point((relief.west + relief.east) / 2, (relief.south + relief.north) / 2))
    frame = Frame(0.0, 0.0, 500.0, 400.0, 12_000, (middle.x + 150, middle.y + 150), grid)
    small = box(230, 180, 270, 220)  # points of the page
    shrunk = drawn_in_to_relief(frame, relief, small)
    reach = 450 * frame.pt_per_ground_m  # from the middle of the heights to their edge
    edge = (250 - 150 * frame.pt_per_ground_m + reach, 200 - 150 * frame.pt_per_ground_m + reach)
    assert shrunk.box[2] == pytest.approx(edge[0], abs=9)
    assert shrunk.box[3] == pytest.approx(edge[1], abs=9)
    where = grid.to_lonlat(Point(middle.x + 10, middle.y + 20))
    assert shrunk.on_paper(where).equals_exact(frame.on_paper(where), 1e-6)  # the ground stays where it was
    wide = box(3, 3, 497, 397)
    assert drawn_in_to_relief(frame, relief, wide).box == pytest.approx(frame.box, abs=8)
