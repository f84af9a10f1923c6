"""The legend of the sheet: stages with their acres, then features, edges and contours as they are drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import shapely

from habmap.show import symbols, words
from habmap.show.page.account import grounds
from habmap.show.palette import INK, STAGE_FILLS
from habmap.show.records import Page
from habmap.show.sheet.map import (
    draw_contour_sample,
    draw_edge,
    draw_feature,
    is_drawn_to_shape,
    pattern_area,
)
from habmap.show.sheet.marks import named_pattern
from habmap.show.sheet.pen import LEAST_PT, Pen, clipped
from habmap.vocabulary import FEATURE_WORDS, PRIVATE_FEATURE_KINDS

_LEGEND_ROW_PT: Final = 12.6
_SWATCH_PT: Final = (24.0, 10.0)


@dataclass(frozen=True, slots=True)
class _Sample:
    """One line of the legend below the stages: its words, and what is drawn."""

    words: str
    kind: str
    shape: str


def _samples(page: Page, *, has_contours: bool) -> list[_Sample]:
    """Return the samples of what the map shows; a kind drawn as a mark and as a line stands there twice."""
    shown = {
        (
            feature.kind,
            symbols.POINT_MARKS.get(feature.kind) is not None and not is_drawn_to_shape(feature.geometry, feature.kind),
        )
        for feature in page.features
    }
    samples = []
    for kind, title in FEATURE_WORDS.items():
        private = " (private)" if kind in PRIVATE_FEATURE_KINDS else ""
        samples += [
            _Sample(title + private, kind, "mark" if is_mark else "line")
            for is_mark in (False, True)
            if (kind, is_mark) in shown
        ]
    there = {"boundary": page.boundary is not None, "unit": page.units, "patch": page.work}
    samples += [_Sample(called, "", kind) for kind, called in symbols.EDGE_WORDS.items() if there[kind]]
    if page.relief is not None and has_contours:
        samples.append(_Sample(f"{page.relief.contour_step_ft} ft contours", "", "contour"))
    return samples


def _feature_columns(width: float) -> int:
    return max(2, int(width / 106))


def _stage_columns(width: float) -> int:
    return max(1, int(width / 155))


def legend_height_pt(page: Page, width: float) -> float:
    """Return how high the legend will be [pt]."""
    stages = math.ceil(len(grounds(page)) / _stage_columns(width))
    # no line is traced yet: the scale, and with it their step, follows from the room that the legend leaves
    samples = _samples(page, has_contours=page.relief is not None and page.relief.may_have_contours)
    rows = stages + math.ceil(len(samples) / _feature_columns(width))
    return rows * _LEGEND_ROW_PT + 8


def draw_legend(pen: Pen, page: Page, left: float, top: float, width: float) -> None:
    """Draw the legend downward from ``top``: stages with their acres, then the features and edges."""
    y = top - 4
    columns = _stage_columns(width)
    column_pt = width / columns
    shown = grounds(page)
    rows = math.ceil(len(shown) / columns)
    for index, (name, called, acres, _) in enumerate(shown):
        x, row_y = left + index // rows * column_pt, y - (index % rows + 1) * _LEGEND_ROW_PT
        pattern_area(pen, shapely.box(x, row_y, x + _SWATCH_PT[0], row_y + _SWATCH_PT[1]), named_pattern(name))
        pen.box(x, row_y, *_SWATCH_PT, edgecolor=INK)
        pen.text(x + _SWATCH_PT[0] + 5, row_y + 1.8, f"{called} {words.tenths(acres)}")
    y -= rows * _LEGEND_ROW_PT + 2
    columns = _feature_columns(width)
    column_pt = width / columns
    for index, sample in enumerate(_samples(page, has_contours=page.relief is not None and bool(page.relief.contours))):
        x, row_y = left + index % columns * column_pt, y - (index // columns + 1) * _LEGEND_ROW_PT
        middle_y = row_y + 4.8
        level = shapely.LineString([(x, middle_y), (x + 22, middle_y)])
        if sample.shape in symbols.EDGE_STROKES:
            pen.box(x + 11, middle_y - 5, 11, 10, facecolor=STAGE_FILLS["standing"])
            draw_edge(pen, level, sample.shape)
        elif sample.shape == "contour":
            draw_contour_sample(pen, level)
        elif sample.shape == "mark":
            draw_feature(pen, shapely.Point(x + 11, middle_y), sample.kind)
        elif sample.kind == "pond":
            draw_feature(pen, shapely.Point(x + 11, middle_y).buffer(5), sample.kind)
        else:
            draw_feature(pen, level, sample.kind)
        pen.text(x + 27, row_y + 1.8, clipped(sample.words, column_pt - 29, size_pt=LEAST_PT))
