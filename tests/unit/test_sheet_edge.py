"""A sheet's edge: corners and UTM ticks against PROJ, and type that grows with the paper."""

from __future__ import annotations

import math
import re
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fakes import GRID
from label_places import NOW, steep, winding
from pdf_reading import pdf_streams, pdf_words
from pyproj import Geod

from habmap.jobs.sheet import write_sheet
from habmap.land.declination import Declination, declination
from habmap.show.sheet import sheet as sheet_module
from habmap.show.sheet.edge_figures import EdgeFigures, degrees_words, figures_around, utm_zone
from habmap.show.sheet.map import Frame
from habmap.show.sheet.margin import draw_scale, magnetic_words, north_words, scale_words, strip_pt
from habmap.show.sheet.pen import Pen

FRAME = Frame(left=30.0, bottom=80.0, width=560.0, height=430.0, scale=12_000, middle_xy=(400.0, -250.0), grid=GRID)


def _at(frame: Frame, x: float, y: float) -> tuple[float, float]:
    """Longitude and latitude of a point of the page, by geodesics from the frame's middle (no grid of ours)."""
    east = (x - frame.left - frame.width / 2) / frame.pt_per_ground_m
    north = (y - frame.bottom - frame.height / 2) / frame.pt_per_ground_m
    turn = frame.grid.convergence_deg(*frame.middle_lonlat)
    way = math.degrees(math.atan2(east, north)) + turn
    lon, lat, _ = Geod(ellps="WGS84").fwd(*frame.middle_lonlat, way, math.hypot(east, north))
    return lon, lat


def _utm_14_north(lon_deg: float, lat_deg: float) -> tuple[float, float]:
    """Easting and northing of zone 14 by the series of Snyder 1987 (Professional Paper 1395), equations 8-9, 8-10."""
    a, e2, k0 = 6378137.0, 0.00669437999014, 0.9996
    lat, lon = math.radians(lat_deg), math.radians(lon_deg + 99)
    ep2 = e2 / (1 - e2)
    n = a / math.sqrt(1 - e2 * math.sin(lat) ** 2)
    t, c, big = math.tan(lat) ** 2, ep2 * math.cos(lat) ** 2, math.cos(lat) * lon
    m = a * (
        (1 - e2 / 4 - 3 * e2**2 / 64 - 5 * e2**3 / 256) * lat
        - (3 * e2 / 8 + 3 * e2**2 / 32 + 45 * e2**3 / 1024) * math.sin(2 * lat)
        + (15 * e2**2 / 256 + 45 * e2**3 / 1024) * math.sin(4 * lat)
        - 35 * e2**3 / 3072 * math.sin(6 * lat)
    )
    east = k0 * n * (big + (1 - t + c) * big**3 / 6 + (5 - 18 * t + t**2 + 72 * c - 58 * ep2) * big**5 / 120)
    north = k0 * (
        m
        + n * math.tan(lat) * (big**2 / 2 + (5 - t + 9 * c + 4 * c**2) * big**4 / 24
                               + (61 - 58 * t + t**2 + 600 * c - 330 * ep2) * big**6 / 720)
    )  # fmt: skip
    return east + 500_000, north


def test_ticks_stand_where_the_utm_grid_crosses_the_frame() -> None:
    around = figures_around(FRAME)
    step = int(re.search(r"every ([\d,]+) m", around.words)[1].replace(",", ""))  # type: ignore[index]
    assert around.words.startswith("Ticks: UTM zone 14N, every ")
    assert len(around.ticks) >= 8
    for (x, y), (inner_x, _) in around.ticks:
        is_easting = abs(inner_x - x) < 1e-6
        value = _utm_14_north(*_at(FRAME, x, y))[0 if is_easting else 1]
        off_m = abs(value - round(value / step) * step)
        assert off_m * FRAME.pt_per_ground_m < 0.5  # half a point of the paper
    assert any(words.endswith("E") and "," in words for *_, words in around.told)


def test_corners_are_told_to_the_second() -> None:
    told = [words for *_, words in figures_around(FRAME).told if "°" in words]
    corners = [(30, 80), (590, 80), (30, 510), (590, 510)]
    assert len(told) == 4
    for words, (x, y) in zip(told, corners, strict=True):
        parts = [int(part) for part in re.findall(r"\d+", words)]
        lat, lon = (d + m / 60 + s / 3600 for d, m, s in (parts[:3], parts[3:]))
        assert [-lon, lat] == pytest.approx(_at(FRAME, x, y), abs=0.6 / 3600)


def test_angles_carry_over() -> None:
    assert degrees_words(36.999999, "NS") == "37°00′00″N"
    assert degrees_words(-98.5042, "EW") == "98°30′15″W"
    assert utm_zone(-98.0, 38.0) == (14, "N")
    assert utm_zone(180.0, -5.0) == (1, "S")


def test_a_convergence_that_no_compass_shows_is_not_told() -> None:
    assert north_words(0.3) == north_words(-0.49) == "True north is up."
    assert "0.62° left" in north_words(0.62)


def test_magnetic_north_is_told_with_side_model_and_change_or_not_at_all() -> None:
    day, plain = date(2026, 9, 1), {"sd_deg": 0.36, "change_deg_per_year": -0.072, "model": "WMM2025"}
    east, west, none = (
        magnetic_words(Declination(east_deg=value, **plain), day)  # type: ignore[arg-type]
        for value in (2.24, -11.06, -0.04)
    )
    assert east == "Magnetic north on Sep 1, 2026: 2.2° ± 0.4° east of it, moving 0.07° west a year (WMM2025)."
    assert "11.1° ± 0.4° west of it" in west
    assert "0.0° ± 0.4°, moving" in none  # on neither side
    assert "-" not in west
    late = magnetic_words(None, date(2031, 5, 1))
    assert "May 1, 2031 is not known here" in late
    assert "2015 to 2029" in late
    assert re.search(r"\d°", late) is None
    assert "magnetic pole" in magnetic_words(None, day)


def test_the_needle_is_drawn_where_the_model_says(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[Any] = []
    monkeypatch.setattr(Pen, "path", lambda self, outline, **style: drawn.append(np.asarray(outline.vertices)))
    words = scale_words(FRAME.scale, GRID, FRAME.middle_lonlat, day=NOW.date())
    for day in (None, NOW.date()):
        drawn.clear()
        draw_scale(Pen((612, 792)), FRAME, left=30, right=430, top=80, told=words, day=day)
        needles = [way for way in drawn if len(way) == 3]
        assert len(needles) == (day is not None)
    ((foot, tip, _),) = needles
    found = declination(*FRAME.middle_lonlat, NOW.date())
    assert found is not None
    leaning_deg = math.degrees(math.atan2(tip[0] - foot[0], tip[1] - foot[1]))
    assert leaning_deg == pytest.approx(found.east_deg - GRID.convergence_deg(*FRAME.middle_lonlat), abs=1e-6)
    top, low = 80.0, 80.0 - strip_pt(words, 400)
    assert low < foot[1] < tip[1] < top - 1


@pytest.mark.poppler
def test_the_sheet_tells_where_a_compass_points_on_its_day(tmp_path: Path) -> None:
    write_sheet(winding(), target=tmp_path / "a.pdf", folder=tmp_path, now=NOW, paper="letter")
    found = declination(GRID.lon, GRID.lat, NOW.date())
    assert found is not None
    assert f"Magnetic north on Sep 1, 2026: {found.east_deg:.1f}° ± " in pdf_words(tmp_path / "a.pdf")


@pytest.mark.poppler
@pytest.mark.parametrize("place", [winding, steep])
def test_type_and_bars_grow_with_the_paper(place: Any, tmp_path: Path) -> None:
    """Read off the finished PDF: the smallest letters on A3 are capitals of 7 minutes of arc from five feet."""
    least = {}
    for paper in ("letter", "tabloid", "a4", "a3"):
        path = tmp_path / f"{paper}.pdf"
        write_sheet(place(), target=path, folder=tmp_path, now=NOW, paper=paper)  # type: ignore[arg-type]
        assert "UTM zone 14N" in pdf_words(path)
        text = "".join(pdf_streams(path))
        least[paper] = min(float(size) for size in re.findall(r"/F\S+ ([\d.]+) Tf", text))
    assert least["letter"] == least["a4"] == 9.0
    assert least["a3"] == pytest.approx(9 * math.sqrt(2), abs=0.01)
    for paper in ("tabloid", "a3"):
        capital_mm = least[paper] * 0.72 * 25.4 / 72  # capitals of both faces are 0.66 to 0.73 of their size
        minutes = math.degrees(capital_mm / (60 * 25.4)) * 60
        assert minutes > 7


def test_words_of_the_map_keep_off_the_figures(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept: list[tuple[Any, EdgeFigures]] = []
    real = sheet_module.figures_around
    monkeypatch.setattr(sheet_module, "figures_around", lambda frame: kept.append((frame, real(frame))) or kept[-1][1])
    write_sheet(winding(), target=tmp_path / "a.pdf", folder=tmp_path, now=NOW, paper="letter")
    ((frame, around),) = kept
    left, bottom, right, top = frame.box
    assert around.told
    for box in around.boxes:
        assert box[0] >= left and box[1] >= bottom and box[2] <= right and box[3] <= top
        for other in around.boxes:
            apart = box[2] <= other[0] or other[2] <= box[0] or box[3] <= other[1] or other[3] <= box[1]
            assert other is box or other == box or apart
