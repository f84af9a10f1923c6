"""What a paper's file holds beside its drawing, its pictures and outlines, and the same drawing as SVG."""

from __future__ import annotations

import io
import math
import re
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from pdf_reading import drawn_paths, pdf_fonts, pdf_info, pdf_streams, pdf_words
from PIL import Image

from habmap.show.sheet.marks import svg_outline
from habmap.show.sheet.outline import Outline
from habmap.show.sheet.pdf import pdf_of
from habmap.show.sheet.pen import Pen, text_width_pt
from habmap.show.sheet.svg import svg_of

SVG = "{http://www.w3.org/2000/svg}"


def jpeg() -> bytes:
    buffer = io.BytesIO()
    noise = np.random.default_rng(3).integers(0, 255, (40, 60, 3)).astype(np.uint8)
    Image.fromarray(noise).save(buffer, "jpeg")
    return buffer.getvalue()


def drawn() -> list[Pen]:
    first, second = Pen((300, 200), name="Ground"), Pen((300, 200))
    first.picture(jpeg(), (10, 10, 70, 50))
    first.picture(np.full((4, 4, 4), 90, np.uint8), (80, 10, 120, 50))
    first.text(20, 150, "Otter Creek", size_pt=12, is_serif=True, halo_pt=1.5)
    first.text(20, 100, "№ 7, ½ acre →", size_pt=12)
    first.rule([(20, 60), (120, 60)], 2.0, edgecolor="0.5", dash=(4, 2), alpha=0.5)
    second.box(20, 20, 100, 50, facecolor="#89a782", edgecolor="black")
    return [first, second]


@pytest.mark.poppler
def test_a_file_tells_its_title_its_language_and_its_pages_but_no_author_and_no_time(tmp_path: Path) -> None:
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf_of(drawn(), title="Cañon place: map", creator="habmap sheet for the owner"))
    told = pdf_info(path)
    assert re.search(r"^Title: +Cañon place: map$", told, re.MULTILINE)
    assert re.search(r"^Pages: +2$", told, re.MULTILINE)
    assert not re.search("Author|Date|Subject|Keywords", told)
    content = path.read_bytes()
    assert b"/Lang (en-US)" in content
    assert content.count(b"/Title (Ground)") == 1  # its bookmark; the page without a name has none
    assert all(" yes yes yes " in font for font in pdf_fonts(path))  # embedded, as a subset, its signs known as text
    assert len(pdf_fonts(path)) == 2
    assert pdf_of(drawn(), title="Cañon place: map", creator="habmap sheet for the owner") == content


@pytest.mark.poppler
def test_a_photo_goes_in_as_it_is_and_words_with_a_halo_are_read_once(tmp_path: Path) -> None:
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf_of(drawn(), title="x"))
    assert jpeg() in path.read_bytes()
    words = pdf_words(path)
    assert words.count("Otter Creek") == 1
    # Poppler drops words that lie on themselves, others do not: the halo is told to be no text (ISO 32000-1, 14.9.4).
    content = pdf_streams(path)[0]
    assert content.count("(Otter Creek) Tj") == 2
    assert (
        re.sub(r"/Span <</ActualText <FEFF>>> BDC.*?EMC", "", content, flags=re.DOTALL).count("(Otter Creek) Tj") == 1
    )
    assert "№ 7, ½ acre →" in words


@pytest.mark.poppler
def test_holes_stay_open_and_lines_are_lines(tmp_path: Path) -> None:
    """A square with a hole, and a line: seen by poppler at the middle of each."""
    square = shapely.box(10, 10, 90, 90) - shapely.box(30, 30, 70, 70)
    ring = shapely.LineString([(110, 10), (190, 10), (150, 90), (110, 10)])
    outline = Outline.of(shapely.GeometryCollection([square, ring, shapely.Point(5, 5)]))
    assert outline is not None
    assert Outline.of(shapely.MultiPoint([(1, 1), (2, 2)])) is None and Outline.of(shapely.Polygon()) is None
    pen = Pen((200, 100))
    pen.path(outline, facecolor="black")
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf_of([pen], title="x"))
    subprocess.run(["pdftoppm", "-r", "72", "-gray", path, tmp_path / "page"], check=True)
    page = np.asarray(Image.open(next(tmp_path.glob("page*.pgm"))))
    assert page[100 - 50, 50] == 255 and page[100 - 20, 20] == 0 and page[100 - 40, 150] == 0 and page[5, 199] == 255


def test_a_circle_is_round_and_turns_as_angles_do() -> None:
    circle = Outline.circle((30, 40), 10)
    ends = circle.vertices[::3]
    assert np.hypot(*(ends - (30, 40)).T) == pytest.approx(10)
    # The middle of each of its four curves too, by the polynomial itself.
    for start in range(0, 12, 3):
        middle = np.array([1, 3, 3, 1]) / 8 @ circle.vertices[start : start + 4]
        assert np.hypot(*(middle - (30, 40))) == pytest.approx(10, rel=3e-4)
    tip = Outline.through([(0, 0), (1, 0)]).turned(30).moved(2, 3).vertices[1]
    assert tip == pytest.approx((2 + math.cos(math.pi / 6), 3.5))


@pytest.mark.poppler
def test_svg_and_pdf_hold_the_same_lines(tmp_path: Path) -> None:
    pen = Pen((200, 100))
    pen.path(svg_outline("M10,20h40v30l-20,5z"), facecolor="#3c4a3f", edgecolor="black", linewidth=1.5)
    pen.rule([(20, 80), (150, 60), (180, 90)], 2.0, dash=(4, 2))
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf_of([pen], title="x"))
    ways = [one.attrib["d"] for one in ElementTree.fromstring(svg_of(pen)).iter(f"{SVG}path")]
    for way, other in zip(ways, drawn_paths(path), strict=True):
        points = np.array([[float(part) for part in point.split()] for point in re.findall(r"[ML]([^MLZ]+)", way)])
        points[:, 1] = 100 - points[:, 1]
        assert points == pytest.approx(other.points[: len(points)], abs=0.01)


def test_letters_of_an_svg_are_outlines_as_wide_as_on_paper() -> None:
    pen = Pen((200, 100))
    pen.text(20, 50, "Łąka <7№", size_pt=10, is_serif=True, is_bold=True, halo_pt=1)
    root = ElementTree.fromstring(svg_of(pen))
    assert not list(root.iter(f"{SVG}text"))
    signs = {one.attrib["id"]: one.attrib["d"] for one in root.iter(f"{SVG}path")}
    halo, line = root.findall(f"{SVG}g")
    uses = list(line.iter(f"{SVG}use"))
    assert len(uses) == len("Łąka<7№") == len(list(halo.iter(f"{SVG}use")))
    assert all(signs[one.attrib["href"][1:]].startswith("M") for one in uses)
    grown = float(re.findall(r"scale\(([\d.]+)", line[-1].attrib["transform"])[0])
    right = text_width_pt("Łąka <7", size_pt=10, is_serif=True, is_bold=True)
    assert float(uses[-1].attrib["x"]) * grown == pytest.approx(right, abs=0.01)
