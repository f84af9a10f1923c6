"""A ledger that is written out and read back is the same ledger, whatever was in it."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fakes import FakeStore, unit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, box

from habmap import measures
from habmap.jobs.acres import acres
from habmap.jobs.export_layers import ledger_table
from habmap.jobs.load.tables import load_entries
from habmap.place.writers import csv_text, write_layer
from habmap.records import Entry, Look
from habmap.vocabulary import PRACTICES
from habmap.work.said import reported_question

NOW = datetime(2026, 6, 1, tzinfo=UTC)
TODAY = date(2026, 6, 1)
WEST, SOUTH = -98.0, 38.0
UNIT = unit("C1", box(0, 0, 400, 400))
WORDS = st.none() | st.text(
    st.characters(blacklist_categories=("Cc", "Cs", "Zl", "Zp", "Zs", "Cf", "Co", "Cn")), min_size=1, max_size=20
)
SHARE = st.none() | st.floats(0, 100)
AMOUNT = st.none() | st.floats(0.0625, 1e4)


@st.composite
def patches(draw: st.DrawFn) -> MultiPolygon:
    west, south = (draw(st.floats(0, 0.004)) for _ in range(2))
    wide, high = (draw(st.floats(1e-4, 0.004)) for _ in range(2))
    return MultiPolygon([box(WEST + west, SOUTH + south, WEST + west + wide, SOUTH + south + high)])


@st.composite
def entries(draw: st.DrawFn) -> Entry:
    practice = draw(st.sampled_from(PRACTICES))
    look = None
    if practice == "checkup":
        look = Look(
            live_stems_per_acre=draw(st.floats(0, 900)),
            needles=draw(st.sampled_from([None, "green", "red", "dropped"])),
            sprouts=draw(st.sampled_from([(), (("sumac", 3),), (("elm", 1), ("sumac", 40))])),
        )
    return Entry(
        entry_id=str(draw(st.uuids(version=4))),
        recorded_at=NOW,
        practice=practice,
        date=draw(st.dates(date(2024, 1, 1), date(2026, 5, 31))),
        patch=draw(patches()),
        killed_pct=draw(st.floats(0, 100) if practice in ("girdle", "spray") else SHARE),
        burned_pct=draw(SHARE),
        person_hours=draw(AMOUNT),
        cost=draw(AMOUNT),
        reported_acres=draw(AMOUNT),
        acres_sd=draw(AMOUNT),
        who=draw(WORDS),
        note=draw(WORDS),
        look=look,
        source_id=draw(WORDS),
    )


def read_back(store: FakeStore, *, suffix: str) -> FakeStore:
    table = ledger_table(store)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"ledger{suffix}")
        if suffix == ".csv":
            rows = [[row[name] for name in table.columns] for row in table.rows]
            path.write_bytes(csv_text(table.columns, rows).encode("utf-8"))
        else:
            rows_without_wkt = [{k: v for k, v in row.items() if k != "patch_wkt"} for row in table.rows]
            write_layer(path, layer=table.layer, rows=rows_without_wkt, shapes=table.shapes)
        other = FakeStore([UNIT], grid=store.grid)
        load_entries(other, path=path, today=TODAY, now=NOW)
    return other


@pytest.mark.parametrize("suffix", [".csv", ".gpkg", ".geojson"])
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(log=st.lists(entries(), min_size=1, max_size=5, unique_by=lambda entry: entry.entry_id))
def test_written_out_and_read_back_it_is_the_same_ledger(suffix: str, log: list[Entry]) -> None:
    grid = FakeStore([UNIT, *log]).grid
    assert grid is not None

    def is_asked(entry: Entry) -> bool:
        assert entry.patch is not None
        return reported_question(entry, measures.acres(grid.to_grid(entry.patch).area)) is not None

    # a figure far from its ground goes out and comes in only where somebody is sure of it
    store = FakeStore([UNIT, *(replace(entry, is_sure=is_asked(entry)) for entry in log)])
    other = read_back(store, suffix=suffix)

    def content(one: FakeStore) -> list[Entry]:
        # a layer may begin its rings elsewhere; where the ground lies is compared by the account
        return [replace(entry, patch=None) for entry in sorted(one.entries(), key=lambda e: e.entry_id)]

    assert content(other) == content(store)
    mine, theirs = acres(store), acres(other)
    for stage in ("standing", "part_cut", "down", "burned", "kept_up", "keep"):
        assert getattr(mine.totals.stage_acres, stage) == pytest.approx(
            getattr(theirs.totals.stage_acres, stage), abs=1e-9
        )
