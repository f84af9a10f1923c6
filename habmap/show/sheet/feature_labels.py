"""Words along and beside what is drawn on a map: names of creeks, roads and houses, heights of contours."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.show import words
from habmap.show.palette import CONTOUR_INK, INK, WATER_INK
from habmap.show.records import PageFeature
from habmap.show.relief import Relief
from habmap.show.sheet.label_boxes import Labels, Line, set_lines
from habmap.show.sheet.map import Frame, is_drawn_to_shape
from habmap.show.sheet.pen import LEAST_PT, Pen, text_width_pt

#: Half the side of a mark, and a hair [pt].
MARK_PT: Final = 6.5
#: Features drawn as solid ground, that words would hide.
BUILDING_KINDS: Final = frozenset({"house", "building", "school"})
#: So many heights tell a map's ground; the others are counted from them, as on a national sheet.
_ENOUGH_HEIGHTS: Final = 4


def keep_marks_clear(frame: Frame, features: Sequence[PageFeature], labels: Labels) -> None:
    """Take the ground of houses and other marks, so that no words cover them."""
    for feature in features:
        for part in shapely.get_parts(frame.on_paper(feature.geometry)):
            if not is_drawn_to_shape(part, feature.kind):
                at = part if part.geom_type == "Point" else part.representative_point()
                labels.take((at.x - MARK_PT, at.y - MARK_PT, at.x + MARK_PT, at.y + MARK_PT), anyway=True)
            elif part.geom_type == "Polygon" and feature.kind in BUILDING_KINDS:
                labels.take(part.bounds, anyway=True)


def draw_feature_labels(
    pen: Pen,
    frame: Frame,
    features: Sequence[PageFeature],
    labels: Labels,
    *,
    size_pt: float = LEAST_PT,
    only_along: bool = False,
) -> list[PageFeature]:
    """Set the names of features where they cover nothing; ``only_along``: along their lines or not at all.

    Returns
    -------
    Those whose names had no room.
    """
    unnamed = []
    window = shapely.box(*frame.box).buffer(-6)
    # A line has room along all its length, a point only beside itself: points first.
    for feature in sorted(features, key=lambda one: one.geometry.length > 0):
        label = words.feature_label(feature.name, feature.kind, feature.is_private)
        shown = shapely.intersection(shapely.make_valid(frame.on_paper(feature.geometry)), window)
        if not label or shown.is_empty:
            continue
        ink = WATER_INK if feature.kind in ("creek", "pond") else INK
        longest = max(shapely.get_parts(shown), key=lambda part: part.length)
        if "Line" in longest.geom_type:
            points = [longest.interpolate(share, normalized=True) for share in (0.5, 0.3, 0.7, 0.15, 0.85)]
        else:
            points = [longest.representative_point()]
        line = Line(label, size_pt, is_serif=True)
        if "Line" in longest.geom_type and _set_along(pen, labels, longest, line, ink):
            continue
        if only_along:
            unnamed.append(feature)
            continue
        side = line.width_pt / 2 + 10
        beside = [(0, 13), (0, -13), (side, 0), (-side, 0), (side, 10), (-side, 10), (side, -10), (-side, -10)]
        shifts = [*beside, (0, 17), (0, -17), (0, 24), (0, -24)]  # off what is drawn beside a line
        if "Polygon" in longest.geom_type:  # a pond under the words of its unit is named above or below them
            shifts += [(0, 34), (0, -34)]
        shifts += [(way * side, up) for up in (13, -13, 20, -20) for way in (0.5, -0.5, 1.0, -1.0)]
        spots = ((point.x + right, point.y + up) for point in points for right, up in shifts)
        if not any(set_lines(pen, labels, spot, [line], ink=ink) for spot in spots):
            unnamed.append(feature)
    return unnamed


def _set_along(pen: Pen, labels: Labels, way: BaseGeometry, line: Line, ink: str) -> bool:
    """Set words along a stretch of line that is straight enough for them, beside it; say whether there was one."""
    width, size = line.width_pt, line.size_pt
    if way.length < width + 8:
        return False
    for start in _along(way.length - width):
        first, last = way.interpolate(start), way.interpolate(start + width)
        chord = math.hypot(last.x - first.x, last.y - first.y)
        if chord < 0.94 * width:
            continue
        if first.x > last.x:
            first, last = last, first
        right, up = (last.x - first.x) / chord, (last.y - first.y) / chord
        inner = [way.interpolate(start + width * share / 8) for share in range(9)]
        off = [(p.x - first.x) * -up + (p.y - first.y) * right for p in inner]  # how far the line bows from the chord
        if max(off) - min(off) > 0.7 * size:
            continue
        middle = ((first.x + last.x) / 2, (first.y + last.y) / 2)
        for lift in (max(off) + 3.0, min(off) - 3.0 - 0.75 * size):  # over the line, else under it
            at = (middle[0] - up * lift, middle[1] + right * lift)
            count = max(1, math.ceil(width / size))
            half = (abs(right) * width / count / 2 + abs(up) * size * 0.4, abs(up) * width / count / 2 + size * 0.4)
            centers = [
                (at[0] + right * s - up * size * 0.3, at[1] + up * s + right * size * 0.3)
                for s in (width * ((k + 0.5) / count - 0.5) for k in range(count))
            ]
            boxes = [(x - half[0], y - half[1], x + half[0], y + half[1]) for x, y in centers]
            if labels.take_all(boxes):
                pen.text(
                    *at, line.words, size_pt=size, is_serif=line.is_serif, align="center", ink=ink, halo_pt=1.3,
                    turn_deg=math.degrees(math.atan2(up, right)),
                )  # fmt: skip
                return True
    return False


def _along(room: float) -> list[float]:
    """Return where to begin along so much room: the middle first, then outward."""
    return [room * share for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9, 0.45, 0.55, 0.25, 0.75, 0.05, 0.95)]


def draw_contour_labels(pen: Pen, frame: Frame, relief: Relief, labels: Labels) -> None:
    """Set the heights of contours [ft] along the heavier ones; along all where hardly one of those is told."""
    window = shapely.box(*frame.box).buffer(-14)
    told = 0
    for line in sorted(relief.contours, key=lambda one: not one.is_index):
        if not line.is_index and told >= _ENOUGH_HEIGHTS:
            break
        inside = shapely.intersection(frame.on_paper(shapely.LineString(line.lonlat)), window)
        for part in shapely.get_parts(inside):
            if part.length < 60:
                continue
            words_ = f"{line.height_ft:,}"
            width = text_width_pt(words_, size_pt=LEAST_PT)
            for share in (0.5, 0.3, 0.7, 0.15, 0.85):
                point, ahead = part.interpolate(share, normalized=True), part.interpolate(share * part.length + 6)
                turn = math.degrees(math.atan2(ahead.y - point.y, ahead.x - point.x))
                turn = (turn + 90) % 180 - 90  # heights read from the foot of the sheet, never upside down
                half = (
                    (abs(math.cos(math.radians(turn))) * width + 9) / 2,
                    (abs(math.sin(math.radians(turn))) * width + 9) / 2,
                )
                if labels.take((point.x - half[0], point.y - half[1], point.x + half[0], point.y + half[1])):
                    shift = math.radians(turn - 90)
                    pen.text(
                        point.x + 3 * math.cos(shift), point.y + 3 * math.sin(shift), words_,
                        align="center", ink=CONTOUR_INK, halo_pt=1.2, turn_deg=turn,
                    )  # fmt: skip
                    told += 1
                    break
