"""The drawn pattern of each stage, as SVG, so that a gray print and any eye can tell stages apart.

Patterns are in screen units and do not grow with the map, as hatching on a printed sheet does not.
"""

from __future__ import annotations

from typing import Final

from habmap.show.palette import DARK_STAGES, FAINT_INK, INK, PAPER, STAGE_FILLS, WATER_FILL, WATER_INK
from habmap.vocabulary import STAGES

_LINES: Final = 'fill="none" stroke="{line}" stroke-width='


def _strokes(path: str, width_px: float) -> str:
    return f'<path d="{path}" {_LINES}"{width_px}"/>'


def _dots(radius_px: float, *centers: tuple[float, float]) -> str:
    return "".join(f'<circle cx="{x}" cy="{y}" r="{radius_px}" fill="{{line}}"/>' for x, y in centers)


#: Per stage: width and height of the repeat [px], and the marks in it; ``{line}`` is the ink that shows on the fill.
_MARKS: Final = {
    "standing": (24, 24, ""),  # solid
    "part_cut": (14, 14, _strokes("M-2,16L16,-2M-2,2L2,-2M12,16L16,12", 1.3)),  # wide hatch
    "dead_standing": (12, 12, _strokes("M3,2v5M9,8v5M9,-4v5", 1.3)),  # upright ticks
    "down": (5, 5, _strokes("M-1,6L6,-1M-1,1L1,-1M4,6L6,4", 1)),  # narrow hatch
    "piled": (11, 11, _dots(1.6, (3, 3), (8.5, 8.5))),
    "burned": (14, 12, _strokes("M2,3l2.5,4l2.5,-4M9,9l2.5,4l2.5,-4M9,-3l2.5,4l2.5,-4", 1.1)),  # small v's
    "slash_gone": (13, 13, _dots(0.9, (3, 3), (9.5, 9.5))),
    "kept_up": (9, 9, _strokes("M0,4.5H9", 1.1)),  # level lines
    "coming_back": (  # sprouts
        14,
        14,
        _strokes("M4,8v-5M1.8,5.2l2.2,-2.4l2.2,2.4M11,15v-5M8.8,12.2l2.2,-2.4l2.2,2.4M11,1v-5", 1.1),
    ),
    "keep": (14, 14, _strokes("M4,1.5v5M1.5,4h5M11,8.5v5M8.5,11h5", 1)),  # small crosses
    "other": (24, 24, ""),  # open
}


#: A tree that stands dead, bare limbs and all, on ground where others lie.
_BARE_TREE: Final = (
    "M6,12v-10M6,5.5l-3.2,-2.6M6,8l3.2,-2.6M1.5,12h9M17,23v-10M17,16.5l-3.2,-2.6M17,19l3.2,-2.6M12.5,23h9"
)
#: What lies and stands on the ground whatever its stage, drawn over the stage's own pattern, by `habmap.show.shares`;
#: ink on a rim of paper, so that it shows on every fill, in gray and to any eye.
_OVER_MARKS: Final = {
    "slash": (5, 5, _strokes("M-1,6L6,-1M-1,1L1,-1M4,6L6,4", 0.7)),  # narrow hatch, as `down` has
    "snags": (12, 12, _strokes("M3,2v5M9,8v5M9,-4v5", 1.3)),  # upright ticks, as `dead_standing` has
    "both": (24, 26, _strokes(_BARE_TREE, 4.2).replace("{line}", PAPER) + _strokes(_BARE_TREE, 1.5)),
}


#: Ground that is no cedar, told apart faintly: width and height of the repeat [px], fill if any, ink and marks.
_COVER_MARKS: Final = {
    "grass": (26, 24, "", FAINT_INK, _strokes("M6,10v-5M6,10l-3,-4M6,10l3,-4M19,22v-5M19,22l-3,-4M19,22l3,-4", 0.9)),
    "hardwood": (24, 22, "", FAINT_INK, _strokes("M6,2a3.4,3.4 0 1 1 -0.01,0ZM18,13a3.4,3.4 0 1 1 -0.01,0Z", 0.9)),
    "water": (16, 8, WATER_FILL, WATER_INK, _strokes("M1,4q2.5,-2 5,0t5,0", 0.6)),
}
#: What those are called where they are told apart.
COVER_WORDS: Final = {"grass": "grass", "hardwood": "woods", "water": "water"}


def cover_id(cover: str) -> str:
    """Return the id by which a drawing refers to the faint marks of ground that is no cedar."""
    return f"cover-{cover}"


def over_id(kind: str) -> str:
    """Return the id by which a drawing refers to what is drawn over stages."""
    return f"over-{kind}"


def pattern_id(stage: str) -> str:
    """Return the id by which a drawing refers to a stage's pattern."""
    return f"stage-{stage}"


def pattern_definitions() -> str:
    """Return the SVG ``<pattern>`` elements of all stages, of other covers, and of what is drawn over them."""
    covers = "".join(
        f'<pattern id="{cover_id(cover)}" patternUnits="userSpaceOnUse" width="{width}" height="{height}">'
        + (f'<rect width="{width}" height="{height}" fill="{fill}"/>' if fill else "")
        + f"{marks.format(line=ink)}</pattern>"
        for cover, (width, height, fill, ink, marks) in _COVER_MARKS.items()
    )
    return (
        "".join(_pattern(stage) for stage in STAGES)
        + covers
        + "".join(
            f'<pattern id="{over_id(kind)}" patternUnits="userSpaceOnUse" width="{width}" height="{height}">'
            f"{marks.format(line=INK)}</pattern>"
            for kind, (width, height, marks) in _OVER_MARKS.items()
        )
    )


def _pattern(stage: str) -> str:
    width, height, marks = _MARKS[stage]
    line = PAPER if stage in DARK_STAGES else INK
    return (
        f'<pattern id="{pattern_id(stage)}" patternUnits="userSpaceOnUse" width="{width}" height="{height}">'
        f'<rect width="{width}" height="{height}" fill="{STAGE_FILLS[stage]}"/>{marks.format(line=line)}</pattern>'
    )
