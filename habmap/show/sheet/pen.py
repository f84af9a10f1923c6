"""Pen and type for a sheet of paper: everything in points from its lower left corner, every text measured first."""

from __future__ import annotations

import math
import unicodedata
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from habmap.show.palette import INK
from habmap.show.sheet.faces import advance_em, as_set, is_known
from habmap.show.sheet.outline import Outline
from habmap.show.words import NO_BREAK, unbroken

LEAST_PT: Final = 9.0
#: Line spacing as a share of the size.
LEADING: Final = 1.17
#: No line of any sheet holds more than this [characters].
LONGEST_LINE = 400


class _Shown(dict[int, str]):
    """How each sign is shown, found once: as it is, a space for what has no ink, a box for what the faces lack."""

    def __missing__(self, sign: int) -> str:
        character = chr(sign)
        shown = (character if is_known(character) else "□") if character.isprintable() else " "
        self[sign] = shown
        return shown


_SHOWN: Final = _Shown()


def printable(text: str) -> str:
    """Return text on one line, each sign that the faces lack replaced by an open box."""
    return unicodedata.normalize("NFC", text).translate(_SHOWN).strip()


@lru_cache(maxsize=20_000)
def _width_em(text: str, is_serif: bool, is_bold: bool) -> float:
    return math.fsum(advance_em(sign, is_serif, is_bold) for sign in as_set(printable(text)))


def text_width_pt(text: str, *, size_pt: float, is_serif: bool = False, is_bold: bool = False) -> float:
    """Return how wide a text will be set [pt]: its signs' widths, added up."""
    return size_pt * _width_em(text, is_serif, is_bold)


def wrapped(text: str, width_pt: float, *, size_pt: float, is_serif: bool = True, is_bold: bool = False) -> list[str]:
    """Break a text into lines no wider than ``width_pt``; a word that is wider alone is broken within."""
    style = {"size_pt": size_pt, "is_serif": is_serif, "is_bold": is_bold}
    words = _words(text, width_pt, style)
    lines: list[str] = []
    line: list[str] = []
    end_pt, length = 0.0, 0
    for word in words:
        wide_pt = text_width_pt(word, **style)  # type: ignore[arg-type]
        if line:
            further_pt = size_pt * advance_em(" ", is_serif, is_bold) + wide_pt
            if end_pt + further_pt <= width_pt and length + 1 + len(word) <= LONGEST_LINE:
                line.append(word)
                end_pt, length = end_pt + further_pt, length + 1 + len(word)
                continue
            lines.append(" ".join(line))
        line, end_pt, length = [word], wide_pt, len(word)
    return [*lines, " ".join(line)] if line else lines


def _words(text: str, width_pt: float, style: dict[str, Any]) -> list[str]:
    """Return what a line may end behind; a figure and its unit count as one word where a line has room for both."""
    words: list[str] = []
    for bound in unbroken(" ".join(printable(text).split())).split(" "):
        shown = bound.replace(NO_BREAK, " ")
        whole = [shown] if text_width_pt(shown, **style) <= width_pt else shown.split(" ")
        for word in whole:
            while word and len(word) > (most := _fitting(word, width_pt, **style)):
                words.append(word[:most])
                word = word[most:]
            words += [word] if word else []
    return words


def at_most(count: int, lines: list[str]) -> list[str]:
    """Keep a name without end from pushing other things off the paper."""
    return lines if len(lines) <= count else [*lines[: count - 1], f"{lines[count - 1][:-2]}…"]


def clipped(text: str, width_pt: float, *, size_pt: float, is_serif: bool = False) -> str:
    """Return a text cut with an ellipsis so that it is no wider than ``width_pt``."""
    text = printable(text)
    if _fitting(text, width_pt, size_pt=size_pt, is_serif=is_serif) == len(text):
        return text
    room_pt = width_pt - text_width_pt("…", size_pt=size_pt, is_serif=is_serif)
    return f"{text[: _fitting(text, room_pt, size_pt=size_pt, is_serif=is_serif)].rstrip()}…"


def _fitting(text: str, width_pt: float, *, size_pt: float, is_serif: bool = False, is_bold: bool = False) -> int:
    """Return how many characters of a text, one at least, fit a width; by halving, for a name may be endless."""
    if not text:
        return 0
    style = {"size_pt": size_pt, "is_serif": is_serif, "is_bold": is_bold}
    longest = min(len(text), LONGEST_LINE)
    if text_width_pt(text[:longest], **style) <= width_pt:  # type: ignore[arg-type]
        return longest
    return max(
        1,
        bisect_right(
            range(1, longest + 1),
            width_pt,
            key=lambda n: text_width_pt(text[:n], **style),  # type: ignore[arg-type]
        ),
    )


# --- the pen ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stroke:
    """An outline drawn: its fill and its line as ``#rrggbb``, ``None`` for none; width and dash in points.

    ``cap`` is butt, round or projecting; ``join`` miter, round or bevel; ``alpha`` how much it covers, 1 for all.
    """

    outline: Outline
    clip: Outline | None
    fill: str | None
    ink: str | None
    width_pt: float
    dash_pt: tuple[float, ...]
    cap: str
    join: str
    alpha: float


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture over a rectangle (left, bottom, right, top): RGBA of shape (rows, columns, 4), or a whole JPEG file."""

    image: NDArray[np.uint8] | bytes
    box: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Words:
    """One line of words with its left end and baseline at a point, turned about it counterclockwise."""

    at: tuple[float, float]
    words: str
    size_pt: float
    is_serif: bool
    is_bold: bool
    ink: str
    halo_pt: float
    turn_deg: float


_NAMED: Final = {"black": "#000000", "white": "#ffffff"}


def _color(name: str) -> str | None:
    """Return a color as ``#rrggbb``; a figure from 0 to 1 is a gray."""
    if name == "none":
        return None
    if name[0].isdigit():
        return f"#{round(float(name) * 255):02x}" + f"{round(float(name) * 255):02x}" * 2
    return _NAMED.get(name, name)


class Pen:
    """Draws on one page; x from the left and y from the bottom, both in points.

    What it drew stands in ``drawn`` in its order, until `pdf_of` or `svg_of` writes it.

    Parameters
    ----------
    grow
        All is drawn so many times larger than its points, type and lines too: for a sheet read from farther off.
    name
        What the page is called among the bookmarks of its file.
    """

    def __init__(self, size_pt: tuple[float, float], *, grow: float = 1.0, name: str = "") -> None:
        self.size_pt, self.grow, self.name = size_pt, grow, name
        self.drawn: list[Stroke | Picture | Words] = []

    def path(
        self,
        outline: Outline,
        *,
        clip: Outline | None = None,
        facecolor: str = "none",
        edgecolor: str = "none",
        linewidth: float = 1.0,
        dash: Sequence[float] = (),
        capstyle: str = "butt",
        joinstyle: str = "miter",
        alpha: float = 1.0,
    ) -> None:
        """Draw an outline, filled and lined; ``dash``: lengths of line and gap in turn [pt]."""
        fill, ink = _color(facecolor), _color(edgecolor)
        self.drawn.append(Stroke(outline, clip, fill, ink, linewidth, tuple(dash), capstyle, joinstyle, alpha))

    def box(
        self, left: float, bottom: float, width: float, height: float, *, linewidth: float = 0.6, **style: Any
    ) -> None:
        """Draw a rectangle; ``style`` as of a path."""
        right, top = left + width, bottom + height
        corners = [(left, bottom), (right, bottom), (right, top), (left, top), (left, bottom)]
        self.path(Outline.through(corners, closed=True), linewidth=linewidth, **style)

    def rule(self, points: Sequence[tuple[float, float]], width: float = 0.5, **style: Any) -> None:
        """Draw a line through points."""
        self.path(Outline.through(points), linewidth=width, **{"edgecolor": INK, **style})

    def picture(self, image: NDArray[np.uint8] | bytes, box: tuple[float, float, float, float]) -> None:
        """Lay a picture over a rectangle (left, bottom, right, top): RGBA, or a JPEG file as it is."""
        self.drawn.append(Picture(image, box))

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size_pt: float = LEAST_PT,
        is_serif: bool = False,
        is_bold: bool = False,
        align: str = "left",
        ink: str = INK,
        halo_pt: float = 0.0,
        turn_deg: float = 0.0,
    ) -> None:
        """Set one line of words with its baseline at ``y``; ``halo_pt`` of paper around it keeps it clear of lines."""
        words = printable(words)
        if not words:
            return
        wide_pt = 0.0 if align == "left" else text_width_pt(words, size_pt=size_pt, is_serif=is_serif, is_bold=is_bold)
        back = {"left": 0.0, "center": 0.5, "right": 1.0}[align] * wide_pt
        turn = math.radians(turn_deg)
        at = (x - back * math.cos(turn), y - back * math.sin(turn))
        self.drawn.append(Words(at, words, size_pt, is_serif, is_bold, _color(ink) or INK, halo_pt, turn_deg))

    def block(self, x: float, top: float, lines: Sequence[str], *, size_pt: float, is_bold: bool = False) -> float:
        """Set lines of the serif downward from ``top`` and return where they end."""
        y = top
        for line in lines:
            self.text(x, y - 0.82 * size_pt, line, size_pt=size_pt, is_serif=True, is_bold=is_bold)
            y -= LEADING * size_pt
        return y
