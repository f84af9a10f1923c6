"""What is due, from the ground's own words."""

from __future__ import annotations

from datetime import date

from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.jobs.due import due


def test_hair_wide_ground_along_an_edge_asks_for_nothing() -> None:
    """The neighbor's patch reaches over the edge by less than an inch: no check-up of 0.00 acres, no alarm for it."""
    rows = [
        unit("A", box(0, 0, 300, 300)),
        unit("B", box(300, 0, 600, 300)),
        entry("cut", "2026-01-10", box(0, 0, 300, 100)),
        entry("cut", "2026-01-12", box(299.998, 0, 600, 100)),
        entry("girdle", "2026-01-14", box(0, 200, 10, 210), killed_pct=100),
    ]
    found = due(FakeStore(rows, grid=GRID), on=date(2026, 11, 1)).items
    assert [(item.unit_id, item.what) for item in found if item.acres is not None and item.acres < 0.005] == []
    assert sorted((item.unit_id, item.what) for item in found if item.acres and item.acres > 7) == [
        ("A", "checkup"), ("A", "drying"), ("B", "checkup"), ("B", "drying"),
    ]  # fmt: skip
    assert any(
        part.unit_id == "A" and 0.02 < (part.acres or 0) < 0.03 for row in found for part in row.parts
    )  # a small patch is no hair
