"""The small map: which quadrangle ground lies in, and where in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fakes import GRID
from label_places import NOW, steep
from pdf_reading import pdf_words
from shapely import box

from habmap.jobs.sheet import write_sheet
from habmap.land.grid import LocalGrid
from habmap.show.sheet.locator import Locator
from habmap.show.sheet.pen import Pen

HERE = LocalGrid(lon=-96.32, lat=37.06)


def test_the_quadrangle_is_named_by_its_corners() -> None:
    # 7.5 minutes are 0.125°: 37.06 lies between 37.000 and 37.125, 96.32 between 96.250 and 96.375.
    words = Locator.among_degrees(HERE, box(-96.33, 37.05, -96.31, 37.07)).words
    assert "in the 7.5-minute quadrangle from 37°00′00″N to 37°07′30″N and from 96°22′30″W to 96°15′00″W" in words


def test_ground_across_a_line_lies_in_both_and_wide_ground_in_a_wider_net() -> None:
    two = Locator.among_degrees(HERE, box(-96.38, 37.05, -96.36, 37.07)).words
    assert "7.5-minute quadrangles from 37°00′00″N to 37°07′30″N and from 96°30′00″W to 96°15′00″W" in two
    wide = Locator.among_degrees(HERE, box(-96.5, 36.9, -96.2, 37.2)).words  # 18 minutes: three cells of 7.5
    assert "15-minute quadrangles from 36°45′00″N to 37°15′00″N and from 96°30′00″W to 96°00′00″W" in wide
    huge = Locator.among_degrees(HERE, box(-99.2, 35.2, -96.2, 37.9)).words
    assert "2-degree quadrangles from 34°00′00″N to 38°00′00″N and from 100°00′00″W to 96°00′00″W" in huge
    south = Locator.among_degrees(LocalGrid(lon=149.1, lat=-35.3), box(149.09, -35.31, 149.11, -35.29)).words
    assert "from 35°22′30″S to 35°15′00″S and from 149°00′00″E to 149°07′30″E" in south


def test_the_ground_is_drawn_where_it_lies_among_the_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[tuple[np.ndarray[Any, Any], dict[str, Any]]] = []
    monkeypatch.setattr(Pen, "path", lambda self, way, **style: drawn.append((np.asarray(way.vertices), style)))
    own = box(-96.33, 37.05, -96.31, 37.07)
    Locator.among_degrees(HERE, own).draw(Pen((200, 200)), 50, 60, side_pt=48)
    lines = [way for way, style in drawn if "facecolor" not in style and len(way) == 2]
    west, east, low, high = lines[0][:, 0].mean(), lines[1][:, 0].mean(), lines[2][:, 1].mean(), lines[3][:, 1].mean()
    (ground,) = [way for way, style in drawn if style.get("facecolor")]
    x, y = ground[:-1].mean(axis=0)
    assert (x - west) / (east - west) == pytest.approx((96.375 - 96.32) / 0.125, abs=0.01)
    assert (y - low) / (high - low) == pytest.approx((37.06 - 37.0) / 0.125, abs=0.01)
    every = np.vstack([way for way, _ in drawn])
    assert every.min(axis=0)[0] >= 50 - 1e-6 and every.max(axis=0)[0] <= 98 + 1e-6
    assert every.min(axis=0)[1] >= 60 - 1e-6 and every.max(axis=0)[1] <= 108 + 1e-6


@pytest.mark.poppler
def test_a_units_sheet_shows_it_on_its_property(tmp_path: Path) -> None:
    write_sheet(steep(), target=tmp_path / "a.pdf", folder=tmp_path, now=NOW, paper="letter", unit_id="S2")
    assert "The small map: where S2 lies on the property." in pdf_words(tmp_path / "a.pdf")
    write_sheet(steep(), target=tmp_path / "b.pdf", folder=tmp_path, now=NOW, paper="a4")
    # The grid of `fakes` has its middle at a corner of four quadrangles.
    assert (GRID.lon, GRID.lat) == (-98.0, 38.0)
    assert "7.5-minute quadrangle from 38°00′00″N to 38°07′30″N" in pdf_words(tmp_path / "b.pdf")
