"""The packet's map: the item's ground by column at one true scale, and where the photo pairs stand.

Only what counts has a color, all else is told apart by its pattern in one ink.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.show.packet.flow import MARGIN_PT, Flow
from habmap.show.packet.words import coordinate, paper_acres
from habmap.show.palette import INK, PAPER
from habmap.show.records import PageFeature, PagePhotoPoint
from habmap.show.sheet.feature_labels import draw_feature_labels, keep_marks_clear
from habmap.show.sheet.label_boxes import Labels
from habmap.show.sheet.labels import draw_names
from habmap.show.sheet.map import Frame, draw_edge, draw_feature, draw_frame, pattern_area
from habmap.show.sheet.margin import LONG_SCALE, draw_scale, scale_words, strip_pt
from habmap.show.sheet.marks import Mark, Pattern, svg_outline
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.paper import fitting_scale
from habmap.show.sheet.pen import LEAST_PT, Pen
from habmap.show.words import tenths
from habmap.work.packet import ItemPacket
from habmap.work.paperwork_records import APART

#: What each column is called over its acres, and on the map.
COLUMN_WORDS: Final = {
    "applied": "counts", "below_target": "below target", "treated_before": "treated before",
    "too_early": "too early", "late": "after due date", "on_hold": "on hold", "elsewhere": "other item",
}  # fmt: skip
COLUMNS: Final = ("applied", *APART)
_APPLIED_FILL: Final = "#de9f40"


def _pattern(step_px: tuple[float, float], *marks: tuple[str, float], fill: str = "#ffffff") -> Pattern:
    return Pattern(fill, step_px, tuple(Mark(svg_outline(path), width, INK) for path, width in marks))


LOOKS: Final[dict[str, Pattern]] = {
    "applied": _pattern((9, 9), ("M0,4.5H9", 1.1), fill=_APPLIED_FILL),  # level lines
    "below_target": _pattern((14, 14), ("M-2,16L16,-2M-2,2L2,-2M12,16L16,12", 1.3)),  # wide hatch
    "treated_before": _pattern((7, 7), ("M-1,8L8,-1M-1,1L1,-1M6,8L8,6", 0.9), ("M-1,-1L8,8", 0.9)),  # crossed lines
    "too_early": _pattern((12, 12), ("M3,2v5M9,8v5M9,-4v5", 1.3)),  # upright ticks
    "late": _pattern((14, 12), ("M2,3l2.5,4l2.5,-4M9,9l2.5,4l2.5,-4M9,-3l2.5,4l2.5,-4", 1.1)),  # small v's
    "on_hold": _pattern((14, 14), ("M4,1.5v5M1.5,4h5M11,8.5v5M8.5,11h5", 1.1)),  # small crosses
    "elsewhere": _pattern((12, 12), ("M1,3h5M7,9h5", 1.3)),  # level dashes
}


_SWATCH_PT = (26.0, 11.0)
_ROW_PT = 14.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What lies about the item's ground (lon/lat): other units, the property line, features."""

    boundary: BaseGeometry | None
    features: tuple[PageFeature, ...]


def pair_letter(number: int) -> str:
    """Return what the photo pair of a place in the list is called on map and page: A, B … Z, AA …"""
    return pair_letter(number // 26 - 1) + chr(65 + number % 26) if number >= 26 else chr(65 + number)


def draw_map(
    flow: Flow, packet: ItemPacket, around: Around, pairs: Sequence[PagePhotoPoint], *, height: float, day: date
) -> int:
    """Draw map, scale and legend downward from where the flow stands; return the N of 1:N.

    Parameters
    ----------
    height
        Of all of it [pt].
    day
        The day for which a compass's north is told.

    Raises
    ------
    InputError
        The ground is wider than the smallest scale takes in.
    """
    grid = packet.state.grid
    assert grid is not None
    worked = {piece.unit_id for _, piece in packet.pieces()}
    own = [unit for unit in packet.state.units if unit.unit_id in worked]
    box = shapely.total_bounds([packet.state.unit_shapes[unit.unit_id] for unit in own])
    size_m = (float(box[2] - box[0]), float(box[3] - box[1]))
    columns = [column for column in COLUMNS if any(one == column for one, _ in packet.pieces())]
    legend = math.ceil(len(columns) / 3) * _ROW_PT + 6
    flow.need(height)
    middle = (float(box[0] + box[2]) / 2, float(box[1] + box[3]) / 2)
    at = grid.to_lonlat(shapely.Point(middle))
    strip = strip_pt(scale_words(LONG_SCALE, grid, (at.x, at.y), day=day), flow.width)
    map_height = height - strip - legend - 4 * LEAST_PT
    scale = fitting_scale(size_m, (flow.width, map_height), mend="name fewer units in the contract item")
    frame = Frame(MARGIN_PT, flow.y - map_height, flow.width, map_height, scale, middle, grid)
    _ground(flow.pen, frame, packet, around)
    labels = Labels(frame)
    for number, pair in enumerate(pairs):
        _wedge(flow.pen, frame, pair, pair_letter(number), labels)
    keep_marks_clear(frame, around.features, labels)
    named = []
    for unit in own:
        ground = [piece for _, piece in packet.pieces() if piece.unit_id == unit.unit_id]
        acres = f"{tenths(math.fsum(piece.acres for piece in ground))} acres"
        shape = grid.to_lonlat(shapely.union_all([piece.geometry for piece in ground]))
        named.append((([unit.unit_id, acres], [f"{unit.unit_id} {acres}"], [unit.unit_id]), shape))
    draw_names(flow.pen, frame, named, labels)
    draw_feature_labels(flow.pen, frame, around.features, labels)
    draw_frame(flow.pen, frame)
    flow.y -= map_height
    told = scale_words(scale, grid, frame.middle_lonlat, day=day)
    draw_scale(flow.pen, frame, left=MARGIN_PT, right=MARGIN_PT + flow.width, top=flow.y, told=told, day=day)
    flow.y -= strip + 6
    _legend(flow, packet, columns)
    flow.text(corner_words(frame), size_pt=LEAST_PT)
    return scale


def corner_words(frame: Frame) -> str:
    """Return where the map's corners lie."""
    half = (frame.width / frame.pt_per_ground_m / 2, frame.height / frame.pt_per_ground_m / 2)
    corners = [
        frame.grid.to_lonlat(shapely.Point(frame.middle_xy[0] + x * half[0], frame.middle_xy[1] + y * half[1]))
        for x, y in ((-1, -1), (1, 1))
    ]
    southwest, northeast = (coordinate(one.x, one.y) for one in corners)
    return f"Lower left corner {southwest}; upper right {northeast} (WGS 84). Print at 100%, not fitted."


def _ground(pen: Pen, frame: Frame, packet: ItemPacket, around: Around) -> None:
    grid: LocalGrid = frame.grid
    for column, piece in packet.pieces():
        pattern_area(pen, frame.on_paper(grid.to_lonlat(piece.geometry)), LOOKS[column], clip=frame.outline)
    worked = {piece.unit_id for _, piece in packet.pieces()}
    for unit in packet.state.units:
        kind = "unit" if unit.unit_id in worked else "neighbor"
        draw_edge(pen, frame.on_paper(unit.geometry), kind, clip=frame.outline)
    if around.boundary is not None:
        draw_edge(pen, frame.on_paper(around.boundary), "boundary", clip=frame.outline)
    for feature in around.features:
        draw_feature(pen, frame.on_paper(feature.geometry), feature.kind, clip=frame.outline)


def _wedge(pen: Pen, frame: Frame, pair: PagePhotoPoint, letter: str, labels: Labels) -> None:
    """Draw a photo point as a small wedge that shows the direction looked, its letter behind the camera."""
    spot = frame.on_paper(pair.point.before.geometry)
    if not shapely.box(*frame.box).buffer(-8).contains(spot):
        return
    turn = 0.0 if pair.point.before.direction_deg is None else pair.point.before.direction_deg
    turn -= frame.grid.convergence_deg(*frame.middle_lonlat)
    if pair.point.before.direction_deg is None:
        mark = Outline.circle((spot.x, spot.y), 4)
    else:
        wedge = Outline.through([(0, 0), (-6, 14), (6, 14), (0, 0)], closed=True)
        mark = wedge.turned(-turn).moved(spot.x, spot.y)
    pen.path(mark, clip=frame.outline, facecolor=PAPER, edgecolor=INK, linewidth=1.1)
    back = math.radians(turn + 180)
    at = (spot.x + 8 * math.sin(back), spot.y + 8 * math.cos(back))
    labels.take((spot.x - 9, spot.y - 9, spot.x + 9, spot.y + 9), anyway=True)
    pen.text(at[0], at[1] - 3.5, letter, size_pt=10.5, is_serif=True, is_bold=True, align="center", halo_pt=1.6)


def _legend(flow: Flow, packet: ItemPacket, columns: Sequence[str]) -> None:
    step = flow.width / 3
    for index, column in enumerate(columns):
        x, y = MARGIN_PT + index % 3 * step, flow.y - (index // 3 + 1) * _ROW_PT + 2
        pattern_area(flow.pen, shapely.box(x, y, x + _SWATCH_PT[0], y + _SWATCH_PT[1]), LOOKS[column])
        flow.pen.box(x, y, *_SWATCH_PT, edgecolor=INK)
        flow.pen.text(
            x + _SWATCH_PT[0] + 5, y + 2, f"{COLUMN_WORDS[column]} {tenths(paper_acres(packet, column))} acres"
        )
    flow.y -= math.ceil(len(columns) / 3) * _ROW_PT + 6
