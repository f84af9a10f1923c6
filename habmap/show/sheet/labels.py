"""Words on the sheet's map: set only where they cover no others; ground too small for them keeps a numeral."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habmap.land.label_room import LEAST_SHARE, label_rooms, lying_on, spots, widest_spot
from habmap.show import words
from habmap.show.on_own_ground import name_lines, newest_work, work_lines
from habmap.show.records import Page, PageFeature, PageUnit
from habmap.show.sheet.feature_labels import draw_contour_labels, draw_feature_labels, keep_marks_clear
from habmap.show.sheet.label_boxes import Labels, Line, box_of, set_lines
from habmap.show.sheet.map import Frame
from habmap.show.sheet.pen import LEAST_PT, Pen

NUMERAL_PT: Final = 17.0
#: Sizes of a numeral or label on ground that has no room for more [pt].
_SMALLER_PT: Final = (12.0, LEAST_PT)
#: Points each way of the net over ground that has no room about its widest spot.
_NET: Final = 24
#: Share of its box that others may cover where a unit's numeral has only one place.
_MOST_COVERED: Final = 0.35
#: Lines whose names run along them before units are named.
_NAMED_ALONG: Final = frozenset({"creek"})


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
        line = [Line(str(unit.order or unit.unit_id), LEAST_PT, is_serif=unit.order is not None)]
        free = (box for at in _on_ground(ground, own, line) if labels.is_free(box := box_of(at, line)))
        boxes += [box for box in [next(free, None)] if box is not None]
    return boxes


def _on_ground(ground: BaseGeometry, own: NDArray[np.float64], lines: Sequence[Line]) -> Iterator[tuple[float, float]]:
    """Yield the middles at which lines lie on ground: in its rooms, and then wherever a net of points finds them."""
    left, bottom, right, top = box_of((0.0, 0.0), lines)
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
        numeral = [Line(str(unit.order), size_pt, is_serif=True, is_bold=True)]
        if _set_on(pen, labels, own, numeral):
            continue
        if place < named and (at := widest_spot(own)) is not None:
            set_lines(pen, labels, at, numeral, anyway=True)
        else:
            left_out += 1
    return left_out


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
        numeral = [] if unit.order is None else [Line(str(unit.order), NUMERAL_PT, is_serif=True, is_bold=True)]
        acres, short = Line(f"{words.tenths(unit.acres)} acres"), numeral or [Line(unit.unit_id)]
        names = [[Line(line) for line in lines] for lines in name_lines(words.unit_title(unit))]
        ways = [[*numeral, *name, acres] for name in names] + [[*numeral, *name] for name in names]
        smaller = [[replace(line, size_pt=size) for line in short] for size in _SMALLER_PT if size < short[0].size_pt]
        if any(_set_on(pen, labels, own, lines) for lines in (*ways, [*short, acres], short, *smaller)):
            continue
        at, least = widest_spot(own), (smaller or [short])[-1]
        if any(set_lines(pen, labels, spot, least) for spot in _on_ground(grounds[number], own, least)):
            continue
        # A unit that is smaller than its numeral may have it all the same, where it says nothing wrong of others.
        if at is not None:
            box = box_of(at, least)
            shape = shapely.box(*box)
            others = [grounds[int(k)] for k in tree.query(shape, "intersects") if int(k) != number]
            on_others = math.fsum(shapely.intersection(shape, other).area for other in others)
            most = _MOST_COVERED * shape.area
            if labels.covered_pt2(box) <= most and on_others <= (1 - LEAST_SHARE) * shape.area:
                set_lines(pen, labels, at, least, anyway=True)
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
        any(_set_on(pen, labels, own, [Line(line, size_pt, is_serif=is_serif) for line in way]) for way in ways)


def _shown(frame: Frame, shapes: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """Return the parts of shapes (lon/lat) that lie well within the frame, in points of the page."""
    window = shapely.box(*frame.box).buffer(-2)
    return [shapely.intersection(shapely.make_valid(frame.on_paper(shape)), window) for shape in shapes]


def _set_on(pen: Pen, labels: Labels, rooms: NDArray[np.float64], lines: Sequence[Line]) -> bool:
    """Set lines where they lie on their own ground and cover nothing; say whether there is such a place."""
    left, bottom, right, top = box_of((0.0, 0.0), lines)
    return any(set_lines(pen, labels, spot, lines) for spot in spots(rooms, right - left, top - bottom))


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
        for lines in ([Line(line) for line in way] for way in work_lines(work)):
            left, bottom, right, top = box_of((0.0, 0.0), lines)
            found = list(spots(own, right - left, top - bottom))
            if found:
                found += lying_on(ground, [*_around(found[0], 32.0)], right - left, top - bottom)
            boxes = [shapely.box(*box_of(spot, lines)) for spot in found]
            hit = set(marks.query(boxes, "intersects")[0].tolist()) if boxes else set()
            crossed += [(spot, lines) for number, spot in enumerate(found) if number in hit]
            clear = (spot for number, spot in enumerate(found) if number not in hit)
            if is_set := any(set_lines(pen, labels, spot, lines) for spot in clear):
                break
        if not is_set:  # better across a line than not at all
            any(set_lines(pen, labels, spot, lines) for spot, lines in crossed)
