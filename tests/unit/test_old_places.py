"""Files of earlier versions open, say the same, are brought up to date by the first write; newer are let be."""

from __future__ import annotations

import json
import shutil
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from shapely import MultiPolygon, box

from habmap.errors import PlaceError
from habmap.jobs.acres import acres
from habmap.jobs.check import check
from habmap.jobs.unite import unite
from habmap.place.ddl import APPLICATION_ID, USER_VERSION
from habmap.place.guards import column_names
from habmap.place.schema import SCHEMA_VERSION, TABLES
from habmap.place.store import GeoPackageStore
from habmap.records import Boundary, DrawnBlock, Entry

PLACES = Path(__file__).parents[1] / "places"
LONG_AGO = datetime(2001, 1, 1, tzinfo=UTC)  # a clock set far back
GROUND = MultiPolygon([box(-98.0, 38.0, -97.999, 38.0005)])


@pytest.fixture
def old(tmp_path: Path) -> GeoPackageStore:
    """Return a store on a file that version 1 wrote."""
    store = GeoPackageStore.create(tmp_path / "old", "Old place")
    settings = store.folder / "habmap.toml"
    settings.write_text(settings.read_text().replace('"UTC"', '"America/Chicago"'))
    store.path.unlink()
    with sqlite3.connect(store.path) as connection:
        connection.executescript((PLACES / "version_1.sql").read_text(encoding="utf-8"))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {USER_VERSION}")
    connection.close()
    return GeoPackageStore.open(store.folder)


def changed(store: GeoPackageStore, *statements: str) -> GeoPackageStore:
    connection = sqlite3.connect(store.path, isolation_level=None)
    for statement in statements:
        connection.execute(statement)
    connection.close()
    return GeoPackageStore.open(store.folder)


def new_line() -> Entry:
    return Entry(entry_id="new", recorded_at=LONG_AGO, practice="seed", date=date(2025, 7, 1), patch=GROUND)


def test_an_old_file_says_what_its_own_version_said_and_reading_leaves_it_as_it_is(old: GeoPackageStore) -> None:
    before = old.path.read_bytes()
    told = json.loads((PLACES / "version_1.json").read_text())
    found = acres(old, on=date(2025, 6, 1))
    assert found.totals.treated_acres == pytest.approx(told["totals"]["treated_acres"], abs=1e-9)
    for unit, unit_told in zip(found.units, told["units"], strict=True):
        assert unit.unit_id == unit_told["unit_id"]
        assert unit.stage_acres.down == pytest.approx(unit_told["stage_acres"]["down"], abs=1e-9)
        assert unit.stage_acres.burned == pytest.approx(unit_told["stage_acres"]["burned"], abs=1e-9)
    assert [line.practice for line in old.entries()][-2:] == ["checkup", "burn"]
    assert [photo.is_private for photo in old.photos()] == [False, True]
    assert old.storage_faults() == []
    assert old.path.read_bytes() == before


def test_check_says_what_version_the_file_is_and_what_this_habmap_writes(old: GeoPackageStore) -> None:
    found = check(old, today=date(2026, 1, 1))
    assert (found.schema_version, found.writes_schema_version) == (1, SCHEMA_VERSION)
    old.append([new_line()])
    assert check(GeoPackageStore.open(old.folder), today=date(2026, 1, 1)).schema_version == SCHEMA_VERSION


def test_the_first_write_adds_every_column_and_renews_the_guards(old: GeoPackageStore) -> None:
    before = old.rows()
    old.append([new_line()])
    again = GeoPackageStore.open(old.folder)
    connection = sqlite3.connect(old.path)
    connection.row_factory = sqlite3.Row
    for table in TABLES:
        held = {name for name in column_names(connection, table.name) if name not in ("fid", "geom")}
        assert held in (set(table.column_names), set()), table.name
    assert connection.execute("SELECT schema_version FROM habmap_meta").fetchone()[0] == SCHEMA_VERSION
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        connection.execute("UPDATE entries SET supersedes = '[]'")
    connection.close()
    assert again.storage_faults() == []
    assert new_line() in again.rows()
    assert [row for row in again.rows() if row != new_line()] == list(before)


def test_a_row_written_in_sight_of_old_ones_counts_though_its_clock_stands_far_back(old: GeoPackageStore) -> None:
    old.append([DrawnBlock(uuid="later", name="North", geometry=GROUND, recorded_at=LONG_AGO)])
    old.append([Boundary(uuid="line", geometry=GROUND, recorded_at=LONG_AGO)])
    assert old.drawn_blocks()[-1].uuid == "later"
    line = old.boundary()
    assert line is not None and line.uuid == "line"


def test_a_write_that_fails_leaves_the_old_file_as_it_was(old: GeoPackageStore) -> None:
    connection = sqlite3.connect(old.path)
    held = connection.execute("SELECT sql FROM sqlite_master ORDER BY name").fetchall()
    known = old.entries()[0]
    with pytest.raises(Exception, match="already there"):
        old.append([new_line(), known])
    assert connection.execute("SELECT sql FROM sqlite_master ORDER BY name").fetchall() == held
    connection.close()


def test_an_old_copy_and_one_that_was_written_to_since_are_united_in_either_order(
    old: GeoPackageStore, tmp_path: Path
) -> None:
    shutil.copytree(old.folder, tmp_path / "other")
    other = GeoPackageStore.open(tmp_path / "other")
    other.append([new_line()])
    assert unite(other, old).entries_before == unite(old, other).entries_after
    assert old.rows() == other.rows()


@pytest.mark.parametrize(
    ("statements", "named"),
    [
        (["ALTER TABLE entries ADD COLUMN crew_size INTEGER"], "entries.crew_size"),
        # The newer version's guard names its column too: no damage, and nothing to be taken out by hand.
        (
            [
                "ALTER TABLE entries ADD COLUMN crew_size INTEGER",
                "DROP TRIGGER entries_no_update",
                "CREATE TRIGGER entries_no_update BEFORE UPDATE OF crew_size ON entries "
                "BEGIN SELECT RAISE(ABORT, 'entries: rows are never changed or deleted'); END",
            ],
            "entries.crew_size",
        ),
        (
            [
                "CREATE TABLE herds (fid INTEGER PRIMARY KEY, uuid TEXT)",
                "CREATE TRIGGER herds_no_delete BEFORE DELETE ON herds "
                "BEGIN SELECT RAISE(ABORT, 'herds: rows are never changed or deleted'); END",
            ],
            "herds",
        ),
    ],
)
def test_what_a_newer_habmap_made_is_read_and_not_written(
    old: GeoPackageStore, statements: list[str], named: str
) -> None:
    newer = changed(old, *statements)
    before = newer.path.read_bytes()
    assert len(newer.entries()) == 9
    with pytest.raises(PlaceError, match="read, but not written") as caught:
        newer.append([new_line()])
    assert caught.value.value == named and "update habmap" in str(caught.value.mend)
    assert newer.path.read_bytes() == before


def test_tables_of_other_programs_are_no_hindrance(old: GeoPackageStore) -> None:
    shared = changed(old, "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY, styleQML TEXT)")
    shared.append([new_line()])
    assert new_line() in shared.entries()


def test_a_column_that_no_version_did_without_is_named(old: GeoPackageStore) -> None:
    guards = [f"DROP TRIGGER features_{guard}" for guard in ("no_update", "no_delete", "no_replace")]
    damaged = changed(old, *guards, "ALTER TABLE features DROP COLUMN kind")
    with pytest.raises(PlaceError, match="lacks columns") as caught:
        damaged.append([new_line()])
    assert caught.value.value == "kind"


def test_every_column_added_later_can_be(old: GeoPackageStore) -> None:
    """Columns that version 1 lacked stand last in their table and take NULL: the guards and the first write need it."""
    connection = sqlite3.connect(old.path)
    connection.row_factory = sqlite3.Row
    for table in TABLES:
        held = column_names(connection, table.name)
        later = [(name, kind) for name, kind in table.columns if held and name not in held]
        assert [name for name, _ in later] == list(table.column_names[len(table.columns) - len(later) :]), table.name
        assert not any("NOT NULL" in kind and "DEFAULT" not in kind for _, kind in later), table.name
    connection.close()
