"""Bad input from outside: a clear message, the right exit code, no library noise, and not one row changed."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin
from shapely.geometry import LineString, Point, Polygon, box

WEST, SOUTH = -97.01, 36.0
CEDAR = box(WEST, SOUTH, WEST + 0.005, SOUTH + 0.005)
FREE = box(WEST, SOUTH + 0.02, WEST + 0.005, SOUTH + 0.025)
BOW_TIE = Polygon([(-97.01, 36.02), (-97.0, 36.03), (-97.0, 36.02), (-97.01, 36.03)])
ERROR_KEYS = {"schema", "what", "where", "value", "allowed", "mend"}

Run = Callable[..., Any]
Make = Callable[[Path], Path]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, run_habmap: Run) -> Path:
    """A property with one unit and one log line, which no case below may change."""
    folder: Path = tmp_path_factory.mktemp("bad") / "place"
    assert run_habmap("start", folder, "--name", "Invented Hill").code == 0
    units = layer(folder.parent / "u.gpkg", [unit("1", CEDAR)])
    assert run_habmap("load", "units", units, place=folder).code == 0
    table = folder.parent / "log.csv"
    table.write_text("entry_id,date,practice,unit_id,whole,person_hours\nday-1,2025-01-10,cut,1,yes,6\n")
    assert run_habmap("load", "entries", table, place=folder).code == 0
    return folder


def rows_of(place: Path) -> dict[str, list[Any]]:
    connection = sqlite3.connect(place / "place.gpkg")
    try:
        tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {table: connection.execute(f'SELECT * FROM "{table}"').fetchall() for table in tables}
    finally:
        connection.close()


def unit(unit_id: object, shape: Any, **more: Any) -> dict[str, Any]:
    return {"unit_id": unit_id, "cover": "cedar", **more, "geometry": shape}


def layer(path: Path, rows: list[dict[str, Any]], crs: str | None = "EPSG:4326") -> Path:
    geopandas.GeoDataFrame(rows, geometry="geometry", crs=crs).to_file(path)
    return path


def vector(rows: list[dict[str, Any]], name: str = "bad.gpkg", crs: str | None = "EPSG:4326") -> Make:
    return lambda folder: layer(folder / name, rows, crs)


def words(text: str | bytes, name: str) -> Make:
    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return path

    return make


def log(rows: str, header: str = "entry_id,date,practice,unit_id,killed_pct,person_hours", whole: str = "yes") -> Make:
    lines = [f"whole,{header}", *(f"{whole},{row}" for row in rows.splitlines()), ""]
    return words("\n".join(lines), "log.csv")


def raster(*, crs: str | None, west: float = WEST) -> Make:
    def make(folder: Path) -> Path:
        path = folder / "dem.tif"
        heights = np.add.outer(np.arange(80.0), np.arange(80.0)).astype("float32")
        transform = from_origin(west, SOUTH + 0.008, 0.0001, 0.0001)
        with rasterio.open(
            path, "w", driver="GTiff", width=80, height=80, count=1, dtype="float32", crs=crs, transform=transform
        ) as target:
            target.write(heights, 1)
        return path

    return make


def empty_geojson(folder: Path) -> Path:
    return words('{"type": "FeatureCollection", "features": []}', "empty.geojson")(folder)


def geojson_of(coordinates: str) -> Make:
    return words(
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"unit_id": "a"'
        f', "cover": "cedar"}}, "geometry": {{"type": "Polygon", "coordinates": {coordinates}}}}}]}}',
        "bad.geojson",
    )


RUBBISH = np.random.default_rng(7).bytes(4000)
NAN_SHAPE = shapely.from_wkt("POLYGON ((-97 36, -96 36, -96 inf, -97 36))")

CASES: dict[str, tuple[str, Make, tuple[str, ...], tuple[str, ...]]] = {
    # name: (what to add, the file, options, words of the message)
    "missing file": ("units", lambda folder: folder / "none.gpkg", (), ("no such file", "none.gpkg")),
    "a folder": ("units", lambda folder: folder, (), ("folder",)),
    "zero bytes": ("units", words("", "e.gpkg"), (), ("0 bytes",)),
    "binary rubbish": ("units", words(RUBBISH, "r.gpkg"), (), ("not a GeoPackage",)),
    "rubbish after its mark": ("units", words(b"SQLite format 3\x00" + RUBBISH, "r.gpkg"), (), ("cannot be read",)),
    "rubbish zip": ("units", words(b"PK\x03\x04" + RUBBISH, "r.zip"), (), ("zip archive is broken",)),
    "unknown kind": ("units", words("x", "x.docx"), (), ("not read as a layer", ".geojson")),
    "no coordinate system": ("units", vector([unit("a", FREE)], "n.shp", None), (), ("coordinate system", ".prj")),
    "NAD27 offline": ("units", vector([unit("a", FREE)], crs="EPSG:4267"), (), ("NAD27", "accuracy")),
    "self-crossing": ("units", vector([unit("tie", BOW_TIE)]), (), ("crosses itself", "unit_id tie", "--repair")),
    "off the globe": ("units", geojson_of("[[[0, 0], [1, 0], [1, 95], [0, 0]]]"), (), ("off the globe", "1, 95")),
    "meters as degrees": ("units", vector([unit("a", box(5e5, 4e6, 5.1e5, 4.1e6))]), (), ("meters or feet",)),
    "infinite coordinate": ("units", vector([unit("a", NAN_SHAPE)]), (), ("not a number",)),
    "text as coordinate": ("units", geojson_of('[[["x", 0], [1, 0], [1, 1], ["x", 0]]]'), (), ("feature 1",)),
    "lines as ground": ("units", vector([unit("a", LineString([(-97, 36), (-96, 36)]))]), (), ("not a polygon",)),
    "points as ground": ("boundary", vector([{"geometry": Point(-97, 36)}]), (), ("not a polygon", "Point")),
    "empty layer": ("units", empty_geojson, (), ("layer is empty",)),
    "duplicate unit_id": ("units", vector([unit("a", FREE), unit("a", box(0, 0, 1, 1))]), (), ("features 1, 2",)),
    "blank unit_id": ("units", vector([unit(" ", FREE), unit(None, FREE)]), (), ("feature 1", "feature 2", "blank")),
    "no unit_id column": ("units", vector([{"stand": "a", "geometry": FREE}]), (), ("no column unit_id", "stand")),
    "endless unit_id": ("units", vector([unit("x" * 300, FREE)]), (), ("too long", "300 characters")),
    "overlap with a unit there": ("units", vector([unit("b", CEDAR)]), (), ("count twice", "b and 1", "acres")),
    "overlap in the file": (
        "units", vector([unit("b", FREE), unit("c", FREE)]), (), ("b and c cover the same ground", "acres"),
    ),
    "unit there already": ("units", vector([unit("1", FREE)]), (), ("there already", "--overwrite")),
    "unknown cover": ("units", vector([unit("a", FREE) | {"cover": "pine"}]), (), ("unknown cover", "hardwood")),
    "impossible numbers": (
        "units", vector([unit("a", FREE, canopy_pct="101", stems_per_acre="-5", target_pct="many")]), (),
        ("3 faults", "canopy_pct", "stems_per_acre", "target_pct", "0 to 100"),
    ),
    "unknown column in --map": (
        "units", vector([unit("a", FREE)]), ("--map", "name=NAME_OF"), ("no such column", "unit_id, cover"),
    ),
    "replaced unit unknown": ("units", vector([unit("a", FREE, replaces="9")]), (), ("replaces a unit", "9")),
    "unknown kind of feature": (
        "features", vector([{"kind": "castle", "geometry": Point(-97, 36)}]), (), ("unknown kind", "power_line"),
    ),
    "unknown practice": ("entries", log("e2,2025-01-11,chop,1,,"), (), ("unknown practice", "pile_burn", "row 2")),
    "dates that do not exist": (
        "entries", log("e2,2025-02-30,cut,1,,\ne3,01/02/2025,cut,1,,"), (), ("row 2", "row 3", "2025-02-30"),
    ),
    "impossible hours and percents": (
        "entries", log("e2,2025-01-11,cut,1,150,-1\ne3,2025-01-11,cut,1,nan,inf\ne4,2025-01-11,cut,1,,1e9"), (),
        ("5 faults", "150", "-1", "nan", "inf", "1e9"),
    ),
    "unknown unit": ("entries", log("e2,2025-01-11,cut,1;77,,"), (), ("unknown unit", "77")),
    "girdle without a share": ("entries", log("e2,2025-01-11,girdle,1,,2"), (), ("share of the cedars",)),
    "no ground": ("entries", log("e2,2025-01-11,cut,,,"), (), ("names no ground",)),
    "missing column": ("entries", log("e2,cut,1", "entry_id,practice,unit_id"), (), ("no column date",)),
    "one bad row among good ones": (
        "entries", log("e2,2025-01-11,cut,1,,1\ne3,2025-01-12,cut,1,,x\ne4,2025-01-13,cut,1,,1"), (),
        ("1 fault", "row 3", "nothing was written"),
    ),
    "same id, other content": (
        "entries", log("day-1,2025-01-10,cut,1,,7"), (), ("other content", "person_hours 7.0, before 6.0"),
    ),
    "bad and crossing patches": (
        "entries",
        log(f'2025-01-11,cut,"{BOW_TIE.wkt}"\n2025-01-11,cut,POLYGON oops\n2025-01-11,cut,POINT (-97 36)',
            "date,practice,patch_wkt", whole=""),
        (), ("3 faults", "crosses itself", "cannot be read", "not a polygon"),
    ),
    "latin-1 table": ("entries", words("date,practice,unit_id\n2025-01-11,cut,Ñ\n".encode("latin-1"), "l.csv"), (),
                      ("not UTF-8", "line 2")),
    "rubbish table": ("entries", words(RUBBISH, "r.csv"), (), ("not",)),
    "not a raster": ("dem", words(RUBBISH, "dem.tif"), ("--vertical-unit", "m"), ("dem.tif",)),
    "raster without a system": ("dem", raster(crs=None), ("--vertical-unit", "m"), ("coordinate system",)),
    "elevation that misses all units": (
        "dem", raster(crs="EPSG:4326", west=-90.0), ("--vertical-unit", "m"), ("none of the units",),
    ),
}  # fmt: skip


@pytest.mark.filterwarnings("ignore::UserWarning", "ignore::RuntimeWarning")  # of the libraries, writing bad files
@pytest.mark.parametrize("name", CASES)
def test_a_bad_file_is_refused_and_nothing_changes(name: str, place: Path, tmp_path: Path, run_habmap: Run) -> None:
    kind, make, options, expected = CASES[name]
    before = rows_of(place)
    outcome = run_habmap("load", kind, make(tmp_path), *options, place=place)
    assert outcome.code == 3, outcome.out + outcome.err
    assert outcome.out == ""
    assert outcome.err.startswith("habmap: ")
    assert "Traceback" not in outcome.err and "Warning" not in outcome.err
    for expected_words in expected:
        assert expected_words in outcome.err
    assert rows_of(place) == before


@pytest.mark.parametrize(
    ("name", "faults"),
    [("unknown cover", 1), ("dates that do not exist", 2), ("missing file", 0), ("rubbish zip", 0)],
)
def test_the_same_refusal_in_json(name: str, faults: int, place: Path, tmp_path: Path, run_habmap: Run) -> None:
    kind, make, options, _expected = CASES[name]
    outcome = run_habmap("load", kind, make(tmp_path), *options, "--json", place=place)
    assert (outcome.code, outcome.err) == (3, "")
    error = outcome.json
    assert error["schema"] == "habmap/error/1"
    assert set(error) >= ERROR_KEYS
    assert error["what"] and error["where"] and error["mend"]
    assert len(error.get("faults", [])) == faults


@pytest.mark.parametrize(
    "arguments",
    [
        ("load", "dem", "x.tif", "--vertical-unit", "fathom"),
        ("load", "units", "x.gpkg", "--map", "unit_id"),
        ("load", "units", "x.gpkg", "--from", "2025-02-30"),
        ("load", "castles", "x.gpkg"),
        ("load", "units"),
    ],
)
def test_what_the_command_line_shows_is_exit_2(arguments: tuple[str, ...], place: Path, run_habmap: Run) -> None:
    before = rows_of(place)
    outcome = run_habmap(*arguments, "--json", place=place)
    assert (outcome.code, outcome.err) == (2, "")
    assert outcome.json["schema"] == "habmap/error/1"
    assert rows_of(place) == before


def test_patch_in_another_system_is_turned(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    copy = Path(shutil.copytree(place, tmp_path / "place"))
    patch = tmp_path / "patch.gpkg"
    geopandas.GeoDataFrame(geometry=[CEDAR], crs="EPSG:4326").to_crs("EPSG:32614").to_file(patch)
    outcome = run_habmap("log", "cut", "--date", "2025-02-01", "--patch", patch, "--json", place=copy)
    assert outcome.code == 0, outcome.out
    (share,) = outcome.json["units"]
    whole = run_habmap("acres", "--json", place=copy).json["units"][0]["acres"]
    # There and back through UTM costs nanometres.
    assert share["acres"] == pytest.approx(whole, rel=1e-9)


@pytest.mark.root_cannot_show
def test_a_read_only_folder_is_said_so(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    copy = Path(shutil.copytree(place, tmp_path / "place"))
    units = layer(tmp_path / "u.gpkg", [unit("2", FREE)])
    (copy / "place.gpkg").chmod(0o444)
    copy.chmod(0o555)
    try:
        outcome = run_habmap("load", "units", units, place=copy)
        assert outcome.code == 3 and "Traceback" not in outcome.err
    finally:
        copy.chmod(0o755)


def test_a_place_of_a_newer_schema_is_refused(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    copy = Path(shutil.copytree(place, tmp_path / "place"))
    connection = sqlite3.connect(copy / "place.gpkg")
    columns = [row[1] for row in connection.execute("PRAGMA table_info(habmap_meta)")]
    assert "schema_version" in columns
    with connection:
        connection.execute("UPDATE habmap_meta SET schema_version = 999")
    connection.close()
    outcome = run_habmap("acres", "--json", place=copy)
    assert outcome.code == 3
    assert "999" in json.dumps(outcome.json)


def test_a_folder_that_is_no_place_is_said_so(tmp_path: Path, run_habmap: Run) -> None:
    outcome = run_habmap("load", "units", "x.gpkg", place=tmp_path)
    assert outcome.code == 3 and "habmap start" in outcome.err


def test_a_propertys_own_file_is_no_list_of_units(place: Path, run_habmap: Run) -> None:
    before = rows_of(place)
    outcome = run_habmap("load", "units", place / "place.gpkg", "--layer", "units", place=place)
    assert outcome.code == 3 and "habmap export units" in outcome.err
    assert rows_of(place) == before


def test_numbers_that_are_none_are_told_in_words_alone(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    path = tmp_path / "nan.geojson"
    ring = "[[NaN, 36.5], [-97.1, 36.5], [-97.1, 36.6], [NaN, 36.5]]"
    properties = '{"unit_id": "9", "cover": "cedar"}'
    shape = f'{{"type": "Polygon", "coordinates": [{ring}]}}'
    feature = f'{{"type": "Feature", "properties": {properties}, "geometry": {shape}}}'
    path.write_text(f'{{"type": "FeatureCollection", "features": [{feature}]}}')
    outcome = run_habmap("load", "units", path, place=place)
    assert outcome.code == 3 and "not a number" in outcome.err
    assert "RuntimeWarning" not in outcome.err and ".py" not in outcome.err


def test_random_bytes_are_not_shown_as_letters(place: Path, tmp_path: Path, run_habmap: Run) -> None:
    path = tmp_path / "r.gpkg"
    path.write_bytes(b"\xef\x9f\x5d\x1b[31m" + RUBBISH)
    outcome = run_habmap("load", "units", path, place=place)
    assert outcome.code == 3 and "bytes that no text holds" in outcome.err and "\x1b" not in outcome.err
