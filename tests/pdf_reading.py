"""PDFs read back with poppler's programs; a test that calls these carries the mark ``poppler``."""

from __future__ import annotations

import re
import subprocess
import zlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


def pdf_text(path: Path, *options: str) -> str:
    """Return the words of a PDF as ``pdftotext`` prints them."""
    return _told("pdftotext", *options, path, "-")


def pdf_words(path: Path, *options: str) -> str:
    """Return the words of a PDF in one line, one blank between them."""
    return " ".join(pdf_text(path, *options).split())


def pdf_info(path: Path) -> str:
    """Return what ``pdfinfo`` says of a PDF: pages, page size, title."""
    return _told("pdfinfo", path)


def pdf_fonts(path: Path) -> list[str]:
    """Return one line a font from ``pdffonts``, without its heading."""
    return _told("pdffonts", path).splitlines()[2:]


def pdf_streams(path: Path) -> list[str]:
    """Return the page contents of a PDF, unpacked by its own rules (ISO 32000-1, 7.3.8): no habmap code in it."""
    found = []
    for match in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", path.read_bytes(), re.DOTALL):
        try:
            text = zlib.decompress(match[1])
        except zlib.error:
            continue
        if b" re\n" in text or b" m\n" in text:
            found.append(text.decode("latin-1"))
    return found


def closed_paths(path: Path) -> list[NDArray[np.float64]]:
    """Return the vertices of every path of a PDF made of straight lines only, in the page's own points."""
    number = r"-?[\d.]+"
    paths = [
        one
        for content in pdf_streams(path)
        for one in re.findall(rf"({number} {number} m\n(?:{number} {number} l\n)+)h", content)
    ]
    return [np.array([[float(part) for part in line.split()[:2]] for line in one.strip().split("\n")]) for one in paths]


def word_boxes(path: Path) -> list[tuple[tuple[float, float], list[tuple[str, tuple[float, float, float, float]]]]]:
    """Return each page's size and its words with their boxes (left, top, right, bottom from the top left) [pt]."""
    found = []
    for page in re.split(r"<page ", _told("pdftotext", "-bbox", path, "-"))[1:]:
        width, height = re.search(r'width="([\d.]+)" height="([\d.]+)"', page).groups()  # type: ignore[union-attr]
        side = r'="(-?[\d.]+)"'
        words = re.findall(rf"<word xMin{side} yMin{side} xMax{side} yMax{side}>(.*?)</word>", page)
        boxes = [(text, (float(a), float(b), float(c), float(d))) for a, b, c, d, text in words]
        found.append(((float(width), float(height)), boxes))
    return found


def _told(*command: str | Path) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout
