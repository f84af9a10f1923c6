"""Joining two copies of a place: what is added, and what is refused and shown."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import shapely
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import Polygon, box

from habmap.errors import InputError, InputErrors
from habmap.jobs.check import check
from habmap.jobs.unite import ToldTwice, unite
from habmap.place.settings import Settings
from habmap.records import DrawnBlock, differences
from habmap.work.union import rival_units

LATER = datetime(2026, 5, 1, tzinfo=UTC)


class OtherPlace(FakeStore):
    @property
    def place_id(self) -> str:
        return "00000000-0000-4000-8000-000000000002"


def test_rows_of_every_kind_arrive_once() -> None:
    shared, field = unit("C1", box(0, 0, 100, 100)), unit("C2", box(100, 0, 200, 100))
    cut, burn = entry("cut", "2026-01-02", box(0, 0, 50, 100)), entry("burn", "2026-03-02", box(0, 0, 50, 100))
    here, there = FakeStore([shared, cut], grid=GRID), FakeStore([shared, field, burn], grid=GRID)
    result = unite(here, there)
    assert (result.added["entries"], result.added["units"], result.known) == (1, 1, 1)
    assert (result.entries_before, result.entries_after) == (1, 2)
    assert {row.entry_id for row in here.entries()} == {cut.entry_id, burn.entry_id}
    assert [row.unit_id for row in here.units()] == ["C1", "C2"]


def test_another_property_is_refused() -> None:
    with pytest.raises(InputError, match="two different properties"):
        unite(FakeStore(), OtherPlace())


def test_one_id_with_two_contents_is_refused_and_shown() -> None:
    cut = entry("cut", "2026-01-02", box(0, 0, 50, 100), cost=10.0, note="north end")
    mow = entry("mow", "2026-01-03", box(0, 0, 50, 100))
    here = FakeStore([cut])
    there = FakeStore([replace(cut, cost=99.0, note="bad\x1bthing"), mow])
    with pytest.raises(InputErrors) as refused:
        unite(here, there)
    [fault] = refused.value.faults
    assert cut.entry_id in str(fault.where)
    assert "cost 10.0 here, 99.0 there" in str(fault.value)
    assert "\x1b" not in str(fault)
    assert here.rows() == (cut,)  # all or nothing: the new row did not slip in


def test_the_same_ground_drawn_from_another_corner_is_the_same() -> None:
    cut = entry("cut", "2026-01-02", box(0, 0, 50, 100))
    assert cut.patch is not None
    turned = replace(cut, patch=shapely.reverse(cut.patch), recorded_at=LATER)
    assert differences(cut, turned) == ()
    moved = replace(cut, patch=shapely.transform(cut.patch, lambda xy: xy + 1e-9))
    assert [one.key for one in differences(cut, moved)] == ["patch"]


def test_a_later_version_and_its_end_come_along() -> None:
    old = unit("C1", box(0, 0, 100, 100))
    new = unit("C1", box(0, 0, 110, 100), replaces=(old.uuid,), valid_from=date(2026, 4, 1), recorded_at=LATER)
    here, there = FakeStore([old], grid=GRID), FakeStore([old, new], grid=GRID)
    unite(here, there)
    assert [row.uuid for row in here.units()] == [new.uuid]
    assert here.unit_versions()[0].valid_to == date(2026, 4, 1)
    assert unite(there, here).added["units"] == 0


def test_rival_redraws_are_refused() -> None:
    old = unit("C1", box(0, 0, 100, 100))
    mine = unit("C1", box(0, 0, 110, 100), replaces=(old.uuid,), valid_from=date(2026, 4, 1), recorded_at=LATER)
    theirs = replace(mine, uuid="unit-theirs", recorded_at=LATER + timedelta(hours=1))
    renamed = replace(theirs, uuid="unit-renamed", unit_id="C9")
    for rival in (theirs, renamed):
        here = FakeStore([old, mine], grid=GRID)
        rows = here.rows()
        with pytest.raises(InputErrors):
            unite(here, FakeStore([old, rival], grid=GRID))
        assert here.rows() == rows
    # the two parts of one split were drawn together and are no rivals
    west = replace(mine, uuid="unit-west", unit_id="C1w")
    east = replace(mine, uuid="unit-east", unit_id="C1e")
    assert rival_units([old, west, east]) == ()


def test_units_that_overlap_are_refused_with_acres() -> None:
    here = FakeStore([unit("C1", box(0, 0, 100, 100))], grid=GRID)
    there = FakeStore([unit("C2", box(50, 0, 150, 100))], grid=GRID)
    with pytest.raises(InputErrors, match=r"overlap[\s\S]*1\.24 acres"):  # 50 × 100 m² = 1.2355 acres
        unite(here, there)


def test_rival_corrections_both_stay_and_are_told() -> None:
    cut = entry("cut", "2026-01-02", box(0, 0, 50, 100))
    patch = box(0, 0, 50, 100)
    one = entry("cut", "2026-01-02", patch, action="amend", target=cut.entry_id, why="less", killed_pct=50.0)
    two = entry("cut", "2026-01-02", patch, action="amend", target=cut.entry_id, why="more", killed_pct=90.0)
    here = FakeStore([cut, one])
    result = unite(here, FakeStore([cut, two]))
    assert result.added["entries"] == 1
    assert (result.entries_before, result.entries_after) == (1, 1)
    assert result.warnings


def told(pair: ToldTwice) -> tuple[str | None, str | None, float]:
    return pair.first.who, pair.second.who, pair.shared_acres


def test_one_days_work_told_by_two_people_is_pointed_out_in_either_order() -> None:
    stand = unit("A", box(0, 0, 100, 100))
    bob = entry("cut", "2026-01-02", box(0, 0, 50, 100), who="Bob", person_hours=20.0)
    ann = entry("cut", "2026-01-03", box(10, 0, 60, 100), who="Ann", person_hours=8.0)  # the morning after
    # of 50 m by 100 m each, 40 m by 100 m are common: 4,000 m² are 0.988 acres
    for mine, theirs in (([bob], [ann]), ([ann], [bob])):
        here = FakeStore([stand, *mine], grid=GRID)
        (pair,) = unite(here, FakeStore([stand, *theirs], grid=GRID)).told_twice
        assert told(pair) == ("Bob", "Ann", pytest.approx(0.98842, abs=1e-5))
        assert unite(here, FakeStore([stand, *theirs], grid=GRID)).told_twice == ()  # both know both now


@pytest.mark.parametrize(
    ("fields", "patch", "is_asked"),
    [
        ({"person_hours": 19.0}, box(45, 0, 95, 100), True),  # hours alike and a strip in common
        ({"person_hours": 12.0}, box(45, 0, 95, 100), False),
        ({"person_hours": 19.0}, box(50, 0, 100, 100), False),  # side by side: a crew's two halves
        ({"person_hours": 19.0, "unit_ids": ("A",)}, box(50, 0, 100, 100), True),
        ({"date": date(2026, 1, 4)}, box(0, 0, 50, 100), False),  # two days later
        ({"practice": "pile"}, box(0, 0, 50, 100), False),
    ],
)
def test_what_is_taken_for_one_days_work(fields: dict[str, object], patch: Polygon, is_asked: bool) -> None:
    bob = entry("cut", "2026-01-02", box(0, 0, 50, 100), who="Bob", person_hours=20.0, unit_ids=("A",))
    ann = replace(entry("cut", "2026-01-02", patch, who="Ann"), **fields)  # type: ignore[arg-type]
    found = unite(FakeStore([bob], grid=GRID), FakeStore([ann], grid=GRID)).told_twice
    assert bool(found) is is_asked


def test_a_correction_that_the_others_withdrawal_killed_is_told_in_either_order() -> None:
    cut = entry("cut", "2026-01-02", box(0, 0, 50, 100), person_hours=5.0)
    change = entry(
        "cut", "2026-01-02", box(0, 0, 50, 100), action="amend", target=cut.entry_id, why="more", person_hours=9.0,
        supersedes=(),
    )  # fmt: skip
    gone = entry("cut", "2026-01-02", action="void", target=cut.entry_id, why="never was", supersedes=())
    for mine, theirs in (([cut, change], [cut, gone]), ([cut, gone], [cut, change])):
        result = unite(FakeStore(mine, grid=GRID), FakeStore(theirs, grid=GRID))
        assert any("had not seen its correction" in words and change.entry_id in words for words in result.warnings)
        assert result.entries_after == 0


def test_settings_that_differ_are_told_key_by_key() -> None:
    here = Settings.model_validate(
        {
            "contract": [{"program": "EQIP", "item": "7", "practice_code": "314", "due": "2026-05-01"}],
            "hold": [{"unit": "A", "reason": "nest"}],
            "stages": {"target_pct": 80},
        }
    )
    there = Settings.model_validate(
        {
            "contract": [{"program": "EQIP", "item": "7", "practice_code": "314", "due": "2026-06-01"}],
            "stages": {"target_pct": 70},
            "burn_plan": {"grass": {"rh_pct": [20, 40]}},
        }
    )
    differ = unite(FakeStore(settings=here), FakeStore(settings=there)).settings_differ
    shown = {one.key: (one.here, one.there) for one in differ}
    assert shown.pop("hold[A nest]")[1] is None
    assert shown == {
        "contract[EQIP 7].due": ("2026-05-01", "2026-06-01"),
        "stages.target_pct": (80.0, 70.0),
        "burn_plan.grass.rh_pct": (None, [20.0, 40.0]),
    }
    back = unite(FakeStore(settings=there), FakeStore(settings=here)).settings_differ
    assert {(one.key, str(one.there), str(one.here)) for one in back} == {
        (one.key, str(one.here), str(one.there)) for one in differ
    }


def test_blocks_written_apart_are_told_by_check_and_settled_by_one_in_sight_of_both() -> None:
    def block(uuid: str, east: float, **fields: object) -> DrawnBlock:
        shape = ground_lonlat(box(0, 0, east, 50))
        return DrawnBlock(uuid=uuid, name="North", geometry=shape, recorded_at=LATER, **fields)  # type: ignore[arg-type]

    here, there = FakeStore([block("one", 10)], grid=GRID), FakeStore([block("two", 20)], grid=GRID)
    unite(here, there)
    (fault,) = (fault for fault in check(here, today=date(2026, 1, 2)).faults if fault.rule == "apart")
    assert "block North" in fault.what and "not one" in fault.what and "row two" in fault.where
    here.append([replace(block("three", 30), recorded_at=LATER - timedelta(days=900))])
    assert here.drawn_blocks()[-1].uuid == "three"
    assert "apart" not in {fault.rule for fault in check(here, today=date(2026, 1, 2)).faults}
