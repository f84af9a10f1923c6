"""Drawn pages as one PDF: vector, its words text in faces that it carries, the same bytes for the same drawing."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import Any, Final

from PIL import Image
from reportlab import rl_config
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFInfo, PDFString
from reportlab.pdfgen.canvas import Canvas

from habmap.show.palette import PAPER
from habmap.show.sheet.faces import font, runs
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pen import Pen, Picture, Stroke, Words

rl_config.useA85 = 0  # streams as bytes, not as letters

#: Path operators (ISO 32000-1, 8.5.2), by what an outline's pen does at a vertex.
_WAYS: Final = ("%.3f %.3f m\n", "%.3f %.3f l\n", "%.3f %.3f ", "%.3f %.3f ", "%.3f %.3f c\n", "h\n")
_CAPS: Final = {"butt": 0, "round": 1, "projecting": 2}
_JOINS: Final = {"miter": 0, "round": 1, "bevel": 2}


class _Info(PDFInfo):  # type: ignore[misc]
    """What the file says of itself: no author, and no time, which would make two of the same drawing differ."""

    def format(self, document: Any) -> Any:
        """Return the entries as PDF."""
        told = {"Title": self.title, "Creator": self.creator, "Producer": self.producer}
        return PDFDictionary({key: PDFString(words) for key, words in told.items()}).format(document)


def pdf_of(pens: Sequence[Pen], *, title: str, creator: str = "habmap") -> bytes:
    """Return drawn pages as a PDF, each with a bookmark where it has a name."""
    buffer = io.BytesIO()
    first = font("DejaVuSans").fontName
    canvas = Canvas(buffer, pageCompression=1, invariant=1, initialFontName=first, lang="en-US")
    canvas._doc.info = _Info()
    canvas._doc.Reference(canvas._doc.info)  # among the first: what the file is stands near its beginning
    canvas.setTitle(title)
    canvas.setCreator(creator)
    for number, pen in enumerate(pens):
        canvas.setPageSize((pen.size_pt[0] * pen.grow, pen.size_pt[1] * pen.grow))
        for one in pen.drawn:
            if isinstance(one, Stroke):
                _stroke(canvas, one, pen.grow)
            elif isinstance(one, Words):
                _words(canvas, one, pen.grow)
            else:
                _picture(canvas, one, pen.grow)
        if pen.name:
            canvas.bookmarkPage(str(number))
            canvas.addOutlineEntry(pen.name, str(number))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _ways(outline: Outline, k: float) -> str:
    return (outline if k == 1 else outline.scaled(k, k)).written(_WAYS)


def _ink(color: str, operators: tuple[str, str]) -> str:
    """Return the operation that takes an ink: a gray as gray."""
    red, green, blue = (part / 255 for part in bytes.fromhex(color[1:]))
    gray, rgb = operators
    return f"{red:.4g} {gray}\n" if red == green == blue else f"{red:.4g} {green:.4g} {blue:.4g} {rgb}\n"


def _stroke(canvas: Canvas, one: Stroke, k: float) -> None:
    has_line = one.ink is not None and one.width_pt > 0
    if one.fill is None and not has_line:
        return
    canvas.saveState()
    if one.alpha < 1:
        canvas.setStrokeAlpha(one.alpha)
        canvas.setFillAlpha(one.alpha)
    code = f"{_ways(one.clip, k)}W n\n" if one.clip is not None else ""
    if one.fill is not None:
        code += _ink(one.fill, ("g", "rg"))
    if has_line and one.ink is not None:
        code += f"{one.width_pt * k:.4g} w {_CAPS[one.cap]} J {_JOINS[one.join]} j\n{_ink(one.ink, ('G', 'RG'))}"
        if one.dash_pt:
            code += f"[{' '.join(f'{step * k:.4g}' for step in one.dash_pt)}] 0 d\n"
    paint = "S" if one.fill is None else "B" if has_line else "f"
    canvas.addLiteral(f"{code}{_ways(one.outline, k)}{paint}")
    canvas.restoreState()


def _words(canvas: Canvas, one: Words, k: float) -> None:
    if one.halo_pt:
        _set(
            canvas,
            one,
            k,
            PAPER,
            read="",
            mode=2,
            before=f"{2 * one.halo_pt * k:.4g} w 1 j\n{_ink(PAPER, ('G', 'RG'))}",
        )
    # The library tells what its signs are in the first plane only.
    _set(canvas, one, k, one.ink, read=one.words if max(one.words) > "\uffff" else None)


def _set(canvas: Canvas, one: Words, k: float, ink: str, *, read: str | None, mode: int = 0, before: str = "") -> None:
    """Set words in an ink; ``read``: what a program that reads the page is told instead of them (14.9.4)."""
    cos, sin = math.cos(math.radians(one.turn_deg)), math.sin(math.radians(one.turn_deg))
    text = canvas.beginText()
    text.setTextTransform(cos, sin, -sin, cos, one.at[0] * k, one.at[1] * k)
    text.setTextRenderMode(mode)
    for face, signs in runs(one.words, one.is_serif, one.is_bold):
        text.setFont(font(face).fontName, one.size_pt * k)
        text.textOut(signs)
    canvas.saveState()
    if read is not None:
        canvas.addLiteral(f"/Span <</ActualText <FEFF{read.encode('utf-16-be').hex()}>>> BDC")
    canvas.addLiteral(f"{before}{_ink(ink, ('g', 'rg'))}")
    canvas.drawText(text)
    if read is not None:
        canvas.addLiteral("EMC")
    canvas.restoreState()


def _picture(canvas: Canvas, one: Picture, k: float) -> None:
    left, bottom, right, top = (side * k for side in one.box)
    source = io.BytesIO(one.image) if isinstance(one.image, bytes) else Image.fromarray(one.image)
    canvas.drawImage(ImageReader(source), left, bottom, right - left, top - bottom, mask="auto")
