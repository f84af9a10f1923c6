"""The packet's map: the item's ground by column at one true scale, and where the photo pairs stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from matplotlib.path import Path as Outline
from matplotlib.transforms import Affine2D
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.show.packet.flow import MARGIN_PT, Flow
from habmap.show.packet.looks import COLUMN_WORDS, COLUMNS, LOOKS
from habmap.show.packet.words import coordinate, paper_acres
from habmap.show.palette import INK, PAPER
from habmap.show.records import PageFeature, PagePhotoPoint
from habmap.show.sheet.labels import Labels, draw_feature_labels
from habmap.show.sheet.map import Frame, draw_edge, draw_feature, draw_frame, pattern_area
from habmap.show.sheet.margin import SCALE_STRIP_PT, draw_scale
from habmap.show.sheet.paper import fitting_scale
from habmap.show.sheet.pen import LEAST_PT, Pen, text_width_pt
from habmap.show.words import tenths
from habmap.work.packet import ItemPacket

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


def draw_map(flow: Flow, packet: ItemPacket, around: Around, pairs: Sequence[PagePhotoPoint], *, height: float) -> int:
    """Draw map, scale and legend downward from where the flow stands; return the N of 1:N.

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
    map_height = height - SCALE_STRIP_PT - legend - 4 * LEAST_PT
    scale = fitting_scale(size_m, (flow.width, map_height), mend="name fewer units in the contract item")
    middle = (float(box[0] + box[2]) / 2, float(box[1] + box[3]) / 2)
    frame = Frame(MARGIN_PT, flow.y - map_height, flow.width, map_height, scale, middle, grid)
    _ground(flow.pen, frame, packet, around)
    labels = Labels(frame)
    for number, pair in enumerate(pairs):
        _wedge(flow.pen, frame, pair, pair_letter(number), labels)
    for unit in own:
        ground = [piece.geometry for column, piece in packet.pieces() if piece.unit_id == unit.unit_id]
        largest = max((part for one in ground for part in shapely.get_parts(one)), key=lambda part: part.area)
        spot = frame.on_paper(grid.to_lonlat(shapely.maximum_inscribed_circle(largest, tolerance=1.0))).coords[0]
        words = (unit.unit_id, f"{tenths(sum(p.acres for c, p in packet.pieces() if p.unit_id == unit.unit_id))} acres")
        _label(flow.pen, labels, (float(spot[0]), float(spot[1])), words)
    draw_feature_labels(flow.pen, frame, around.features, labels)
    draw_frame(flow.pen, frame)
    flow.y -= map_height
    draw_scale(flow.pen, frame, left=MARGIN_PT, right=MARGIN_PT + flow.width, top=flow.y)
    flow.y -= SCALE_STRIP_PT + 6
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
        wedge = Outline([(0, 0), (-6, 14), (6, 14), (0, 0)], closed=True)
        mark = wedge.transformed(Affine2D().rotate_deg(-turn).translate(spot.x, spot.y))
    pen.path(mark, clip=frame.outline, facecolor=PAPER, edgecolor=INK, linewidth=1.1)
    back = math.radians(turn + 180)
    at = (spot.x + 8 * math.sin(back), spot.y + 8 * math.cos(back))
    labels.take((spot.x - 9, spot.y - 9, spot.x + 9, spot.y + 9), anyway=True)
    pen.text(at[0], at[1] - 3.5, letter, size_pt=10.5, is_serif=True, is_bold=True, align="center", halo_pt=1.6)


def _label(pen: Pen, labels: Labels, at: tuple[float, float], lines: Sequence[str]) -> None:
    half = max(text_width_pt(line, size_pt=LEAST_PT, is_bold=True) for line in lines) / 2 + 2
    high = len(lines) * LEAST_PT * 0.6 + 2
    for up in (0, 16, -16, 30, -30):
        for right in (0, 24, -24):
            spot = (at[0] + right, at[1] + up)
            if labels.take((spot[0] - half, spot[1] - high, spot[0] + half, spot[1] + high)):
                for number, line in enumerate(lines):
                    y = spot[1] + high - 2 - LEAST_PT * (0.85 + 1.1 * number)
                    pen.text(spot[0], y, line, align="center", is_bold=number == 0, halo_pt=1.8)
                return


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
