"""Areas against figures and programs from outside this project; see check_values in each test's comment."""

from __future__ import annotations

import csv
import math
import subprocess
from fractions import Fraction
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from pyproj import Geod
from shapely import MultiPolygon, Polygon

from habmap import measures
from habmap.land.acreage import area_of_record_m2, geodesic_area_m2
from habmap.land.grid import LocalGrid


def geographiclib_area_m2(polygon: Polygon) -> float:
    """Return the area by GeographicLib's own Python code, holes taken away."""

    def ring_m2(ring: shapely.LinearRing) -> float:
        walked = Geodesic.WGS84.Polygon()
        for lon, lat in ring.coords[:-1]:
            walked.AddPoint(lat, lon)
        return abs(walked.Compute()[2])

    return ring_m2(polygon.exterior) - sum(ring_m2(hole) for hole in polygon.interiors)


# --- factors ------------------------------------------------------------------------------------------------


def test_the_acre_is_the_international_one() -> None:
    # 85 Fed. Reg. 62698 (2020): foot 0.3048 m exactly; 43,560 ft² = 4046.8564224 m² exactly.
    assert Fraction(43_560) * Fraction("0.3048") ** 2 == Fraction("4046.8564224")
    assert pytest.approx(4046.8564224, rel=1e-15) == measures.M2_PER_ACRE  # one rounding of a double
    assert measures.M_PER_FT == 0.3048


def test_the_survey_acre_is_four_millionths_larger() -> None:
    # NIST SP 811, B.6 (US survey foot 1200/3937 m, retired 31 December 2022): 43,560 of its squares.
    survey_acre_m2 = 43_560 * measures.M_PER_US_FT**2
    assert survey_acre_m2 == pytest.approx(4046.8726098742513, rel=1e-14)
    assert survey_acre_m2 / measures.M2_PER_ACRE - 1 == pytest.approx(4e-6, rel=1e-4)


def test_hectares_and_chains() -> None:
    # Derived from the definition: 1 ha = 10,000 m²; ten square chains of 66 ft are one acre.
    assert measures.acres(10_000) == pytest.approx(2.471053814671653, rel=1e-14)
    assert measures.acres(10 * (66 * measures.M_PER_FT) ** 2) == pytest.approx(1, rel=1e-14)


@pytest.mark.parametrize(("side_ft", "expected_acres"), [(5280, 640), (2640, 160), (1320, 40)])
def test_nominal_parts_of_a_section(side_ft: float, expected_acres: float) -> None:
    # From memory (Manual of Surveying Instructions 2009): nominal section, quarter, quarter-quarter.
    assert measures.acres((side_ft * measures.M_PER_FT) ** 2) == pytest.approx(expected_acres, rel=1e-14)


# --- geodesic area ------------------------------------------------------------------------------------------

# GeographicLib's own Planimeter tests (Karney 2013, doi 10.1007/s00190-012-0578-z): (lat, lon) and the published
# perimeter [m] and area [m²]. Tolerances: the last digit printed there (perimeters are cut, not rounded).
PLANIMETER = [
    ([(89, 0), (89, 90), (89, 180), (89, 270)], 631819.8745, 24952305678.0, 0.5),
    ([(0, -1), (-1, 0), (0, 1), (1, 0)], 627598.2731, 24619419146.0, 1.0),
]


@pytest.mark.parametrize(("lat_lon", "perimeter_m", "area_m2", "tolerance_m2"), PLANIMETER)
def test_geographiclib_planimeter(
    lat_lon: list[tuple[float, float]], perimeter_m: float, area_m2: float, tolerance_m2: float
) -> None:
    walked = Geodesic.WGS84.Polygon()
    for lat, lon in lat_lon:
        walked.AddPoint(lat, lon)
    _, perimeter, area = walked.Compute()
    lat_deg, lon_deg = zip(*lat_lon, strict=True)
    by_proj_m2, by_proj_m = Geod(ellps="WGS84").polygon_area_perimeter(lon_deg, lat_deg)
    assert (perimeter, area) == (
        pytest.approx(perimeter_m, abs=1e-4),
        pytest.approx(area_m2, abs=tolerance_m2),
    )
    assert (by_proj_m, abs(by_proj_m2)) == (
        pytest.approx(perimeter_m, abs=1e-4),
        pytest.approx(area_m2, abs=tolerance_m2),
    )


def test_our_geodesic_area_on_the_equatorial_diamond() -> None:
    # The second Planimeter figure through our own function (the first rings the pole, which no lon/lat plane can hold).
    diamond = Polygon([(-1, 0), (0, -1), (1, 0), (0, 1)])
    assert geodesic_area_m2(diamond) == pytest.approx(24619419146.0, abs=1.0)


def stand(lat: float, lon: float, *, radius_m: float, seed: int, with_hole: bool = False) -> Polygon:
    """Return a ragged stand of 40 corners about a point, lon/lat, drawn without any map projection."""
    rng = np.random.default_rng(seed)
    turns_deg = np.linspace(0, 360, 40, endpoint=False)

    def ring(reach_m: float) -> list[tuple[float, float]]:
        found = []
        for turn_deg in turns_deg:
            there = Geodesic.WGS84.Direct(lat, lon, float(turn_deg), reach_m * float(rng.uniform(0.6, 1)))
            found.append((there["lon2"], there["lat2"]))
        return found

    return Polygon(ring(radius_m), [ring(radius_m * 0.3)] if with_hole else [])


@pytest.mark.parametrize("lat", [-35.0, 0.0, 26.0, 32.0, 38.0, 44.0, 49.0, 61.0])
@pytest.mark.parametrize("radius_m", [30, 120, 400, 1000])
@pytest.mark.parametrize("away_m", [0, 3_000])
def test_acres_of_record_against_geographiclib(lat: float, radius_m: float, away_m: float) -> None:
    """The project's own bound: planar and geodesic area agree within 1e-6 for units up to 2 km across."""
    grid = LocalGrid(lat, -98.0)
    there = Geodesic.WGS84.Direct(lat, -98.0, 55, away_m)
    polygon = stand(there["lat2"], there["lon2"], radius_m=radius_m, seed=round(radius_m + lat + 90), with_hole=True)
    outside_m2 = geographiclib_area_m2(polygon)
    assert area_of_record_m2(polygon, grid=grid) == pytest.approx(outside_m2, rel=1e-6)
    # The same algorithm in another language: only rounding is left, about 0.1 mm² per corner.
    assert geodesic_area_m2(polygon) == pytest.approx(outside_m2, rel=1e-9, abs=1e-3)


def test_a_cap_of_the_ellipsoid_by_its_closed_form() -> None:
    # Area between the equator and latitude φ, per radian of longitude (Snyder 1987, USGS Professional Paper 1395,
    # chapter 3, the authalic latitude's q; from memory): a²(1 − e²)·[s/(2(1 − e²s²)) + ln((1 + es)/(1 − es))/(4e)],
    # s = sin φ.
    a_m, flattening = 6378137.0, 1 / 298.257223563
    e2 = flattening * (2 - flattening)
    e = math.sqrt(e2)

    def from_equator_m2(lat: float, width_deg: float) -> float:
        s = math.sin(math.radians(lat))
        return (
            math.radians(width_deg)
            * a_m**2
            * (1 - e2)
            * (s / (2 * (1 - e2 * s * s)) + math.log((1 + e * s) / (1 - e * s)) / (4 * e))
        )

    south, north, width_deg = 38.0, 38.01, 0.02
    lons = np.linspace(-98 - width_deg / 2, -98 + width_deg / 2, 401)
    corners = [*((lon, south) for lon in lons), *((lon, north) for lon in lons[::-1])]
    expected_m2 = from_equator_m2(north, width_deg) - from_equator_m2(south, width_deg)
    # Chords of 4 m leave the parallel by 0.3 µm: far under the tolerance. The difference of two large sums keeps 1e-9.
    assert area_of_record_m2(Polygon(corners), grid=LocalGrid(38.0, -98.0)) == pytest.approx(expected_m2, rel=1e-8)


# --- published areas of real polygons -----------------------------------------------------------------------


def grid_at(shape: MultiPolygon | Polygon) -> LocalGrid:
    west, south, east, north = shape.bounds
    return LocalGrid((south + north) / 2, (west + east) / 2)


@pytest.mark.terra
def test_luxembourgs_cantons_against_their_published_areas() -> None:
    """The layer that R's terra ships; its column AREA holds km² rounded to whole numbers.

    Whole square kilometers are within 0.66% of the truth for the smallest canton (76 km²); 0.35% covers all twelve,
    half a square kilometer the small ones.
    """
    found = _r('cat(system.file("ex/lux.shp", package = "terra"))')
    layer = geopandas.read_file(found)
    assert len(layer) == 12
    layer = layer.to_crs(4326)
    for shape, published_km2 in zip(layer.geometry, layer["AREA"], strict=True):
        ours_km2 = area_of_record_m2(shape, grid=grid_at(shape)) / 1e6
        assert ours_km2 == pytest.approx(published_km2, abs=0.5, rel=3.5e-3)


@pytest.mark.terra
def test_luxembourgs_cantons_against_terra(tmp_path: Path) -> None:
    """R terra's expanse() on the ellipsoid; both sides follow geodesics, so that 1e-7 is rounding and edge models."""
    script = (
        'v <- terra::vect(system.file("ex/lux.shp", package = "terra"));'
        f'write.csv(data.frame(m2 = sprintf("%.6f", terra::expanse(v, unit = "m"))), "{tmp_path / "m2.csv"}");'
        f'terra::writeVector(v, "{tmp_path / "lux.gpkg"}")'
    )
    _r(script)
    with (tmp_path / "m2.csv").open(encoding="utf-8") as table:
        theirs_m2 = [float(row["m2"]) for row in csv.DictReader(table)]
    shapes = geopandas.read_file(tmp_path / "lux.gpkg").geometry
    assert len(theirs_m2) == len(shapes) == 12
    for shape, expected_m2 in zip(shapes, theirs_m2, strict=True):
        assert geodesic_area_m2(shape) == pytest.approx(expected_m2, rel=1e-7)


@pytest.mark.spdata
def test_states_against_their_published_areas() -> None:
    """R spData's us_states: column AREA holds km² of these very outlines (NAD 83; Census Bureau, simplified).

    One part in a million: the maker's ellipsoid is GRS 80 and its program another one; nothing else differs.
    """
    text = _r(
        "data(us_states, package = 'spData'); s <- unclass(us_states);"
        "for (i in seq_along(s$NAME)) for (p in unclass(s$geometry[[i]])) for (k in seq_along(p))"
        " cat(s$NAME[i], s$AREA[i], k, paste(sprintf('%.15g %.15g', p[[k]][, 1], p[[k]][, 2]), collapse = ','), '\\n',"
        " sep = '\\t')"
    )
    published_km2: dict[str, float] = {}
    ours_m2: dict[str, float] = {}
    for line in filter(str.strip, text.splitlines()):
        name, area_km2, ring_number, points = line.rstrip("\t").split("\t")
        ring = Polygon([tuple(map(float, point.split())) for point in points.split(",")])
        published_km2[name] = float(area_km2)
        sign = 1 if ring_number == "1" else -1
        ours_m2[name] = ours_m2.get(name, 0.0) + sign * geodesic_area_m2(ring)
    assert len(published_km2) == 49
    off = {name: ours_m2[name] / 1e6 / km2 - 1 for name, km2 in published_km2.items()}
    assert max(map(abs, off.values())) < 1e-6


def _r(script: str) -> str:
    done = subprocess.run(
        ["Rscript", "--vanilla", "-e", script], capture_output=True, encoding="utf-8", timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout
