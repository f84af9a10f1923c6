"""``habmap load`` from outside: what is loaded, in words and JSON, and what loading again does."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import pytest
from geographiclib.geodesic import Geodesic
from shapely.geometry import LineString, Point, Polygon, box

WEST, MIDDLE, EAST = -97.01, -97.005, -97.0
CEDAR = box(WEST, 36.0, MIDDLE, 36.005)
GRASS = box(MIDDLE, 36.0, EAST, 36.005)
M2_PER_ACRE = 4046.8564224  # 43,560 square international feet (85 Fed. Reg. 62698, 2020)

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    folder: Path = tmp_path_factory.mktemp("add") / "place"
    assert run_habmap("start", folder, "--name", "Invented Hill").code == 0
    return folder


@pytest.fixture
def place(started: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(started, tmp_path / "place"))


def layer(folder: Path, rows: list[dict[str, Any]], name: str = "layer.gpkg", crs: str = "EPSG:4326") -> Path:
    path = folder / name
    path.unlink(missing_ok=True)
    geopandas.GeoDataFrame(rows, geometry="geometry", crs="EPSG:4326").to_crs(crs).to_file(path)
    return path


def unit(unit_id: object, shape: Polygon, cover: str = "cedar", **more: Any) -> dict[str, Any]:
    return {"unit_id": unit_id, "cover": cover, **more, "geometry": shape}


def two_units(folder: Path) -> Path:
    ridge = unit("1", CEDAR, name="Ridge", stems_per_acre=700, soil="Darnell")
    flat = unit("2", GRASS, cover="Grass", name="Flat", stems_per_acre=None, soil=None)
    return layer(folder, [ridge, flat])


def geodesic_acres(polygon: Polygon) -> float:
    ring = Geodesic.WGS84.Polygon()
    for lon, lat in list(polygon.exterior.coords)[:-1]:
        ring.AddPoint(lat, lon)
    return abs(float(ring.Compute()[2])) / M2_PER_ACRE


def units_of(run_habmap: Run, place: Path) -> dict[str, Any]:
    return {unit["unit_id"]: unit for unit in run_habmap("acres", "--json", place=place).json["units"]}


def test_units_load_with_their_acres_and_again_are_no_news(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    path = two_units(tmp_path)
    first = run_habmap("load", "units", path, "--json", place=place)
    assert (first.code, first.err) == (0, "")
    result = first.json
    assert result["schema"] == "habmap/load/1"
    assert (result["kind"], result["loaded"], result["versions"], result["kept_columns"]) == ("units", 2, 0, ["soil"])
    # GeographicLib's own geodesic area; 1e-6 is the agreement asked of the acre of record for units of this size.
    assert result["acres_by_cover"]["cedar"] == pytest.approx(geodesic_acres(CEDAR), rel=1e-6)
    assert result["acres"] == pytest.approx(geodesic_acres(CEDAR) + geodesic_acres(GRASS), rel=1e-6)
    again = run_habmap("load", "units", path, "--json", place=place).json
    assert (again["loaded"], again["already_there"]) == (0, 2)
    assert set(units_of(run_habmap, place)) == {"1", "2"}


def test_a_changed_unit_becomes_a_version_only_with_overwrite(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    assert run_habmap("load", "units", two_units(tmp_path), place=place).code == 0
    smaller = box(WEST, 36.0, MIDDLE, 36.004)
    changed = layer(tmp_path, [unit(1.0, smaller)], "changed.gpkg")
    refused = run_habmap("load", "units", changed, place=place)
    assert refused.code == 3 and "--overwrite" in refused.err
    for words in ("name 1, before Ridge", "stems_per_acre blank, before 700.0", "another outline"):
        assert words in refused.err
    other = tmp_path / "other"
    assert run_habmap("start", other, "--name", "Other").code == 0
    assert run_habmap("load", "units", two_units(tmp_path), place=other).code == 0
    told = run_habmap("load", "units", changed, "--overwrite", place=other).out
    assert "before: 1 " in told and "after:  1 " in told
    taken = run_habmap("load", "units", changed, "--overwrite", "--from", "2026-01-01", "--json", place=place)
    assert (taken.json["loaded"], taken.json["versions"]) == (1, 1)
    acres = units_of(run_habmap, place)["1"]["acres"]
    assert acres == pytest.approx(geodesic_acres(smaller), rel=1e-6)


def test_a_unit_is_split_by_rows_that_replace_it(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    assert run_habmap("load", "units", two_units(tmp_path), place=place).code == 0
    parts = [box(WEST, 36.0, MIDDLE, 36.002), box(WEST, 36.002, MIDDLE, 36.005)]
    rows = [unit(f"1{side}", part, replaces="1") for side, part in zip("ab", parts, strict=True)]
    outcome = run_habmap("load", "units", layer(tmp_path, rows, "split.gpkg"), "--json", place=place)
    assert outcome.code == 0, outcome.out + outcome.err
    assert outcome.json["versions"] == 2
    assert set(units_of(run_habmap, place)) == {"1a", "1b", "2"}
    # The account of that ground is shown on the old outline and on the new ones.
    (change,) = outcome.json["changes"]
    assert [unit["unit_id"] for unit in change["before"]] == ["1"]
    assert {unit["unit_id"] for unit in change["after"]} == {"1a", "1b"}
    for side in ("before", "after"):
        remaining = sum(unit["remaining_acres"] for unit in change[side])
        assert remaining == pytest.approx(geodesic_acres(box(WEST, 36.0, MIDDLE, 36.005)), rel=1e-6)


def test_columns_are_renamed_and_another_system_is_turned(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    path = layer(tmp_path, [{"STAND": 7, "Veg": "CEDAR", "geometry": CEDAR}], "l.shp", crs="EPSG:32614")
    outcome = run_habmap("load", "units", path, "--map", "unit_id=STAND", "--map", "cover=Veg", "--json", place=place)
    assert outcome.code == 0, outcome.out
    # A shapefile in meters and doubles: nothing is lost but rounding far below 1e-6.
    assert outcome.json["acres"] == pytest.approx(geodesic_acres(CEDAR), rel=1e-6)
    assert set(units_of(run_habmap, place)) == {"7"}


def test_neighbors_with_other_vertices_and_a_hair_of_overlap_are_taken(
    place: Path, tmp_path: Path, run_habmap: Run
) -> None:
    hair = 0.02 / 111_320  # 2 cm of longitude or less, in degrees
    ragged = Polygon([(MIDDLE - hair, 36.0), (EAST, 36.0), (EAST, 36.005), (MIDDLE, 36.005), (MIDDLE - hair, 36.0031)])
    rows = [unit("a", CEDAR), unit("b", ragged)]
    outcome = run_habmap("load", "units", layer(tmp_path, rows), place=place)
    assert outcome.code == 0 and "count twice: 1 pair of units overlap by a hair" in outcome.err
    assert outcome.out.startswith("2 units loaded, ")


def test_hostile_names_are_kept_as_text(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    names = [
        "<img src=x onerror=alert(1)>", "=1+1", "x" * 10_000, "שלום ‮drow", "🔥🌲", "a'; DROP TABLE units;--",
        "bell\x07 and escape\x1b[31m",
    ]  # fmt: skip
    rows = [
        unit(f"u{n}", box(WEST + n / 1000, 36, WEST + n / 1000 + 0.0009, 36.001), name=name)
        for n, name in enumerate(names)
    ]
    outcome = run_habmap("load", "units", layer(tmp_path, rows), place=place)
    assert outcome.code == 0, outcome.err
    assert "control characters were left out" in outcome.err and "\x1b" not in outcome.err
    units = units_of(run_habmap, place)
    assert [units[f"u{n}"]["name"] for n in range(6)] == names[:6]
    assert units["u6"]["name"] == "bell and escape[31m"


def test_repair_mends_and_says_so(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    tie = Polygon([(WEST, 36.0), (MIDDLE, 36.005), (MIDDLE, 36.0), (WEST, 36.005)])
    path = layer(tmp_path, [unit("tie", tie)])
    outcome = run_habmap("load", "units", path, "--repair", place=place)
    assert outcome.code == 0
    assert "unit_id tie" in outcome.err and "acres as drawn" in outcome.err and "2 parts" in outcome.err


def test_boundary_is_replaced_only_on_demand(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    one = layer(tmp_path, [{"geometry": CEDAR}, {"geometry": GRASS}], "one.gpkg")
    result = run_habmap("load", "boundary", one, "--json", place=place).json
    assert result["acres"] == pytest.approx(geodesic_acres(CEDAR) + geodesic_acres(GRASS), rel=1e-6)
    two = layer(tmp_path, [{"geometry": CEDAR}], "two.gpkg")
    assert run_habmap("load", "boundary", two, place=place).code == 3
    assert run_habmap("load", "boundary", one, "--json", place=place).json["already_there"] == 1
    assert run_habmap("load", "boundary", two, "--overwrite", place=place).code == 0


def test_features_of_every_shape_load_once_and_nests_stay_private(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    rows = [
        {"kind": "road", "name": "County road", "sensitive": "no", "geometry": LineString([(WEST, 36), (EAST, 36)])},
        {"kind": "nest", "name": "", "sensitive": "no", "geometry": Point(WEST, 36.001)},
        {"kind": "pond", "name": None, "sensitive": None, "geometry": GRASS},
    ]
    path = tmp_path / "f.geojson"
    features = [
        {"type": "Feature", "properties": {key: value for key, value in row.items() if key != "geometry"},
         "geometry": row["geometry"].__geo_interface__}
        for row in rows
    ]  # fmt: skip
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    assert run_habmap("load", "features", path, "--json", place=place).json["loaded"] == 3
    assert run_habmap("load", "features", path, "--json", place=place).json["already_there"] == 3
    from habmap.place.store import GeoPackageStore

    private = {feature.kind: feature.sensitive for feature in GeoPackageStore.open(place).features()}
    assert private == {"road": False, "nest": True, "pond": False}


def test_log_lines_load_once_whole_units_and_drawn_patches(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    assert run_habmap("load", "units", two_units(tmp_path), place=place).code == 0
    table = tmp_path / "log.csv"
    half = box(WEST, 36.0, MIDDLE, 36.0025)
    table.write_text(
        "entry_id;Date;practice;unit_id;Whole;patch_wkt;killed_pct;person_hours;note\r\n"
        f"day-1;2025-01-10;cut;1;;{half.wkt};;6.5;=SUM(A1)\r\n"
        "day-2;2025-03-01;burn;1;2;;5;\r\n".replace("1;2;;5", '"1;2";yes;;;5')
        + ";2025-04-01;checkup;1;yes;;;;green 🌱\r\n",
        encoding="utf-8-sig",
    )
    outcome = run_habmap("load", "entries", table, "--json", place=place)
    assert outcome.code == 0, outcome.out
    assert outcome.json["loaded"] == 3
    again = run_habmap("load", "entries", table, "--json", place=place).json
    assert (again["loaded"], again["already_there"]) == (0, 3)
    account = {row["practice"]: row for row in run_habmap("acres", "--json", place=place).json["practices"]}
    assert account["cut"]["acres"] == pytest.approx(geodesic_acres(half), rel=1e-6)
    both = geodesic_acres(CEDAR) + geodesic_acres(GRASS)
    assert account["burn"]["acres"] == pytest.approx(both, rel=1e-6)


def test_a_later_date_is_a_note_and_so_are_strange_acres_that_somebody_is_sure_of(
    place: Path, tmp_path: Path, run_habmap: Run
) -> None:
    assert run_habmap("load", "units", two_units(tmp_path), place=place).code == 0
    table = tmp_path / "log.csv"
    table.write_text("date,practice,unit_id,whole,reported_acres,sure\n2199-01-01,cut,1,yes,2,yes\n")
    outcome = run_habmap("load", "entries", table, place=place)
    assert outcome.code == 0
    assert "row 2: 2199-01-01 is after today" in outcome.err and "the reported 2.00 acres are" in outcome.err


def test_a_line_covers_its_unit_as_drawn_now_or_as_it_was_when_it_is_no_more(
    place: Path, tmp_path: Path, run_habmap: Run
) -> None:
    assert run_habmap("load", "units", two_units(tmp_path), place=place).code == 0
    smaller = box(WEST, 36.0, MIDDLE, 36.004)
    changed = layer(tmp_path, [unit("1", smaller)], "changed.gpkg")
    assert run_habmap("load", "units", changed, "--overwrite", "--from", "2025-06-01", place=place).code == 0
    table = tmp_path / "log.csv"
    table.write_text("date,practice,unit_id,whole\n2025-05-31,cut,1,yes\n")
    outcome = run_habmap("load", "entries", table, "--json", place=place)
    assert any("drawn otherwise on 2025-05-31" in words for words in outcome.json["warnings"])
    assert outcome.json["acres"] == pytest.approx(geodesic_acres(smaller), rel=1e-6)
    renamed = layer(tmp_path, [{**unit("1x", smaller), "replaces": "1"}], "renamed.gpkg")
    assert run_habmap("load", "units", renamed, "--from", "2025-08-01", place=place).code == 0
    table.write_text("date,practice,unit_id,whole\n2025-07-31,burn,1,yes\n")
    outcome = run_habmap("load", "entries", table, "--json", place=place)
    assert outcome.json["acres"] == pytest.approx(geodesic_acres(smaller), rel=1e-6)


def test_units_far_off_or_too_small_to_print_are_asked_about(run_habmap: Run, place: Path, tmp_path: Path) -> None:
    speck = box(EAST + 0.001, 36.0, EAST + 0.00101, 36.00001)  # about a meter square
    astray = box(WEST + 1, 36.0, MIDDLE + 1, 36.005)
    assert run_habmap("load", "units", layer(tmp_path, [unit("1", CEDAR)]), place=place).code == 0
    path = layer(tmp_path, [unit("speck", speck), unit("astray", astray)], name="more.gpkg")
    done = run_habmap("load", "units", path, place=place)
    assert done.code == 0
    questions = [line for line in done.err.splitlines() if "is that right?" in line]
    assert ["0.00 acres" in line for line in questions].count(True) == 1
    assert ["km from the rest" in line for line in questions].count(True) == 1
