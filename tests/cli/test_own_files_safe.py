"""A property's own file is never written over, and what another program spoiled in it is said in words."""

from __future__ import annotations

import os
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import geopandas
import pytest
from shapely import box


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, run_habmap: Any) -> Path:
    folder: Path = tmp_path_factory.mktemp("own") / "place"
    assert run_habmap("start", folder, "--name", "Invented Hill").code == 0
    layer = folder.parent / "u.gpkg"
    units = {"unit_id": ["A"], "cover": ["cedar"], "geometry": [box(-97.102, 36.098, -97.098, 36.102)]}
    geopandas.GeoDataFrame(units, crs="EPSG:4326").to_file(layer)
    assert run_habmap("load", "units", layer, place=folder).code == 0
    logged = run_habmap("log", "cut", "--date", "2026-01-05", "--unit", "A", "--whole", "--who", "Ada", place=folder)
    assert logged.code == 0
    return folder


@pytest.fixture
def place(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "place"))


@pytest.mark.parametrize(
    "command",
    [
        ("export", "ledger", "--overwrite", "-o", "place.gpkg"),
        ("export", "units", "--overwrite", "-o", "place.gpkg"),
        ("map", "--overwrite", "-o", "place.gpkg"),
        ("map", "--overwrite", "-o", "habmap.toml"),
        ("due", "--overwrite", "--ics", "habmap.toml"),
    ],
)
def test_no_export_writes_over_a_propertys_own_file(command: tuple[str, ...], place: Path, run_habmap: Any) -> None:
    before = {path.name: path.read_bytes() for path in place.iterdir() if path.is_file()}
    done = run_habmap(*command[:-1], place / command[-1], place=place)
    assert done.code == 3
    assert "never written over" in done.err
    assert {path.name: path.read_bytes() for path in place.iterdir() if path.is_file()} == before


@pytest.mark.parametrize(
    "name",
    ["photos/p.jpg", "photos/new.html", "tracks/walk.gpx", "elevation/e.tif", "PLACE.GPKG", "place.gpkg-journal"],
)
def test_no_page_lands_among_a_propertys_own_files(name: str, place: Path, run_habmap: Any) -> None:
    target = place / name
    target.parent.mkdir(exist_ok=True)
    if not name.endswith(("new.html", "GPKG", "journal")):
        target.write_bytes(b"mine")
    before = {path.name: path.read_bytes() for path in place.rglob("*") if path.is_file()}
    (place.parent / "link").symlink_to(place)
    for way in (target, place.parent / "link" / name):
        done = run_habmap("map", "--overwrite", "-o", way, "--json", place=place)
        assert done.code == 3 and "own file" in done.json["what"]
    assert {path.name: path.read_bytes() for path in place.rglob("*") if path.is_file()} == before


def test_what_is_no_file_is_not_replaced(place: Path, tmp_path: Path, run_habmap: Any) -> None:
    pipe, gone, loop = tmp_path / "pipe.html", tmp_path / "gone.html", tmp_path / "loop.html"
    os.mkfifo(pipe)
    gone.symlink_to(tmp_path / "nowhere")
    loop.symlink_to(loop)
    done = run_habmap("map", "--overwrite", "-o", pipe, place=place)
    assert done.code == 3 and "not a file" in done.err and pipe.is_fifo()
    assert run_habmap("map", "-o", gone, place=place).code == 3 and gone.is_symlink()
    for unfit in (loop, "x" * 300 + ".html", "x" * 5000):
        done = run_habmap("map", "-o", unfit, "--json", place=place, cwd=tmp_path)
        assert done.code == 3 and "not made for" not in done.out


def spoil(place: Path, statement: str) -> None:
    connection = sqlite3.connect(place / "place.gpkg")
    triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in triggers:
        connection.execute(f'DROP TRIGGER "{name}"')
    connection.execute(statement)
    connection.commit()
    connection.close()


@pytest.mark.parametrize(
    ("statement", "shown"),
    [
        ("UPDATE entries SET killed_pct = 'most'", "killed_pct holds 'most'"),
        ("UPDATE entries SET person_hours = 9e999", "person_hours holds inf"),
        ("UPDATE entries SET who = x'ff00'", "who holds b"),
        ("UPDATE units SET stems_per_acre = 9e999", "stems_per_acre holds inf"),
    ],
)
def test_a_column_of_the_wrong_kind_is_a_damaged_row(statement: str, shown: str, place: Path, run_habmap: Any) -> None:
    spoil(place, statement)
    for command in ("acres", "rank"):
        done = run_habmap(command, place=place)
        assert done.code == 3
        assert "a stored row is damaged" in done.err
        assert shown in done.err
    assert run_habmap("check", place=place).code == 1


def test_a_layout_number_that_is_none_is_said(place: Path, run_habmap: Any) -> None:
    spoil(place, "UPDATE habmap_meta SET schema_version = 'x'")
    done = run_habmap("acres", place=place)
    assert done.code == 3
    assert "does not say how it is laid out" in done.err


def test_a_curve_in_a_table_and_a_name_too_long_are_said(place: Path, tmp_path: Path, run_habmap: Any) -> None:
    table = tmp_path / "curve.csv"
    circle = "CURVEPOLYGON(CIRCULARSTRING(0 0,1 1,2 0,1 -1,0 0))"
    table.write_text(f'date,practice,patch_wkt\n2026-01-05,cut,"{circle}"\n')
    done = run_habmap("load", "entries", table, place=place)
    assert done.code == 3
    assert "patch_wkt cannot be read" in done.err
    for kind in ("dem", "units", "entries"):
        done = run_habmap("load", kind, tmp_path / f"{'n' * 300}.gpkg", place=place)
        assert done.code == 3
        assert "the file cannot be read" in done.err


def test_a_unit_id_with_a_semicolon_is_refused(place: Path, tmp_path: Path, run_habmap: Any) -> None:
    layer = tmp_path / "semi.gpkg"
    units = {"unit_id": ["B;C"], "cover": ["cedar"], "geometry": [box(-97.09, 36.098, -97.088, 36.102)]}
    geopandas.GeoDataFrame(units, crs="EPSG:4326").to_file(layer)
    done = run_habmap("load", "units", layer, place=place)
    assert done.code == 3
    assert "semicolon" in done.err
