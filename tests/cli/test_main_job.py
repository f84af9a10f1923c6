"""The whole job by the real command on ground that a person can check in the head.

The ground is one straight ridge, 200 m above its foot's reckoning: 20% down to the south and 20% down to the north,
so slopes and faces are known by algebra. Acres are checked against GeographicLib (Karney 2013), which shares no code
with the library under test.
"""

from __future__ import annotations

import json
import math
import re
import shutil
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyproj
import pytest
import rasterio
from geographiclib.geodesic import Geodesic
from rasterio.transform import from_origin
from shapely import Polygon, box

from habmap.measures import M2_PER_ACRE

Run = Callable[..., Any]

UTM = 32614  # WGS 84 / UTM zone 14N
#: On the zone's own middle line grid north is true north, to 0.005° over this property.
LEFT_M, RIDGE_M = 500_000.0, 4_100_000.0
SLOPE_PCT = 20.0
SLOPE_DEG = math.degrees(math.atan(SLOPE_PCT / 100))
#: The UTM scale on its middle line is 0.9996: true distances are longer, true slopes gentler by that factor.
SLOPE_TOLERANCE_DEG = 0.05
FACE_TOLERANCE_DEG = 0.5
#: Borders are straight in the grid of record and not along geodesics; on sides of 300 m that is worth 1e-7.
ACRE_TOLERANCE = 1e-6

UNITS = {
    "S1": ("South face", "cedar", 900.0, box(LEFT_M + 100, RIDGE_M - 400, LEFT_M + 400, RIDGE_M - 100)),
    "S2": ("South shoulder", "cedar", 40.0, box(LEFT_M + 400, RIDGE_M - 400, LEFT_M + 700, RIDGE_M - 100)),
    "N1": ("North face", "cedar", 900.0, box(LEFT_M + 100, RIDGE_M + 100, LEFT_M + 400, RIDGE_M + 400)),
    "G1": ("The meadow", "grass", None, box(LEFT_M + 400, RIDGE_M + 100, LEFT_M + 700, RIDGE_M + 400)),
}
HALF_OF_S1 = box(LEFT_M + 100, RIDGE_M - 400, LEFT_M + 250, RIDGE_M - 100)
NEST = "Old eagle tree"


@pytest.fixture(scope="module")
def layers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("layers")
    units = geopandas.GeoDataFrame(
        [
            {"unit_id": key, "name": name, "cover": cover, "stems_per_acre": stems, "geometry": outline}
            for key, (name, cover, stems, outline) in UNITS.items()
        ],
        crs=UTM,
    )
    units.to_file(folder / "units.gpkg", driver="GPKG")
    geopandas.GeoDataFrame(geometry=[HALF_OF_S1], crs=UTM).to_file(folder / "patch.gpkg", driver="GPKG")
    edge = box(LEFT_M + 50, RIDGE_M - 450, LEFT_M + 750, RIDGE_M + 450)
    geopandas.GeoDataFrame(geometry=[edge], crs=UTM).to_file(folder / "boundary.gpkg", driver="GPKG")
    geopandas.GeoDataFrame(
        {"kind": ["road", "nest"], "name": ["County road", NEST]},
        geometry=[
            box(LEFT_M, RIDGE_M - 500, LEFT_M + 800, RIDGE_M - 490).exterior,
            box(LEFT_M + 600, RIDGE_M + 300, LEFT_M + 602, RIDGE_M + 302).centroid,
        ],
        crs=UTM,
    ).to_file(folder / "features.gpkg", driver="GPKG")

    cell_m, size = 5.0, 200
    rows_m = RIDGE_M + 500 - (np.arange(size) + 0.5) * cell_m
    heights = np.repeat((400 - SLOPE_PCT / 100 * np.abs(rows_m - RIDGE_M))[:, None], size, axis=1)
    with rasterio.open(
        folder / "elevation.tif",
        "w",
        driver="GTiff",
        width=size,
        height=size,
        count=1,
        dtype="float64",
        crs=f"EPSG:{UTM}",
        transform=from_origin(LEFT_M - 100, RIDGE_M + 500, cell_m, cell_m),
    ) as raster:
        raster.write(heights, 1)
    (folder / "entries.csv").write_text(
        "entry_id,date,practice,unit_id,whole,killed_pct,person_hours,cost,who,note\n"
        "e1,2024-02-10,girdle,N1,yes,30,6,,Ada,first try\n"
        "e2,2024-03-20,burn,G1,yes,,9,120,Ada,\n",
        encoding="utf-8",
    )
    return folder


@pytest.fixture(scope="module")
def loaded(run_habmap: Run, layers: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("main_job") / "ridge"
    steps = (
        ("start", place, "--name", "Two-sided ridge", "--boundary", layers / "boundary.gpkg"),
        ("load", "units", layers / "units.gpkg"),
        ("load", "features", layers / "features.gpkg"),
        ("load", "dem", layers / "elevation.tif", "--vertical-unit", "m"),
        ("load", "entries", layers / "entries.csv"),
        ("log", "cut", "--date", "2025-02-15", "--patch", layers / "patch.gpkg", "--person-hours", 12),
    )
    for step in steps:
        done = run_habmap(*step) if step[0] == "start" else run_habmap(*step, place=place)
        assert done.code == 0, (step, done.err)
    return place


@pytest.fixture
def place(loaded: Path, tmp_path: Path) -> Path:
    """A copy that a test may write into."""
    return Path(shutil.copytree(loaded, tmp_path / "ridge"))


def geodesic_acres(outline: Polygon) -> float:
    """Return an outline's acres by GeographicLib, each side divided so that it stays straight on the map."""
    east, north = np.array(outline.segmentize(10).exterior.coords[:-1]).T
    lons, lats = pyproj.Transformer.from_crs(UTM, 4326, always_xy=True).transform(east, north)
    polygon = Geodesic.WGS84.Polygon()  # type: ignore[attr-defined]
    for lon, lat in zip(lons, lats, strict=True):
        polygon.AddPoint(lat, lon)
    _, _, area_m2 = polygon.Compute(False, True)
    return abs(area_m2) / M2_PER_ACRE


def by_unit(result: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {unit["unit_id"]: unit for unit in result["units"]}


def loads_of(page: str) -> list[str]:
    """List what the elements of a page would fetch from elsewhere; text inside scripts is not an element."""
    found: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.extend(
                f"<{tag} {name}={value}>"
                for name, value in attrs
                if name in ("src", "href", "srcset", "data", "poster", "action")
                and value
                and not value.startswith(("data:", "#", "mailto:"))
            )

    Reader().feed(page)
    return found


def test_acres_are_those_of_another_program_and_close(run_habmap: Run, loaded: Path) -> None:
    account = run_habmap("acres", "--json", place=loaded).json
    assert account["schema"] == "habmap/acres/1"
    assert account["on"] == "2025-02-15"  # the newest entry's day
    assert account["acre_m2"] == pytest.approx(4046.8564224, rel=1e-15)
    units = by_unit(account)
    for key, (_, _, _, outline) in UNITS.items():
        assert units[key]["acres"] == pytest.approx(geodesic_acres(outline), rel=ACRE_TOLERANCE)
        assert math.fsum(units[key]["stage_acres"].values()) == pytest.approx(units[key]["acres"], rel=1e-9)
    half = geodesic_acres(HALF_OF_S1)
    assert units["S1"]["stage_acres"]["down"] == pytest.approx(half, rel=ACRE_TOLERANCE)
    assert units["S1"]["treated_pct"] == pytest.approx(50, abs=1e-3)
    assert units["N1"]["stage_acres"]["part_cut"] == pytest.approx(units["N1"]["acres"], rel=1e-9)
    assert units["G1"]["stage_acres"]["other"] == pytest.approx(units["G1"]["acres"], rel=1e-9)
    totals = account["totals"]
    assert totals["treated_acres"] == pytest.approx(half, rel=ACRE_TOLERANCE)
    parts = totals["treated_acres"] + totals["remaining_acres"] + totals["keep_acres"] + totals["stage_acres"]["other"]
    assert parts == pytest.approx(totals["acres"], rel=1e-9)
    assert abs(account["closure_m2"]) < 1e-6


def test_terrain_is_that_of_the_ridge(run_habmap: Run, loaded: Path) -> None:
    result = run_habmap("terrain", "--json", place=loaded).json
    units = by_unit(result)
    for key, face_deg, facing, sun_pct in (("S1", 180, "S", 100), ("S2", 180, "S", 100), ("N1", 0, "N", 0)):
        unit = units[key]
        assert unit["slope_mean_deg"] == pytest.approx(SLOPE_DEG, abs=SLOPE_TOLERANCE_DEG)
        off_deg = (unit["aspect_mean_deg"] - face_deg + 180) % 360 - 180
        assert abs(off_deg) < FACE_TOLERANCE_DEG
        assert unit["facing"] == facing
        assert unit["sun_facing_pct"] == pytest.approx(sun_pct, abs=1e-6)
        assert unit["coverage_pct"] == pytest.approx(100, abs=1e-6)
        assert unit["aspect_concentration"] == pytest.approx(1, abs=1e-6)
    assert units["S1"]["heat_load_mean"] > units["N1"]["heat_load_mean"]


def test_dense_cedar_that_faces_the_sun_comes_first(run_habmap: Run, loaded: Path) -> None:
    result = run_habmap("rank", "--json", place=loaded).json
    tiers = {unit["unit_id"]: unit["tier"] for unit in result["units"]}
    assert tiers["S1"] == "first"
    assert tiers["S2"] != "first"  # 40 stems per acre is not dense
    assert tiers["N1"] != "first"  # it faces north
    assert tiers["G1"] == "none"  # grass
    assert [unit["order"] for unit in result["units"]] == sorted(unit["order"] for unit in result["units"])
    first = by_unit(result)["S1"]
    assert first["order"] == 1
    assert first["remaining_acres"] == pytest.approx(geodesic_acres(UNITS["S1"][3]) / 2, rel=2e-6)
    words = " ".join(first["reasons"])
    assert "cedar" in words and "south" in words and "900" in words


def test_any_day_can_be_replayed(run_habmap: Run, loaded: Path) -> None:
    before = run_habmap("acres", "--json", "--on", "2025-02-14", place=loaded).json
    assert before["on"] == "2025-02-14"
    assert before["totals"]["treated_acres"] == 0
    long_before = by_unit(run_habmap("acres", "--json", "--on", "2020-01-01", place=loaded).json)
    assert long_before["N1"]["stage_acres"]["standing"] == pytest.approx(long_before["N1"]["acres"], rel=1e-9)


def test_asked_twice_the_answer_is_the_same(run_habmap: Run, loaded: Path) -> None:
    # The order of work rests on the account and on the terrain: when it repeats to the last digit, so do they.
    assert run_habmap("rank", "--json", place=loaded).out == run_habmap("rank", "--json", place=loaded).out


def test_work_goes_on_and_a_mistake_is_withdrawn(run_habmap: Run, place: Path) -> None:
    done = run_habmap("log", "burn", "--date", "2025-04-01", "--unit", "S1", "--whole", "--json", place=place)
    assert done.code == 0, done.err
    burned = by_unit(run_habmap("acres", "--json", place=place).json)["S1"]
    assert burned["stage_acres"]["burned"] == pytest.approx(burned["acres"] / 2, rel=2e-6)
    why = "the burn was called off"
    assert run_habmap("void", done.json["entry_id"], "--why", why, place=place).code == 0
    back = by_unit(run_habmap("acres", "--json", place=place).json)["S1"]
    assert back["stage_acres"]["burned"] == 0
    assert back["stage_acres"]["down"] == pytest.approx(back["acres"] / 2, rel=2e-6)
    history = run_habmap("history", place=place)
    assert history.code == 0
    assert why in history.out  # nothing said is ever gone


def test_work_with_saw_and_fire_carries_its_caution(run_habmap: Run, place: Path) -> None:
    # in full once a day, and after that in one line; the answer for programs has it in full each time
    for practice, words, about in (("cut", "maim and kill", "saws and falling trees"), ("burn", "burn boss", "fire")):
        asked = ("log", practice, "--date", "2025-05-01", "--unit", "S2", "--whole")
        told = run_habmap(*asked, place=place)
        assert words in told.err or re.search(rf"in full today with line \d+ .*{about}", told.err)
        assert any(words in caution for caution in run_habmap(*asked, "--json", place=place).json["cautions"])


def test_the_map_stands_alone_and_tells_the_account(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    page = tmp_path / "ridge.html"
    assert run_habmap("map", "-o", page, place=place).code == 0
    text = page.read_text(encoding="utf-8")
    assert loads_of(text) == []
    assert "Content-Security-Policy" in text
    account = run_habmap("acres", "--json", place=place).json["totals"]
    assert f"{account['treated_acres']:.1f}" in text
    assert f"{account['remaining_acres']:.1f}" in text
    assert "Two-sided ridge" in text
    assert NEST in text  # the owner's own copy
    assert run_habmap("map", "-o", page, place=place).code == 0  # its own earlier one is replaced
    page.write_text("mine", encoding="utf-8")
    again = run_habmap("map", "-o", page, place=place)
    assert again.code in (2, 3)
    assert "--overwrite" in again.err
    assert page.read_text(encoding="utf-8") == "mine"


def test_the_public_map_keeps_what_is_private(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    page = tmp_path / "public.html"
    assert run_habmap("map", "-o", page, "--for", "public", place=place).code == 0
    text = page.read_text(encoding="utf-8")
    for secret in (NEST, "eagle", "Ada", "first try"):
        assert secret not in text


def test_check_finds_nothing_wrong(run_habmap: Run, loaded: Path) -> None:
    done = run_habmap("check", place=loaded)
    assert done.code == 0, done.out + done.err


def test_a_file_with_one_bad_row_loads_nothing(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    table = tmp_path / "more.csv"
    table.write_text(
        "whole,entry_id,date,practice,unit_id\nyes,e7,2025-06-01,mow,G1\nyes,e8,2025-02-30,mow,G1\n"
        "yes,e9,2025-06-01,vacuum,G1\n",
        encoding="utf-8",
    )
    before = run_habmap("acres", "--json", place=place).out
    done = run_habmap("load", "entries", table, place=place)
    assert done.code == 3
    assert "2025-02-30" in done.err and "vacuum" in done.err
    assert run_habmap("acres", "--json", place=place).out == before


def test_the_demo_does_the_whole_job(run_habmap: Run, demo_place: Path) -> None:
    account = run_habmap("acres", "--json", place=demo_place).json
    totals = account["totals"]
    assert totals["treated_acres"] > 0 and totals["remaining_acres"] > 0
    assert all(acres > 0 for acres in totals["stage_acres"].values()), totals["stage_acres"]  # every stage is there
    tiers = [unit["tier"] for unit in run_habmap("rank", "--json", place=demo_place).json["units"]]
    assert tiers[0] == "first"
    pages = list(demo_place.rglob("*.html"))
    assert pages
    assert f"{totals['treated_acres']:.1f}" in pages[0].read_text(encoding="utf-8")
    assert run_habmap("check", place=demo_place).code == 0


def test_the_demo_leaves_a_folder_that_is_there_alone(run_habmap: Run, demo_place: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in demo_place.rglob("*") if path.is_file()}
    done = run_habmap("demo", demo_place)
    assert done.code in (2, 3)
    assert str(demo_place) in done.err
    assert {path: path.stat().st_mtime_ns for path in demo_place.rglob("*") if path.is_file()} == before


def test_json_is_strict_and_complete(run_habmap: Run, loaded: Path) -> None:
    def refuse(token: str) -> None:
        raise AssertionError(f"{token} in JSON")

    wanted = {
        "acres": ({"place", "on", "acre_m2", "totals", "units", "practices", "outside_acres", "closure_m2"}, {
            "unit_id", "name", "cover", "acres", "acres_sd", "stage_acres", "treated_acres", "remaining_acres",
            "treated_pct",
        }),
        "terrain": ({"dem", "units"}, {
            "unit_id", "slope_mean_deg", "slope_mean_pct", "slope_p90_pct", "aspect_mean_deg", "aspect_concentration",
            "facing", "sun_facing_pct", "flat_pct", "heat_load_mean", "hand_only_pct", "coverage_pct",
        }),
        "rank": ({"units"}, {
            "order", "unit_id", "tier", "score", "reasons", "parts", "firm_pct", "close_call", "remaining_acres",
        }),
    }  # fmt: skip
    for command, (keys, unit_keys) in wanted.items():
        result = json.loads(run_habmap(command, "--json", place=loaded).out, parse_constant=refuse)
        assert result["schema"] == f"habmap/{command}/1"
        assert keys <= set(result)
        assert unit_keys <= set(result["units"][0])
