"""What stands under the map: the scale in figures and as bars of feet and meters, and true north."""

from __future__ import annotations

import math
from typing import Final

from matplotlib.path import Path as Outline
from matplotlib.transforms import Affine2D

from habmap.measures import M_PER_FT
from habmap.show.palette import INK
from habmap.show.sheet.map import Frame
from habmap.show.sheet.pen import LEAST_PT, Pen, text_width_pt, wrapped

#: Height of the strip [pt].
SCALE_STRIP_PT: Final = 34.0
#: Less than this no compass in a hand shows, and nothing is said of it.
_WORTH_SAYING_DEG: Final = 0.5
_NICE: Final = (1, 2, 5)


def draw_scale(
    pen: Pen,
    frame: Frame,
    *,
    left: float,
    right: float,
    top: float,
    size_pt: float = LEAST_PT,
    has_words: bool = True,
    more: str = "",
) -> None:
    """Draw the strip under the map between two edges [pt], downward from ``top``; its height grows with the type.

    Without its words (`scale_words`), which then stand elsewhere on the sheet, the bars take most of the width.
    """
    convergence_deg = frame.grid.convergence_deg(*frame.middle_lonlat)
    k = size_pt / LEAST_PT
    _north_arrow(pen, left + 9, top - SCALE_STRIP_PT * (k + 1) / 2 + 3, convergence_deg, letter_pt=11 * k)
    longest = (right - left) * (0.34 if has_words else 0.6)
    bar_left = left + 32 * k
    _bar(pen, frame, bar_left, top - 8 - 9 * k, longest, unit_m=M_PER_FT, unit="feet", is_above=True, size_pt=size_pt)
    _bar(pen, frame, bar_left, top - 12 - 9 * k, longest, unit_m=1.0, unit="meters", is_above=False, size_pt=size_pt)
    if has_words:
        # Clear of the last figure and its unit, which stand past the end of a bar.
        text_left = bar_left + longest + text_width_pt("0,000 meters", size_pt=size_pt) - 4 * k
        lines = wrapped(
            f"{scale_words(frame.scale, convergence_deg)} {more}".strip(), right - text_left, size_pt=size_pt
        )
        pen.block(text_left, top - 3, lines, size_pt=size_pt)


def scale_words(scale: int, convergence_deg: float) -> str:
    """Return the scale in figures, and where true north is."""
    return f"Scale 1:{scale:,}: {inch_words(scale)}. {north_words(convergence_deg)}"


def inch_words(scale: int) -> str:
    """Return what an inch and a centimeter of the paper are on the ground."""
    return f"an inch is {scale * 0.0254 / M_PER_FT:,.0f} feet, a centimeter {scale / 100:,.0f} meters of ground"


def north_words(convergence_deg: float) -> str:
    """Return where true north is, when the grid's north is the top of the sheet.

    Parameters
    ----------
    convergence_deg
        A true bearing is a grid bearing plus this [°].
    """
    if abs(convergence_deg) < _WORTH_SAYING_DEG:
        return "True north is up."
    side = "left" if convergence_deg > 0 else "right"
    return f"True north is {abs(convergence_deg):.2f}° {side} of up (the grid’s convergence at the middle)."


def _north_arrow(pen: Pen, x: float, bottom: float, convergence_deg: float, *, letter_pt: float) -> None:
    # A turn to the left is positive here, and true north lies left of the top where the convergence is positive.
    place = Affine2D().rotate_deg(convergence_deg).translate(x, bottom)
    half = Outline([(0, 26), (-5, 0), (0, 5), (0, 26)], closed=True)
    other = Outline([(0, 26), (5, 0), (0, 5), (0, 26)], closed=True)
    pen.path(half.transformed(place), facecolor=INK, edgecolor=INK, linewidth=0.7)
    pen.path(other.transformed(place), edgecolor=INK, linewidth=0.7)
    pen.text(x + 8, bottom + 15, "N", size_pt=letter_pt, is_serif=True, is_bold=True)


def _bar(
    pen: Pen,
    frame: Frame,
    left: float,
    y: float,
    longest_pt: float,
    *,
    unit_m: float,
    unit: str,
    is_above: bool,
    size_pt: float,
) -> None:
    """Draw a ruler of two or four round steps along one line; figures above it or below."""
    step = _round_step(longest_pt / frame.pt_per_ground_m / unit_m / 2)
    count = int(longest_pt / frame.pt_per_ground_m / unit_m / step)
    step_pt = step * unit_m * frame.pt_per_ground_m
    for number in range(count):
        pen.box(left + number * step_pt, y, step_pt, 4, edgecolor=INK, facecolor=INK if number % 2 == 0 else "white")
    text_y = y + 6.5 if is_above else y - size_pt
    for number in range(count + 1):
        figure = f"{number * step:,}"
        is_last = number == count
        pen.text(left + number * step_pt, text_y, figure, align="center", size_pt=size_pt)
        if is_last:
            half = text_width_pt(figure, size_pt=size_pt) / 2
            pen.text(left + number * step_pt + half + 3, text_y, unit, size_pt=size_pt)


def _round_step(most: float) -> int:
    """Return the largest of 1, 2, 5 × 10ⁿ that is no more than ``most`` and at least 1."""
    if most < 1:
        return 1
    power = int(10 ** math.floor(math.log10(most)))
    return max(step * power for step in _NICE if step * power <= most)
