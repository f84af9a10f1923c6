"""The ground of a line before it is saved: drawn where it lies, as large as its ruler says, over what stands there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import shapely
from shapely import MultiPolygon, Polygon

from habmap.jobs.ground import ground
from habmap.land.grid import LocalGrid
from habmap.place.store import GeoPackageStore
from habmap.show.ground_picture import ground_picture
from habmap.show.palette import STAGE_FILLS
from habmap.vocabulary import STAGE_WORDS
from habmap.work.ground import Ground

#: 100 m by 50 m with a hole of 10 m by 10 m, on a grid whose middle is its lower left.
GRID = LocalGrid(36.0, -97.0)
SHAPE = Polygon([(0, 0), (100, 0), (100, 50), (0, 50)], [[(20, 20), (30, 20), (30, 30), (20, 30)]])
M_PER_FT = 0.3048  # the international foot, by its definition


def drawn(path: str) -> list[Polygon]:
    """Read the rings of a path back."""
    return [
        Polygon([tuple(map(float, spot.split(","))) for spot in ring.split("L")])
        for ring in re.findall(r"M([^MZ]+)Z", path)
    ]


def heavy_line(figure: str) -> list[Polygon]:
    (path,) = re.findall(r'<path d="([^"]*)" fill="none" stroke="[^"]+" stroke-width="3"', figure)
    return drawn(path)


def px_per_m(figure: str) -> float:
    ft = float(re.findall(r">([0-9,]+) feet<", figure)[0].replace(",", ""))
    return float(re.findall(r"v8h([0-9.]+)v-8", figure)[0]) / (ft * M_PER_FT)


def test_it_is_as_large_as_its_ruler_says_and_north_is_up() -> None:
    figure = str(
        ground_picture(Ground(on=None, grid=None, units=(), entries=()), GRID.to_lonlat(MultiPolygon([SHAPE])))
    )
    rim, hole = heavy_line(figure)
    scale = px_per_m(figure)
    assert rim.area / scale**2 == pytest.approx(5_000, rel=0.01)
    assert hole.area / scale**2 == pytest.approx(100, rel=0.05)
    west, top, east, bottom = rim.bounds
    # the hole lies in the lower left: a third across and half way up
    assert (hole.centroid.x - west) / (east - west) == pytest.approx(0.25, abs=0.02)
    assert (bottom - hole.centroid.y) / (bottom - top) == pytest.approx(0.5, abs=0.04)
    assert "What stands there now" not in figure


def test_what_stands_there_is_in_the_colors_of_the_map_and_named(demo_place: Path) -> None:
    store = GeoPackageStore.open(demo_place)
    cut = ground(store)
    patch = next(unit for unit in store.units() if unit.geometry.area > 0).geometry
    figure = str(ground_picture(cut, patch))
    legend = figure.partition("<figcaption>")[2].split('<svg class="chip"')[1:]
    shown = {
        stage for stage, fill in STAGE_FILLS.items() for one in legend if fill in one and STAGE_WORDS[stage] in one
    }
    assert shown
    own = shapely.union_all([cut.grid.to_grid(patch)]) if cut.grid else MultiPolygon()
    under = {piece.stage for piece in cut.pieces if piece.geometry.intersection(own).area > 1}
    assert under <= shown
    scale = px_per_m(figure)
    assert sum(part.area for part in heavy_line(figure)) / scale**2 == pytest.approx(own.area, rel=0.02)


def test_a_name_that_is_a_script_stays_text() -> None:
    unit = "<script>alert(1)</script>"
    cut = Ground(on=None, grid=GRID, units=(), entries=(), unit_shapes={unit: MultiPolygon([SHAPE.buffer(200)])})
    figure = str(ground_picture(cut, GRID.to_lonlat(MultiPolygon([SHAPE]))))
    assert "&lt;script&gt;" in figure
    assert "<script" not in figure
