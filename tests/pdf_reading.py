"""PDFs read back with poppler's programs; a test that calls these carries the mark ``poppler``."""

from __future__ import annotations

import re
import subprocess
import zlib
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

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
    content = path.read_bytes()
    for match in re.finditer(rb"/Length (\d+)[^>]*>>\s*stream\r?\n", content):
        try:
            text = zlib.decompress(content[match.end() : match.end() + int(match[1])])
        except zlib.error:
            continue
        if b" Tf" in text or b" m\n" in text:
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


@dataclass(frozen=True)
class DrawnPath:
    """A path as ``pdftocairo`` found it on a page: points from its lower left corner, inks from 0 to 1."""

    points: NDArray[np.float64]
    is_curved: bool
    fill: tuple[float, ...] | None
    ink: tuple[float, ...] | None
    width_pt: float
    is_dashed: bool

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of its points."""
        across, up = np.ptp(self.points, axis=0).tolist()
        return across, up

    @property
    def is_box(self) -> bool:
        """Whether it is a rectangle that lies square on the page."""
        corners = {tuple(point) for point in np.round(self.points, 3).tolist()}
        sides = [{corner[axis] for corner in corners} for axis in (0, 1)]
        return not self.is_curved and len(corners) == 4 and len(sides[0]) == len(sides[1]) == 2


def drawn_paths(path: Path) -> list[DrawnPath]:
    """Return all that is drawn on the first page but its words, in its order; of a curve only the ends of its parts."""
    root = ElementTree.fromstring(_told("pdftocairo", "-svg", "-f", "1", "-l", "1", path, "-"))
    height = float(root.attrib["viewBox"].split()[3])
    found = []
    for element in root.iter("{http://www.w3.org/2000/svg}path"):
        style = dict(part.strip().split(":") for part in element.get("style", "").split(";") if ":" in part)
        if not style or not element.attrib["d"]:
            continue  # a sign of a face, or what something is clipped to
        steps = re.findall(r"([MLCZ])([^MLCZ]*)", element.attrib["d"])
        ends = [[float(part) for part in figures.split()][-2:] for letter, figures in steps if letter != "Z"]
        ends = ends[:-1] if [letter for letter, _ in steps[-2:]] == ["Z", "M"] else ends
        points = np.array(ends)
        if "transform" not in element.attrib:  # a fill alone is written with y down
            points[:, 1] = height - points[:, 1]
        found.append(
            DrawnPath(
                points=points,
                is_curved=any(letter == "C" for letter, _ in steps),
                fill=_rgb(style.get("fill", "none")),
                ink=_rgb(style.get("stroke", "none")),
                width_pt=float(style.get("stroke-width", 0)),
                is_dashed="stroke-dasharray" in style,
            )
        )
    return found


def _rgb(color: str) -> tuple[float, ...] | None:
    return None if color == "none" else tuple(float(part) / 100 for part in re.findall(r"([\d.]+)%", color))


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
