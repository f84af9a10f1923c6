"""The page's patterns and marks, turned from SVG into pen strokes: screen and sheet share one table."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final
from xml.etree import ElementTree

import numpy as np

from habmap.show.palette import INK
from habmap.show.patterns import cover_id, over_id, pattern_definitions, pattern_id
from habmap.show.sheet.outline import BEGIN_CURVE, CLOSE, CURVE_ON, END_CURVE, LINE, MOVE, Outline

#: A screen pixel of CSS in points of paper (CSS Values 4, section 6.2: 96 px and 72 pt to the inch).
PT_PER_PX: Final = 0.75
#: Share of a stage's color that is printed where lines, heights and what is drawn by hand must show on it; ground of
#: no cedar is left white there.
_TINT: Final = 0.5
_BARE: Final = frozenset({"other"})
_TOKEN: Final = re.compile(r"[A-Za-z]|-?(?:\d+\.?\d*|\.\d+)")


@dataclass(frozen=True, slots=True)
class Mark:
    """One pen mark of a pattern, y down [px]: outline, width of the line (0: filled, not stroked) and its ink."""

    outline: Outline
    width_px: float
    ink: str


@dataclass(frozen=True, slots=True)
class Pattern:
    """A stage's fill and the marks that repeat on it every ``step_px`` (across, down)."""

    fill: str
    step_px: tuple[float, float]
    marks: tuple[Mark, ...]


@lru_cache(maxsize=1)
def _patterns() -> dict[str, Pattern]:
    found = {}
    # Our own constants, never a person's text.
    for element in ElementTree.fromstring(f"<svg>{pattern_definitions()}</svg>"):
        marks, fill = [], ""
        for part in element:
            if part.tag == "rect":
                fill = part.attrib["fill"]
            elif part.tag == "path":
                marks.append(
                    Mark(svg_outline(part.attrib["d"]), float(part.attrib["stroke-width"]), part.attrib["stroke"])
                )
            else:
                center = (float(part.attrib["cx"]), float(part.attrib["cy"]))
                marks.append(Mark(Outline.circle(center, float(part.attrib["r"])), 0.0, part.attrib["fill"]))
        step_px = (float(element.attrib["width"]), float(element.attrib["height"]))
        found[element.attrib["id"]] = Pattern(fill, step_px, tuple(marks))
    return found


def named_pattern(name: str) -> Pattern:
    """Return how a pattern of the page is drawn, by its id there."""
    return _patterns()[name]


def stage_pattern(stage: str) -> Pattern:
    """Return how ground in a stage is drawn."""
    return _patterns()[pattern_id(stage)]


@lru_cache(maxsize=32)
def tint(stage: str) -> Pattern | None:
    """Return a stage's pattern on a lighter ground, its marks in ink; ``None`` where it is left white."""
    if stage in _BARE:
        return None
    pattern = stage_pattern(stage)
    parts = (int(pattern.fill[k : k + 2], 16) for k in (1, 3, 5))
    fill = "#" + "".join(f"{round(255 - _TINT * (255 - part)):02x}" for part in parts)
    return replace(pattern, fill=fill, marks=tuple(replace(mark, ink=INK) for mark in pattern.marks))


def cover_pattern(cover: str) -> Pattern:
    """Return how ground that is no cedar is told apart."""
    return _patterns()[cover_id(cover)]


def over_pattern(kind: str) -> Pattern:
    """Return how what lies and stands on ground is drawn over its stage; it has no fill."""
    return _patterns()[over_id(kind)]


def tiled(pattern: Pattern, bounds_pt: tuple[float, float, float, float]) -> Iterator[tuple[Outline, Mark]]:
    """Yield each mark repeated over a rectangle (left, bottom, right, top) of the paper [pt], y up.

    The repeat starts at the paper's corner, so that neighboring ground in one stage joins without a seam.
    """
    across, down = (step * PT_PER_PX for step in pattern.step_px)
    left, bottom, right, top = bounds_pt
    columns = range(math.floor(left / across), math.ceil(right / across) + 1)
    rows = range(math.floor(bottom / down), math.ceil(top / down) + 1)
    for mark in pattern.marks:
        corners = np.array([(column * across, row * down) for row in rows for column in columns])
        yield mark.outline.scaled(PT_PER_PX, -PT_PER_PX).repeated(corners), mark


def svg_outline(d: str) -> Outline:
    """Return an SVG path (M L H V Q T A Z; large or small letters) as an outline, y down [px].

    References
    ----------
    SVG 2, chapter 9 (path data) and its implementation note B.2.4 (arcs), from memory.
    """
    tokens = _TOKEN.findall(d)
    vertices: list[tuple[float, float]] = []
    codes: list[int] = []
    at, start, control = (0.0, 0.0), (0.0, 0.0), None
    letter, i = "", 0

    def take(count: int) -> list[float]:
        nonlocal i
        i += count
        return [float(token) for token in tokens[i - count : i]]

    def go(points: list[tuple[float, float]], *does: int) -> None:
        vertices.extend(points)
        codes.extend(does)

    while i < len(tokens):
        if tokens[i].isalpha():
            letter, i = tokens[i], i + 1
        low, is_relative = letter.lower(), letter.islower()
        base = at if is_relative else (0.0, 0.0)
        if low == "z":
            go([start], CLOSE)
            at, control = start, None
            continue
        if low in "hv":
            (value,) = take(1)
            at = (base[0] + value, at[1]) if low == "h" else (at[0], base[1] + value)
            go([at], LINE)
        elif low == "a":
            radius_x, radius_y, _, large, sweep, x, y = take(7)
            end = (base[0] + x, base[1] + y)
            arc = _arc(at, end, (radius_x, radius_y), is_large=bool(large), is_swept=bool(sweep))
            go(arc.vertices[1:].tolist(), *arc.codes[1:].tolist())
            at = end
        elif low in "qt":
            values = take(4 if low == "q" else 2)
            points = [(base[0] + values[k], base[1] + values[k + 1]) for k in range(0, len(values), 2)]
            if low == "t":  # the control point is the last one, turned about where the pen stands
                mirrored = at if control is None else (2 * at[0] - control[0], 2 * at[1] - control[1])
                points = [mirrored, *points]
            control, end = points
            # The same curve with two control points: each two thirds of the way to the one.
            first, last = (
                (one[0] + (control[0] - one[0]) * 2 / 3, one[1] + (control[1] - one[1]) * 2 / 3) for one in (at, end)
            )
            go([first, last, end], BEGIN_CURVE, CURVE_ON, END_CURVE)
            at = end
            continue
        else:
            x, y = take(2)
            at = (base[0] + x, base[1] + y)
            go([at], MOVE if low == "m" else LINE)
            if low == "m":
                start, letter = at, "l" if is_relative else "L"
        control = None
    return Outline(np.array(vertices), np.array(codes, np.uint8))


def _arc(
    begin: tuple[float, float], end: tuple[float, float], radii: tuple[float, float], *, is_large: bool, is_swept: bool
) -> Outline:
    """Return an unturned elliptic arc from one point to another; radii too small are made just large enough."""
    half = np.array([(begin[0] - end[0]) / 2 / radii[0], (begin[1] - end[1]) / 2 / radii[1]])
    reach = float(half @ half)
    scale = max(1.0, math.sqrt(reach))
    half = half / scale
    off = math.sqrt(max(0.0, 1 / max(float(half @ half), 1e-12) - 1)) * (1 if is_large != is_swept else -1)
    center = np.array([off * half[1], -off * half[0]])
    first = math.degrees(math.atan2(*(half - center)[::-1]))
    last = math.degrees(math.atan2(*(-half - center)[::-1]))
    turn = (last - first) % 360 if is_swept else -((first - last) % 360)
    middle = ((begin[0] + end[0]) / 2, (begin[1] + end[1]) / 2)
    unit = Outline.arc(abs(turn)).scaled(1, 1 if is_swept else -1).turned(first)
    return unit.moved(*center.tolist()).scaled(radii[0] * scale, radii[1] * scale).moved(*middle)
