"""The place's file: what goes in comes out, rows never change, and every way it can be unfit is said."""

from __future__ import annotations

import json
import sqlite3
import struct
import subprocess
import sys
import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import shapely
from shapely import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from habmap.errors import InputError, PlaceBusyError, PlaceError, UsageError
from habmap.place.settings import PlaceSection
from habmap.place.store import GeoPackageStore
from habmap.place.template import settings_text
from habmap.place.wkb import from_blob, to_blob
from habmap.records import Boundary, ElevationSource, Entry, Feature, Look, Plot, Unit

NOW = datetime(2026, 3, 1, 17, 30, 0, 123456, tzinfo=UTC)
#: Coordinates that need all 17 digits.
GROUND = MultiPolygon(
    [
        Polygon(
            [(-97.1, 36.1), (-97.0123456789012345, 36.1), (-97.05, 36.2000000000000001)],
            [[(-97.06, 36.12), (-97.05, 36.12), (-97.055, 36.13)]],
        ),
        box(-96.9, 36.0, -96.8, 1 / 3 + 36),
    ]
)


def make_unit(label: str = "C1", **fields: object) -> Unit:
    content: dict[str, object] = {
        "uuid": f"uuid-{label}",
        "unit_id": label,
        "name": label,
        "cover": "cedar",
        "geometry": GROUND,
        "recorded_at": NOW,
    }
    return Unit(**(content | fields))  # type: ignore[arg-type]


def make_entry(number: int = 1, **fields: object) -> Entry:
    content: dict[str, object] = {
        "entry_id": f"entry-{number:04d}",
        "recorded_at": NOW + timedelta(seconds=number),
        "practice": "cut",
        "date": date(2026, 3, 1),
        "patch": GROUND,
    }
    return Entry(**(content | fields))  # type: ignore[arg-type]


@pytest.fixture
def store(tmp_path: Path) -> GeoPackageStore:
    return GeoPackageStore.create(tmp_path / "place", "Test place")


def reopened(store: GeoPackageStore) -> GeoPackageStore:
    return GeoPackageStore.open(store.folder)


def raw(store: GeoPackageStore) -> sqlite3.Connection:
    return sqlite3.connect(store.path, isolation_level=None)


def test_every_field_comes_back_as_it_went_in(store: GeoPackageStore) -> None:
    full = make_unit(
        stems_per_acre=0.1 + 0.2,
        canopy_pct=66.6,
        target_pct=80,
        leave_stems_per_acre=25,
        planned_acres=1e-300,
        stratum="north",
        notes="=SUM(A1)\nلا 🔥" + "x" * 100_000,
        acres_sd=0.25,
        extra={"owner": "<b>", "n": 3, "ratio": 1 / 3, "none": None},
        valid_from=date(2025, 1, 1),
        valid_to=date(2026, 1, 1),
    )
    work = make_entry(
        unit_ids=("C1", "a;b"),
        killed_pct=33.3,
        burned_pct=0,
        person_hours=7.25,
        cost=1234.5,
        reported_acres=1.1,
        acres_sd=0.05,
        who="Ana 🐂",
        note='"; DROP TABLE entries; --',
        product="as on the label",
        product_rate="2 qt/ac",
        source_id="row 7",
        look=Look(
            live_stems_per_acre=3.3,
            tallest_ft=4,
            seedlings_per_acre=0,
            sprouts=(("elm", 3), ("osage orange", 0)),
            needles="red",
            fuel_lb_ac=3100.5,
            stump_treated=False,
        ),
    )
    void = make_entry(2, action="void", target=work.entry_id, why="never was", patch=None)
    line = LineString([(-97, 36), (-97.1, 36.1)])
    road = Feature(uuid="f1", kind="road", name="", geometry=line, recorded_at=NOW)
    nest = Feature(uuid="f2", kind="nest", name="", geometry=Point(-97, 36), sensitive=True, recorded_at=NOW)
    older = Boundary(uuid="b1", geometry=GROUND, recorded_at=NOW)
    newer = Boundary(uuid="b2", geometry=GROUND, recorded_at=NOW + timedelta(days=1))
    store.append([full, work, void, road, nest, older, newer])
    found = reopened(store)
    assert found.unit_versions() == (full,)
    assert found.entries() == (work, void)
    assert found.features() == (road, nest)
    assert found.boundary() == replace(newer, supersedes=("b1",))
    # Equality of geometries is exact to the last bit; said once more in bytes.
    assert shapely.to_wkb(found.entries()[0].patch) == shapely.to_wkb(GROUND)


def test_elevation_inside_the_folder_moves_with_it(store: GeoPackageStore, tmp_path: Path) -> None:
    def source(uuid: str, path: Path, day: int, supersedes: tuple[str, ...] = ()) -> ElevationSource:
        return ElevationSource(
            uuid=uuid, path=str(path), crs_wkt="WKT", vertical_unit="us-ft", recorded_at=NOW + timedelta(days=day),
            supersedes=supersedes,
        )  # fmt: skip

    store.append([source("inside", store.folder / "dem.tif", 0)])
    moved = store.folder.rename(tmp_path / "moved")
    found = GeoPackageStore.open(moved)
    assert found.elevation() == source("inside", moved / "dem.tif", 0)
    outside = source("outside", tmp_path / "elsewhere.tif", -1, supersedes=("inside",))  # the clock was set back
    found.append([replace(outside, supersedes=None)])
    assert found.elevation() == outside


def test_first_geometry_fixes_the_grid_for_good(store: GeoPackageStore) -> None:
    assert store.grid is None
    store.append([make_unit("A", geometry=MultiPolygon([box(-98, 36, -97, 37)]))])
    grid = store.grid
    assert grid is not None
    assert (grid.lat, grid.lon) == (36.49, -97.5)  # a round number, one step off the middle
    store.append([make_unit("B", geometry=MultiPolygon([box(-90, 30, -89, 31)]))])
    assert reopened(store).grid == grid
    with raw(store) as connection, pytest.raises(sqlite3.IntegrityError, match="never change"):
        connection.execute("UPDATE habmap_meta SET grid_lat = 0")
    connection.close()


def test_a_void_alone_does_not_fix_the_grid(store: GeoPackageStore) -> None:
    store.append([make_entry(action="void", target="x", patch=None)])
    assert store.grid is None


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET note = 'x'",
        "UPDATE entries SET geom = NULL",
        "DELETE FROM entries",
        "UPDATE units SET geom = NULL",
        "UPDATE units SET cover = 'grass'",
        "DELETE FROM units",
        "INSERT OR REPLACE INTO entries (entry_id, recorded_at, action, practice, date, unit_ids) "
        "VALUES ('entry-0001', 'x', 'log', 'cut', '2026-01-01', '[]')",
        "INSERT OR REPLACE INTO entries (fid, entry_id, recorded_at, action, practice, date, unit_ids) "
        "VALUES (1, 'other', 'x', 'log', 'cut', '2026-01-01', '[]')",
    ],
)
def test_rows_cannot_be_changed_by_any_program(store: GeoPackageStore, statement: str) -> None:
    store.append([make_unit(), make_entry()])
    before = (store.unit_versions(), store.entries())
    connection = raw(store)
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)
    connection.close()
    assert (store.unit_versions(), store.entries()) == before


def test_all_rows_or_none(store: GeoPackageStore) -> None:
    store.append([make_entry(1)])
    with pytest.raises(InputError, match="already there"):
        store.append([make_entry(2), make_unit(), make_entry(1, note="other")])
    with pytest.raises(InputError, match="not finite"):
        store.append([make_entry(3), make_entry(4, cost=float("nan"))])
    with pytest.raises(InputError, match="time zone"):
        store.append([make_entry(3), make_entry(4, recorded_at=datetime(2026, 1, 1))])
    with pytest.raises(InputError, match="half a character"):
        store.append([make_entry(3), make_entry(4, note="\ud83d")])
    assert store.entries() == (make_entry(1),)
    assert store.unit_versions() == ()


def test_versions_hold_from_their_first_day_to_the_next_ones(store: GeoPackageStore) -> None:
    first = make_unit("C1", uuid="v1")
    store.append([first])
    edited = make_unit(
        "C1",
        uuid="v2",
        name="edited",
        valid_from=date(2026, 5, 1),
        replaces=("v1",),
        recorded_at=NOW + timedelta(days=9),
    )
    store.append([edited])
    assert store.units() == (edited,)
    assert [unit.uuid for unit in store.units(date(2026, 4, 30))] == ["v1"]
    assert [unit.uuid for unit in store.units(date(2026, 5, 1))] == ["v2"]
    assert [unit.valid_to for unit in store.unit_versions()] == [date(2026, 5, 1), None]


def test_a_split_and_a_merge_end_the_versions_before(store: GeoPackageStore) -> None:
    store.append([make_unit("A", uuid="a"), make_unit("B", uuid="b")])
    store.append([make_unit(label, uuid=label, valid_from=date(2026, 2, 1), replaces=("a",)) for label in ("A1", "A2")])
    store.append([make_unit("M", uuid="m", valid_from=date(2026, 3, 1), replaces=("A2", "b"))])
    assert [unit.unit_id for unit in store.units()] == ["A1", "M"]
    assert [unit.unit_id for unit in store.units(date(2026, 2, 15))] == ["A1", "A2", "B"]
    assert [unit.unit_id for unit in store.units(date(2020, 1, 1))] == ["A", "B"]


def test_a_replacing_version_must_say_from_when(store: GeoPackageStore) -> None:
    store.append([make_unit("A", uuid="a")])
    with pytest.raises(InputError, match="from which day"):
        store.append([make_unit("A", uuid="b", replaces=("a",))])
    assert [unit.uuid for unit in store.unit_versions()] == ["a"]


# --- the file, seen from outside ----------------------------------------------------------------------------


def test_an_independent_reader_opens_every_layer(store: GeoPackageStore) -> None:
    store.append([make_unit(), make_entry(), make_entry(2, action="void", target="entry-0001", patch=None)])
    code = """
import json, sys, warnings
warnings.simplefilter("error")
import pyogrio
import shapely
path = sys.argv[1]
found = {}
for name, kind in pyogrio.list_layers(path):
    frame = pyogrio.read_dataframe(path, layer=name)
    found[name] = {"kind": kind, "rows": len(frame), "crs": str(getattr(frame, "crs", None))}
info = pyogrio.read_info(path, layer="entries", force_total_bounds=True)
found["entries"]["bounds"] = list(info["total_bounds"])
found["wkb"] = shapely.to_wkb(pyogrio.read_dataframe(path, layer="units").geometry[0], hex=True)
print(json.dumps(found))
"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(store.path)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert {"boundary", "units", "features", "entries", "elevation", "habmap_meta"} <= set(found)
    assert found["units"] == {"kind": "MultiPolygon", "rows": 1, "crs": "EPSG:4326"}
    assert found["entries"]["rows"] == 2
    assert found["entries"]["bounds"] == pytest.approx(GROUND.bounds, abs=1e-12)
    assert found["wkb"] == shapely.to_wkb(GROUND, hex=True)


def test_header_is_a_geopackage(store: GeoPackageStore) -> None:
    """Application id "GPKG" at byte 68 and version 10300 at byte 60: OGC 12-128r17, clause 1.1.1.1.1."""
    head = store.path.read_bytes()[:100]
    assert head[68:72] == b"GPKG"
    assert struct.unpack(">I", head[60:64]) == (10300,)


def test_blob_layout() -> None:
    """Magic, version 0, flags, srs id, envelope min x, max x, min y, max y: OGC 12-128r17, table 5."""
    blob = to_blob(box(1, 2, 3, 5))
    assert blob[:4] == b"GP\x00\x03"
    assert struct.unpack("<i4d", blob[4:40]) == (4326, 1, 3, 2, 5)
    assert blob[40] == 1  # little-endian WKB
    assert to_blob(Point(1, 2, 9)) == to_blob(Point(1, 2))
    assert from_blob(to_blob(MultiPolygon()), where="x") == MultiPolygon()


@pytest.mark.parametrize("wkb_order", [0, 1])
@pytest.mark.parametrize("envelope_doubles", [(0, 0), (1, 4), (2, 6), (4, 8)])
def test_blobs_of_other_writers_are_read(wkb_order: int, envelope_doubles: tuple[int, int]) -> None:
    indicator, doubles = envelope_doubles
    blob = struct.pack(">2sBBi", b"GP", 0, indicator << 1, 4326) + b"\0" * 8 * doubles
    assert from_blob(blob + shapely.to_wkb(GROUND, byte_order=wkb_order), where="x") == GROUND


@pytest.mark.parametrize(
    "blob", [b"", b"GP", b"XX\x00\x03" + b"\0" * 90, b"GP\x00\x0f" + b"\0" * 90, to_blob(GROUND)[:-9]]
)
def test_damaged_blobs_are_said(blob: bytes) -> None:
    with pytest.raises(PlaceError, match="damaged"):
        from_blob(blob, where="x")


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("beside", [0, 1])
def test_collections_in_one_another_without_end_are_refused(order: str, beside: int) -> None:
    """GEOS reads them by calling itself: 20,000 ended the process."""
    point = shapely.to_wkb(Point(1, 2), byte_order=int(order == "<"))
    nest = (struct.pack(f"{order}BII", order == "<", 7, 1 + beside) + point * beside) * 20_000 + point
    head = struct.pack("<2sBBi", b"GP", 0, 1, 4326)
    with pytest.raises(PlaceError, match="a stored outline is damaged"):
        from_blob(head + nest, where="x")
    many = GeometryCollection([MultiPolygon([GROUND.geoms[0]] * 2), LineString([(0, 0), (1, 1)]), Point(1, 2)] * 200)
    for srid in (0, 4326):
        wkb = shapely.to_wkb(shapely.set_srid(many, srid), byte_order=int(order == "<"), include_srid=srid > 0)
        assert from_blob(head + wkb, where="x") == many


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("date", "soon"),
        ("recorded_at", "x"),
        ("unit_ids", "[oops"),
        ("look", "7"),
        ("geom", b"rubbish"),
        ("look", '{"needles": "blue"}'),
    ],
)
def test_rows_that_other_programs_spoiled_are_said(store: GeoPackageStore, column: str, value: object) -> None:
    good = {"entry_id": "e", "recorded_at": "2026-01-01T00:00:00Z", "action": "log", "practice": "cut"}
    row = good | {"date": "2026-01-01", "unit_ids": "[]", "look": None, "geom": None} | {column: value}
    connection = raw(store)
    marks = ", ".join("?" * len(row))
    connection.execute(f"INSERT INTO entries ({', '.join(row)}) VALUES ({marks})", tuple(row.values()))
    connection.close()
    with pytest.raises(PlaceError, match="damaged"):
        store.entries()


# --- files that are unfit -----------------------------------------------------------------------------------


def test_a_folder_without_a_place(tmp_path: Path) -> None:
    with pytest.raises(PlaceError, match="not a habmap property"):
        GeoPackageStore.open(tmp_path)


def test_a_missing_file(store: GeoPackageStore) -> None:
    store.path.unlink()
    with pytest.raises(PlaceError, match="missing"):
        reopened(store)
    assert not store.path.exists()


@pytest.mark.parametrize("rubbish", [b"", b"rubbish" * 1000, bytes(range(256)) * 64])
def test_binary_rubbish(store: GeoPackageStore, rubbish: bytes) -> None:
    store.path.write_bytes(rubbish)
    with pytest.raises(PlaceError):
        reopened(store)
    assert store.path.read_bytes() == rubbish


def test_a_file_cut_short(store: GeoPackageStore) -> None:
    store.append([make_entry(number) for number in range(200)])
    whole = store.path.read_bytes()
    store.path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(PlaceError):
        reopened(store).entries()


def test_a_newer_schema_is_left_alone(store: GeoPackageStore) -> None:
    connection = raw(store)
    connection.execute("UPDATE habmap_meta SET schema_version = 99")
    connection.close()
    before = store.path.read_bytes()
    with pytest.raises(PlaceError, match="newer habmap") as caught:
        reopened(store)
    assert "update habmap" in str(caught.value.mend)
    assert store.path.read_bytes() == before


def test_reading_does_not_write(store: GeoPackageStore) -> None:
    store.append([make_unit(), make_entry()])
    before, moment = store.path.read_bytes(), store.path.stat().st_mtime_ns
    again = reopened(store)
    assert again.units() and again.entries() and again.grid and again.storage_faults() == []
    assert (store.path.read_bytes(), store.path.stat().st_mtime_ns) == (before, moment)


def test_a_place_older_than_a_table(store: GeoPackageStore) -> None:
    """What a later habmap added reads as empty and is made by the first write to it; the log is never made anew."""
    connection = raw(store)
    connection.execute("DROP TABLE plots")
    connection.execute("DELETE FROM gpkg_contents WHERE table_name = 'plots'")
    connection.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = 'plots'")
    old = reopened(store)
    assert old.plots() == ()
    assert old.storage_faults() == []
    plot = Plot(uuid="p", plot_id="1", method="fixed", plot_acres=0.1, stems=3, recorded_at=NOW)
    old.append([plot])
    assert reopened(store).plots() == (replace(plot, supersedes=()),)
    assert old.storage_faults() == []
    connection.execute("DROP TABLE entries")
    connection.close()
    with pytest.raises(PlaceError, match="lacks tables"):
        reopened(store)


def test_write_ahead_mode_of_other_programs_is_ended(store: GeoPackageStore) -> None:
    connection = raw(store)
    assert connection.execute("PRAGMA journal_mode = WAL").fetchone() == ("wal",)
    connection.close()
    store.append([make_entry()])
    connection = raw(store)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    connection.close()


@pytest.mark.parametrize("name", ["a ? b", "100%", "#1", "Öl 🐄", "a'b"])
def test_folders_of_any_name(tmp_path: Path, name: str) -> None:
    store = GeoPackageStore.create(tmp_path / name, "Test place")
    store.append([make_entry()])
    assert GeoPackageStore.open(tmp_path / name).entries() == (make_entry(),)


def test_storage_faults_name_missing_guards(store: GeoPackageStore) -> None:
    connection = raw(store)
    connection.execute("DROP TRIGGER entries_no_delete")
    connection.close()
    assert "entries_no_delete" in " ".join(store.storage_faults())


def test_busy_file(store: GeoPackageStore) -> None:
    holder = raw(store)
    holder.execute("BEGIN EXCLUSIVE")
    try:
        with pytest.raises(PlaceBusyError, match="another program"):
            GeoPackageStore.open(store.folder, busy_timeout_s=0.05)
    finally:
        holder.execute("ROLLBACK")
        holder.close()
    assert reopened(store).entries() == ()


def test_create_refuses_an_existing_place(store: GeoPackageStore) -> None:
    before = store.path.read_bytes()
    with pytest.raises(PlaceError, match="already"):
        GeoPackageStore.create(store.folder, "Again")
    assert store.path.read_bytes() == before


@pytest.mark.parametrize(
    "name", ['a "b" \\ c', "line\nbreak\ttab\x7f\x01", "Öl 🐄 مرحبا", "{name} {timezone}", "x" * 5000]
)
def test_any_name_is_written_as_toml(name: str) -> None:
    document = tomllib.loads(settings_text(name, timezone="America/Denver"))
    assert document["place"]["name"] == name
    assert document["place"]["timezone"] == "America/Denver"
    assert tomllib.loads(settings_text(name))["place"]["timezone"] == PlaceSection().timezone


@pytest.mark.parametrize(("name", "timezone"), [("x", "Mars/Base"), (" ", None), ("\ud800", None)])
def test_names_that_cannot_be(name: str, timezone: str | None) -> None:
    with pytest.raises(UsageError):
        settings_text(name, timezone=timezone)
