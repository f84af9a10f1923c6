"""The faces of every paper, which come with the package so that each machine draws the same: signs, widths, files."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any, Final

from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFont

#: Kinds of signs (Unicode, annex 9) that are written from right to left: Hebrew and the like, and Arabic.
_LEFTWARD: Final = frozenset({"R", "AL"})
_FOLDER: Final = Path(__file__).parent.parent / "fonts"
#: Files (without ``.ttf``) of serif and sans, plain and bold: a sign is set in the first that has it. The plain sans
#: knows most scripts, so it stands last everywhere.
_FACES: Final = {
    (True, False): ("STIXGeneral", "DejaVuSerif", "DejaVuSans"),
    (True, True): ("STIXGeneralBol", "DejaVuSerif-Bold", "DejaVuSans-Bold", "DejaVuSans"),
    (False, False): ("DejaVuSans",),
    (False, True): ("DejaVuSans-Bold", "DejaVuSans"),
}


@lru_cache(maxsize=8)
def font(name: str) -> TTFont:
    """Return a face, read once and known to the library by its file's name."""
    loaded = TTFont(name, str(_FOLDER / f"{name}.ttf"))
    registerFont(loaded)
    return loaded


def is_known(sign: str) -> bool:
    """Tell whether there is a drawing of a sign."""
    return ord(sign) in font("DejaVuSans").face.charToGlyph


@lru_cache(maxsize=20_000)
def face_of(sign: str, is_serif: bool, is_bold: bool) -> str:
    """Return the name of the face that a sign is set in."""
    names = _FACES[is_serif, is_bold]
    return next((name for name in names if ord(sign) in font(name).face.charToGlyph), names[-1])


@lru_cache(maxsize=20_000)
def advance_em(sign: str, is_serif: bool, is_bold: bool) -> float:
    """Return how far a sign moves the pen, as a share of the size: the width that the PDF declares for it."""
    width: float = font(face_of(sign, is_serif, is_bold)).face.getCharWidth(ord(sign))
    return width / 1000


@lru_cache(maxsize=2_000)
def as_set(words: str) -> str:
    """Return words in the order in which they are set from left to right, each sign in the shape it has there."""
    if words.isascii() or not any(unicodedata.bidirectional(sign) in _LEFTWARD for sign in words):
        return words
    from arabic_reshaper import reshape
    from bidi import get_display

    return str(get_display(reshape(words)))


def runs(words: str, is_serif: bool, is_bold: bool) -> Iterator[tuple[str, str]]:
    """Yield words as they are set, parted by the face that they are set in, each with its name."""
    for name, signs in groupby(as_set(words), key=lambda sign: face_of(sign, is_serif, is_bold)):
        yield name, "".join(signs)


# --- letters as outlines ------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def _outlines(face: str) -> Any:
    from fontTools.ttLib import TTFont as Outlines  # only where letters are drawn, not set

    return Outlines(_FOLDER / f"{face}.ttf", lazy=True)


def units_per_em(face: str) -> int:
    """Return how many units of a face's outlines are its size."""
    return int(_outlines(face)["head"].unitsPerEm)


def sign_way(face: str, sign: str) -> str:
    """Return the outline of a sign as an SVG path, y up, in the face's own units; empty where it has no ink."""
    from fontTools.pens.svgPathPen import SVGPathPen

    glyphs = _outlines(face).getGlyphSet()
    pen = SVGPathPen(glyphs)
    glyphs[_outlines(face).getBestCmap().get(ord(sign), ".notdef")].draw(pen)
    return str(pen.getCommands())
