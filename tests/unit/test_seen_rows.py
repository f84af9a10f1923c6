"""Sightings and frames in the property's file: they come back as they went in, and older properties take them."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fakes import FakeStore, unit
from shapely import Point, box

from habmap.errors import InputError
from habmap.jobs.check import looked_at
from habmap.place.store import GeoPackageStore
from habmap.records import CoverFrame, CoverLine, Sighting
from habmap.work.checks.readings import seen

NOW = datetime(2026, 6, 28, 17, 30, 0, 123456, tzinfo=UTC)
SEEN = Sighting(
    uuid="5c0d0c5e-4a3e-4c34-9a3a-0d7f1b2c3d4e",
    occurrence_id="o-1",
    event_date="2026-05-14/16",
    seen_from=date(2026, 5, 14),
    seen_to=date(2026, 5, 16),
    scientific_name="Spiza americana",
    vernacular_name="dickcissel “singing”",
    individual_count=3,
    establishment_means="native",
    uncertainty_m=0.1 + 0.2,
    recorded_by="=cmd|'x'",
    remarks="two\nlines",
    geometry=Point(-96.3190000001, 37.0610000001),
    recorded_at=NOW,
)
FRAME = CoverFrame(
    uuid="frame-1",
    reading_id="r1",
    frame="3b",
    unit_id="A",
    read_on=date(2026, 6, 28),
    canopy_pct=12.5,
    lines=(
        CoverLine(species="Andropogon gerardii", group="grass", cover_class=3, cover_pct=37.5, native=True),
        CoverLine(species="Bromus japonicus", cover_pct=1 / 3, native=False),
        CoverLine(group="litter", cover_class=1, cover_pct=2.5),
    ),
    geometry=Point(-96.319, 37.061),
    recorded_at=NOW,
)


@pytest.fixture
def store(tmp_path: Path) -> GeoPackageStore:
    return GeoPackageStore.create(tmp_path / "place", "Test place")


def test_every_field_comes_back(store: GeoPackageStore) -> None:
    bare = replace(
        SEEN, uuid="bare", occurrence_id=None, vernacular_name=None, individual_count=None, is_present=False,
        establishment_means=None, uncertainty_m=None, recorded_by=None, remarks=None,
    )  # fmt: skip
    empty = replace(FRAME, uuid="frame-0", canopy_pct=None, lines=(), geometry=None)
    store.append([SEEN, bare, FRAME, empty])
    again = GeoPackageStore.open(store.folder)
    assert set(again.sightings()) == {SEEN, bare}
    assert set(again.cover_frames()) == {FRAME, empty}
    assert set(again.rows()) == {SEEN, bare, FRAME, empty}


def test_an_older_property_reads_as_empty_and_takes_the_first(store: GeoPackageStore) -> None:
    with sqlite3.connect(store.path) as file:
        for table in ("sightings", "cover_frames"):
            file.execute(f"DROP TABLE {table}")
            file.execute("DELETE FROM gpkg_geometry_columns WHERE table_name = ?", (table,))
            file.execute("DELETE FROM gpkg_contents WHERE table_name = ?", (table,))
    file.close()
    older = GeoPackageStore.open(store.folder)
    assert (older.sightings(), older.cover_frames(), older.storage_faults()) == ((), (), [])
    older.append([SEEN, FRAME])
    assert (older.sightings(), older.cover_frames()) == ((SEEN,), (FRAME,))


@pytest.mark.parametrize("statement", ["UPDATE sightings SET remarks = 'no'", "DELETE FROM cover_frames"])
def test_what_was_seen_is_never_rewritten(store: GeoPackageStore, statement: str) -> None:
    store.append([SEEN, FRAME])
    with sqlite3.connect(store.path) as file, pytest.raises(sqlite3.IntegrityError, match="never changed"):
        file.execute(statement)
    file.close()
    with pytest.raises(InputError):
        store.append([SEEN])


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda: replace(FRAME, unit_id="Z"), "which is not here"),
        (lambda: replace(FRAME, read_on=date(2027, 1, 1)), "after today"),
        (lambda: replace(FRAME, canopy_pct=140.0), "canopy is 140"),
        (lambda: replace(FRAME, lines=(CoverLine(species="X y", cover_class=9, cover_pct=2.5),)), "cover class is 9"),
        (lambda: replace(FRAME, lines=(CoverLine(species="X y", cover_pct=250.0),)), "cover is 250"),
        (lambda: replace(SEEN, seen_from=date(2027, 1, 1), seen_to=date(2027, 1, 1)), "after today"),
        (lambda: replace(SEEN, seen_to=date(2026, 1, 1)), "before it begins"),
        (lambda: replace(SEEN, geometry=Point(-96.3, 137.0)), "nowhere on the globe"),
    ],
)
def test_check_names_what_another_program_spoiled(spoil: Callable[[], Sighting | CoverFrame], words: str) -> None:

    ground = unit("A", box(0, 0, 100, 100))
    today = date(2026, 8, 1)
    assert list(seen(looked_at(FakeStore([ground, SEEN, FRAME]), today=today))) == []
    faults = list(seen(looked_at(FakeStore([ground, spoil()]), today=today)))
    assert len(faults) == 1 and words in faults[0].what
