"""Shares, percentile and concentration of units on real ground, against points laid densely over its cells."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Geod
from real_ground import jacksboro, squares, write
from scipy import ndimage

from habmap.land.facerules import FaceRules
from habmap.place.elevation import open_elevation
from habmap.work.terrain import terrain_figures

#: Points along each side of a cell.
SIDE = 20
Ground = tuple[np.ndarray, np.ndarray, np.ndarray]
RULES = FaceRules(flat_below_pct=8, sun_facing_deg=(112.5, 247.5), machine_limit_pct=30)


@pytest.fixture(scope="module")
def raster(tmp_path_factory: pytest.TempPathFactory) -> Path:
    heights, transform = jacksboro()
    return write(tmp_path_factory.mktemp("shares") / "j.tif", heights, transform, "EPSG:4326")


def gradients() -> Ground:
    """Return the gradient toward east and north [m/m] and each row's cell area [m²], by geodesics and a convolution."""
    heights, transform = jacksboro()
    rows, _ = heights.shape
    geod = Geod(ellps="WGS84")
    lat = transform.f + (np.arange(rows) + 0.5) * transform.e
    top, bottom = lat - transform.e / 2, lat + transform.e / 2
    zero, step = np.zeros(rows), np.full(rows, transform.a)
    east_m = geod.inv(zero, lat, step, lat)[2]
    north_m = geod.inv(zero, bottom, zero, top)[2]
    kernel = np.array([[-1, 0, 1], [-2, 0, 2], [-1, 0, 1]]) / 8
    east = ndimage.correlate(heights, kernel) / np.asarray(east_m)[:, None]
    north = -ndimage.correlate(heights, kernel.T) / np.asarray(north_m)[:, None]
    for edge in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):  # fewer than nine cells
        east[edge] = np.nan
    area_m2 = [
        abs(geod.polygon_area_perimeter([0, transform.a, transform.a, 0], [a, a, b, b])[0])
        for a, b in zip(bottom, top, strict=True)
    ]
    return east, north, np.array(area_m2)


def by_points(unit: shapely.Polygon, ground: Ground) -> dict[str, np.ndarray | float]:
    """Weigh every point of a fine net that lies inside a unit by its row's share of ground."""
    _, transform = jacksboro()
    east, north, area_m2 = ground
    west, south, right, top = unit.bounds
    lon = np.arange(np.floor((west - transform.c) / transform.a), np.ceil((right - transform.c) / transform.a))
    row = np.arange(np.floor((top - transform.f) / transform.e), np.ceil((south - transform.f) / transform.e))
    fine = (np.arange(SIDE) + 0.5) / SIDE
    cols = (lon[:, None] + fine).ravel()
    rows = (row[:, None] + fine).ravel()
    x, y = np.meshgrid(transform.c + cols * transform.a, transform.f + rows * transform.e)
    inside = shapely.contains_xy(unit, x, y)
    at_row, at_col = np.broadcast_arrays(rows.astype(int)[:, None], cols.astype(int)[None, :])
    inside &= (at_row < east.shape[0]) & (at_col < east.shape[1])
    inside[inside] = np.isfinite(east[at_row[inside], at_col[inside]])
    at_row, at_col = at_row[inside], at_col[inside]
    e, n, weight = east[at_row, at_col], north[at_row, at_col], area_m2[at_row]
    weight = weight / weight.sum()
    pct = 100 * np.hypot(e, n)
    bearing = np.degrees(np.arctan2(-e, -n)) % 360
    sunny = (pct >= 8) & (bearing >= 112.5) & (bearing <= 247.5)
    return {
        "sun_facing_pct": 100 * float(weight @ sunny),
        "flat_pct": 100 * float(weight @ (pct < 8)),
        "hand_only_pct": 100 * float(weight @ (pct > 30)),
        "slope_mean_pct": float(weight @ pct),
        "aspect_concentration": float(np.hypot(weight @ e, weight @ n) / (weight @ np.hypot(e, n))),
        "pct": pct,
        "weight": weight,
    }


@pytest.mark.parametrize("side_m", [320.0, 900.0])
def test_shares_on_real_ground_against_points(raster: Path, side_m: float) -> None:
    units = squares(15, side_m, seed=23)
    with open_elevation(raster, vertical_unit=None) as dem:
        found = terrain_figures(dem.zone_table(units, rules=RULES), unit_m2=np.full(len(units), side_m**2), rules=RULES)
    ground = gradients()
    spread = {name: set[bool]() for name in ("sun_facing_pct", "flat_pct", "hand_only_pct")}
    for unit, ours in zip(units, found, strict=True):
        points = by_points(unit, ground)
        # 5,900 points and more to a unit of 16 cells; those along its edge fall in or out by chance. Measured, shares
        # differ by up to 0.16 points, slopes by 0.1%.
        for name, seen in spread.items():
            assert getattr(ours, name) == pytest.approx(points[name], abs=0.25), name
            seen.add(0 < getattr(ours, name) < 100)
        assert ours.slope_mean_pct == pytest.approx(points["slope_mean_pct"], rel=0.002)
        assert ours.aspect_concentration == pytest.approx(points["aspect_concentration"], abs=0.003)
        # nine tenths lie below: a class is 0.1% wide, shares as above
        pct, weight = points["pct"], points["weight"]
        assert ours.slope_p90_pct is not None
        assert float(weight @ (pct <= ours.slope_p90_pct + 0.1)) >= 0.9 - 0.0025  # type: ignore[operator]
        assert float(weight @ (pct <= ours.slope_p90_pct - 0.1)) <= 0.9 + 0.0025  # type: ignore[operator]
    assert all(True in seen for seen in spread.values())  # no figure was 0 or 100 throughout


def test_the_raster_is_what_the_points_were_laid_on(raster: Path) -> None:
    with rasterio.open(raster) as source:
        assert source.transform == jacksboro()[1]
