"""Pen and type for a sheet of paper: everything in points from its lower left corner, every text measured first."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any, Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, fontManager, get_font
from matplotlib.ft2font import FT2Font, LoadFlags
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.textpath import TextPath
from matplotlib.transforms import Affine2D

from habmap.show.palette import INK, PAPER
from habmap.show.words import NO_BREAK, unbroken

#: Faces that come with the drawing library, so that every machine draws the same sheet; the last knows most scripts.
SERIF: Final = ("STIXGeneral", "DejaVu Serif", "DejaVu Sans")
SANS: Final = ("DejaVu Sans",)
LEAST_PT: Final = 9.0
#: Line spacing as a share of the size.
LEADING: Final = 1.17


@lru_cache(maxsize=32)
def face(is_serif: bool, size_pt: float, is_bold: bool) -> FontProperties:
    """Return one of the two faces in a size [pt]."""
    return FontProperties(family=list(SERIF if is_serif else SANS), size=size_pt, weight="bold" if is_bold else 400)


#: No line of any sheet holds more than this [characters].
LONGEST_LINE = 400


@lru_cache(maxsize=1)
def _known_signs() -> frozenset[int]:
    path = fontManager.findfont(FontProperties(family=SANS[0]))
    return frozenset(get_font(path).get_charmap())


class _Shown(dict[int, str]):
    """How each sign is shown, found once: as it is, a space for what has no ink, a box for what the faces lack."""

    def __missing__(self, sign: int) -> str:
        character = chr(sign)
        shown = (character if sign in _known_signs() else "□") if character.isprintable() else " "
        self[sign] = shown
        return shown


_SHOWN: Final = _Shown()


def printable(text: str) -> str:
    """Return text on one line, each sign that the faces lack replaced by an open box."""
    return text.translate(_SHOWN).strip()


#: Widths are measured once in this size; type grows in proportion, for nothing here is hinted [pt].
_MEASURED_PT: Final = 100.0
#: In which the library gives widths, to a dot.
_SUBPIXELS: Final = 64


@lru_cache(maxsize=4)
def _measured_font(is_serif: bool, is_bold: bool) -> FT2Font:
    weight = "bold" if is_bold else 400
    paths = [fontManager.findfont(FontProperties(family=name, weight=weight)) for name in (SERIF if is_serif else SANS)]
    return get_font(paths)


@lru_cache(maxsize=20_000)
def _advance(signs: str, is_serif: bool, is_bold: bool) -> float:
    """Return how far one or two signs move the pen, as a share of the size."""
    font = _measured_font(is_serif, is_bold)
    font.set_size(_MEASURED_PT, 72)  # at 72 dots to the inch a dot is a point; the drawing sets other sizes between
    font.set_text(signs, 0.0, flags=LoadFlags.NO_HINTING)
    width, _ = font.get_width_height()
    return float(width) / _SUBPIXELS / _MEASURED_PT


@lru_cache(maxsize=20_000)
def _step(sign: str, following: str, is_serif: bool, is_bold: bool) -> float:
    """Return how far a sign moves the pen before another: its width and the pair's kerning, as a share of the size."""
    return _advance(sign + following, is_serif, is_bold) - _advance(following, is_serif, is_bold)


@lru_cache(maxsize=20_000)
def _width_em(text: str, is_serif: bool, is_bold: bool) -> float:
    if len(text) < 2:
        return _advance(text, is_serif, is_bold) if text else 0.0
    steps = (_step(one, following, is_serif, is_bold) for one, following in pairwise(text))
    return sum(steps) + _advance(text[-1], is_serif, is_bold)


def text_width_pt(text: str, *, size_pt: float, is_serif: bool = False, is_bold: bool = False) -> float:
    """Return how wide a text will be set [pt]; each pair of signs is measured once, a text adds its pairs up."""
    return size_pt * _width_em(printable(text), is_serif, is_bold)


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
            further_pt = size_pt * _gap_em(line[-1][-1], word[0], is_serif, is_bold) + wide_pt
            if end_pt + further_pt <= width_pt and length + 1 + len(word) <= LONGEST_LINE:
                line.append(word)
                end_pt, length = end_pt + further_pt, length + 1 + len(word)
                continue
            lines.append(" ".join(line))
        line, end_pt, length = [word], wide_pt, len(word)
    return [*lines, " ".join(line)] if line else lines


def _gap_em(before: str, after: str, is_serif: bool, is_bold: bool) -> float:
    """Return how far a word stands from the one before it, as a share of the size: a space, moved by its neighbors."""
    toward = _step(before, " ", is_serif, is_bold) - _advance(before, is_serif, is_bold)
    return toward + _step(" ", after, is_serif, is_bold)


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


class _Line(Artist):
    """One line of words, handed to the renderer as it stands: its place is known, so nothing is measured again."""

    def __init__(self, at: tuple[float, float], words: str, font: FontProperties, ink: str, turn_deg: float) -> None:
        super().__init__()
        self.at, self.words, self.font, self.ink, self.turn_deg = at, words, font, ink, turn_deg

    def draw(self, renderer: Any) -> None:
        """Draw it."""
        x, y = self.get_transform().transform(self.at)
        if renderer.flipy():
            y = renderer.get_canvas_width_height()[1] - y
        context = renderer.new_gc()
        context.set_foreground(self.ink)
        renderer.draw_text(context, x, y, self.words, self.font, self.turn_deg)
        context.restore()


class Pen:
    """Draws on one page; x from the left and y from the bottom, both in points.

    Parameters
    ----------
    grow
        All is drawn so many times larger than its points, type and lines too: for a sheet read from farther off.
    """

    def __init__(self, size_pt: tuple[float, float], *, grow: float = 1.0) -> None:
        self.size_pt, self._grow = size_pt, grow
        self.figure = Figure(figsize=(size_pt[0] * grow / 72, size_pt[1] * grow / 72))
        self.figure.patch.set_facecolor("white")  # the paper itself: no ink is spent on a ground
        self._axes: Axes = self.figure.add_axes((0, 0, 1, 1))
        self._axes.set_axis_off()
        self._axes.set_xlim(0, size_pt[0])
        self._axes.set_ylim(0, size_pt[1])
        self._order = 0

    def _next(self) -> int:
        self._order += 1
        return self._order

    def path(self, outline: Outline, *, clip: Outline | None = None, **style: Any) -> None:
        """Draw an outline; ``style`` as of a matplotlib patch."""
        look = {"facecolor": "none", "edgecolor": "none", "linewidth": 1.0, **style}
        patch = PathPatch(outline, zorder=self._next(), **look | {"linewidth": look["linewidth"] * self._grow})
        self._axes.add_artist(patch)  # not add_patch: the page's limits stand, no outline is measured for them
        patch.set_clip_path(None if clip is None else PathPatch(clip, transform=self._axes.transData))

    def box(self, left: float, bottom: float, width: float, height: float, **style: Any) -> None:
        """Draw a rectangle."""
        look = {"facecolor": "none", "edgecolor": "none", "linewidth": 0.6, **style}
        look["linewidth"] *= self._grow
        self._axes.add_artist(Rectangle((left, bottom), width, height, zorder=self._next(), **look))

    def rule(self, points: Sequence[tuple[float, float]], width: float = 0.5, **style: Any) -> None:
        """Draw a line through points."""
        self.path(Outline(points), linewidth=width, **{"edgecolor": INK, **style})

    def picture(self, image: np.ndarray[Any, Any], box: tuple[float, float, float, float]) -> None:
        """Lay an RGBA picture over a rectangle (left, bottom, right, top)."""
        left, bottom, right, top = box
        self._axes.imshow(
            image, extent=(left, right, bottom, top), aspect="auto", zorder=self._next(), interpolation="bilinear"
        )
        self._axes.set_xlim(0, self.size_pt[0])
        self._axes.set_ylim(0, self.size_pt[1])

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
        font = face(is_serif, size_pt, is_bold)
        turned = Affine2D().rotate_deg(turn_deg).translate(x, y)
        wide_pt = 0.0 if align == "left" else text_width_pt(words, size_pt=size_pt, is_serif=is_serif, is_bold=is_bold)
        start = {"left": 0.0, "center": -0.5, "right": -1.0}[align] * wide_pt
        if halo_pt:
            # The halo is drawn as outlines below, the words themselves stay text that can be picked and searched.
            self.path(
                TextPath((start, 0), words, prop=font).transformed(turned),
                facecolor=PAPER, edgecolor=PAPER, linewidth=2 * halo_pt, joinstyle="round",
            )  # fmt: skip
        set_in = face(is_serif, size_pt * self._grow, is_bold)
        line = _Line(tuple(turned.transform((start, 0.0))), words, set_in, ink, turn_deg)
        line.set_zorder(self._next())
        self._axes.add_artist(line)

    def block(self, x: float, top: float, lines: Sequence[str], *, size_pt: float, is_bold: bool = False) -> float:
        """Set lines of the serif downward from ``top`` and return where they end."""
        y = top
        for line in lines:
            self.text(x, y - 0.82 * size_pt, line, size_pt=size_pt, is_serif=True, is_bold=is_bold)
            y -= LEADING * size_pt
        return y
