"""What stands under the map: scale, bars and north; and at the foot of a sheet the cautions and how it was made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.land.declination import FIRST_YEAR, LAST_YEAR, Declination, declination
from habmap.land.grid import LocalGrid
from habmap.measures import M_PER_FT
from habmap.show.palette import INK
from habmap.show.sheet.locator import Locator
from habmap.show.sheet.map import Frame
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import LEADING, LEAST_PT, Pen, text_width_pt, wrapped
from habmap.show.words import round_step, short_day

#: Height of the strip where few words stand in it [pt].
SCALE_STRIP_PT: Final = 34.0
#: A scale that takes as much room to tell as any that a property has; the scale itself follows from the room left.
LONG_SCALE: Final = 1_000_000
#: Less than this no compass in a hand shows, and nothing is said of it.
_WORTH_SAYING_DEG: Final = 0.5
#: Figures of a bar stand so far apart [pt].
_BETWEEN_PT: Final = 4.0
#: Length of the bars as a share of the strip: beside words, beside words and the small map, and alone.
_BESIDE_WORDS: Final = 0.3
_BESIDE_BOTH: Final = 0.2
_ALONE: Final = 0.6
#: Room for the arrow left of the bars, and height of the needle beside it [pt].
_ARROW_PT: Final = 38.0
_NEEDLE_PT: Final = 33.0
#: Side of the small map [pt].
_LOCATOR_PT: Final = 48.0


def draw_scale(
    pen: Pen,
    frame: Frame,
    *,
    left: float,
    right: float,
    top: float,
    size_pt: float = LEAST_PT,
    told: str = "",
    day: date | None = None,
    locator: Locator | None = None,
) -> None:
    """Draw the strip under the map between two edges [pt], downward from ``top``; it is `strip_pt` high.

    Parameters
    ----------
    told
        Words beside the bars, `scale_words`; where they stand elsewhere on the sheet the bars take most of the width.
    day
        The day for which magnetic north is drawn; ``None`` on what nobody holds a compass to.
    locator
        Where the map lies, drawn small beside the words.
    """
    convergence_deg = frame.grid.convergence_deg(*frame.middle_lonlat)
    magnetic = None if day is None else declination(*frame.middle_lonlat, day)
    k = size_pt / LEAST_PT
    foot = top - (SCALE_STRIP_PT * (k + 1) / 2 if day is None else _NEEDLE_PT + 6) + 3
    _north_arrow(pen, left + 9, foot, convergence_deg, magnetic, letter_pt=11 * k)
    has_locator = locator is not None
    longest = (right - left) * (_bars_share(has_locator) if told else _ALONE)
    bar_left = left + _ARROW_PT * k
    _bar(pen, frame, bar_left, top - 8 - 9 * k, longest, unit_m=M_PER_FT, unit="feet", is_above=True, size_pt=size_pt)
    _bar(pen, frame, bar_left, top - 12 - 9 * k, longest, unit_m=1.0, unit="meters", is_above=False, size_pt=size_pt)
    room = _words_pt(right - left, size_pt, has_locator)
    pen.block(right - room, top - 3, wrapped(told, room, size_pt=size_pt), size_pt=size_pt)
    if locator is not None:
        locator.draw(pen, right - room - _LOCATOR_PT - 7, top - 4 - _LOCATOR_PT, side_pt=_LOCATOR_PT)


def strip_pt(told: str, width_pt: float, *, size_pt: float = LEAST_PT, has_locator: bool = False) -> float:
    """Return how high the strip is with these words beside its bars [pt]."""
    lines = len(wrapped(told, _words_pt(width_pt, size_pt, has_locator), size_pt=size_pt))
    least = _NEEDLE_PT + 9 if told else SCALE_STRIP_PT * (size_pt / LEAST_PT + 1) / 2
    least = max(least, _LOCATOR_PT + 6) if has_locator else least
    return max(least, 5 + lines * LEADING * size_pt)


def _bars_share(has_locator: bool) -> float:
    return _BESIDE_BOTH if has_locator else _BESIDE_WORDS


def _words_pt(width_pt: float, size_pt: float, has_locator: bool) -> float:
    """Return the width of the words: clear of the last figure and its unit, which stand past the end of a bar [pt]."""
    past_bar = text_width_pt("0,000 meters", size_pt=size_pt) - 4 * size_pt / LEAST_PT
    bars = width_pt * _bars_share(has_locator) + _ARROW_PT * size_pt / LEAST_PT + past_bar
    return width_pt - bars - (_LOCATOR_PT + 10 if has_locator else 0.0)


def scale_words(scale: int, grid: LocalGrid, lonlat: tuple[float, float], *, day: date | None = None) -> str:
    """Return the scale in figures, where true north is and, for a day, where a compass points."""
    north = north_words(grid.convergence_deg(*lonlat))
    magnetic = "" if day is None else f" {magnetic_words(declination(*lonlat, day), day)}"
    return f"Scale 1:{scale:,}: {inch_words(scale)}. {north}{magnetic}"


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


def magnetic_words(found: Declination | None, day: date) -> str:
    """Return where magnetic north is on a day, or that no figure is known."""
    if found is None:
        if FIRST_YEAR <= day.year <= LAST_YEAR:
            return "So near a magnetic pole a compass shows no direction."
        return (
            f"Magnetic north on {short_day(day)} is not known here: the models told reach from {FIRST_YEAR} "
            f"to {LAST_YEAR}."
        )
    # Rounded first: what prints as 0.0° lies on neither side.
    tenths, change = round(found.east_deg, 1), round(found.change_deg_per_year, 2)
    where = "" if tenths == 0 else " east of it" if tenths > 0 else " west of it"
    moves = "" if change == 0 else f", moving {abs(change):.2f}° {'east' if change > 0 else 'west'} a year"
    return (
        f"Magnetic north on {short_day(day)}: {abs(tenths):.1f}° ± {found.sd_deg:.1f}°{where}{moves} ({found.model})."
    )


def _north_arrow(
    pen: Pen, x: float, bottom: float, convergence_deg: float, magnetic: Declination | None, *, letter_pt: float
) -> None:
    # A turn to the left is positive here, and true north lies left of the top where the convergence is positive.
    for side, fill in ((-5, INK), (5, "none")):
        half = Outline.through([(0, 26), (side, 0), (0, 5), (0, 26)], closed=True)
        pen.path(half.turned(convergence_deg).moved(x, bottom), facecolor=fill, edgecolor=INK, linewidth=0.7)
    pen.text(x + 8, bottom + 12, "N", size_pt=letter_pt, is_serif=True, is_bold=True)
    if magnetic is None:
        return
    # As on a survey's sheet: a thin line with half a head on the side on which it lies.
    barb = 3.2 if magnetic.east_deg >= 0 else -3.2
    needle = Outline.through([(0, 0), (0, _NEEDLE_PT), (barb, _NEEDLE_PT - 6)])
    needle = needle.turned(convergence_deg - magnetic.east_deg).moved(x, bottom)
    pen.path(needle, edgecolor=INK, linewidth=0.6)
    tip_x, tip_y = needle.vertices[1].tolist()
    pen.text(max(tip_x + 4.5, x + 4), tip_y - 6, "MN", size_pt=LEAST_PT)


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
    step = round_step(longest_pt / frame.pt_per_ground_m / unit_m / 2)
    count = int(longest_pt / frame.pt_per_ground_m / unit_m / step)
    step_pt = step * unit_m * frame.pt_per_ground_m
    for number in range(count):
        pen.box(left + number * step_pt, y, step_pt, 4, edgecolor=INK, facecolor=INK if number % 2 == 0 else "white")
    text_y = y + 6.5 if is_above else y - size_pt
    # The ends first, then what has room between them.
    free_from, free_to = -math.inf, math.inf
    for number in (count, 0, *range(1, count)):
        figure, x = f"{number * step:,}", left + number * step_pt
        half = text_width_pt(figure, size_pt=size_pt) / 2
        if x - half < free_from or x + half > free_to:
            continue
        pen.text(x, text_y, figure, align="center", size_pt=size_pt)
        if number == count:
            pen.text(x + half + 3, text_y, unit, size_pt=size_pt)
            free_to = x - half - _BETWEEN_PT
        else:
            free_from = x + half + _BETWEEN_PT


GAP_PT: Final = 9.0
_INSET_PT: Final = 7.0


@dataclass(frozen=True, slots=True)
class Foot:
    """What stands at the foot, broken into lines of one size, and how the width is shared [pt]."""

    cautions: tuple[str, ...]
    how: tuple[str, ...]
    cautions_width: float
    height: float
    size_pt: float

    @classmethod
    def of(cls, cautions: Sequence[str], how: Sequence[str], width: float, *, size_pt: float) -> Foot:
        """Break both texts so that their columns are about equally high."""
        leading = size_pt * LEADING
        trials = []
        for share in (0.4, 0.44, 0.48, 0.52, 0.56, 0.6, 0.66, 0.72, 0.78) if cautions else (0.0,):
            box = share * width
            boxed = [line for text in cautions for line in wrapped(text, box - 2 * _INSET_PT, size_pt=size_pt)]
            beside = wrapped(" ".join(how), width - box - (GAP_PT if box else 0.0), size_pt=size_pt)
            height = max(len(boxed) * leading + 10, (len(beside) + 1) * leading)
            trials.append(cls(tuple(boxed), tuple(beside), box, height, size_pt))
        return min(trials, key=lambda foot: foot.height)

    def draw(self, pen: Pen, left: float, bottom: float) -> None:
        """Set it with its lower left corner there [pt]."""
        top = bottom + self.height
        if self.cautions:
            height = len(self.cautions) * self.size_pt * LEADING + 10
            pen.box(left, top - height, self.cautions_width, height, edgecolor=INK, linewidth=1.1)
            pen.block(left + _INSET_PT, top - 5, self.cautions, size_pt=self.size_pt)
            left += self.cautions_width + GAP_PT
        y = pen.block(left, top + 1, ["How these numbers were made"], size_pt=self.size_pt, is_bold=True)
        pen.block(left, y, self.how, size_pt=self.size_pt)
