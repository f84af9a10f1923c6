"""Slope, aspect and unit means against GDAL's gdaldem and R's terra, on real ground."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS, Geod, Proj, Transformer
from rasterio.warp import Resampling, reproject
from real_ground import jacksboro, squares, write

from habmap.land.facerules import FaceRules
from habmap.land.terrain import GroundSteps, horn_gradient, metres_per_degree
from habmap.place.elevation import open_elevation
from habmap.work.terrain import terrain_figures

#: Row height that R terra 1.7-3 takes for every row of a raster in degrees: the equator's, per degree.
TERRA_DEGREE_M = 92.145 * 1200
RULES = FaceRules()


def run(*words: str | Path) -> str:
    return subprocess.run([str(w) for w in words], check=True, capture_output=True, text=True).stdout


def band(path: Path) -> np.ndarray:
    with rasterio.open(path) as source:
        return source.read(1, masked=True).astype(np.float64).filled(np.nan)


def gradient_of(slope_deg: np.ndarray, aspect_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    rise = np.tan(np.radians(slope_deg))
    aspect = np.radians(np.nan_to_num(aspect_deg))  # flat cells have no aspect and no rise
    return -rise * np.sin(aspect), -rise * np.cos(aspect)


def terra_terrain(raster: Path, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    run(
        "Rscript", "-e",
        'suppressMessages(library(terra)); a <- commandArgs(TRUE); r <- rast(a[1]);'
        'for (v in c("slope","aspect")) writeRaster(terrain(r, v=v, neighbors=8, unit="degrees"),'
        'file.path(a[2], paste0("terra_", v, ".tif")), datatype="FLT8S", overwrite=TRUE)',
        raster, folder,
    )  # fmt: skip
    return band(folder / "terra_slope.tif"), band(folder / "terra_aspect.tif")


def gdaldem_terrain(raster: Path, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    for figure in ("slope", "aspect"):
        run("gdaldem", figure, raster, folder / f"gdal_{figure}.tif", "-q")
    return band(folder / "gdal_slope.tif"), band(folder / "gdal_aspect.tif")


def planar(heights: np.ndarray, cell_m: float) -> tuple[np.ndarray, np.ndarray]:
    steps = GroundSteps(np.array(cell_m), np.array(0.0), np.array(0.0), np.array(-cell_m))
    return steps.gradient(*horn_gradient(heights))


def assert_same_ground(ours, theirs, *, slope_tol_deg: float, aspect_tol_deg: float) -> None:
    """Compare slope everywhere inside, and aspect where the ground is steeper than 1°."""
    inner = (slice(1, -1), slice(1, -1))
    east, north = (part[inner] for part in ours)
    their_east, their_north = (part[inner] for part in theirs)
    slope, their_slope = (np.degrees(np.arctan(np.hypot(*g))) for g in ((east, north), (their_east, their_north)))
    assert np.isfinite(slope).all()
    assert np.abs(slope - their_slope).max() < slope_tol_deg
    turn = np.degrees(np.arctan2(east * their_north - north * their_east, east * their_east + north * their_north))
    assert np.abs(turn[slope > 1]).max() < aspect_tol_deg


@pytest.fixture(scope="module")
def volcano(tmp_path_factory) -> np.ndarray:
    """Maunga Whau, 87 × 61 cells of 10 m, from R's own datasets."""
    folder = tmp_path_factory.mktemp("volcano")
    run(
        "Rscript", "-e",
        "write.table(volcano, file.path(commandArgs(TRUE)[1], 'v.txt'), row.names=FALSE, col.names=FALSE)", folder,
    )  # fmt: skip
    return np.loadtxt(folder / "v.txt")


@pytest.mark.gdaldem
@pytest.mark.terra
def test_volcano_against_gdaldem_and_terra(volcano, tmp_path):
    raster = write(tmp_path / "v.tif", volcano, Affine(10, 0, 1_750_000, 0, -10, 5_920_000), "EPSG:2193")
    ours = planar(volcano, 10.0)
    # Both print slope and aspect in degrees; gdaldem computes in float32: 2e-4° is its rounding on slopes to 60°,
    # 1e-3° that of aspects.
    assert_same_ground(ours, gradient_of(*gdaldem_terrain(raster, tmp_path)), slope_tol_deg=2e-4, aspect_tol_deg=1e-3)
    # terra works in float64: rounding only.
    assert_same_ground(ours, gradient_of(*terra_terrain(raster, tmp_path)), slope_tol_deg=1e-9, aspect_tol_deg=1e-7)


@pytest.mark.gdaldem
def test_jacksboro_array_against_gdaldem(tmp_path):
    heights, _ = jacksboro()
    raster = write(tmp_path / "j.tif", heights, Affine(90, 0, 500_000, 0, -90, 4_000_000), "EPSG:32616")
    theirs = gradient_of(*gdaldem_terrain(raster, tmp_path))
    assert_same_ground(planar(heights, 90.0), theirs, slope_tol_deg=2e-4, aspect_tol_deg=1e-3)


@pytest.mark.terra
def test_jacksboro_in_degrees_against_terra(tmp_path):
    heights, transform = jacksboro()
    raster = write(tmp_path / "j.tif", heights, transform, "EPSG:4326")
    lat = transform.f + (np.arange(heights.shape[0]) + 0.5) * transform.e
    east_m, north_m = (values[:, None] for values in metres_per_degree(lat))
    zero = np.zeros_like(lat)[:, None]
    ours = GroundSteps(east_m * transform.a, zero, zero, north_m * transform.e).gradient(*horn_gradient(heights))
    east, north = gradient_of(*terra_terrain(raster, tmp_path))
    # terra 1.7-3 takes the equator's row height everywhere. The true one comes from the geodesic across one row.
    _, _, row_m = Geod(ellps="WGS84").inv(zero[:, 0], lat + transform.e / 2, zero[:, 0], lat - transform.e / 2)
    north = north * (TERRA_DEGREE_M * abs(transform.e) / row_m)[:, None]
    # 92.145 m is known to 0.5 mm: 5e-6 of slope, 2e-4° at 45°; geodesic against N cos φ per cell is below that.
    assert_same_ground(ours, (east, north), slope_tol_deg=5e-4, aspect_tol_deg=1e-3)


@pytest.fixture(scope="module")
def jacksboro_utm(tmp_path_factory) -> Path:
    """The real elevation warped once to UTM zone 16 N, cubic, 30 m cells."""
    heights, transform = jacksboro()
    to = Affine(30, 0, 733_000, 0, -30, 4_062_400)
    warped = np.full((900, 880), np.nan)
    reproject(
        heights, warped, src_transform=transform, src_crs="EPSG:4326", dst_transform=to, dst_crs="EPSG:32616",
        dst_nodata=np.nan, resampling=Resampling.cubic,
    )  # fmt: skip
    return write(tmp_path_factory.mktemp("utm") / "utm.tif", warped, to, "EPSG:32616")


@pytest.mark.gdaldem
def test_projected_raster_against_gdaldem_with_scale_and_convergence(jacksboro_utm, tmp_path):
    """gdaldem knows neither scale factor nor convergence; PROJ's own figures for both are applied to its output."""
    with rasterio.open(jacksboro_utm) as source:
        transform = source.transform
        shape = source.shape
    east, north = gradient_of(*gdaldem_terrain(jacksboro_utm, tmp_path))
    random = np.random.default_rng(3)
    rows, cols = random.integers(100, shape[0] - 100, 60), random.integers(100, shape[1] - 100, 60)
    x, y = transform.a * (cols + 0.5) + transform.c, transform.e * (rows + 0.5) + transform.f
    to_lonlat = Transformer.from_crs("EPSG:32616", "EPSG:4326", always_xy=True)
    lon, lat = to_lonlat.transform(x, y)
    factors = Proj(CRS.from_epsg(32616)).get_factors(lon, lat)
    grid_east, grid_north = (part[rows, cols] * factors.meridional_scale for part in (east, north))
    slope = np.degrees(np.arctan(np.hypot(grid_east, grid_north)))
    # True bearing = grid bearing + convergence.
    aspect = (np.degrees(np.arctan2(-grid_east, -grid_north)) + factors.meridian_convergence) % 360
    cells = [
        shapely.transform(
            shapely.box(cx - 14, cy - 14, cx + 14, cy + 14),
            lambda xy: np.column_stack(to_lonlat.transform(xy[:, 0], xy[:, 1])),
        )
        for cx, cy in zip(x, y, strict=True)
    ]
    with open_elevation(jacksboro_utm, vertical_unit=None) as dem:
        rules = FaceRules(flat_below_pct=0)
        found = terrain_figures(dem.zone_table(cells, rules=rules), unit_m2=np.full(len(cells), 784.0), rules=rules)
    found_slope = np.array([f.slope_mean_deg for f in found])
    assert np.abs(found_slope - slope).max() < 5e-4  # gdaldem's float32
    turn = (np.array([f.aspect_mean_deg for f in found]) - aspect + 180) % 360 - 180
    # One column of a tile stands for 2 km: convergence changes by 1 km × tan 36.5° / 6 371 km = 0.0067° to its edge.
    assert np.abs(turn[slope > 1]).max() < 0.008


@pytest.mark.terra
def test_unit_means_against_terra_exact_extract(jacksboro_utm, tmp_path):
    """Area-weighted means by ``terra::extract(exact=TRUE)`` of terra's own slope, and of its gradient direction."""
    units = squares(12, 320.0)
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32616", always_xy=True)
    table = tmp_path / "units.txt"
    table.write_text(
        "\n".join(
            shapely.to_wkt(
                shapely.transform(u, lambda xy: np.column_stack(to_utm.transform(xy[:, 0], xy[:, 1]))),
                rounding_precision=6,
            )
            for u in units
        )
    )
    told = run(
        "Rscript", "-e",
        "suppressMessages(library(terra)); a <- commandArgs(TRUE); r <- rast(a[1]);"
        "s <- terrain(r, v='slope', unit='degrees'); p <- terrain(r, v='aspect', unit='radians');"
        "g <- tan(s*pi/180); x <- c(s, g*sin(p), g*cos(p)); v <- vect(readLines(a[2]), crs='EPSG:32616');"
        "e <- extract(x, v, exact=TRUE); for (i in 1:nrow(v)) { d <- e[e$ID==i,];"
        "w <- d$fraction; cat(sapply(2:4, function(k) sprintf('%.12f', sum(w*d[[k]])/sum(w))), '\\n') }",
        jacksboro_utm, table,
    )  # fmt: skip
    theirs = np.array([[float(word) for word in line.split()] for line in told.strip().splitlines()])
    with open_elevation(jacksboro_utm, vertical_unit=None) as dem:
        found = terrain_figures(dem.zone_table(units, rules=RULES), unit_m2=np.full(len(units), 320.0**2), rules=RULES)
    # UTM's scale here is up to 1.0003: 0.0003 × sin 2s / 2, at most 0.006° of slope, which terra leaves out.
    found_slope = np.array([f.slope_mean_deg for f in found])
    assert np.abs(found_slope - theirs[:, 0]).max() < 0.008
    lon = [u.centroid.x for u in units]
    lat = [u.centroid.y for u in units]
    convergence = np.asarray(Proj(CRS.from_epsg(32616)).get_factors(lon, lat).meridian_convergence)
    bearing = np.degrees(np.arctan2(theirs[:, 1], theirs[:, 2])) + convergence
    turn = (np.array([f.aspect_mean_deg for f in found]) - bearing + 180) % 360 - 180
    assert np.abs(turn).max() < 0.01  # a tile's one column, see above
    assert all(f.coverage_pct == pytest.approx(100, abs=0.1) for f in found)  # the scale again, squared
