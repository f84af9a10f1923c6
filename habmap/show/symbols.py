"""How features are drawn, in the survey's convention: one table for the map's script and for the legend."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final

from habmap.show.palette import EDGE_GRAY, INK, PAPER, STAGE_FILLS, WATER_INK


@dataclass(frozen=True, slots=True)
class Stroke:
    """One pass of the pen along a line: width [px], dash as in SVG, and round or flat ends."""

    ink: str
    width: float
    dash: str = ""
    cap: str = "butt"


#: Passes per kind, first one lowest: a road is a broad ink line with a paper line on it, so two lines remain.
LINE_STROKES: Final[dict[str, tuple[Stroke, ...]]] = {
    "road": (Stroke(INK, 6), Stroke(PAPER, 3.6)),
    "lane": (Stroke(INK, 1.6, "9 5"),),
    "creek": (Stroke(WATER_INK, 2.1),),
    "line": (Stroke(INK, 2.4, "14 4 2 4"),),
    "fence": (Stroke(INK, 0.9), Stroke(INK, 7, "1 11")),
    "power_line": (Stroke(INK, 0.9), Stroke(INK, 4.4, "0 13", "round")),
    "gas_line": (Stroke(INK, 1.6, "1.5 4"),),
    "pond": (Stroke(WATER_INK, 1.2),),
    "other": (Stroke(INK, 1, "4 3"),),
}
#: Passes per edge, on screen and paper alike: the property in one bold line; a unit in thin gray with dots of paper on
#: it, so that the gray shows on light ground and the dots on dark; a day's work in one thin line.
EDGE_STROKES: Final[dict[str, tuple[Stroke, ...]]] = {
    "boundary": (Stroke(PAPER, 6.4), Stroke(INK, 3.6)),
    "unit": (Stroke(EDGE_GRAY, 1.3), Stroke(PAPER, 1.7, "0.1 4.4", "round")),
    "patch": (Stroke(PAPER, 3.2), Stroke(INK, 1.2)),
    "neighbor": (Stroke(PAPER, 2.4), Stroke(INK, 0.8, "1.5 3")),
}
EDGE_WORDS: Final = {"boundary": "property line", "unit": "edge of a unit", "patch": "ground worked"}
#: Marks for points in a box of 14 by 14, and whether they are filled with ink.
POINT_MARKS: Final[dict[str, tuple[str, bool]]] = {
    "house": ("M2,13V6.5L7,2L12,6.5V13Z", True),
    "building": ("M2,4H12V12H2Z", True),
    "school": ("M2,7H12V13H2ZM7,7V1L11,2.5L7,4", False),
    "pond": ("M1,5q3,-3 6,0t6,0M1,9q3,-3 6,0t6,0", False),
    "gate": ("M2,2V12M12,2V12M2,7H12", False),
    "tank": ("M7,2A5,5 0 1 1 6.99,2ZM7,6.4A.6,.6 0 1 1 6.99,6.4Z", False),
    "well": ("M7,2A5,5 0 1 1 6.99,2ZM2,7H12M7,2V12", False),
    "hay": ("M2,12A2.5,2.5 0 1 1 7,12ZM7,12A2.5,2.5 0 1 1 12,12ZM4.5,9A2.5,2.5 0 1 1 9.5,9", False),
    "airport": ("M7,1A6,6 0 1 1 6.99,1ZM7,3V11M3,7H11", False),
    "pile": ("M2,12L7,3L12,12Z", False),
    "nest": ("M1,6A6,5 0 0 0 13,6M3,6A4,3.4 0 0 0 11,6", False),
    "grave": ("M7,1V13M3,5H11", False),
    "cultural": ("M7,1L13,7L7,13L1,7Z", False),
    "other": ("M7,3L11,7L7,11L3,7Z", False),
}


def line_strokes(kind: str) -> tuple[Stroke, ...]:
    """Return how a line of this kind is drawn."""
    return LINE_STROKES.get(kind, LINE_STROKES["other"])


def point_mark(kind: str) -> tuple[str, bool]:
    """Return the mark of a point of this kind."""
    return POINT_MARKS.get(kind, POINT_MARKS["other"])


def for_script(kinds: set[str]) -> dict[str, Any]:
    """Return the drawing rules of some kinds as JSON values."""
    return {
        kind: {
            "strokes": [asdict(stroke) for stroke in line_strokes(kind)],
            "mark": point_mark(kind)[0],
            "solid": point_mark(kind)[1],
        }
        for kind in sorted(kinds)
    }


def legend_line(kind: str) -> str:
    """Return a sample of a line as SVG (constants only; nothing a person typed)."""
    passes = "".join(
        f'<path d="M1,8H39" fill="none" stroke="{s.ink}" stroke-width="{s.width}" '
        f'stroke-dasharray="{s.dash or "none"}" '
        f'stroke-linecap="{s.cap}"/>'
        for s in line_strokes(kind)
    )
    return f'<svg class="sample" width="40" height="16" viewBox="0 0 40 16" aria-hidden="true">{passes}</svg>'


def edges_for_script() -> dict[str, Any]:
    """Return the drawing rules of edges as JSON values."""
    return {kind: [asdict(stroke) for stroke in strokes] for kind, strokes in EDGE_STROKES.items()}


def legend_edge(kind: str) -> str:
    """Return a sample of an edge as SVG, half on light ground, half on dark."""
    passes = "".join(
        f'<path d="M1,8H39" fill="none" stroke="{s.ink}" stroke-width="{s.width}" '
        f'stroke-dasharray="{s.dash or "none"}" stroke-linecap="{s.cap}"/>'
        for s in EDGE_STROKES[kind]
    )
    return (
        '<svg class="sample" width="40" height="16" viewBox="0 0 40 16" aria-hidden="true">'
        f'<rect x="20" width="20" height="16" fill="{STAGE_FILLS["standing"]}"/>{passes}</svg>'
    )


def legend_mark(kind: str) -> str:
    """Return a sample of a point's mark as SVG."""
    path, solid = point_mark(kind)
    return (
        f'<svg class="sample" width="16" height="16" viewBox="-1 -1 16 16" aria-hidden="true"><path d="{path}" '
        f'fill="{INK if solid else "none"}" stroke="{INK}" stroke-width="1.3"/></svg>'
    )


def legend_area(pattern: str) -> str:
    """Return a swatch of a pattern as SVG."""
    return (
        '<svg class="swatch" width="40" height="22" viewBox="0 0 40 22" aria-hidden="true">'
        f'<rect x="0.6" y="0.6" width="38.8" height="20.8" fill="url(#{pattern})" '
        f'stroke="{INK}" stroke-width="1.2"/></svg>'
    )
