"""Words on the sheet's map: set only where they cover no others; ground too small for them keeps a numeral."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from habmap.show import words
from habmap.show.palette import CONTOUR_INK, INK, WATER_INK
from habmap.show.records import Page, PageFeature, PageUnit
from habmap.show.relief import Relief
from habmap.show.sheet.map import Frame
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, text_width_pt
from habmap.vocabulary import PRACTICE_WORDS

NUMERAL_PT: Final = 17.0


class Labels:
    """The boxes that words already take; new words go only where they cover none of them."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame.box
        self._taken = np.empty((0, 4))

    def take(self, box: tuple[float, float, float, float], *, anyway: bool = False) -> bool:
        """Take a box (left, bottom, right, top) if it is free and within the frame."""
        left, bottom, right, top = box
        frame = self._frame
        is_inside = left > frame[0] + 2 and bottom > frame[1] + 2 and right < frame[2] - 2 and top < frame[3] - 2
        taken = self._taken
        hits = (taken[:, 0] < right) & (taken[:, 2] > left) & (taken[:, 1] < top) & (taken[:, 3] > bottom)
        if not anyway and (not is_inside or bool(hits.any())):
            return False
        self._taken = np.vstack([taken, box])
        return True

    def covered_pt2(self, box: tuple[float, float, float, float]) -> float:
        """Return how much of a box (left, bottom, right, top) others take; far more where it leaves the frame [pt²]."""
        left, bottom, right, top = box
        frame, taken = self._frame, self._taken
        if left <= frame[0] or bottom <= frame[1] or right >= frame[2] or top >= frame[3]:
            return (right - left) * (top - bottom) + 1e6
        wide = np.minimum(taken[:, 2], right) - np.maximum(taken[:, 0], left)
        high = np.minimum(taken[:, 3], top) - np.maximum(taken[:, 1], bottom)
        return float(np.sum(np.clip(wide, 0, None) * np.clip(high, 0, None)))


def draw_words(pen: Pen, frame: Frame, page: Page) -> None:
    """Set the words of the whole map over its ground: units, features, work and heights."""
    labels = Labels(frame)
    _unit_labels(pen, frame, page.units, labels)
    draw_feature_labels(pen, frame, page.features, labels)
    _patch_labels(pen, frame, page, labels)
    if page.relief is not None:
        draw_contour_labels(pen, frame, page.relief, labels)


def draw_numerals(pen: Pen, frame: Frame, units: Sequence[PageUnit], *, size_pt: float, named: int) -> int:
    """Set the order of work alone, large enough for a room; return how many units had no room for their numeral.

    Parameters
    ----------
    named
        So many units, the first ones, get theirs in any case; every other one only on its own ground and clear of all.
    """
    labels = Labels(frame)
    left_out = 0
    ordered = sorted((one for one in units if one.order is not None), key=lambda one: one.order or 0)
    for place, unit in enumerate(ordered):
        point = frame.on_paper(shapely.Point(unit.label_lonlat))
        ground = frame.on_paper(unit.geometry).buffer(0)
        at = (float(point.x), float(point.y))
        numeral = [_Line(str(unit.order), size_pt, is_serif=True, is_bold=True)]
        spots = [spot for spot in _around(at, size_pt) if ground.contains(shapely.Point(spot))]
        if any(_set(pen, labels, spot, numeral) for spot in spots):
            continue
        if place < named:
            _set(pen, labels, at, numeral, anyway=True)
        else:
            left_out += 1
    return left_out


def draw_contour_labels(pen: Pen, frame: Frame, relief: Relief, labels: Labels) -> None:
    """Set the heights of contours [ft] along them."""
    window = shapely.box(*frame.box).buffer(-14)
    for line in sorted(relief.contours, key=lambda one: not one.is_index):
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
                    break


@dataclass(frozen=True, slots=True)
class _Line:
    words: str
    size_pt: float = LEAST_PT
    is_serif: bool = False
    is_bold: bool = False

    @property
    def width_pt(self) -> float:
        return text_width_pt(self.words, size_pt=self.size_pt, is_serif=self.is_serif, is_bold=self.is_bold)


def _box_of(at: tuple[float, float], lines: Sequence[_Line]) -> tuple[float, float, float, float]:
    """Return the box (left, bottom, right, top) of lines centered about a point."""
    height = sum(line.size_pt * (0.95 if line.size_pt > LEAST_PT else LEADING) for line in lines)
    width = max(line.width_pt for line in lines)
    return at[0] - width / 2 - 1, at[1] - height / 2 - 1, at[0] + width / 2 + 1, at[1] + height / 2 + 1


def _set(
    pen: Pen, labels: Labels, at: tuple[float, float], lines: Sequence[_Line], *, ink: str = INK, anyway: bool = False
) -> bool:
    """Set lines centered about a point if their box is free."""
    box = _box_of(at, lines)
    if not labels.take(box, anyway=anyway):
        return False
    y = box[3] - 1
    for line in lines:
        y -= line.size_pt * 0.82
        pen.text(
            at[0], y, line.words, size_pt=line.size_pt, is_serif=line.is_serif, is_bold=line.is_bold, align="center",
            ink=ink, halo_pt=1.3,
        )  # fmt: skip
        y -= line.size_pt * (0.13 if line.size_pt > LEAST_PT else LEADING - 0.82)
    return True


def _around(at: tuple[float, float], reach: float) -> Iterable[tuple[float, float]]:
    yield at
    for distance in (0.33 * reach, 0.67 * reach, reach):
        for angle in range(0, 360, 45):
            yield (
                at[0] + distance * math.cos(math.radians(angle + 90)),
                at[1] + distance * math.sin(math.radians(angle + 90)),
            )


def _level(at: tuple[float, float], half_pt: float) -> shapely.LineString:
    """Return a level line about a point: the spine of words that are to lie within some ground."""
    return shapely.LineString([(at[0] - half_pt, at[1]), (at[0] + half_pt, at[1])])


def _unit_labels(pen: Pen, frame: Frame, units: Sequence[PageUnit], labels: Labels) -> None:
    """Set each unit's numeral, name and acres; where they do not fit, its numeral or label alone, never nothing."""
    for unit in sorted(units, key=lambda one: (one.order is None, one.order or 0)):
        ground = frame.on_paper(unit.geometry).buffer(0)
        point = frame.on_paper(shapely.Point(unit.label_lonlat))
        at = (float(point.x), float(point.y))
        middle = (float(ground.centroid.x), float(ground.centroid.y))
        numeral = [] if unit.order is None else [_Line(str(unit.order), NUMERAL_PT, is_serif=True, is_bold=True)]
        name, acres = _Line(words.unit_title(unit)), _Line(f"{words.tenths(unit.acres)} acres")
        short = numeral or [_Line(unit.unit_id)]
        named, labeled = [*numeral, name, acres], [*numeral, _Line(unit.unit_id), acres]
        # First wholly on its own ground, then with its ends over the edge, then shorter.
        for lines, within in ((named, 0.5), (named, 0.4), (labeled, 0.4), ([*short, acres], 0.4), (short, 0.4)):
            half = max(line.width_pt for line in lines) * within
            half_high = sum(line.size_pt for line in lines) * 0.3
            spots = (
                spot
                for start in (at, middle)
                for spot in _around(start, 36.0)
                if ground.contains(_level(spot, half).buffer(half_high, cap_style="flat"))
            )
            if any(_set(pen, labels, spot, lines) for spot in spots):
                break
        else:
            if not any(_set(pen, labels, spot, short) for spot in _around(at, 24.0)):
                _set(pen, labels, at, short, anyway=True)


def draw_feature_labels(pen: Pen, frame: Frame, features: Sequence[PageFeature], labels: Labels) -> None:
    """Set the names of features where they cover nothing."""
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
        line = _Line(label, is_serif=True)
        side = line.width_pt / 2 + 10
        beside = ((0, 10), (0, -10), (side, 0), (-side, 0), (side, 10), (-side, 10), (side, -10), (-side, -10))
        shifts = (*beside, (0, 15), (0, -15), (0, 22), (0, -22))  # off what is drawn beside a line
        spots = ((point.x + right, point.y + up) for point in points for right, up in shifts)
        any(_set(pen, labels, spot, [line], ink=ink) for spot in spots)


def _patch_labels(pen: Pen, frame: Frame, page: Page, labels: Labels) -> None:
    """Set what was done and when on each patch that has room, off fences and the like where it can.

    The rest stands in the list of the work.
    """
    window = shapely.box(*frame.box)
    drawn = [frame.on_paper(feature.geometry) for feature in page.features]
    if page.boundary is not None:
        drawn.append(frame.on_paper(page.boundary).boundary)
    marks = shapely.STRtree(drawn)
    for work in sorted(page.work, key=lambda one: one.entry.date, reverse=True):
        ground = shapely.intersection(shapely.make_valid(frame.on_paper(work.geometry)), window)
        if ground.is_empty or ground.area < 400:
            continue
        circle = shapely.maximum_inscribed_circle(ground, tolerance=1.0)
        x, y = circle.coords[0]
        did, day = _Line(PRACTICE_WORDS[work.entry.practice]), words.short_day(work.entry.date)
        crossed = []
        is_set = False
        for lines in ([did, _Line(day)], [did, _Line(f"{day[:3]} {work.entry.date.year}")]):
            half = max(line.width_pt for line in lines) * 0.3
            spots = [spot for spot in _around((x, y), 32.0) if ground.contains(_level(spot, half))]
            boxes = [shapely.box(*_box_of(spot, lines)) for spot in spots]
            hit = set(marks.query(boxes, "intersects")[0].tolist()) if boxes else set()
            crossed += [(spot, lines) for number, spot in enumerate(spots) if number in hit]
            clear = (spot for number, spot in enumerate(spots) if number not in hit)
            if is_set := any(_set(pen, labels, spot, lines) for spot in clear):
                break
        if not is_set:  # better across a line than not at all
            any(_set(pen, labels, spot, lines) for spot, lines in crossed)
