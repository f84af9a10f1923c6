"""Words on the sheet's map: set only where they cover no others; ground too small for them keeps a numeral."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habmap.land.label_room import LEAST_SHARE, label_rooms, lying_on, spots, widest_spot
from habmap.show import words
from habmap.show.on_own_ground import name_lines, newest_work, work_lines
from habmap.show.palette import CONTOUR_INK, INK, WATER_INK
from habmap.show.records import Page, PageFeature, PageUnit
from habmap.show.relief import Relief
from habmap.show.sheet.map import Frame, is_drawn_to_shape
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, text_width_pt

NUMERAL_PT: Final = 17.0
#: Sizes of a numeral or label on ground that has no room for more [pt].
_SMALLER_PT: Final = (12.0, LEAST_PT)
#: Points each way of the net over ground that has no room about its widest spot.
_NET: Final = 24
#: Share of its box that others may cover where a unit's numeral has only one place.
_MOST_COVERED: Final = 0.35
#: Half the side of a mark, and a hair [pt].
MARK_PT: Final = 6.5
#: So many heights tell a map's ground; the others are counted from them, as on a national sheet.
_ENOUGH_HEIGHTS: Final = 4
#: Lines whose names run along them before units are named.
_NAMED_ALONG: Final = frozenset({"creek"})
#: Features drawn as solid ground, that words would hide.
BUILDING_KINDS: Final = frozenset({"house", "building", "school"})


class Labels:
    """The boxes that words already take; new words go only where they cover none of them."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame.box
        self._taken = np.empty((0, 4))
        self._kept = np.empty((0, 4))

    def keep_for_others(self, boxes: Sequence[tuple[float, float, float, float]]) -> None:
        """Keep these boxes, and no others, free until it is said anew: words to come have no other place."""
        self._kept = np.array(boxes, dtype=np.float64).reshape(-1, 4)

    def take_all(self, boxes: Sequence[tuple[float, float, float, float]]) -> bool:
        """Take several boxes if all of them are free and within the frame."""
        if not all(self.is_free(box) for box in boxes):
            return False
        self._taken = np.vstack([self._taken, *boxes])
        return True

    def take(self, box: tuple[float, float, float, float], *, anyway: bool = False) -> bool:
        """Take a box (left, bottom, right, top) if it is free and within the frame."""
        if not anyway and not self.is_free(box):
            return False
        self._taken = np.vstack([self._taken, box])
        return True

    def is_free(self, box: tuple[float, float, float, float]) -> bool:
        """Tell whether a box (left, bottom, right, top) is free and within the frame."""
        left, bottom, right, top = box
        frame, taken = self._frame, np.vstack([self._taken, self._kept])
        is_inside = left > frame[0] + 2 and bottom > frame[1] + 2 and right < frame[2] - 2 and top < frame[3] - 2
        hits = (taken[:, 0] < right) & (taken[:, 2] > left) & (taken[:, 1] < top) & (taken[:, 3] > bottom)
        return is_inside and not bool(hits.any())

    def covered_pt2(self, box: tuple[float, float, float, float]) -> float:
        """Return how much of a box (left, bottom, right, top) others take; far more where it leaves the frame [pt²]."""
        left, bottom, right, top = box
        frame, taken = self._frame, self._taken
        if left <= frame[0] or bottom <= frame[1] or right >= frame[2] or top >= frame[3]:
            return (right - left) * (top - bottom) + 1e6
        wide = np.minimum(taken[:, 2], right) - np.maximum(taken[:, 0], left)
        high = np.minimum(taken[:, 3], top) - np.maximum(taken[:, 1], bottom)
        return float(np.sum(np.clip(wide, 0, None) * np.clip(high, 0, None)))


def draw_words(pen: Pen, frame: Frame, page: Page, *, clear: Sequence[tuple[float, float, float, float]] = ()) -> int:
    """Set the words of the whole map over its ground: units, features, work and heights; none within ``clear``.

    Returns
    -------
    How many units had no room for their numeral or label.
    """
    labels = Labels(frame)
    for box in clear:
        labels.take(box, anyway=True)
    keep_marks_clear(frame, page.features, labels)
    # A creek's name has few places on its line, a unit's many on its ground.
    waters = [one for one in page.features if one.kind in _NAMED_ALONG and one.geometry.length > 0]
    labels.keep_for_others(_least_boxes(frame, page.units, labels) if waters else ())
    unnamed = draw_feature_labels(pen, frame, waters, labels, only_along=True)
    labels.keep_for_others(())
    left_out = _unit_labels(pen, frame, page.units, labels)
    others = [one for one in page.features if one not in waters]
    draw_feature_labels(pen, frame, [*others, *unnamed], labels)
    _patch_labels(pen, frame, page, labels)
    if page.relief is not None:
        draw_contour_labels(pen, frame, page.relief, labels)
    return left_out


def _least_boxes(frame: Frame, units: Sequence[PageUnit], labels: Labels) -> list[tuple[float, float, float, float]]:
    """Return for each unit the first free box on its own ground for its numeral or label alone, in the least size."""
    boxes = []
    grounds = _shown(frame, [unit.geometry for unit in units])
    for unit, ground, own in zip(units, grounds, label_rooms(grounds), strict=True):
        line = [_Line(str(unit.order or unit.unit_id), LEAST_PT, is_serif=unit.order is not None)]
        free = (box for at in _on_ground(ground, own, line) if labels.is_free(box := _box_of(at, line)))
        boxes += [box for box in [next(free, None)] if box is not None]
    return boxes


def _on_ground(ground: BaseGeometry, own: NDArray[np.float64], lines: Sequence[_Line]) -> Iterator[tuple[float, float]]:
    """Yield the middles at which lines lie on ground: in its rooms, and then wherever a net of points finds them."""
    left, bottom, right, top = _box_of((0.0, 0.0), lines)
    yield from spots(own, right - left, top - bottom)
    if ground.area > 0:
        low_x, low_y, high_x, high_y = ground.bounds
        x, y = np.meshgrid(np.linspace(low_x, high_x, _NET), np.linspace(low_y, high_y, _NET))
        net = list(zip(x.ravel().tolist(), y.ravel().tolist(), strict=True))
        yield from lying_on(ground, net, right - left, top - bottom)


def draw_numerals(
    pen: Pen,
    frame: Frame,
    units: Sequence[PageUnit],
    *,
    size_pt: float,
    named: int,
    features: Sequence[PageFeature] = (),
) -> int:
    """Set the order of work alone, large enough for a room; return how many units had no room for their numeral.

    Parameters
    ----------
    named
        So many units, the first ones, get theirs in any case; every other one only on its own ground and clear of all.
    features
        What is drawn as a mark, which no numeral covers.
    """
    labels = Labels(frame)
    keep_marks_clear(frame, features, labels)
    left_out = 0
    ordered = sorted((one for one in units if one.order is not None), key=lambda one: one.order or 0)
    rooms = label_rooms(_shown(frame, [unit.geometry for unit in ordered]))
    for place, (unit, own) in enumerate(zip(ordered, rooms, strict=True)):
        numeral = [_Line(str(unit.order), size_pt, is_serif=True, is_bold=True)]
        if _set_on(pen, labels, own, numeral):
            continue
        if place < named and (at := widest_spot(own)) is not None:
            _set(pen, labels, at, numeral, anyway=True)
        else:
            left_out += 1
    return left_out


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


def _unit_labels(pen: Pen, frame: Frame, units: Sequence[PageUnit], labels: Labels) -> int:
    """Set each unit's numeral, name and acres on its own ground; without room, its numeral or label alone, and smaller.

    Returns
    -------
    How many units have no room even for that: over its neighbors a numeral says nothing.
    """
    left_out = 0
    grounds = _shown(frame, [unit.geometry for unit in units])
    rooms, tree = label_rooms(grounds), shapely.STRtree(grounds)
    for number in sorted(range(len(units)), key=lambda k: (units[k].order is None, units[k].order or 0)):
        unit, own = units[number], rooms[number]
        numeral = [] if unit.order is None else [_Line(str(unit.order), NUMERAL_PT, is_serif=True, is_bold=True)]
        acres, short = _Line(f"{words.tenths(unit.acres)} acres"), numeral or [_Line(unit.unit_id)]
        names = [[_Line(line) for line in lines] for lines in name_lines(words.unit_title(unit))]
        ways = [[*numeral, *name, acres] for name in names] + [[*numeral, *name] for name in names]
        smaller = [[replace(line, size_pt=size) for line in short] for size in _SMALLER_PT if size < short[0].size_pt]
        if any(_set_on(pen, labels, own, lines) for lines in (*ways, [*short, acres], short, *smaller)):
            continue
        at, least = widest_spot(own), (smaller or [short])[-1]
        if any(_set(pen, labels, spot, least) for spot in _on_ground(grounds[number], own, least)):
            continue
        # A unit that is smaller than its numeral may have it all the same, where it says nothing wrong of others.
        if at is not None:
            box = _box_of(at, least)
            shape = shapely.box(*box)
            others = [grounds[int(k)] for k in tree.query(shape, "intersects") if int(k) != number]
            on_others = math.fsum(shapely.intersection(shape, other).area for other in others)
            most = _MOST_COVERED * shape.area
            if labels.covered_pt2(box) <= most and on_others <= (1 - LEAST_SHARE) * shape.area:
                _set(pen, labels, at, least, anyway=True)
                continue
        left_out += 1
    return left_out


def draw_names(
    pen: Pen,
    frame: Frame,
    named: Sequence[tuple[Sequence[Sequence[str]], BaseGeometry]],
    labels: Labels,
    *,
    size_pt: float = LEAST_PT,
    is_serif: bool = False,
) -> None:
    """Set on each ground (lon/lat) its words in the first of their ways that lies on it and covers nothing, or none.

    Parameters
    ----------
    named
        The ways to set what stands there, each as lines, best first; and the ground.
    """
    rooms = label_rooms(_shown(frame, [ground for _, ground in named]))
    for (ways, _), own in zip(named, rooms, strict=True):
        any(_set_on(pen, labels, own, [_Line(line, size_pt, is_serif=is_serif) for line in way]) for way in ways)


def _shown(frame: Frame, shapes: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """Return the parts of shapes (lon/lat) that lie well within the frame, in points of the page."""
    window = shapely.box(*frame.box).buffer(-2)
    return [shapely.intersection(shapely.make_valid(frame.on_paper(shape)), window) for shape in shapes]


def _set_on(pen: Pen, labels: Labels, rooms: NDArray[np.float64], lines: Sequence[_Line]) -> bool:
    """Set lines where they lie on their own ground and cover nothing; say whether there is such a place."""
    left, bottom, right, top = _box_of((0.0, 0.0), lines)
    return any(_set(pen, labels, spot, lines) for spot in spots(rooms, right - left, top - bottom))


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
        line = _Line(label, size_pt, is_serif=True)
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
        if not any(_set(pen, labels, spot, [line], ink=ink) for spot in spots):
            unnamed.append(feature)
    return unnamed


def _set_along(pen: Pen, labels: Labels, way: BaseGeometry, line: _Line, ink: str) -> bool:
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


def _patch_labels(pen: Pen, frame: Frame, page: Page, labels: Labels) -> None:
    """Set what was done last and when on each patch that has room, off fences and the like where it can.

    The rest stands in the list of the work.
    """
    drawn = [frame.on_paper(feature.geometry) for feature in page.features]
    if page.boundary is not None:
        drawn.append(frame.on_paper(page.boundary).boundary)
    marks = shapely.STRtree(drawn)
    grounds = _shown(frame, [one.newest for one in newest_work(page.work)])
    rooms = label_rooms(grounds)
    newest_first = sorted(range(len(grounds)), key=lambda k: page.work[k].entry.date, reverse=True)
    for work, ground, own in ((page.work[k], grounds[k], rooms[k]) for k in newest_first):
        crossed = []
        is_set = False
        for lines in ([_Line(line) for line in way] for way in work_lines(work)):
            left, bottom, right, top = _box_of((0.0, 0.0), lines)
            found = list(spots(own, right - left, top - bottom))
            if found:
                found += lying_on(ground, [*_around(found[0], 32.0)], right - left, top - bottom)
            boxes = [shapely.box(*_box_of(spot, lines)) for spot in found]
            hit = set(marks.query(boxes, "intersects")[0].tolist()) if boxes else set()
            crossed += [(spot, lines) for number, spot in enumerate(found) if number in hit]
            clear = (spot for number, spot in enumerate(found) if number not in hit)
            if is_set := any(_set(pen, labels, spot, lines) for spot in clear):
                break
        if not is_set:  # better across a line than not at all
            any(_set(pen, labels, spot, lines) for spot, lines in crossed)
