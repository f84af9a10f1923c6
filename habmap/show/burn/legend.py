"""The legend of a burn sheet's map: everything that is drawn on it, each once, in rows as wide as the map."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from habmap.show.burn.map import draw_property_line, draw_side
from habmap.show.burn.sheet import SIDE_LETTERS, SIDE_LINES, BurnSheet
from habmap.show.palette import INK
from habmap.show.shares import SHARE_WORDS
from habmap.show.sheet.map import Frame, draw_edge, draw_feature, is_drawn_to_shape, pattern_area
from habmap.show.sheet.marks import Pattern, over_pattern, tint
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import LEAST_PT, Pen, text_width_pt, wrapped
from habmap.show.words import tenths
from habmap.vocabulary import FEATURE_WORDS, STAGE_WORDS, STAGES

_ROW_PT: Final = 13.0
_SAMPLE_PT: Final = 34.0
_GAP_PT: Final = 12.0


_Sample = Callable[[Pen, float, float], None]


@dataclass(frozen=True, slots=True)
class Legend:
    """Samples and words of what is drawn, set row by row; its height follows from the width [pt]."""

    rows: tuple[tuple[tuple[float, _Sample, str], ...], ...]
    sentences: tuple[str, ...]

    @classmethod
    def of(cls, frame: Frame, sheet: BurnSheet) -> Legend:
        """Return the legend of what a frame shows."""
        rows: list[list[tuple[float, _Sample, str]]] = [[]]
        x = 0.0
        for sample, text in _items(frame, sheet):
            width = _SAMPLE_PT + 5 + text_width_pt(text, size_pt=LEAST_PT, is_serif=True)
            if rows[-1] and x + width > frame.width:
                rows.append([])
                x = 0.0
            rows[-1].append((x, sample, text))
            x += width + _GAP_PT
        return cls(tuple(map(tuple, rows)), tuple(wrapped(_sentence(frame, sheet), frame.width, size_pt=LEAST_PT)))

    @property
    def height_pt(self) -> float:
        """How high it is [pt]."""
        return _ROW_PT * len(self.rows) + LEAST_PT * 1.17 * len(self.sentences) + 5

    def draw(self, pen: Pen, *, left: float, top: float) -> None:
        """Set it downward from ``top`` [pt]."""
        for number, row in enumerate(self.rows):
            y = top - _ROW_PT * (number + 0.5)
            for x, sample, text in row:
                sample(pen, left + x, y)
                pen.text(left + x + _SAMPLE_PT + 5, y - 3, text, size_pt=LEAST_PT, is_serif=True)
        pen.block(left, top - _ROW_PT * len(self.rows) - 1, self.sentences, size_pt=LEAST_PT)


def _items(frame: Frame, sheet: BurnSheet) -> list[tuple[_Sample, str]]:
    window = shapely.box(*frame.box)

    def is_shown(shape: BaseGeometry) -> bool:
        return bool(shapely.intersects(shapely.make_valid(frame.on_paper(shape)), window))

    def line(x: float, y: float) -> shapely.LineString:
        return shapely.LineString([(x + 1, y), (x + _SAMPLE_PT - 1, y)])

    sides = {edge.side for edge in sheet.edges}
    found: list[tuple[_Sample, str]] = [
        (lambda pen, x, y, side=side: draw_side(pen, line(x, y), side), f"{letter}: {side} edge, {SIDE_LINES[side]}")  # type: ignore[misc]
        for side, letter in SIDE_LETTERS.items()
        if side in sides
    ]
    found += [(_swatch(pattern), words) for pattern, words in _grounds(sheet)]
    if sheet.boundary is not None and is_shown(shapely.boundary(sheet.boundary)):
        found.append((lambda pen, x, y: draw_property_line(pen, line(x, y)), "property line"))
    if any(is_shown(shapely.boundary(shape)) for _, _, shape in sheet.units):
        found.append((lambda pen, x, y: draw_edge(pen, line(x, y), "neighbor"), "unit edge"))
    looks: dict[tuple[str, bool], BaseGeometry] = {}
    for feature in sheet.features:
        if is_shown(feature.geometry):
            looks.setdefault((feature.kind, is_drawn_to_shape(feature.geometry, feature.kind)), feature.geometry)
    for (kind, is_line), shape in sorted(looks.items(), key=lambda one: (one[0][0], not one[0][1])):
        found.append((_feature(kind, shape.geom_type, is_line=is_line), FEATURE_WORDS[kind]))
    if any(is_shown(shape) for shape in sheet.ringed):
        found.append((_ring, "sensitive, or to be kept from fire"))
    if any(edge.upslope for edge in sheet.edges):
        found.append((_ticks, "ground rises away"))
    return found


def _grounds(sheet: BurnSheet) -> list[tuple[Pattern, str]]:
    acres: defaultdict[str, float] = defaultdict(float)
    for ground in sheet.stages:
        acres[ground.stage] += ground.acres
    found = [
        (pattern, f"{STAGE_WORDS[stage]}, {tenths(acres[stage])} acres")
        for stage in STAGES
        if acres[stage] > 0 and (pattern := tint(stage)) is not None
    ]
    for kind, called in SHARE_WORDS.items():
        over = math.fsum(share.acres for share in sheet.shares if share.kind == kind)
        if over > 0:
            found.append((over_pattern(kind), f"{called}, {tenths(over)} acres"))
    return found


def _sentence(frame: Frame, sheet: BurnSheet) -> str:
    contours = "" if sheet.relief is None else f"Contours every {sheet.relief.contour_step_ft} ft. "
    return f"{contours}Keys stand in the list of edges, page 2. Print at 100%, not fitted."


def _swatch(pattern: Pattern) -> _Sample:
    def draw(pen: Pen, x: float, y: float) -> None:
        pattern_area(pen, shapely.box(x + 1, y - 5, x + _SAMPLE_PT - 1, y + 5), pattern)
        pen.box(x + 1, y - 5, _SAMPLE_PT - 2, 10, edgecolor=INK, linewidth=0.6)

    return draw


def _feature(kind: str, geom_type: str, *, is_line: bool) -> _Sample:
    def draw(pen: Pen, x: float, y: float) -> None:
        shape: BaseGeometry
        if not is_line:
            shape = shapely.Point(x + _SAMPLE_PT / 2, y)
        elif "Polygon" in geom_type:
            shape = shapely.box(x + 4, y - 4, x + _SAMPLE_PT - 4, y + 4)
        else:
            shape = shapely.LineString([(x + 1, y), (x + _SAMPLE_PT - 1, y)])
        draw_feature(pen, shape, kind)

    return draw


def _ring(pen: Pen, x: float, y: float) -> None:
    pen.path(Outline.circle((x + _SAMPLE_PT / 2, y), 5.5), edgecolor="black", linewidth=1.3)


def _ticks(pen: Pen, x: float, y: float) -> None:
    pen.rule([(x + 1, y - 3), (x + _SAMPLE_PT - 1, y - 3)], 1.6, edgecolor="black")
    for number in range(5):
        at = x + 4 + number * (_SAMPLE_PT - 8) / 4
        pen.rule([(at, y - 1), (at, y + 4.5)], 1.1, edgecolor="black")
