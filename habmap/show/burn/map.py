"""The map of a burn sheet: the block's edges told apart by line and letter, the wind, and what lies around."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import shapely

from habmap.show.burn.frame import draw_pointers
from habmap.show.burn.sheet import BurnSheet
from habmap.show.on_own_ground import name_lines
from habmap.show.sheet.feature_labels import draw_contour_labels, draw_feature_labels, keep_marks_clear
from habmap.show.sheet.label_boxes import Labels
from habmap.show.sheet.labels import draw_names
from habmap.show.sheet.map import Frame, draw_contours, draw_edge, draw_feature, draw_frame, pattern_area
from habmap.show.sheet.marks import over_pattern, tint
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import Pen, clipped, text_width_pt
from habmap.work.burn.block_edges import Edge

#: Width [pt] and dash [pt] of an edge by its side of the wind; told apart without any color.
SIDE_STYLES: Final[dict[str, tuple[float, tuple[float, ...]]]] = {
    "downwind": (4.0, ()), "side": (2.6, (9, 4)), "upwind": (3.2, (0.01, 5.4)),
}  # fmt: skip
#: The property line: thin, a long dash and two dots [pt].
_PROPERTY_PT: Final = 0.9
_PROPERTY_DASH_PT: Final = (9.0, 3.0, 1.4, 3.0, 1.4, 3.0)
#: Strokes outward where the ground rises away: from and to this far from the edge, and how far apart [pt].
_TICK_PT: Final = (2.5, 8.0)
_TICKS_APART_PT: Final = 7.0
#: Size of the keys of edges [pt].
_KEY_PT: Final = 10.5
#: Places across and up the map where the wind may be drawn.
_WIND_SPOTS: Final = 7
#: Width and height of the box that shows the wind [pt].
WIND_BOX_PT: Final = (124.0, 84.0)


def draw_burn_map(pen: Pen, frame: Frame, sheet: BurnSheet) -> None:
    """Draw ground, features, edges and wind in the frame; labels of edges are set before all others."""
    clip = frame.outline
    for ground in sheet.stages:
        if (pattern := tint(ground.stage)) is not None:
            pattern_area(pen, frame.on_paper(ground.geometry), pattern, clip=clip)
    for share in sheet.shares:
        pattern_area(pen, frame.on_paper(share.geometry), over_pattern(share.kind), clip=clip)
    if sheet.relief is not None:
        draw_contours(pen, frame, sheet.relief)
    for _, _, shape in sheet.units:
        draw_edge(pen, frame.on_paper(shape), "neighbor", clip=clip)
    if sheet.boundary is not None:
        draw_property_line(pen, frame.on_paper(shapely.boundary(sheet.boundary)), clip=clip)
    for feature in sheet.features:
        draw_feature(pen, frame.on_paper(feature.geometry), feature.kind, clip=clip)
    for shape in sheet.ringed:
        _ring(pen, frame, shape)
    for edge in sheet.edges:
        draw_side(pen, frame.on_paper(edge.line), edge.side, clip=clip)
        if edge.upslope:
            for tick in rise_ticks(frame, edge):
                pen.path(tick, clip=clip, edgecolor="black", linewidth=1.1)
    labels = Labels(frame)
    _wind(pen, frame, sheet, labels)
    keep_marks_clear(frame, sheet.features, labels)
    for edge in sheet.edges:  # no words on the edges themselves
        line = frame.on_paper(edge.line)
        for step in np.arange(0.0, line.length, 6.0).tolist():
            spot = line.interpolate(step)
            labels.take((spot.x - 3, spot.y - 3, spot.x + 3, spot.y + 3), anyway=True)
        for tick in rise_ticks(frame, edge) if edge.upslope else ():
            x, y = np.asarray(tick.vertices, dtype=np.float64).mean(axis=0).tolist()
            labels.take((x - 2, y - 2, x + 2, y + 2), anyway=True)
    _edge_keys(pen, frame, sheet, labels)
    draw_pointers(pen, frame, sheet, labels)
    named = [((*name_lines(f"{unit_id} {name}"), [unit_id]), shape) for unit_id, name, shape in sheet.units]
    draw_names(pen, frame, named, labels, size_pt=10.0, is_serif=True)
    draw_feature_labels(pen, frame, sheet.features, labels)
    if sheet.relief is not None:
        draw_contour_labels(pen, frame, sheet.relief, labels)
    draw_frame(pen, frame)


def draw_side(pen: Pen, line: Any, side: str, *, clip: Outline | None = None) -> None:
    """Draw a stretch of edge (points of the page) in the line of its side, on a broader line of paper."""
    outline = Outline.of(line)
    if outline is None:
        return
    width, dash = SIDE_STYLES[side]
    cap = "round" if side == "upwind" else "butt"
    pen.path(outline, clip=clip, edgecolor="white", linewidth=width + 2.4, joinstyle="round")
    pen.path(outline, clip=clip, edgecolor="black", linewidth=width, dash=dash, capstyle=cap, joinstyle="round")


def rise_ticks(frame: Frame, edge: Edge) -> list[Outline]:
    """Return short strokes outward from an edge that the ground rises away from, points of the page."""
    line = frame.on_paper(edge.line)
    right, up = _grid_way(frame, edge.outward_deg)
    foot, tip = _TICK_PT
    count = max(1, round(line.length / _TICKS_APART_PT))
    spots = [line.interpolate((number + 0.5) / count, normalized=True) for number in range(count)]
    stroke = Outline.through([(right * foot, up * foot), (right * tip, up * tip)])
    return [stroke.moved(at.x, at.y) for at in spots]


def draw_property_line(pen: Pen, shape: Any, *, clip: Outline | None = None) -> None:
    """Draw the property line thin and broken: no heavy line on this map is anything but an edge of the burn."""
    outline = Outline.of(shape)
    if outline is not None:
        pen.path(outline, clip=clip, edgecolor="white", linewidth=_PROPERTY_PT + 1.2)
        pen.path(outline, clip=clip, edgecolor="black", linewidth=_PROPERTY_PT, dash=_PROPERTY_DASH_PT)


# --- parts --------------------------------------------------------------------------------------------------


def _grid_way(frame: Frame, true_deg: float) -> tuple[float, float]:
    """Return (right, up) on the page of a true bearing: a true bearing is a grid bearing plus the convergence."""
    angle = math.radians(true_deg - frame.grid.convergence_deg(*frame.middle_lonlat))
    return (math.sin(angle), math.cos(angle))


def _ring(pen: Pen, frame: Frame, shape: Any) -> None:
    point = shapely.centroid(frame.on_paper(shape))
    if not point.is_empty:
        pen.path(Outline.circle((point.x, point.y), 12), clip=frame.outline, edgecolor="white", linewidth=3.2)
        pen.path(Outline.circle((point.x, point.y), 12), clip=frame.outline, edgecolor="black", linewidth=1.3)


def wind_spot(frame: Frame, sheet: BurnSheet) -> tuple[float, float]:
    """Return the left and lower edge [pt] of the wind's box.

    Where it hides none of the edges, in a corner if it can, and as little of the block as it can.
    """
    left, bottom, right, top = frame.box
    width, height = WIND_BOX_PT
    block = shapely.MultiLineString([frame.on_paper(edge.line) for edge in sheet.edges])
    hull = shapely.union(shapely.convex_hull(block), block)
    columns = np.linspace(left + 4, right - width - 4, _WIND_SPOTS).tolist()
    rows = np.linspace(bottom + 4, top - height - 4, _WIND_SPOTS).tolist()

    def hidden(spot: tuple[float, float]) -> tuple[float, bool, float]:
        box = shapely.box(spot[0], spot[1], spot[0] + width, spot[1] + height)
        is_corner = spot[0] in (columns[0], columns[-1]) and spot[1] in (rows[0], rows[-1])
        return (shapely.intersection(block, box).length, not is_corner, shapely.intersection(hull, box).area)

    return min(((x, y) for y in reversed(rows) for x in reversed(columns)), key=hidden)


def _wind(pen: Pen, frame: Frame, sheet: BurnSheet, labels: Labels) -> None:
    x, y = wind_spot(frame, sheet)
    width, height = WIND_BOX_PT
    pen.box(x, y, width, height, facecolor="white", edgecolor="black", linewidth=0.9)
    labels.take((x, y, x + width, y + height), anyway=True)
    turn_deg = frame.grid.convergence_deg(*frame.middle_lonlat)
    downwind_deg = sheet.wind_from_deg + 180 - turn_deg
    arrow = Outline.through(
        [(0, 20), (-7, 5), (-2.2, 7), (-2.2, -20), (2.2, -20), (2.2, 7), (7, 5), (0, 20)], closed=True
    )
    arrow = arrow.turned(-downwind_deg).moved(x + width / 2, y + height - 24)
    pen.path(arrow, facecolor="black", edgecolor="black", linewidth=0.6)
    for number, text in enumerate(sheet.wind_words):
        shown = clipped(text, width - 6, size_pt=9.5, is_serif=True)
        pen.text(x + width / 2, y + 27 - 11 * number, shown, size_pt=9.5, is_serif=True, align="center")


def _edge_keys(pen: Pen, frame: Frame, sheet: BurnSheet, labels: Labels) -> None:
    """Set each key beside its longest stretch, whatever it covers, and beside others where there is room."""
    drawn = sorted(((frame.on_paper(edge.line), edge) for edge in sheet.edges), key=lambda one: -one[0].length)
    told: set[str] = set()
    for line, edge in drawn:
        key = sheet.keys[edge.listed_as]
        if key in told and line.length < 55:
            continue
        right, up = _grid_way(frame, edge.outward_deg)
        spots = [
            (point.x + right * out, point.y + up * out - 3.5)
            for out in (14.0, 20.0, 28.0, -14.0, -20.0)
            for point in (line.interpolate(share, normalized=True) for share in (0.5, 0.3, 0.7, 0.1, 0.9))
        ]
        if _set_key(pen, labels, spots, key, anyway=key not in told):
            told.add(key)


def _set_key(pen: Pen, labels: Labels, spots: list[tuple[float, float]], key: str, *, anyway: bool) -> bool:
    """Set a key centered at the first spot (its baseline) that is free; ``anyway``: where it covers least."""
    half = text_width_pt(key, size_pt=_KEY_PT, is_serif=True, is_bold=True) / 2 + 1
    boxes = [(x - half, y - 2, x + half, y + _KEY_PT) for x, y in spots]
    free = next((number for number, box in enumerate(boxes) if labels.take(box)), None)
    if free is None:
        if not anyway:
            return False
        free = min(range(len(boxes)), key=lambda number: labels.covered_pt2(boxes[number]))
        labels.take(boxes[free], anyway=True)
    x, y = spots[free]
    pen.text(x, y, key, size_pt=_KEY_PT, is_serif=True, is_bold=True, align="center", ink="black", halo_pt=1.6)
    return True
