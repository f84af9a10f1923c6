"""What the terrain job says of cells too coarse for a unit, of the south, and of ground without a heat load."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from fakes import GRID, FakeStore, unit
from small_places import write_dem

from habmap.cli.commands.terrain import _cell
from habmap.jobs.load.layers import load_dem
from habmap.jobs.rank import rank
from habmap.jobs.terrain import terrain
from habmap.land.facerules import FaceRules
from habmap.land.grid import LocalGrid
from habmap.land.shares import is_too_coarse
from habmap.place.settings import Settings, TerrainSection
from habmap.records import ElevationSource, cell_facts, facts
from habmap.show.terrain_words import terrain_sentence
from habmap.work.priority import NO_HEAT_LOAD, PARTS, Candidate, DenseLimits, rank_units, reasons_of
from habmap.work.terrain import TerrainResult, UnitTerrain, as_stored, is_south, terrain_figures

NOW = datetime(2026, 3, 1, tzinfo=UTC)
TODAY = NOW.date()
LIMITS = DenseLimits(stems_per_acre=250, canopy_pct=50)
BENCH = Candidate(
    unit_id="A", cover="cedar", remaining_acres=5.0, stems_per_acre=900, sun_facing_pct=82.0, coverage_pct=100.0,
    aspect_mean_deg=202.5, heat_load_mean=1.05, near_open_m=0.0, hand_only_pct=20.0,
)  # fmt: skip


def place(
    tmp_path: Path,
    *shapes: shapely.Polygon,
    lat: float = 38.0,
    cell_m: float = 10.0,
    faces_deg: float = 180.0,
    **terrain_settings: object,
) -> FakeStore:
    """Return a place on a plane of 20% that faces a bearing."""
    grid = LocalGrid(lat, -98.0)
    count = int(1_200 / cell_m)
    east = -600 + cell_m * (np.arange(count) + 0.5)
    turn = np.radians(faces_deg)
    heights = 500 - 0.2 * (east[None, :] * np.sin(turn) - east[:, None] * np.cos(turn))
    path = tmp_path / f"plane{lat}{cell_m}{faces_deg}.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=count, width=count, count=1, dtype="float64", crs=grid.crs.to_wkt(),
        transform=Affine(cell_m, 0, -600, 0, -cell_m, 600),
    ) as target:  # fmt: skip
        target.write(heights, 1)
        target.units = ("metre",)
    settings = Settings(terrain=TerrainSection(**terrain_settings))  # type: ignore[arg-type]
    store = FakeStore([unit(f"u{i}", shape, grid=grid) for i, shape in enumerate(shapes)], grid=grid, settings=settings)
    load_dem(store, path=path, vertical_unit=None, copy_into=None, overwrite=False, now=NOW)
    return store


def told(*how: object, **more: object) -> TerrainResult:
    return terrain(place(*how, **more))  # type: ignore[arg-type]


# --- cells too coarse ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shape", "cell_m", "coarse"),
    [
        (shapely.box(0, 0, 60, 60), 10.0, False),  # 36 cells
        (shapely.box(0, 0, 54, 54), 10.0, True),  # 29 cells
        (shapely.box(0, 0, 400, 41), 10.0, False),  # 164 cells, a quarter of its breadth is 10.25 m
        (shapely.box(0, 0, 400, 39), 10.0, True),  # a cell is more than a quarter of its breadth
        (shapely.MultiPolygon([shapely.box(0, 0, 400, 41), shapely.box(900, 0, 910, 10)]), 10.0, False),
        (shapely.box(0, 0, 246, 246), 83.0, True),  # 15 acres on 83 m cells: nine cells
    ],
)
def test_few_cells_or_wide_ones_are_too_coarse(shape: shapely.Geometry, cell_m: float, coarse: bool) -> None:
    assert is_too_coarse(shape, cell_m=cell_m) is coarse
    assert is_too_coarse(shapely.affinity.rotate(shape, 33), cell_m=cell_m) is coarse


def test_units_too_small_for_the_cells_are_named_and_flagged(tmp_path: Path) -> None:
    wide, small, off = shapely.box(0, 0, 300, 300), shapely.box(0, 0, 100, 100), shapely.box(5000, 0, 5100, 100)
    found = told(tmp_path, wide, small, off, cell_m=40.0)
    assert [(one.unit_id, one.too_coarse) for one in found.units] == [("u0", False), ("u1", True), ("u2", None)]
    assert found.units[1].cells == pytest.approx(6.25, rel=1e-6)
    (words,) = [words for words in found.warnings if "too coarse" in words]
    assert "cells of 40 m are too coarse for u1 (6 cells)" in words and "load finer elevation" in words
    # figures in the record stay unrounded
    assert found.units[1].slope_mean_pct == pytest.approx(20, abs=1e-6)
    # 10 m cells averaged to 40: the settings can mend it
    averaged = told(tmp_path, small, cell_m=10.0, analysis_cell_m=40)
    assert any("analysis_cell_m in habmap.toml" in words for words in averaged.warnings)
    assert not any("too coarse" in words for words in told(tmp_path, small, cell_m=10.0).warnings)


def test_rank_and_page_say_it_too(tmp_path: Path) -> None:
    ranked = rank(place(tmp_path, shapely.box(0, 0, 100, 100), cell_m=40.0), today=TODAY)
    share = "roughly 100% of what remains is sun-facing (the elevation's cells are too coarse for it)"
    assert any(share in reason for reason in ranked.units[0].reasons)
    assert any("roughly 80%" in reason for reason in reasons_of(replace(BENCH, too_coarse=True), limits=LIMITS))
    lie = UnitTerrain(slope_mean_deg=8.0, slope_mean_pct=14.1, too_coarse=True)
    assert "take these figures as rough" in terrain_sentence(lie)


# --- south of the equator -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lat", "faces_deg", "sunny_pct"), [(38, 180, 100), (38, 0, 0), (-34, 0, 100), (-34, 180, 0), (-34, 300, 100)]
)
def test_the_sun_s_side_is_the_north_south_of_the_equator(
    tmp_path: Path, lat: float, faces_deg: float, sunny_pct: float
) -> None:
    found = told(tmp_path, shapely.box(0, 0, 200, 200), lat=lat, faces_deg=faces_deg)
    assert found.units[0].sun_facing_pct == pytest.approx(sunny_pct)
    assert found.sun_facing_deg == ((112.5, 247.5) if lat > 0 else (292.5, 67.5))


def test_faces_that_a_person_wrote_hold_anywhere(tmp_path: Path) -> None:
    found = told(tmp_path, shapely.box(0, 0, 200, 200), lat=-34, sun_facing_deg=(90, 270))
    assert (found.sun_facing_deg, found.units[0].sun_facing_pct) == ((90, 270), 100)


# --- no heat load ---------------------------------------------------------------------------------------------


def test_a_heat_load_that_the_equation_does_not_give_is_left_out_of_the_score() -> None:
    weights = {**dict.fromkeys(PARTS, 0.0), "heat_load": 1.0, "density": 3.0, "remaining": 1.0}
    (unfitted,) = rank_units([replace(BENCH, heat_load_mean=None)], limits=LIMITS, weights=weights)
    # density 0.9, remaining 0.5: (3·0.9 + 0.5)/4, not over 5
    assert unfitted.score == pytest.approx(0.8)
    assert unfitted.parts["heat_load"] is None
    # where no elevation is known at all, the unknown still counts as nothing
    dark = replace(BENCH, heat_load_mean=None, sun_facing_pct=None)
    assert rank_units([dark], limits=LIMITS, weights=weights)[0].score == pytest.approx(0.64)
    only_heat = {**dict.fromkeys(PARTS, 0.0), "heat_load": 1.0}
    assert rank_units([replace(BENCH, heat_load_mean=None)], limits=LIMITS, weights=only_heat)[0].score == 0
    pair = [replace(BENCH, heat_load_mean=None), replace(BENCH, unit_id="B", heat_load_mean=None, stems_per_acre=300)]
    assert [one.firm_pct for one in rank_units(pair, limits=LIMITS, weights=weights)] == [100, 100]


def test_rank_says_why_there_is_no_heat_load(tmp_path: Path) -> None:
    assert NO_HEAT_LOAD in rank(place(tmp_path, shapely.box(0, 0, 200, 200), lat=20), today=TODAY).warnings
    assert NO_HEAT_LOAD not in rank(place(tmp_path, shapely.box(0, 0, 200, 200)), today=TODAY).warnings


# --- figures from sums, by hand ------------------------------------------------------------------------------


def figures(*, unit_m2: float = 1000.0, ground_m2: float = 1000.0, **sums: float) -> UnitTerrain:
    """Return figures of 1,000 m² that rise by a tenth toward north: no flat ground, 300 m² sunny, 200 m² hand-only."""
    content = {
        "covered_m2": 1000.0, "gradient_length_m2": 100.0, "gradient_east_m2": 0.0, "gradient_north_m2": 100.0,
        "slope_deg_m2": 5700.0, "heat_load_m2": 800.0, "heat_load_ground_m2": 1000.0, "flat": 0.0, "sun": 300.0,
        "hand": 200.0,
    } | sums  # fmt: skip
    of = {name: np.array([value]) for name, value in content.items()}
    table: Any = SimpleNamespace(
        sums=lambda name: of[name],
        by_slope=lambda rules: (np.array([12.5]), np.array([ground_m2]), of["flat"], of["sun"], of["hand"]),
    )
    (found,) = terrain_figures(table, unit_m2=np.array([unit_m2]), rules=FaceRules())
    return found


def test_figures_are_means_and_shares_of_the_ground_that_is_covered() -> None:
    found = figures(unit_m2=1250.0)
    assert (found.slope_mean_deg, found.slope_mean_pct, found.slope_p90_pct) == pytest.approx((5.7, 10.0, 12.5))
    assert (found.aspect_mean_deg, found.facing, found.aspect_concentration) == (pytest.approx(180.0), "S", 1.0)
    assert (found.sun_facing_pct, found.flat_pct, found.hand_only_pct) == pytest.approx((30.0, 0.0, 20.0))
    assert (found.heat_load_mean, found.coverage_pct) == pytest.approx((0.8, 80.0))
    # shares are of the ground that has a slope, however much of it is covered
    part = figures(ground_m2=500.0, flat=125.0)
    assert (part.sun_facing_pct, part.flat_pct, part.hand_only_pct) == pytest.approx((60.0, 25.0, 40.0))
    spread = figures(gradient_east_m2=-30.0, gradient_north_m2=-40.0)
    assert (spread.aspect_concentration, spread.facing) == (pytest.approx(0.5), "NE")
    assert spread.aspect_mean_deg == pytest.approx(36.87, abs=0.01)
    assert figures(gradient_east_m2=100.0, gradient_north_m2=0.0).facing == "W"


def test_ground_of_which_more_than_half_is_flat_faces_nowhere() -> None:
    for flat_m2, facing in ((500.0, "S"), (495.0, "S"), (501.0, "flat"), (504.0, "flat")):
        found = figures(flat=flat_m2)
        assert (found.facing, found.aspect_mean_deg) == (facing, pytest.approx(180.0))
    level = figures(flat=1000.0)
    assert (level.facing, level.aspect_mean_deg, level.flat_pct) == ("flat", None, 100.0)
    assert figures(gradient_north_m2=0.0).facing == "flat"  # it faces every way alike


def test_a_hair_short_of_all_is_all_and_ground_without_elevation_has_no_figure() -> None:
    assert [figures(unit_m2=1000 / share).coverage_pct for share in (0.999995, 0.99998)] == [
        100.0, pytest.approx(99.998),
    ]  # fmt: skip
    off = figures(covered_m2=0.0, ground_m2=0.0, unit_m2=1000.0)
    assert (off.coverage_pct, off.facing, off.slope_mean_deg, off.sun_facing_pct) == (0.0, None, None, None)
    assert figures(heat_load_m2=0.0, heat_load_ground_m2=0.0).heat_load_mean is None


@pytest.mark.parametrize(
    ("is_rough", "cells"),
    [
        (False, "4.3 7.7 14.6 SW 207 0.74 63 8 0.83 26 96"),
        # slopes to whole ones, bearings and shares to tens, on cells too coarse for the unit
        (True, "~4 ~8 ~15 SW ~210 0.74 ~60 ~10 0.83 ~30 96"),
    ],
)
def test_the_table_tells_figures_to_their_decimals_and_rough_ones_to_their_steps(is_rough: bool, cells: str) -> None:
    found = UnitTerrain(
        slope_mean_deg=4.34, slope_mean_pct=7.66, slope_p90_pct=14.55, aspect_mean_deg=207.4,
        aspect_concentration=0.738,
        facing="SW", sun_facing_pct=63.4, flat_pct=8.2, heat_load_mean=0.8349, hand_only_pct=25.8, coverage_pct=96.4,
        too_coarse=is_rough,
    )  # fmt: skip
    assert " ".join(str(_cell(found, one)) for one in cell_facts(UnitTerrain)) == cells
    north = replace(found, aspect_mean_deg=359.6, too_coarse=False)
    assert str(_cell(north, facts(UnitTerrain)["aspect_mean_deg"])) == "0"


def test_hand_work_is_told_from_half_a_percent() -> None:
    hand = facts(UnitTerrain)["hand_only_pct"]
    assert hand.told(0.499) == [] and hand.told(None) == []
    assert hand.told(0.502) == ["1% is steeper than the machine limit, so hand work only"]


def test_the_equator_belongs_to_the_north() -> None:
    assert [is_south(LocalGrid(lat, 10.0)) for lat in (-0.5, 0.0, 0.5)] == [True, False, False]
    assert is_south(None) is False and as_stored([shapely.box(0, 0, 1, 1)], [], None) == []


@pytest.mark.parametrize(
    ("slope_pct", "flat_pct", "hand_only_pct"), [(4.98, 100, 0), (5.02, 0, 0), (29.9, 0, 0), (30.2, 0, 100)]
)
def test_without_a_word_ground_is_level_below_five_percent_and_hand_only_above_thirty(
    tmp_path: Path, slope_pct: float, flat_pct: float, hand_only_pct: float
) -> None:
    """Tilted planes; the limits are those of the comments in a new habmap.toml."""
    path = write_dem(tmp_path / "plane.tif", lambda east, north: 500 + slope_pct / 100 * north, reach_m=100.0)
    source = ElevationSource(uuid="e", path=str(path), crs_wkt=GRID.crs.to_wkt(), vertical_unit="m",
                             recorded_at=datetime(2026, 1, 1, tzinfo=UTC))  # fmt: skip
    (found,) = terrain(FakeStore([unit("A", shapely.box(-60, -60, 60, 60)), source], grid=GRID)).units
    assert (found.flat_pct, found.hand_only_pct) == (flat_pct, hand_only_pct)
