"""Laws of changed units: whatever is split, merged, dated anew or undone, no ground and no work is lost."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, box
from shapely.ops import split as cut_by

from habmap.jobs.acres import acres
from habmap.jobs.unit import UnitEdit, merge, redate, redraw, retire, split, undo
from habmap.land.grid import LocalGrid
from habmap.measures import M2_PER_ACRE
from habmap.records import Unit
from habmap.work.versions import ends

NOW = datetime(2026, 1, 5, 12, tzinfo=UTC)
DAY = date(2026, 1, 5)


def drawn(folder: Path, shape: shapely.Geometry, grid: LocalGrid = GRID) -> Path:
    path = folder / "by.geojson"
    geometry = shapely.geometry.mapping(grid.to_lonlat(shape))
    path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": geometry}))
    return path


def worked(*more: Unit) -> FakeStore:
    """A lobed unit with a hole, half of it cut and some of that burned."""
    lobes = shapely.union_all([Point(0, 0).buffer(150), Point(180, 40).buffer(120)]).difference(box(-40, -30, 10, 30))
    cut = entry("cut", "2025-02-01", box(-200, -60, 120, 200))
    girdled = entry("girdle", "2025-03-01", box(0, -160, 320, 20), killed_pct=90)
    return FakeStore(
        [unit("A", lobes), *more, cut, girdled, entry("burn", "2025-04-01", box(-100, 0, 20, 90))], grid=GRID
    )


def sums(units: tuple[object, ...]) -> tuple[float, float, float]:
    return tuple(sum(getattr(one, name) for one in units) for name in ("acres", "treated_acres", "remaining_acres"))  # type: ignore[return-value]


def closes(edit: UnitEdit) -> None:
    for before, after in zip(sums(edit.before), sums(edit.after), strict=True):
        assert after * M2_PER_ACRE == pytest.approx(before * M2_PER_ACRE, abs=1e-4)


@settings(max_examples=25)
@given(
    angle=st.floats(0, 3.1),
    off=st.floats(-100, 100),
    bends=st.lists(st.floats(-60, 60), min_size=0, max_size=6),
    round_it=st.booleans(),
)
def test_split_and_merge_lose_no_ground_and_no_work(
    angle: float, off: float, bends: list[float], round_it: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("by")
    store = worked()
    before = acres(store)
    patches = {row.entry_id: row.patch for row in store.entries()}
    line = LineString([(-600, off), *[(-250 + 90 * i, off + bend) for i, bend in enumerate(bends)], (600, off)])
    knife = Point(off, 30).buffer(80) if round_it else shapely.affinity.rotate(line, angle, (80, 20), use_radians=True)
    (whole_unit,) = store.units()
    edge = LineString(knife.exterior) if round_it else knife
    pieces = cut_by(GRID.to_grid(whole_unit.geometry).geoms[0], edge).geoms  # type: ignore[union-attr]
    assume(len(pieces) > 1 and min(piece.area for piece in pieces) > 1.0)  # one that grazes it splits nothing
    edit = split(store, "A", by=drawn(folder, knife), valid_from=DAY, now=NOW)
    closes(edit)
    assert len(edit.after) >= 2 and all(one.acres > 0 for one in edit.after)
    parts = [one.unit_id for one in edit.after]
    assert parts == [f"A-{number}" for number in range(1, len(parts) + 1)]
    shapes = [GRID.to_grid(one.geometry) for one in store.units()]
    assert sum(one.area for one in shapes) - shapely.union_all(shapes).area == pytest.approx(0, abs=1e-4)
    split_account = acres(store)
    assert split_account.closure_m2 < 1e-6
    hair_acres = 1e-4 / M2_PER_ACRE
    assert split_account.totals.treated_acres == pytest.approx(before.totals.treated_acres, abs=hair_acres)
    whole = merge(store, parts, into="A", valid_from=DAY + timedelta(days=1), now=NOW + timedelta(days=1))
    closes(whole)
    after = acres(store)
    assert after.totals.acres == pytest.approx(before.totals.acres, abs=hair_acres)
    assert after.totals.treated_acres == pytest.approx(before.totals.treated_acres, abs=hair_acres)
    assert {row.entry_id: row.patch for row in store.entries()} == patches
    # and the past stays as it was drawn then
    assert acres(store, on=date(2025, 12, 31)).units == acres(worked(), on=date(2025, 12, 31)).units


def test_a_change_is_undone_and_dated_anew_by_more_versions(tmp_path: Path) -> None:
    store = worked(unit("B", box(400, 0, 500, 100)))
    (first,) = [one for one in store.units() if one.unit_id == "A"]
    line = drawn(tmp_path, LineString([(0, -500), (0, 500)]))
    split(store, "A", by=line, valid_from=date(2026, 3, 1), now=NOW)
    # the right day was a year before
    redate(store, "A-1", valid_from=date(2025, 3, 1), now=NOW + timedelta(hours=1))
    assert [one.unit_id for one in store.units(date(2025, 2, 28))] == ["A", "B"]
    assert [one.unit_id for one in store.units(date(2025, 3, 1))] == ["A-1", "A-2", "B"]
    # or half a year after
    redate(store, "A-2", valid_from=date(2026, 9, 1), now=NOW + timedelta(hours=2))
    assert [one.unit_id for one in store.units(date(2026, 8, 31))] == ["A", "B"]
    assert [one.unit_id for one in store.units(date(2026, 9, 1))] == ["A-1", "A-2", "B"]
    undo(store, "A-2", now=NOW + timedelta(hours=3))
    for day in (None, date(2025, 6, 1), date(2026, 9, 1), date(2030, 1, 1)):
        back = next(one for one in store.units(day) if one.unit_id == "A")
        assert shapely.equals_identical(back.geometry, first.geometry) and back.name == first.name
    assert [one.unit_id for one in store.units()] == ["A", "B"]
    undo(store, "A", now=NOW + timedelta(hours=4))
    assert [one.unit_id for one in store.units()] == ["A-1", "A-2", "B"]
    merge(store, ["A-1", "B"], into="AB", valid_from=date(2027, 1, 1), now=NOW + timedelta(hours=5))
    assert [one.unit_id for one in store.units()] == ["A-2", "AB"]
    undo(store, "AB", now=NOW + timedelta(hours=6))
    assert [one.unit_id for one in store.units()] == ["A-1", "A-2", "B"]
    # the order in which copies bring the versions together does not matter
    versions = store.unit_versions()
    assert ends(versions) == ends(tuple(reversed(versions)))


def test_a_retired_unit_keeps_its_work_outside_and_comes_back(tmp_path: Path) -> None:
    store = worked()
    before = acres(store)
    edit = retire(store, "A", valid_from=DAY, now=NOW)
    assert edit.after == () and edit.before[0].acres == pytest.approx(before.totals.acres)
    account = acres(store)
    assert account.totals.acres == 0 and account.outside_acres > before.totals.treated_acres
    assert acres(store, on=date(2025, 12, 31)).totals.acres == pytest.approx(before.totals.acres)
    redraw(store, "A", path=drawn(tmp_path, box(-50, -50, 50, 50)), valid_from=DAY, now=NOW + timedelta(hours=1))
    assert acres(store).totals.acres * M2_PER_ACRE == pytest.approx(10_000, abs=1e-3)
    undo(store, "A", now=NOW + timedelta(hours=2))
    assert store.units() == ()
    undo(store, "A", now=NOW + timedelta(hours=3))
    assert acres(store).totals.acres * M2_PER_ACRE == pytest.approx(10_000, abs=1e-3)


def test_a_preview_writes_nothing(tmp_path: Path) -> None:
    store = worked()
    line = drawn(tmp_path, LineString([(0, -500), (0, 500)]))
    edit = split(store, "A", by=line, valid_from=DAY, now=NOW, is_preview=True)
    assert not edit.is_written and len(edit.after) == 2 and len(store.unit_versions()) == 1
    closes(edit)
    assert isinstance(store.units()[0].geometry, MultiPolygon)
