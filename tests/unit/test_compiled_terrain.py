"""The compiled sums are those of the plain way to the last bit, whatever threads, neighbors and caches there are."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from habmap.land.facerules import FaceRules
from habmap.land.grid import LocalGrid
from habmap.land.pieces import DENSE_CLASSES, slope_figures
from habmap.land.zones import ZoneSums, ZoneTable
from habmap.place import kernels
from habmap.place.elevation import open_elevation
from habmap.work.terrain import figure_columns

GRID = LocalGrid(38.0, -98.0)
RULES = (
    FaceRules(),
    FaceRules(flat_below_pct=3.33, machine_limit_pct=12.345, sun_facing_deg=(300, 140)),
)


@pytest.fixture(scope="module", params=["tiles", "strips", "one block"])
def raster(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Path:
    """Rough ground with holes, cliffs and flats, 3 m, of a size that no tile and no block divides."""
    path = tmp_path_factory.mktemp("compiled") / "ground.tif"
    random = np.random.default_rng(5)
    size = (1100, 1500)
    heights = 400 + np.cumsum(np.cumsum(random.normal(0, 0.002, size), axis=0), axis=1)
    heights += random.normal(0, 0.2, size)
    heights[200:420, 300:700] = 400
    heights[600:640, 640:700] = -9999
    heights[900, 900] = 8_000
    layout = {
        "tiles": {"tiled": True, "blockxsize": 256, "blockysize": 256, "compress": "deflate"},
        "strips": {"blockysize": 7},
        "one block": {"blockysize": 1100},
    }[request.param]
    with rasterio.open(
        path, "w", driver="GTiff", height=size[0], width=size[1], count=1, dtype="float32", nodata=-9999,
        crs=GRID.crs.to_wkt(), transform=Affine(3, 0.1, -2000, 0.05, -3, 1500), **layout,
    ) as target:  # fmt: skip
        target.write(heights.astype(np.float32), 1)
    return path


def stands() -> list[shapely.Geometry]:
    """Return overlapping stands with holes and parts, some off the raster, in lon/lat."""
    random = np.random.default_rng(8)
    found: list[shapely.Geometry] = []
    for _ in range(60):
        x, y = random.uniform(-2100, 2600), random.uniform(-1900, 1600)
        outline = shapely.Point(x, y).buffer(random.uniform(3, 250), quad_segs=5)
        if random.random() < 0.5:
            outline = outline.difference(shapely.Point(x + 9, y).buffer(random.uniform(1, 60)))
        if random.random() < 0.3:
            outline = outline.union(shapely.box(x + 300, y, x + 380, y + 20))
        found.append(GRID.to_lonlat(outline))
    return [*found, shapely.Polygon()]


def assert_same(one: ZoneSums, other: ZoneSums) -> None:
    """Compare every sum bit by bit."""
    for field in fields(ZoneTable):
        assert np.array_equal(getattr(one.table(), field.name), getattr(other.table(), field.name)), field.name


@pytest.mark.parametrize("cell", [10, "native"])
@pytest.mark.parametrize("rules", RULES)
def test_both_ways_any_threads_and_each_stand_alone_are_one_to_the_last_bit(raster, cell, rules):
    polygons = stands()
    with open_elevation(raster, vertical_unit="m", analysis_cell_m=cell) as dem:
        plain = dem.zone_table(polygons, rules=rules, way="plain", threads=1)
        assert_same(dem.zone_table(polygons, rules=rules, way="compiled", threads=1), plain)
        assert_same(dem.zone_table(polygons, rules=rules, way="compiled", threads=3), plain)
        assert_same(dem.zone_table(polygons, rules=rules, way="plain", threads=2), plain)
        for number in (0, 7, 23, 41):
            alone = dem.zone_table([polygons[number]], rules=rules)
            assert_same(alone, plain.part(number, number + 1))
    assert (plain.plain[:, 0] > 0).sum() > 40


def test_a_stand_too_steep_for_the_compiled_way_alone_in_its_tile_is_summed_the_plain_way(raster):
    row = col = 900.5
    cliff = GRID.to_lonlat(shapely.Point(-2000 + 3 * col + 0.1 * row, 1500 + 0.05 * col - 3 * row).buffer(25))
    with open_elevation(raster, vertical_unit="m") as dem:
        plain, compiled = (dem.zone_table([cliff], rules=FaceRules(), way=way) for way in ("plain", "compiled"))
    assert_same(compiled, plain)
    assert plain.table().classes.max() > DENSE_CLASSES


def test_what_was_summed_depends_on_the_bearings_alone_where_limits_lie_between_classes(raster):
    # Another limit needs no new pass: the figures of sums made for one rule are those of sums made for the other.
    polygons = stands()
    rules = FaceRules(flat_below_pct=8, machine_limit_pct=20)
    with open_elevation(raster, vertical_unit="m") as dem:
        one, other = (dem.zone_table(polygons, rules=own) for own in (FaceRules(), rules))
    assert_same(one, other)
    with_rules = figure_columns(other, unit_m2=np.full(len(polygons), 1e4), rules=rules)
    assert not np.array_equal(
        with_rules["hand_only_pct"],
        figure_columns(one, unit_m2=np.full(len(polygons), 1e4), rules=FaceRules())["hand_only_pct"],
    )


def test_angles_are_those_of_the_c_library():
    rise = np.concatenate([np.linspace(0, 3, 20_001), 10.0 ** np.linspace(-12, 6, 2_000)])
    own, deg, cosine = slope_figures(rise * rise)
    assert deg == pytest.approx(np.degrees(np.arctan(own)), rel=4e-16 * 2, abs=0)
    assert cosine == pytest.approx(np.cos(np.arctan(own)), rel=1e-15, abs=2e-16)


def test_machine_code_is_kept_in_the_users_folder_and_loaded_without_the_compiler(tmp_path):
    script = (
        "import sys\nimport numpy as np\nfrom habmap.land.pieces import PieceSums\n"
        "from habmap.place.kernels import fused\n"
        "part = PieceSums(np.ones((2, 10)), np.array([2, 1]), np.array([4, 6, 6]), np.ones((3, 3)))\n"
        "starts, order, by_owner = np.array([0, 2]), np.array([0, 1]), np.array([0, 2])\n"
        "add = fused().adding([part], starts, part.class_counts, order)\n"
        "added = add(by_owner, np.array([4]), np.array([6]))\n"
        "print('numba' in sys.modules, *(part.tolist() for part in added))"
    )
    words = [sys.executable, "-W", "ignore", "-c", script]
    home = {**os.environ, "XDG_CACHE_HOME": str(tmp_path)}
    first, second = (
        subprocess.run(words, check=True, env=home, capture_output=True, text=True).stdout for _ in range(2)
    )
    assert first == "True [2] [4, 6] [[1.0, 1.0, 1.0], [2.0, 2.0, 2.0]]\n"
    assert second == first.replace("True", "False")
    (folder,) = (tmp_path / "habmap").iterdir()
    assert sorted(path.name for path in folder.iterdir()) == ["add_pieces.bin", "sum_pieces.bin"]
    # What is damaged is not loaded, and where there is no folder nothing is kept; both are made anew.
    kept = folder / "sum_pieces.bin"
    code = kernels._kept(kept)
    assert code and kept.read_bytes().endswith(code)
    kept.write_bytes(kept.read_bytes()[:-1])
    assert kernels._kept(kept) is None
    (tmp_path / "file").touch()
    kernels._keep(tmp_path / "file" / "sum_pieces.bin", code)


def test_arrays_that_machine_code_would_misread_are_refused():
    with pytest.raises(TypeError, match="float64"):
        kernels._address(np.zeros(3, dtype=np.float32), "d")
    with pytest.raises(TypeError, match="in order"):
        kernels._address(np.zeros((3, 3))[:, :2], "d")
