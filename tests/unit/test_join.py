"""Joining two copies of a place: what is added, and what is refused and shown."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from shapely import box

from habmap.errors import InputError, InputErrors
from habmap.jobs.join import join
from habmap.work.union import differing_fields, rival_units

LATER = datetime(2026, 5, 1, tzinfo=UTC)


class OtherPlace(FakeStore):
    @property
    def place_id(self) -> str:
        return "00000000-0000-4000-8000-000000000002"


def test_rows_of_every_kind_arrive_once() -> None:
    shared, field = unit("C1", box(0, 0, 100, 100)), unit("C2", box(100, 0, 200, 100))
    cut, burn = entry("cut", "2026-01-02", box(0, 0, 50, 100)), entry("burn", "2026-03-02", box(0, 0, 50, 100))
    here, there = FakeStore([shared, cut], grid=GRID), FakeStore([shared, field, burn], grid=GRID)
    result = join(here, there)
    assert (result.added.entries, result.added.units, result.known) == (1, 1, 1)
    assert (result.entries_before, result.entries_after) == (1, 2)
    assert {row.entry_id for row in here.entries()} == {cut.entry_id, burn.entry_id}
    assert [row.unit_id for row in here.units()] == ["C1", "C2"]


def test_another_property_is_refused() -> None:
    with pytest.raises(InputError, match="two different properties"):
        join(FakeStore(), OtherPlace())


def test_one_id_with_two_contents_is_refused_and_shown() -> None:
    cut = entry("cut", "2026-01-02", box(0, 0, 50, 100), cost=10.0, note="north end")
    mow = entry("mow", "2026-01-03", box(0, 0, 50, 100))
    here = FakeStore([cut])
    there = FakeStore([replace(cut, cost=99.0, note="bad\x1bthing"), mow])
    with pytest.raises(InputErrors) as refused:
        join(here, there)
    [fault] = refused.value.faults
    assert cut.entry_id in str(fault.where)
    assert "cost 10.0 here, 99.0 there" in str(fault.value)
    assert "\x1b" not in str(fault)
    assert here.rows() == (cut,)  # all or nothing: the new row did not slip in


def test_the_same_ground_drawn_from_another_corner_is_the_same() -> None:
    cut = entry("cut", "2026-01-02", box(0, 0, 50, 100))
    assert cut.patch is not None
    turned = replace(cut, patch=shapely.reverse(cut.patch), recorded_at=LATER)
    assert differing_fields(cut, turned) == ()
    moved = replace(cut, patch=shapely.transform(cut.patch, lambda xy: xy + 1e-9))
    assert differing_fields(cut, moved) == ("patch",)


def test_a_later_version_and_its_end_come_along() -> None:
    old = unit("C1", box(0, 0, 100, 100))
    new = unit("C1", box(0, 0, 110, 100), replaces=(old.uuid,), valid_from=date(2026, 4, 1), recorded_at=LATER)
    here, there = FakeStore([old], grid=GRID), FakeStore([old, new], grid=GRID)
    join(here, there)
    assert [row.uuid for row in here.units()] == [new.uuid]
    assert here.unit_versions()[0].valid_to == date(2026, 4, 1)
    assert join(there, here).added.units == 0


def test_rival_redraws_are_refused() -> None:
    old = unit("C1", box(0, 0, 100, 100))
    mine = unit("C1", box(0, 0, 110, 100), replaces=(old.uuid,), valid_from=date(2026, 4, 1), recorded_at=LATER)
    theirs = replace(mine, uuid="unit-theirs", recorded_at=LATER + timedelta(hours=1))
    renamed = replace(theirs, uuid="unit-renamed", unit_id="C9")
    for rival in (theirs, renamed):
        here = FakeStore([old, mine], grid=GRID)
        rows = here.rows()
        with pytest.raises(InputErrors):
            join(here, FakeStore([old, rival], grid=GRID))
        assert here.rows() == rows
    # the two parts of one split were drawn together and are no rivals
    west = replace(mine, uuid="unit-west", unit_id="C1w")
    east = replace(mine, uuid="unit-east", unit_id="C1e")
    assert rival_units([old, west, east]) == ()


def test_units_that_overlap_are_refused_with_acres() -> None:
    here = FakeStore([unit("C1", box(0, 0, 100, 100))], grid=GRID)
    there = FakeStore([unit("C2", box(50, 0, 150, 100))], grid=GRID)
    with pytest.raises(InputErrors, match=r"overlap[\s\S]*1\.24 acres"):  # 50 × 100 m² = 1.2355 acres
        join(here, there)


def test_rival_corrections_both_stay_and_are_told() -> None:
    cut = entry("cut", "2026-01-02", box(0, 0, 50, 100))
    patch = box(0, 0, 50, 100)
    one = entry("cut", "2026-01-02", patch, action="amend", target=cut.entry_id, why="less", killed_pct=50.0)
    two = entry("cut", "2026-01-02", patch, action="amend", target=cut.entry_id, why="more", killed_pct=90.0)
    here = FakeStore([cut, one])
    result = join(here, FakeStore([cut, two]))
    assert result.added.entries == 1
    assert (result.entries_before, result.entries_after) == (1, 1)
    assert result.warnings
