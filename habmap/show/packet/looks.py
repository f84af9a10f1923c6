"""How the item's ground is drawn: only what counts has a color, all else is told apart by its pattern in one ink."""

from __future__ import annotations

from typing import Final

from habmap.show.palette import INK
from habmap.show.sheet.marks import Mark, Pattern, svg_outline
from habmap.work.paperwork_records import APART

#: What each column is called over its acres, and on the map.
COLUMN_WORDS: Final = {
    "applied": "counts", "below_target": "below target", "treated_before": "treated before",
    "too_early": "too early", "late": "after due date", "on_hold": "on hold", "elsewhere": "other item",
}  # fmt: skip
COLUMNS: Final = ("applied", *APART)
_APPLIED_FILL: Final = "#de9f40"


def _pattern(step_px: tuple[float, float], *marks: tuple[str, float], fill: str = "#ffffff") -> Pattern:
    return Pattern(fill, step_px, tuple(Mark(svg_outline(path), width, INK) for path, width in marks))


LOOKS: Final[dict[str, Pattern]] = {
    "applied": _pattern((9, 9), ("M0,4.5H9", 1.1), fill=_APPLIED_FILL),  # level lines
    "below_target": _pattern((14, 14), ("M-2,16L16,-2M-2,2L2,-2M12,16L16,12", 1.3)),  # wide hatch
    "treated_before": _pattern((7, 7), ("M-1,8L8,-1M-1,1L1,-1M6,8L8,6", 0.9), ("M-1,-1L8,8", 0.9)),  # crossed lines
    "too_early": _pattern((12, 12), ("M3,2v5M9,8v5M9,-4v5", 1.3)),  # upright ticks
    "late": _pattern((14, 12), ("M2,3l2.5,4l2.5,-4M9,9l2.5,4l2.5,-4M9,-3l2.5,4l2.5,-4", 1.1)),  # small v's
    "on_hold": _pattern((14, 14), ("M4,1.5v5M1.5,4h5M11,8.5v5M8.5,11h5", 1.1)),  # small crosses
    "elsewhere": _pattern((12, 12), ("M1,3h5M7,9h5", 1.3)),  # level dashes
}
