"""Where the map of a burn sheet lies: wide enough for the nearest houses, or with their names at its edge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.land.grid import LocalGrid
from habmap.measures import M_PER_MILE, ft
from habmap.show.burn.sheet import BurnSheet
from habmap.show.palette import INK
from habmap.show.sheet.label_boxes import Labels
from habmap.show.sheet.map import PT_PER_M, Frame
from habmap.show.sheet.paper import SCALES
from habmap.show.sheet.pen import LEAST_PT, Pen, clipped, text_width_pt
from habmap.vocabulary import FEATURE_WORDS, octant
from habmap.work.burn.surroundings import NearPlace

#: Ground shown around the block: this share of its larger side, and at least so much [m].
_AROUND: Final = 0.1
_LEAST_AROUND_M: Final = 35.0
#: The map widens for a house to a scale of at most so many times what the block alone has: then the block keeps a
#: quarter of its room, enough to draw lines in by hand (chosen).
_WIDEST: Final = 2.0
#: Where people live or learn: the map widens for the nearest of these.
_HOUSES: Final = frozenset({"house", "school"})
#: What lies off the map is named at its edge, the nearest so many; each stands in the list of places too.
_MOST_NAMED: Final = 8
#: Longest name at the edge [pt]; distance and direction always stand whole.
_NAME_PT: Final = 130.0
#: From here on distances are in miles [ft].
_FAR_FT: Final = 1000.0
_ARROWS: Final = "↑↗→↘↓↙←↖"


def burn_frame(sheet: BurnSheet, *, left: float, bottom: float, width: float, height: float) -> Frame:
    """Return the frame [pt] at the largest round scale that shows the block, the ground around it and the houses near.

    Raises
    ------
    InputError
        The block is too wide for any scale.
    """
    grid: LocalGrid = sheet.grid
    block = shapely.MultiLineString([grid.to_grid(edge.line) for edge in sheet.edges])
    around_m = max(_LEAST_AROUND_M, _AROUND * _side_m(block))

    def scale_of(shown: BaseGeometry) -> int | None:
        low_x, low_y, high_x, high_y = shapely.bounds(shown).tolist()
        sides = ((high_x - low_x, width), (high_y - low_y, height))
        return next(
            (
                scale
                for scale in SCALES
                if all((side_m + 2 * around_m) * PT_PER_M / scale <= room for side_m, room in sides)
            ),
            None,
        )

    scale = scale_of(block)
    if scale is None:
        size_m = shapely.bounds(block)
        raise InputError(
            "this block is too wide for one sheet",
            value=f"{(size_m[2] - size_m[0]) / 1000:,.0f} by {(size_m[3] - size_m[1]) / 1000:,.0f} km",
            mend="look for an outline drawn far away, or name fewer units",
            where="the burn sheet's map",
        )
    widest, shown = _WIDEST * scale, shapely.envelope(block)
    for house in sorted(sheet.places, key=lambda one: one.distance_m):
        if house.kind not in _HOUSES:
            continue
        with_house = shapely.union(shown, grid.to_grid(shapely.Point(house.nearest)))
        wider = scale_of(with_house)
        if wider is None or wider > widest:
            break
        scale, shown = wider, shapely.envelope(with_house)
    low_x, low_y, high_x, high_y = shapely.bounds(shown).tolist()
    return Frame(left, bottom, width, height, scale, ((low_x + high_x) / 2, (low_y + high_y) / 2), grid)


def off_the_map(frame: Frame, places: Sequence[NearPlace]) -> list[NearPlace]:
    """Return the listed places, roads apart, whose nearest part the map does not show, the nearest first."""
    window = shapely.box(*frame.box)
    return [
        place
        for place in sorted(places, key=lambda one: one.distance_m)
        if place.kind != "road" and not window.contains(frame.on_paper(shapely.Point(place.nearest)))
    ]


def pointer_words(place: NearPlace, arrow: str) -> str:
    """Say what lies off the map, how far from the block and which way: ``Home place, house, 370 ft ↓ S``."""
    distance_ft = ft(place.distance_m)
    far = f"{distance_ft:,.0f} ft" if distance_ft < _FAR_FT else f"{place.distance_m / M_PER_MILE:.2f} mi"
    name = clipped(place.name, _NAME_PT, size_pt=LEAST_PT) if place.name else ""
    return f"{name}{', ' if name else ''}{FEATURE_WORDS[place.kind]}, {far} {arrow} {octant(place.bearing_deg)}"


def draw_pointers(pen: Pen, frame: Frame, sheet: BurnSheet, labels: Labels) -> None:
    """Name at the edge of the map what lies off it, where the way there leaves it."""
    left, bottom, right, top = frame.box
    lines = shapely.MultiLineString([frame.on_paper(edge.line) for edge in sheet.edges])
    middle = shapely.centroid(shapely.envelope(lines))
    for place in off_the_map(frame, sheet.places)[:_MOST_NAMED]:
        there = frame.on_paper(shapely.Point(place.nearest))
        way = math.atan2(there.y - middle.y, there.x - middle.x)
        words = pointer_words(place, _ARROWS[round((90 - math.degrees(way)) / 45) % 8])
        half = text_width_pt(words, size_pt=LEAST_PT) / 2 + 4
        reach = [
            room / abs(part)
            for room, part in (
                ((right if math.cos(way) > 0 else left) - middle.x, math.cos(way)),
                ((top if math.sin(way) > 0 else bottom) - middle.y, math.sin(way)),
            )
            if abs(part) > 1e-9
        ]
        out = min(abs(one) for one in reach)
        at_x = min(max(middle.x + out * math.cos(way), left + half + 4), right - half - 4)
        at_y = min(max(middle.y + out * math.sin(way), bottom + 5), top - 16)
        # Along the edge first, then a row further in.
        spots = [
            (x, y)
            for inward in (0, 15, 30, 45)
            for along in (0, 40, -40, 80, -80, 130, -130, 190, -190)
            for x, y in (
                (at_x + along, at_y + (inward if at_y < middle.y else -inward)),
                (at_x, at_y + along / 3),
            )
        ]
        boxes = [
            (min(max(x, left + half + 4), right - half - 4) - half, min(max(y, bottom + 5), top - 16)) for x, y in spots
        ]
        boxes4 = [(x, y, x + 2 * half, y + 12.5) for x, y in boxes]
        box = next((one for one in boxes4 if labels.take(one)), None)
        if box is None:
            box = min(boxes4, key=labels.covered_pt2)
            labels.take(box, anyway=True)
        pen.box(box[0], box[1], 2 * half, 12.5, facecolor="white", edgecolor=INK, linewidth=0.7)
        pen.text(box[0] + half, box[1] + 3.2, words, size_pt=LEAST_PT, align="center")


def _side_m(shape: BaseGeometry) -> float:
    low_x, low_y, high_x, high_y = shapely.bounds(shape).tolist()
    return float(max(high_x - low_x, high_y - low_y))
