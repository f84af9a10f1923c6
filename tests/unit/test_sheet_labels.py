"""Where the sheet's words stand: off drawn lines where there is room."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import LineString, box

from habmap.jobs.map import build_page
from habmap.records import Feature
from habmap.show.sheet.labels import draw_words
from habmap.show.sheet.map import Frame
from habmap.show.sheet.pen import LEAST_PT, text_width_pt

NOW = datetime(2026, 3, 1, 18, tzinfo=UTC)
#: 1:5,000 on a frame of 600 × 400 pt, its middle the grid's own.
FRAME = Frame(left=0.0, bottom=0.0, width=600.0, height=400.0, scale=5_000, middle_xy=(0.0, 0.0), grid=GRID)


class _Words:
    """Takes the place of a pen: keeps what is written about which point."""

    def __init__(self) -> None:
        self.at: dict[str, tuple[float, float]] = {}

    def text(self, x: float, y: float, words: str, **_: Any) -> None:
        self.at[words] = (x, y)


def _grazed(*east_m: float) -> dict[str, tuple[float, float]]:
    """Words on a round patch of 180 m, with fences running north at so many meters east of its middle."""
    fences = [
        Feature(
            uuid=f"fence-{east}", kind="fence", name="", recorded_at=NOW,
            geometry=GRID.to_lonlat(LineString([(east, -400), (east, 400)])),
        )
        for east in east_m
    ]  # fmt: skip
    patch = LineString([(0, 0), (0, 0.01)]).buffer(90)
    # The unit's own words stand far from the patch, so that only the lines are in the way.
    rows = [unit("A1", box(-600, -90, 90, 90), cover="grass"), entry("graze", "2025-06-20", patch), *fences]
    pen = _Words()
    draw_words(pen, FRAME, build_page(FakeStore(rows, grid=GRID), now=NOW, audience="owner"))  # type: ignore[arg-type]
    return pen.at


def _reach(words: str, at: tuple[float, float]) -> tuple[float, float]:
    half = text_width_pt(words, size_pt=LEAST_PT) / 2
    return at[0] - half, at[0] + half


def test_without_lines_it_stands_in_the_middle() -> None:
    assert _grazed()["Jun 20, 2025"][0] == pytest.approx(300, abs=1)


def test_words_on_a_patch_give_way_to_a_fence() -> None:
    fence_pt = 300 - 20 * FRAME.pt_per_ground_m
    left, right = _reach("Jun 20, 2025", _grazed(-20.0)["Jun 20, 2025"])
    assert not left <= fence_pt <= right


def test_where_lines_are_everywhere_they_are_still_told() -> None:
    assert "Jun 20, 2025" in _grazed(*range(-150, 151, 10))
