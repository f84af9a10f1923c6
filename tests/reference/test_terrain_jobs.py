"""The main job on real ground: one elevation in meters, in degrees and with heights in feet gives one answer."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import matplotlib.cbook
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from fakes import FakeStore, unit
from pyproj import CRS
from rasterio.warp import Resampling, reproject

from habmap.errors import InputError
from habmap.jobs.load.layers import load_dem
from habmap.jobs.terrain import terrain
from habmap.land.grid import LocalGrid
from habmap.measures import M_PER_FT, M_PER_US_FT, VerticalUnit
from habmap.work.terrain import TerrainResult, UnitTerrain

NOW = datetime(2026, 3, 1, tzinfo=UTC)
GRID = LocalGrid(36.55, -84.25)


@pytest.fixture(scope="module")
def degrees(tmp_path_factory) -> Path:
    """SRTM 3″ that matplotlib ships (its ymin and ymax are swapped; CRS taken as WGS 84)."""
    with np.load(matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz", asfileobj=False)) as data:
        heights = data["elevation"].astype(np.float64)
        south, north = sorted((float(data["ymin"]), float(data["ymax"])))
        west, east = float(data["xmin"]), float(data["xmax"])
    rows, cols = heights.shape
    transform = Affine((east - west) / cols, 0, west, 0, -(north - south) / rows, north)
    return write(tmp_path_factory.mktemp("dem") / "degrees.tif", heights, transform, "EPSG:4326", "m")


def write(path: Path, heights: np.ndarray, transform: Affine, crs: str, unit: str | None) -> Path:
    rows, cols = heights.shape
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=cols, count=1, dtype=heights.dtype, crs=crs,
        transform=transform, nodata=np.nan if heights.dtype.kind == "f" else None,
    ) as target:  # fmt: skip
        target.write(heights, 1)
        if unit:
            target.units = (unit,)
    return path


def warped(source: Path, path: Path, crs: str, transform: Affine, shape: tuple[int, int]) -> Path:
    heights = np.full(shape, np.nan)
    with rasterio.open(source) as raster:
        reproject(
            raster.read(1), heights, src_transform=raster.transform, src_crs=raster.crs, dst_transform=transform,
            dst_crs=crs, dst_nodata=np.nan, resampling=Resampling.cubic,
        )  # fmt: skip
    return write(path, heights, transform, crs, "m")


def in_feet(source: Path, path: Path, unit: str, m_per_unit: float) -> Path:
    with rasterio.open(source) as raster:
        return write(path, raster.read(1) / m_per_unit, raster.transform, raster.crs, unit)


def drawn_units() -> list:
    """Twelve units of 40 acres and more (the elevation's cells are 2 acres) on faces, ridges and flats."""
    random = np.random.default_rng(11)
    outlines = []
    for _ in range(12):
        x, y = random.uniform(-10_000, 10_000, 2)
        blob = shapely.Point(x, y).buffer(300).union(shapely.box(x, y, x + 500, y + 420))
        outlines.append(shapely.affinity.rotate(blob, random.uniform(0, 90)))
    return [unit(f"u{i:02d}", shape, grid=GRID) for i, shape in enumerate(outlines)]


def job(raster: Path, *, vertical_unit: VerticalUnit | None = None, units: list | None = None) -> TerrainResult:
    store = FakeStore(drawn_units() if units is None else units, grid=GRID)
    load_dem(store, path=raster, vertical_unit=vertical_unit, copy_into=None, overwrite=False, now=NOW)
    return terrain(store)


def turn_deg(a: float, b: float) -> float:
    return abs((a - b + 180) % 360 - 180)


NUMBERS = (
    "slope_mean_deg", "slope_mean_pct", "aspect_mean_deg", "aspect_concentration", "sun_facing_pct", "flat_pct",
    "heat_load_mean", "hand_only_pct", "coverage_pct",
)  # fmt: skip


def assert_equal_figures(a: UnitTerrain, b: UnitTerrain, *, abs_tol: float) -> None:
    for name in NUMBERS:
        one, other = getattr(a, name), getattr(b, name)
        assert one is other or one == pytest.approx(other, abs=abs_tol), name
    assert a.facing == b.facing
    # One cell may change its 0.1% class when its slope lies on a class's edge.
    assert a.slope_p90_pct == pytest.approx(b.slope_p90_pct, abs=0.05)


@pytest.mark.parametrize(
    ("label", "m_per_unit", "key"), [("ft", M_PER_FT, "ft"), ("US survey foot", M_PER_US_FT, "us-ft")]
)
def test_heights_in_feet_give_the_figures_of_metres(degrees, tmp_path, label, m_per_unit, key):
    metres = job(degrees)
    feet = job(in_feet(degrees, tmp_path / "feet.tif", label, m_per_unit))
    assert feet.dem is not None and feet.dem.vertical_unit == key
    for a, b in zip(metres.units, feet.units, strict=True):
        assert_equal_figures(a, b, abs_tol=1e-8)  # float64 rounding of the division, times 100 for percents


def test_projected_metres_agree_with_degrees(degrees, tmp_path):
    utm = warped(degrees, tmp_path / "utm.tif", "EPSG:32616", Affine(90, 0, 733_000, 0, -90, 4_062_400), (305, 300))
    in_degrees, projected = job(degrees), job(utm)
    assert projected.dem is not None and projected.dem.crs.startswith("WGS 84 / UTM zone 16N")
    for a, b in zip(in_degrees.units, projected.units, strict=True):
        assert a.coverage_pct == b.coverage_pct == 100
        # Cubic resampling of 74 × 92 m cells to 90 m ones smooths rough ground: measured, it took 0.4 to 5.6% off
        # these units' slopes and turned the one-faced ones by up to 0.7°, most where a unit is a few cells. What is
        # tested is axes and units: a convergence left out turns by 1.6°, one scale for both axes by up to 6°, and
        # feet for meters triples the slope.
        assert b.slope_mean_deg == pytest.approx(a.slope_mean_deg, rel=0.07)
        if a.aspect_concentration > 0.5 and a.slope_mean_deg > 3:
            assert turn_deg(a.aspect_mean_deg, b.aspect_mean_deg) < 1.0


PLANE_GRID = LocalGrid(38.0, -98.0)


@pytest.mark.parametrize(
    ("crs", "cell"),
    [
        ("EPSG:4326", 1e-4),
        ("EPSG:32614", 10.0),
        ("EPSG:3857", 12.0),
        ("EPSG:26914", 10.0),
        ("EPSG:3420", 33.0),  # Kansas South, US survey feet
        ("EPSG:5070", 10.0),
    ],
)
@pytest.mark.parametrize("turn", [0.0, 30.0])
def test_a_true_plane_has_its_slope_and_true_bearing_in_every_projection(tmp_path, crs, cell, turn):
    """A plane drawn on the ground (in the equal-area grid centered on it) is sampled in other systems."""
    from pyproj import Transformer

    slope_pct, aspect = 20.0, 200.0
    to_raster = Transformer.from_crs(PLANE_GRID.crs, crs, always_xy=True)
    x0, y0 = to_raster.transform(0.0, 0.0)
    sin, cos = np.sin(np.radians(turn)), np.cos(np.radians(turn))
    size = 120
    # Turned about its middle, the middle of the raster on the grid's center.
    a, b, d, e = cell * cos, cell * sin, cell * sin, -cell * cos
    transform = Affine(a, b, x0 - (a + b) * size / 2, d, e, y0 - (d + e) * size / 2)
    row, col = np.mgrid[:size, :size] + 0.5
    x, y = transform.a * col + transform.b * row + transform.c, transform.d * col + transform.e * row + transform.f
    east, north = to_raster.transform(x, y, direction="INVERSE")
    bearing = np.radians(aspect)
    heights = 400 - slope_pct / 100 * (east * np.sin(bearing) + north * np.cos(bearing))
    raster = write(tmp_path / "plane.tif", heights, transform, crs, "m")
    units = [unit("a", shapely.box(-150, -120, 180, 140), grid=PLANE_GRID)]
    store = FakeStore(units, grid=PLANE_GRID)
    load_dem(store, path=raster, vertical_unit=None, copy_into=None, overwrite=False, now=NOW)
    found = terrain(store).units[0]
    # The plane is straight in the grid, which is true to 1e-9 within 200 m; what is left is the datum's own rounding
    # of longitudes and latitudes (1e-9°, 0.1 mm) and, in projections, 150 m from the middle column.
    assert found.slope_mean_pct == pytest.approx(slope_pct, abs=1e-3)
    assert turn_deg(found.aspect_mean_deg, aspect) < 0.002
    assert found.aspect_concentration == pytest.approx(1, abs=1e-6)
    assert (found.facing, found.sun_facing_pct, found.coverage_pct) == ("S", 100, 100)


def test_units_off_the_elevation_get_nulls_and_a_warning(degrees):
    far = unit("far", shapely.box(60_000, 0, 60_500, 500), grid=GRID)
    part = unit("part", shapely.box(-15_000, -200, -13_800, 200), grid=GRID)
    result = job(degrees, units=[*drawn_units()[:1], far])
    off = next(u for u in result.units if u.unit_id == "far")
    assert off.coverage_pct == 0
    assert {getattr(off, name) for name in (*NUMBERS[:-1], "facing", "slope_p90_pct")} == {None}
    assert any("far" in words for words in result.warnings)
    result = job(degrees, units=[*drawn_units()[:1], part])
    edge = next(u for u in result.units if u.unit_id == "part")
    # The raster's west edge less one border cell, in the grid, against the unit's 1,200 m.
    with rasterio.open(degrees) as raster:
        first_lon = raster.bounds.left + raster.transform.a
    first_x = GRID.to_grid(shapely.Point(first_lon, 36.55)).x
    assert edge.coverage_pct == pytest.approx(100 * (-13_800 - first_x) / 1_200, abs=0.05)
    assert any("only" in words and "part" in words for words in result.warnings)


def test_elevation_that_misses_every_unit_is_refused_and_nothing_is_written(degrees):
    store = FakeStore([unit("far", shapely.box(60_000, 0, 60_500, 500), grid=GRID)], grid=GRID)
    with pytest.raises(InputError, match="covers none of the units"):
        load_dem(store, path=degrees, vertical_unit=None, copy_into=None, overwrite=False, now=NOW)
    assert store.elevation() is None


def test_a_second_elevation_needs_overwrite(degrees):
    store = FakeStore([], grid=GRID)
    load_dem(store, path=degrees, vertical_unit=None, copy_into=None, overwrite=False, now=NOW)
    with pytest.raises(InputError, match="has an elevation already"):
        load_dem(store, path=degrees, vertical_unit=None, copy_into=None, overwrite=False, now=NOW)
    load_dem(store, path=degrees, vertical_unit="ft", copy_into=None, overwrite=True, now=NOW.replace(day=2))
    source = store.elevation()
    assert source is not None and source.vertical_unit == "ft"


def test_copy_lies_in_the_place_and_reads_the_same(degrees, tmp_path):
    store = FakeStore(drawn_units(), grid=GRID)
    result = load_dem(store, path=degrees, vertical_unit=None, copy_into=tmp_path, overwrite=False, now=NOW)
    copy = tmp_path / "elevation" / "degrees.tif"
    assert result.copied and copy.read_bytes() == degrees.read_bytes()
    assert [p.name for p in copy.parent.iterdir()] == ["degrees.tif"]


def test_without_elevation_the_job_says_how_to_load_one():
    with pytest.raises(InputError) as caught:
        terrain(FakeStore([]))
    assert caught.value.mend == "habmap load dem FILE"


@pytest.fixture
def bad_raster(tmp_path):
    heights = np.zeros((4, 4), dtype=np.float32)
    return lambda **change: write(
        tmp_path / "bad.tif",
        **(
            {"heights": heights, "transform": Affine(10, 0, 5e5, 0, -10, 4e6), "crs": "EPSG:32614", "unit": "m"}
            | change
        ),
    )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"crs": None}, "does not say in which coordinate system"),
        ({"crs": "EPSG:26714"}, "datum cannot be turned to WGS 84 closely enough"),
        ({"crs": "EPSG:4267", "transform": Affine(1e-4, 0, -97, 0, -1e-4, 36)}, "datum cannot be turned"),
        ({"unit": None}, "does not say in which unit"),
        ({"unit": "fathom"}, "unit that habmap does not know"),
        ({"crs": "EPSG:26914+5703", "unit": "ft"}, "contradicts itself"),
    ],
)
def test_unfit_rasters_are_refused_with_the_reason(bad_raster, change, words):
    store = FakeStore([])
    with pytest.raises(InputError, match=words):
        load_dem(store, path=bad_raster(**change), vertical_unit=None, copy_into=None, overwrite=False, now=NOW)
    assert store.elevation() is None


def test_files_that_are_no_raster_are_refused(tmp_path):
    rubbish = tmp_path / "rubbish.tif"
    rubbish.write_bytes(bytes(range(256)) * 8)
    for path, words in ((rubbish, "not an elevation raster"), (tmp_path / "none.tif", "no such file")):
        with pytest.raises(InputError, match=words):
            load_dem(FakeStore([]), path=path, vertical_unit="m", copy_into=None, overwrite=False, now=NOW)


@pytest.mark.parametrize(("crs", "key"), [("EPSG:26914+5703", "m"), ("EPSG:26914+6360", "us-ft")])
def test_vertical_unit_is_taken_from_a_compound_system(bad_raster, crs, key):
    assert CRS.from_user_input(crs).is_compound
    store = FakeStore([])
    result = load_dem(
        store, path=bad_raster(crs=crs, unit=None), vertical_unit=None, copy_into=None, overwrite=False, now=NOW
    )
    assert result.dem.vertical_unit == key


def test_the_person_s_unit_wins_over_the_file_s_with_a_warning(bad_raster):
    result = load_dem(FakeStore([]), path=bad_raster(), vertical_unit="us-ft", copy_into=None, overwrite=False, now=NOW)
    assert result.dem.vertical_unit == "us-ft"
    assert any("meters" in words and "as you said" in words for words in result.warnings)
