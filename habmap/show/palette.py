"""The inks of every page and sheet: paper, ink, and one land color per stage.

The nine fills of cedar ground were found by search: every two differ by at least 15 (CAM02-UCS) to normal,
deuteranope, protanope and tritanope eyes, and by 5 in lightness J', while staying as earthy as that allows. A test
measures and prints the figures. Stage never rests on color alone: see ``patterns``.
"""

from __future__ import annotations

from typing import Final

PAPER: Final = "#f7f2e6"
PAPER_DEEP: Final = "#efe7d4"
INK: Final = "#2b2a26"
INK_SOFT: Final = "#5c574c"
WATER_INK: Final = "#33576b"
#: Water as an area, and the faint marks of open ground; a unit's edge where the ground is light.
WATER_FILL: Final = "#d3e6ee"
FAINT_INK: Final = "#9b9480"
EDGE_GRAY: Final = "#5f5a50"
CONTOUR_INK: Final = "#6f5f45"

#: Fill of each stage of cedar ground; ``keep`` and ``other`` are bare paper.
STAGE_FILLS: Final = {
    "standing": "#3c4a3f", "part_cut": "#89a782", "dead_standing": "#9a87a9", "down": "#9d753b", "piled": "#714b16",
    "burned": "#2a1e21", "slash_gone": "#f5e8b6", "kept_up": "#de9f40", "coming_back": "#b1d2cd",
    "keep": PAPER, "other": PAPER,
}  # fmt: skip
#: Stages whose fill is dark enough that what is drawn on it is drawn in paper.
DARK_STAGES: Final = frozenset({"standing", "piled", "burned"})
