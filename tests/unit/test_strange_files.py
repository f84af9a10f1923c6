"""Files that other programs wrote into: triggers, spatial indexes, tables that are none, and more than memory holds."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import shapely
from shapely import MultiPolygon, box

from habmap.errors import PlaceError
from habmap.place import connection as connecting
from habmap.place import guards, reading
from habmap.place.store import GeoPackageStore
from habmap.records import Entry, Unit

NOW = datetime(2026, 1, 1, tzinfo=UTC)


def ground(number: int) -> MultiPolygon:
    return MultiPolygon([box(-98 + number / 1000, 38, -97.9995 + number / 1000, 38.0005)])


def line(number: int) -> Entry:
    return Entry(
        entry_id=f"line-{number}", recorded_at=NOW, practice="cut", date=date(2026, 1, 1), patch=ground(number)
    )


@pytest.fixture
def store(tmp_path: Path) -> GeoPackageStore:
    made = GeoPackageStore.create(tmp_path / "place", "Strange")
    made.append([Unit(uuid="a", unit_id="A", name="A", cover="cedar", geometry=ground(0), recorded_at=NOW), line(0)])
    return made


def run(store: GeoPackageStore, *statements: str) -> None:
    connection = sqlite3.connect(store.path, isolation_level=None)
    connecting_like = {"ST_IsEmpty": lambda blob: 0, **{f"ST_{name}": lambda blob: 0.0 for name in EDGES}}
    for name, function in connecting_like.items():
        connection.create_function(name, 1, function, deterministic=True)
    for statement in statements:
        connection.execute(statement)
    connection.close()


#: The command, which at its end says how much memory it held at most; what the test's own process held counts else.
START = """
import atexit, pathlib, sys
atexit.register(lambda: print(pathlib.Path("/proc/self/status").read_text(), file=sys.stderr))
from habmap.cli.main import run
run()
"""
EDGES = ("MinX", "MaxX", "MinY", "MaxY")
#: A spatial index on a table, as GeoPackage 1.3 annex F.3 has it (typed from memory of the standard; the triggers that
#: fire when a row's key changes are left out: no key of ours ever does).
INDEX = """
CREATE VIRTUAL TABLE "rtree_{t}_geom" USING rtree(id, minx, maxx, miny, maxy);
CREATE TRIGGER "rtree_{t}_geom_insert" AFTER INSERT ON "{t}"
  WHEN (new."geom" NOT NULL AND NOT ST_IsEmpty(NEW."geom"))
BEGIN INSERT OR REPLACE INTO "rtree_{t}_geom" VALUES (NEW."fid", ST_MinX(NEW."geom"), ST_MaxX(NEW."geom"),
  ST_MinY(NEW."geom"), ST_MaxY(NEW."geom")); END;
CREATE TRIGGER "rtree_{t}_geom_update6" AFTER UPDATE OF "geom" ON "{t}"
  WHEN OLD."fid" = NEW."fid" AND (NEW."geom" NOTNULL AND NOT ST_IsEmpty(NEW."geom")) AND
  (OLD."geom" NOTNULL AND NOT ST_IsEmpty(OLD."geom"))
BEGIN UPDATE "rtree_{t}_geom" SET minx = ST_MinX(NEW."geom") WHERE id = NEW."fid"; END;
CREATE TRIGGER "rtree_{t}_geom_update4" AFTER UPDATE ON "{t}"
  WHEN OLD."fid" != NEW."fid" AND (NEW."geom" ISNULL OR ST_IsEmpty(NEW."geom"))
BEGIN DELETE FROM "rtree_{t}_geom" WHERE id IN (OLD."fid", NEW."fid"); END;
CREATE TRIGGER "rtree_{t}_geom_delete" AFTER DELETE ON "{t}" WHEN old."geom" NOT NULL
BEGIN DELETE FROM "rtree_{t}_geom" WHERE id = OLD."fid"; END;
"""


def index_statements(table: str) -> list[str]:
    found, current = [], ""
    for text in INDEX.format(t=table).strip().splitlines():
        current += text + "\n"
        if sqlite3.complete_statement(current):
            found.append(current)
            current = ""
    return found


def test_a_spatial_index_of_another_program_stays_right_and_stops_no_write(store: GeoPackageStore) -> None:
    run(store, *index_statements("entries"), *index_statements("units"))
    store.append([line(1), line(2), Entry(entry_id="v", recorded_at=NOW, action="void", target="x", date=NOW.date())])
    newer = Unit(
        uuid="b", unit_id="A", name="A", cover="cedar", geometry=ground(5), recorded_at=NOW, replaces=("a",),
        valid_from=date(2026, 2, 1),
    )  # fmt: skip
    store.append([newer])
    connection = sqlite3.connect(store.path)
    found = connection.execute("SELECT id, minx, maxx, miny, maxy FROM rtree_entries_geom ORDER BY id").fetchall()
    connection.close()
    assert [row[0] for row in found] == [2, 3]
    for (_, min_x, max_x, min_y, max_y), number in zip(found, (1, 2), strict=True):
        # an R-tree holds float32, rounded outward
        assert (min_x, min_y, max_x, max_y) == pytest.approx(shapely.bounds(ground(number)), abs=1e-4)
    assert store.storage_faults() == []


@pytest.mark.parametrize(
    "trigger",
    [
        "CREATE TRIGGER t BEFORE INSERT ON entries BEGIN SELECT RAISE(IGNORE); END",
        "CREATE TRIGGER t INSERT ON entries BEGIN SELECT 1; END",  # without a word it runs before
        "CREATE TRIGGER t AFTER INSERT ON entries BEGIN SELECT raise /* x */ (IGNORE); END",
        "CREATE TRIGGER t AFTER INSERT ON Entries BEGIN UPDATE units SET valid_to = '2000-01-01'; END",
        'CREATE TRIGGER t AFTER INSERT ON gpkg_contents BEGIN DELETE FROM "entries"; END',
        "CREATE TRIGGER t AFTER UPDATE ON gpkg_contents BEGIN REPLACE INTO habmap_meta VALUES (1, 1, 1, 1, 1); END",
        "CREATE TRIGGER t /* AFTER */ BEFORE INSERT ON entries BEGIN SELECT 1; END",
    ],
)
def test_a_trigger_that_could_swallow_or_change_rows_stops_every_write(store: GeoPackageStore, trigger: str) -> None:
    run(store, trigger)
    before = store.path.read_bytes()
    with pytest.raises(PlaceError, match="could swallow or change") as caught:
        store.append([line(1)])
    assert caught.value.value == "t" and "DROP TRIGGER t" in str(caught.value.mend)
    assert store.path.read_bytes() == before
    assert any("could swallow or change rows: t" in words for words in store.storage_faults())


def test_a_harmless_trigger_is_listed_and_stops_nothing(store: GeoPackageStore) -> None:
    run(
        store,
        "CREATE TABLE audit (what TEXT)",
        "CREATE TRIGGER watch AFTER INSERT ON entries BEGIN INSERT INTO audit VALUES (NEW.entry_id || ' RAISE'); END",
        "CREATE TABLE gpkg_ogr_contents (table_name TEXT, feature_count INTEGER)",
        "INSERT INTO gpkg_ogr_contents VALUES ('entries', 250000000)",
        "CREATE TRIGGER trigger_insert_feature_count_entries AFTER INSERT ON entries "
        "BEGIN UPDATE gpkg_ogr_contents SET feature_count = feature_count + 1 WHERE table_name = 'entries'; END",
    )
    store.append([line(1)])
    assert len(store.entries()) == 2  # whatever the count says
    assert store.storage_faults() == ["other programs' triggers hang on habmap's tables: watch"]


def test_a_hollow_guard_is_known_by_its_text_and_lost_rows_are_counted(store: GeoPackageStore) -> None:
    store.append([line(number) for number in range(1, 29)])
    run(
        store,
        "DROP TRIGGER entries_no_delete",
        "CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries BEGIN SELECT 1; END",
        "DELETE FROM entries WHERE fid > 1",
    )
    words = " ".join(store.storage_faults())
    assert "not habmap's own: entries_no_delete" in words
    assert "29 rows were written to entries, 1 are there" in words
    with pytest.raises(PlaceError, match="not habmap's own any more"):
        store.append([line(99)])
    run(store, "DROP TRIGGER entries_no_delete")
    store.append([line(99)])
    connection = sqlite3.connect(store.path)
    with pytest.raises(sqlite3.IntegrityError, match="never changed or deleted"):
        connection.execute("DELETE FROM entries")
    connection.close()


def test_a_row_is_read_back_before_it_is_acknowledged(store: GeoPackageStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever a look at the triggers overlooks: a swallowed row is never said to be there."""
    monkeypatch.setattr(guards, "_could_harm", lambda trigger, ours: False)
    run(store, "CREATE TRIGGER t BEFORE INSERT ON entries BEGIN SELECT RAISE(IGNORE); END")
    with pytest.raises(PlaceError, match="did not take a row as it was written"):
        store.append([line(1)])
    assert [row.entry_id for row in store.entries()] == ["line-0"]


def disguised(store: GeoPackageStore, columns: str) -> GeoPackageStore:
    """Put something else in place of the log."""
    guards_of_log = [f"DROP TRIGGER entries_{guard}" for guard in ("no_update", "no_delete", "no_replace")]
    run(store, *guards_of_log, "ALTER TABLE entries RENAME TO kept", columns)
    return store


def test_an_endless_view_in_place_of_the_log_is_refused_at_once(store: GeoPackageStore) -> None:
    view = (
        "CREATE VIEW entries AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
        "SELECT kept.* FROM kept, n"
    )
    disguised(store, view)
    began = time.monotonic()
    with pytest.raises(PlaceError, match="tables of its own") as caught:
        GeoPackageStore.open(store.folder)
    assert caught.value.value == "entries is a view"
    assert time.monotonic() - began < 5


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="asks the Linux kernel for the memory held")
def test_a_value_of_800_mb_is_refused_before_memory_holds_it(store: GeoPackageStore) -> None:
    """A column that SQLite makes up takes no room on the disk; 'unite' in a process of its own shows the memory."""
    other = GeoPackageStore.create(store.folder.parent / "other", "Strange", place_id=store.place_id)
    other.append([line(1)])
    connection = sqlite3.connect(other.path)
    columns = [row[1] for row in connection.execute("PRAGMA table_info(entries)") if row[1] not in ("fid", "note")]
    connection.close()
    made_up = "note TEXT AS (hex(zeroblob(400000000)))"
    plain = ", ".join(columns)
    disguised(other, f"CREATE TABLE entries (fid INTEGER PRIMARY KEY AUTOINCREMENT, {plain}, {made_up})")
    run(other, f"INSERT INTO entries (fid, {plain}) SELECT fid, {plain} FROM kept")
    before = store.path.read_bytes()
    began = time.monotonic()
    command = [sys.executable, "-c", START, "--place", str(store.folder), "unite", str(other.folder)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 3 and "a value of more than 32 MB" in done.stderr, done.stderr
    assert time.monotonic() - began < 60
    (peak_kib,) = (int(text.split()[1]) for text in done.stderr.splitlines() if text.startswith("VmHWM:"))
    assert peak_kib < 500 * 1024
    assert store.path.read_bytes() == before


def test_more_rows_or_bytes_than_a_property_has_are_refused(
    store: GeoPackageStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.append([line(number) for number in range(1, 10)])
    monkeypatch.setattr(reading, "MOST_ROWS", 5)
    with pytest.raises(PlaceError, match="more than a property does") as caught:
        store.entries()
    assert caught.value.value == "10 rows"
    monkeypatch.setattr(reading, "MOST_ROWS", 50)
    monkeypatch.setattr(reading, "MOST_BYTES", 1000)
    with pytest.raises(PlaceError, match="more than a property does"):
        store.rows()


def test_work_without_end_is_ended(store: GeoPackageStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connecting, "LONGEST_WORK_S", 0.2)
    endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT max(i) FROM n"
    with pytest.raises(PlaceError, match="was not through"), connecting.reading(store.path, 1.0) as connection:
        connection.execute(endless).fetchall()


def test_every_write_is_durable_to_the_folder(store: GeoPackageStore) -> None:
    with connecting.reading(store.path, 1.0) as connection:
        assert connection.execute("PRAGMA synchronous").fetchone()[0] == 3  # EXTRA


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE habmap_meta SET grid_lat = 'north'", "no place on earth"),
        ("UPDATE habmap_meta SET grid_lat = 999", "no place on earth"),
        ("UPDATE habmap_meta SET grid_lon = NULL", "no place on earth"),
        ("UPDATE habmap_meta SET place_id = 'abc'", "identity"),
        ("UPDATE entries SET recorded_at = '2026-01-01T00:00:00'", "damaged"),
        ("UPDATE entries SET action = 'Log'", "damaged"),
        ("UPDATE entries SET look = replace(hex(zeroblob(100000)), '00', '[')", "damaged"),
        ("INSERT INTO elevation (uuid, path, crs_wkt, vertical_unit, recorded_at) "
         "VALUES ('e', 'x', 'x', 'yd', '2026-01-01T00:00:00Z')", "damaged"),
    ],
)  # fmt: skip
def test_what_another_program_spoiled_is_said_in_words(store: GeoPackageStore, statement: str, words: str) -> None:
    guards_gone = [f"DROP TRIGGER {name}" for name in ("habmap_meta_grid_is_fixed", "entries_no_update")]
    run(store, *guards_gone, statement)
    with pytest.raises(PlaceError, match=words) as caught:
        GeoPackageStore.open(store.folder)
        assert store.grid is not None
        store.rows()
    assert "from a copy" in str(caught.value.mend)
