"""``habmap burnsheet`` from outside: a place with one made hill, the answer, its JSON, and what it refuses."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine

Run = Callable[..., Any]

#: The made hill: UTM 14N cells of 10 m around this corner [m].
LEFT, TOP, CELL, SIDE = 500_000.0, 4_200_000.0, 10.0, 300
WEATHER = ("--temp-f", 60, "--rh-pct", 35, "--wind-mph", 8, "--wind-from", "S")
NOON = ("--time", "2026-03-10T12:00")
#: Words that would read as leave to burn.
LEAVE = ("go ahead", "good to burn", "safe to", "all clear", "ok to burn", "you may burn", "conditions met", "approved")


@pytest.fixture(scope="module")
def hill(run_habmap: Run, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A place whose west half falls 20% to the south and whose east half falls 40% to the north, unit A across."""
    folder = tmp_path_factory.mktemp("hill")
    cols, rows = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    south_m = rows * CELL
    heights = np.where(cols < SIDE // 2, 2000 - 0.20 * south_m, 800 + 0.40 * south_m).astype(np.float32)
    profile = {
        "driver": "GTiff", "height": SIDE, "width": SIDE, "count": 1, "dtype": "float32", "crs": "EPSG:32614",
        "transform": Affine(CELL, 0, LEFT, 0, -CELL, TOP), "nodata": -9999.0,
    }  # fmt: skip
    with rasterio.open(folder / "hill.tif", "w", **profile) as raster:
        raster.write(heights, 1)
    middle_x, middle_y = LEFT + CELL * SIDE / 2, TOP - CELL * SIDE / 2

    def square(west: float, south: float, east: float, north: float) -> dict[str, object]:
        from pyproj import Transformer

        turn = Transformer.from_crs(32614, 4326, always_xy=True)
        ring = [(west, south), (east, south), (east, north), (west, north), (west, south)]
        points = [list(turn.transform(middle_x + x, middle_y + y)) for x, y in ring]
        return {"type": "Polygon", "coordinates": [points]}

    # 240 m by 100 m: 120 m on each face, less 10 m on either side of the seam where Horn's window sees both.
    features = [
        {"type": "Feature", "properties": {"unit_id": "A", "name": "Block", "cover": "grass"},
         "geometry": square(-120, -50, 120, 50)},
        {"type": "Feature", "properties": {"unit_id": "P", "name": "Pond", "cover": "water"},
         "geometry": square(300, -50, 350, 50)},
    ]  # fmt: skip
    (folder / "units.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    place = folder / "place"
    for step in (
        ("start", place, "--name", "Made hill"),
        ("--place", place, "load", "units", folder / "units.geojson"),
        ("--place", place, "load", "dem", folder / "hill.tif", "--vertical-unit", "m"),
    ):
        done = run_habmap(*step)
        assert done.code == 0, done.err
    return place


def with_plan(hill: Path, tmp_path: Path, text: str) -> Path:
    folder = tmp_path / "place"
    shutil.copytree(hill, folder)
    with (folder / "habmap.toml").open("a", encoding="utf-8") as settings:
        settings.write(text)
    return folder


PLAN = """
[burn_plan.grass]
author = "P. Writer"
date = 2026-01-31
rh_pct = [40, 70]
wind_mph = [5, 12]
wind_from_deg = [315, 45]
gust_mph = [0, 20]
"""


def test_moisture_by_face_and_slope_of_the_ground(run_habmap: Run, hill: Path) -> None:
    result = run_habmap("burnsheet", "A", *NOON, *WEATHER, "--json", place=hill).json
    assert result["schema"] == "habmap/burnsheet/1"
    classes = {(line["facing"], line["slope_class"]): line for line in result["fuel_moisture"]}
    # The tables' worked checks for March, 60 °F, 35%, 1200, level: S 0–30% 7; N >30% 9.
    assert classes["S", "0-30"]["pct"] == 7
    assert classes["N", ">30"]["pct"] == 9
    # 110 m × 100 m each, on the ground 0.08% larger than the map of the zone's middle: 2.718 acres, within 0.01.
    assert classes["S", "0-30"]["acres"] == pytest.approx(11_000 * 1.0008 / 4046.8564224, abs=0.01)
    assert classes["N", ">30"]["acres"] == pytest.approx(11_000 * 1.0008 / 4046.8564224, abs=0.01)
    assert sum(line["acres"] for line in result["fuel_moisture"]) == pytest.approx(result["acres"], rel=1e-4)
    pcts = [line["pct"] for line in result["fuel_moisture"]]
    assert pcts == sorted(pcts)
    assert result["fine_fuel_moisture_pct"] == pcts[0]


def test_shade_and_the_height_of_the_weather_place_count(run_habmap: Run, hill: Path) -> None:
    def south(*more: object) -> float:
        lines = run_habmap("burnsheet", "A", *NOON, *WEATHER, *more, "--json", place=hill).json["fuel_moisture"]
        return next(line["pct"] for line in lines if line["facing"] == "S")

    # Table C, S, 1200: shaded below 3, level 4, above 5; table A 6. The block's middle lies between its two faces, at
    # 1,400 to 1,700 m: 4,593 to 5,577 ft, so 1,003 to 1,987 above the one place and 1,013 to 1,997 below the other.
    assert south("--shade-pct", 60) == 10
    assert south("--shade-pct", 60, "--weather-elevation-ft", 3_590) == 11
    assert south("--shade-pct", 60, "--weather-elevation-ft", 6_590) == 9


def test_edges_rise_by_face_and_add_up(run_habmap: Run, hill: Path) -> None:
    result = run_habmap("burnsheet", "A", *NOON, *WEATHER, "--json", place=hill).json
    edges, totals = result["edges"], result["edge_totals"]
    assert sum(edge["length_m"] for edge in edges) == pytest.approx(680, rel=1e-3)
    assert totals["downwind_m"] == pytest.approx(240, rel=2e-3)
    assert totals["upwind_m"] == pytest.approx(240, rel=2e-3)
    downwind = [edge for edge in edges if edge["side"] == "downwind"]
    # North of the west face the ground rises away; north of the east face it falls.
    rising = sum(edge["length_m"] for edge in downwind if edge["upslope"])
    assert rising == pytest.approx(120, abs=11)
    assert not any(edge["boss_checked"] for edge in edges)
    assert result["cold_air"]["length_m"] > 100


def test_not_met_first_and_always_what_was_not_checked(run_habmap: Run, hill: Path, tmp_path: Path) -> None:
    place = with_plan(hill, tmp_path, PLAN)
    done = run_habmap("burnsheet", "A", *NOON, *WEATHER, "--json", place=place)
    result = done.json
    assert result["plan"] == {"kind": "grass", "author": "P. Writer", "date": "2026-01-31"}
    assert [(line["item"], line["comparison"]) for line in result["prescription"]] == [
        ("rh_pct", "not met"),
        ("wind_from_deg", "not met"),
        ("gust_mph", "not given"),
        ("wind_mph", "within"),
    ]
    assert result["prescription"][0]["distance"] == 5
    for word in ("bans", "permits", "notices", "crew", "spot", "plan"):
        assert any(word in words for words in result["not_checked"])
    assert result["cautions"]


def test_words_compare_and_never_allow(run_habmap: Run, hill: Path, tmp_path: Path) -> None:
    place = with_plan(hill, tmp_path, PLAN)
    calm = ("--temp-f", 60, "--rh-pct", 50, "--wind-mph", 8, "--wind-from", "N", "--gust-mph", 12)
    for folder, weather in ((place, WEATHER), (place, calm), (hill, WEATHER)):
        done = run_habmap("burnsheet", "A", *NOON, *weather, place=folder)
        assert done.code == 0, done.err
        text = done.out.casefold()
        assert not [word for word in LEAVE if word in text]
        assert "not checked here" in text
        assert "nothing here says that burning is safe or allowed" in text
        assert "published minimums, not what this burn needs" in text
        assert "red slash" in text
    assert "Not met: relative humidity" in run_habmap("burnsheet", "A", *NOON, *WEATHER, place=place).out
    assert "decides nothing" in run_habmap("burnsheet", "A", *NOON, *calm, place=place).out


def test_no_plan_no_verdict_and_a_pond_is_reported(run_habmap: Run, hill: Path) -> None:
    result = run_habmap("burnsheet", "P", *NOON, *WEATHER, "--json", place=hill).json
    assert {line["comparison"] for line in result["prescription"]} == {"no plan"}
    assert any("water" in words for words in result["block_words"])


def test_a_forecast_hour_by_hour(run_habmap: Run, hill: Path, tmp_path: Path) -> None:
    path = tmp_path / "forecast.csv"
    rows = [
        f"2026-03-10T{hour:02d}:00,16,{70 - 3 * hour},4,{(180 + 10 * hour) % 360}"
        for hour in range(8, 20)
        if hour != 15
    ]
    path.write_text("\n".join(["time,temp_c,rh_pct,wind_mps,wind_from_deg", *rows]) + "\n")
    done = run_habmap("burnsheet", "A", *NOON, "--forecast", path, "--json", place=with_plan(hill, tmp_path, PLAN))
    assert done.code == 0, done.err
    hours = {hour["time"]: hour for hour in done.json["hours"]}
    assert done.json["wind_from_deg"] == 300
    assert hours["2026-03-10T15:00"]["is_gap"]
    assert hours["2026-03-10T16:00"]["not_met"] == ["rh_pct"]  # 22% against 40; wind 8.9 mph from 340° is inside
    assert not hours["2026-03-10T16:00"]["wind_shift"]
    assert hours["2026-03-10T17:00"]["wind_shift"]
    table = run_habmap("burnsheet", "A", *NOON, "--forecast", path, place=hill).out
    assert "no forecast for this hour" in table


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (("--rh-pct", 135), "cannot be"), (("--rh-pct", -1), "cannot be"), (("--wind-from", 400), "direction"),
        (("--wind-from", "NNX"), "direction"), (("--temp-f", 20), "20 °C"), (("--temp-f", 300), "cannot be"),
        (("--wind-mph", -3), "cannot be"), (("--time", "2026-03-10"), "local time"),
        (("--time", "2026-03-10T25:00"), "local time"), (("--shade-pct", 101), "cannot be"),
        (("--plan-kind", "peat"), "choices"), (("--gust-mph", 2), "weaker"), (("--temp-f", "nan"), "cannot be"),
    ],
)  # fmt: skip
def test_what_the_command_line_alone_shows_is_exit_2(
    run_habmap: Run, hill: Path, change: tuple[object, ...], word: str
) -> None:
    done = run_habmap("burnsheet", "A", *NOON, *WEATHER, *change, "--json", place=hill)
    assert done.code == 2
    assert done.json["schema"] == "habmap/error/1"
    assert word in done.json["what"]


def test_cold_that_is_meant_is_taken(run_habmap: Run, hill: Path) -> None:
    done = run_habmap("burnsheet", "A", *NOON, *WEATHER, "--temp-f", 20, "--yes", "--json", place=hill)
    assert done.code == 0, done.err


def test_what_needs_the_place_or_a_file_is_exit_3(run_habmap: Run, hill: Path, tmp_path: Path) -> None:
    done = run_habmap("burnsheet", "Z9", *NOON, *WEATHER, "--json", place=hill)
    assert (done.code, done.json["value"]) == (3, "Z9")
    path = tmp_path / "f.csv"
    path.write_text("time,temp_f,rh_pct,wind_mph\n2026-03-10T12:00,60,40,8\n")
    done = run_habmap("burnsheet", "A", *NOON, "--forecast", path, "--json", place=hill)
    assert done.code == 3
    assert "wind_from_deg" in done.out
    path.write_text(
        "time,temp_f,rh_pct,wind_mph,wind_from_deg\n2026-03-10T13:00,60,40,8,180\n2026-03-10T12:00,60,40,8,180\n"
    )
    done = run_habmap("burnsheet", "A", *NOON, "--forecast", path, "--json", place=hill)
    assert done.code == 3
    assert "out of order" in done.out
    path.write_text("time,temp_f,rh_pct,wind_mph,wind_from_deg\n2026-03-10T12:00,16,40,8,180\n")
    done = run_habmap("burnsheet", "A", *NOON, "--forecast", path, "--json", place=hill)
    assert done.code == 3
    assert "16 °C" in done.json["what"]


def test_missing_weather_is_named(run_habmap: Run, hill: Path) -> None:
    done = run_habmap("burnsheet", "A", *NOON, "--temp-f", 60, "--wind-from", "S", "--json", place=hill)
    assert done.code == 2
    assert done.json["where"] == "--rh-pct, --wind-mph"
