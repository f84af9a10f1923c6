"""Pen and type for a sheet of paper: everything in points from its lower left corner, every text measured first."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, fontManager, get_font
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.textpath import TextPath, text_to_path

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


def printable(text: str) -> str:
    """Return text on one line, each sign that the faces lack replaced by an open box."""
    known = _known_signs()
    shown = (character if character.isprintable() else " " for character in text)
    return "".join(character if ord(character) in known else "□" for character in shown).strip()


@lru_cache(maxsize=20_000)
def _width_pt(text: str, font: FontProperties) -> float:
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, False)
    return float(width)


def text_width_pt(text: str, *, size_pt: float, is_serif: bool = False, is_bold: bool = False) -> float:
    """Return how wide a text will be set [pt]."""
    return _width_pt(printable(text), face(is_serif, size_pt, is_bold))


def wrapped(text: str, width_pt: float, *, size_pt: float, is_serif: bool = True, is_bold: bool = False) -> list[str]:
    """Break a text into lines no wider than ``width_pt``; a word that is wider alone is broken within."""
    style = {"size_pt": size_pt, "is_serif": is_serif, "is_bold": is_bold}

    def fits(first: int, end: int) -> bool:
        line = " ".join(words[first:end])
        return len(line) <= LONGEST_LINE and text_width_pt(line, **style) <= width_pt  # type: ignore[arg-type]

    words = _words(text, width_pt, style)
    lines: list[str] = []
    first, usual = 0, 1
    while first < len(words):
        # From the last line's number of words to this one's: measuring is what breaking a text costs.
        end = min(first + usual, len(words))
        if fits(first, end):
            while end < len(words) and fits(first, end + 1):
                end += 1
        else:
            while end > first + 1 and not fits(first, end):
                end -= 1
        if end == first + 1 and not fits(first, end):
            word = words[first]
            while len(word) > 1 and (most := _fitting(word, width_pt, **style)) < len(word):  # type: ignore[arg-type]
                lines.append(word[:most])
                word = word[most:]
            words[first] = word  # what is left of it begins the next line
            if len(word) > 1 or fits(first, end):
                continue
        lines.append(" ".join(words[first:end]))
        first, usual = end, end - first
    return [line.replace(NO_BREAK, " ") for line in lines]


def _words(text: str, width_pt: float, style: dict[str, Any]) -> list[str]:
    """Return what a line may end behind; a figure and its unit count as one word where a line has room for both."""
    words: list[str] = []
    for word in unbroken(" ".join(printable(text).split())).split(" "):
        has_room = NO_BREAK not in word or text_width_pt(word, **style) <= width_pt
        words += [word] if has_room else word.split(NO_BREAK)
    return words


def at_most(count: int, lines: list[str]) -> list[str]:
    """Keep a name without end from pushing other things off the paper."""
    return lines if len(lines) <= count else [*lines[: count - 1], f"{lines[count - 1][:-2]}…"]


def whole_sentences(count: int, text: str, width_pt: float, *, size_pt: float) -> list[str]:
    """Wrap a text into no more lines than ``count``, without those of its last sentences that have no room."""
    sentences = text.strip().rstrip(".").split(". ")
    lines = wrapped(". ".join(sentences) + ".", width_pt, size_pt=size_pt)
    while len(lines) > count and len(sentences) > 1:
        sentences.pop()
        lines = wrapped(". ".join(sentences) + ".", width_pt, size_pt=size_pt)
    return at_most(count, lines)


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
    longest = min(len(text), LONGEST_LINE)
    style = {"size_pt": size_pt, "is_serif": is_serif, "is_bold": is_bold}
    return max(
        1,
        bisect_right(
            range(1, longest + 1),
            width_pt,
            key=lambda n: text_width_pt(text[:n], **style),  # type: ignore[arg-type]
        ),
    )


class Pen:
    """Draws on one page; x from the left and y from the bottom, both in points."""

    def __init__(self, size_pt: tuple[float, float]) -> None:
        self.size_pt = size_pt
        self.figure = Figure(figsize=(size_pt[0] / 72, size_pt[1] / 72))
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
        patch = PathPatch(outline, zorder=self._next(), **{"facecolor": "none", "edgecolor": "none", **style})
        self._axes.add_artist(patch)  # not add_patch: the page's limits stand, no outline is measured for them
        patch.set_clip_path(None if clip is None else PathPatch(clip, transform=self._axes.transData))

    def box(self, left: float, bottom: float, width: float, height: float, **style: Any) -> None:
        """Draw a rectangle."""
        self._axes.add_artist(
            Rectangle(
                (left, bottom), width, height,
                zorder=self._next(), **{"facecolor": "none", "edgecolor": "none", "linewidth": 0.6, **style},
            )
        )  # fmt: skip

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
        if halo_pt:
            # The halo is drawn as outlines below, the words themselves stay text that can be picked and searched.
            from matplotlib.transforms import Affine2D

            shift = {"left": 0.0, "center": -0.5, "right": -1.0}[align] * _width_pt(words, font)
            place = Affine2D().translate(shift, 0).rotate_deg(turn_deg).translate(x, y)
            self.path(
                TextPath((0, 0), words, prop=font).transformed(place),
                facecolor=PAPER, edgecolor=PAPER, linewidth=2 * halo_pt, joinstyle="round",
            )  # fmt: skip
        self._axes.text(
            x, y, words, fontproperties=font, color=ink, ha=align, va="baseline", rotation=turn_deg,
            rotation_mode="anchor", zorder=self._next(), parse_math=False,
        )  # fmt: skip

    def block(self, x: float, top: float, lines: Sequence[str], *, size_pt: float, is_bold: bool = False) -> float:
        """Set lines of the serif downward from ``top`` and return where they end."""
        y = top
        for line in lines:
            self.text(x, y - 0.82 * size_pt, line, size_pt=size_pt, is_serif=True, is_bold=is_bold)
            y -= LEADING * size_pt
        return y
