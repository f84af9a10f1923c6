"""Joining two copies of a place: what is added, and what is refused and shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import shapely
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import Point, Polygon, box

from habmap.errors import InputError, InputErrors
from habmap.jobs.check import check
from habmap.jobs.unite import ToldTwice, unite
from habmap.land.grid import LocalGrid
from habmap.place.settings import Settings
from habmap.records import CanopySource, DrawnBlock, ElevationSource, Photo, Row, differences
from habmap.work.union import rival_units, told_twice, unit_faults

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


def _twins(
    east_m: tuple[float, float],
    *,
    hours: tuple[float | None, float | None] = (None, None),
    days: int = 0,
    units: tuple[tuple[str, ...], tuple[str, ...]] = ((), ()),
    practice: str = "cut",
) -> list[float]:
    """Return what 50 m by 100 m and ground between two eastings have in common [m²], where taken for one day's work."""
    one = entry(practice, date(2026, 1, 2), box(0, 0, 1, 1), person_hours=hours[0], unit_ids=units[0])
    other = entry(
        practice, date(2026, 1, 2) + timedelta(days=days), box(0, 0, 1, 1), person_hours=hours[1], unit_ids=units[1]
    )
    grounds = {one.entry_id: box(0, 0, 50, 100), other.entry_id: box(east_m[0], 0, east_m[1], 100)}
    found = [
        told_twice(lines, grounds, only_mine={mine.entry_id}, only_theirs={theirs.entry_id})
        for lines in ((one, other), (other, one))
        for mine, theirs in ((one, other), (other, one))
    ]
    assert all([(pair.first, pair.second) for pair in pairs] == [(one, other)][: len(pairs)] for pairs in found)
    assert len({len(pairs) for pairs in found}) == 1
    return [pair.shared_m2 for pair in found[0]]


def test_one_days_work_by_its_ground_its_hours_and_its_days_at_their_limits() -> None:
    assert _twins((25, 75)) == [2500.0] and _twins((25.01, 75)) == []  # half of it, and a little less
    assert _twins((40, 60)) == [1000.0] and _twins((40.01, 60)) == []  # half of the smaller
    assert _twins((0, 50), days=1) == [5000.0] and _twins((0, 50), days=2) == []
    # hours a tenth apart, of the larger, and more than a fiftieth of the ground or a unit in common
    assert _twins((45, 95), hours=(20.0, 18.0)) == [500.0] and _twins((45, 95), hours=(20.0, 17.99)) == []
    assert _twins((45, 95), hours=(18.0, 20.0)) == [500.0] and _twins((45, 95), hours=(None, 20.0)) == []
    assert _twins((45, 95), hours=(20.0, None)) == [] and _twins((45, 95), hours=(0.0, 0.0)) == []
    assert _twins((49, 99), hours=(20.0, 20.0)) == [] and _twins((48.995, 98.995), hours=(20.0, 20.0)) != []
    assert _twins((60, 99), hours=(20.0, 20.0), units=(("A", "B"), ("B",))) == [0.0]
    assert _twins((60, 99), hours=(20.0, 20.0), units=(("A",), ("B",))) == []
    assert _twins((60, 99), units=(("A",), ("A",))) == []  # nobody wrote hours
    assert _twins((0, 50), practice="checkup") == []  # each look is its own


def test_lines_that_both_copies_hold_are_no_pair() -> None:
    one, other = (entry("cut", "2026-01-02", box(0, 0, 50, 100)) for _ in range(2))
    grounds = {line.entry_id: box(0, 0, 50, 100) for line in (one, other)}
    ids = {one.entry_id, other.entry_id}
    assert told_twice([one, other], grounds, only_mine=ids, only_theirs=set()) == ()
    assert told_twice([one, other], {}, only_mine={one.entry_id}, only_theirs={other.entry_id}) == ()
    # in the order of their days, then of their ids
    late = entry("cut", "2026-01-03", box(0, 0, 50, 100))
    grounds[late.entry_id] = box(0, 0, 50, 100)
    pairs = told_twice(
        [late, other, one], grounds, only_mine={late.entry_id, other.entry_id}, only_theirs={one.entry_id}
    )
    assert [(pair.first, pair.second) for pair in pairs] == [(one, other), (one, late)]


def test_overlaps_and_rivals_that_the_other_copy_did_not_bring_are_none_of_its_doing() -> None:
    mine = [unit("C1", box(0, 0, 100, 100)), unit("C2", box(50, 0, 150, 100))]
    here = FakeStore(mine, grid=GRID)
    far = unit("C3", box(500, 0, 600, 100))
    assert unite(here, FakeStore([far], grid=GRID)).added["units"] == 1
    assert unit_faults(mine, [entry("cut", "2026-01-02", box(0, 0, 9, 9))], grid=GRID) == []
    assert unit_faults(mine, mine[1:], grid=None) == []
    # an outline of old that crosses itself cannot be overlaid, and needs not be
    bow = unit("C4", Polygon([(0, 0), (100, 100), (100, 0), (0, 100)]))
    assert unit_faults([*mine, bow], [entry("cut", "2026-01-02")], grid=GRID) == []
    # a line of the log is no unit, whatever its id
    assert unit_faults(mine, [entry("cut", "2026-01-02", entry_id=mine[1].uuid)], grid=GRID) == []
    # what is new overlaps what was there, whichever of the two stands first; retired ground overlaps nothing
    for news in (mine[:1], mine[1:]):
        (fault,) = unit_faults(mine, news, grid=GRID)
        assert "1.24 acres" in str(fault.value)
    assert unit_faults([mine[0], replace(mine[1], is_retired=True)], mine[1:], grid=GRID) == []
    followed = replace(far, replaces=(mine[1].uuid,))
    assert unit_faults([*mine, followed], [followed], grid=GRID) == []
    # of two versions with one label the fault names the label once, of two redrawings of one unit both
    again = replace(mine[0], uuid="again", recorded_at=LATER)
    (fault,) = unit_faults([mine[0], again], [again], grid=GRID)
    assert "two versions of unit C1" in str(fault)
    assert unit_faults([mine[0], again, far], [far], grid=GRID) == []  # both were here before
    redrawn = [
        replace(mine[0], uuid=name, unit_id=name, replaces=("old",), recorded_at=LATER + timedelta(hours=number))
        for number, name in enumerate("XY")
    ]
    assert [len(unit_faults(redrawn, redrawn[n:], grid=GRID)) for n in (0, 1)] == [1, 1]
    assert "redrew one unit as X and as Y" in str(unit_faults(redrawn, redrawn[1:], grid=GRID)[0])


def _photo(number: int, picture: str | None = None) -> Photo:
    return Photo(
        uuid=f"photo-{number}", file_name=f"IMG {number}.jpg", sha256=f"{number:064d}",
        picture=picture or f"{number}.jpg", taken_at=LATER, taken_on=LATER.date(), geometry=Point(-98, 38),
        recorded_at=LATER,
    )  # fmt: skip


def test_pictures_come_along_come_back_or_are_missed() -> None:
    """Nine photos are known to both, one is new there; of the pictures both lack six, the other has those of 0, 1."""
    known, new, bare = [_photo(number) for number in range(8)], _photo(8), _photo(9)
    here, there = FakeStore(known, grid=GRID), FakeStore([*known, new, bare], grid=GRID)
    there.append_with_pictures([], [("0.jpg", b"zero"), ("1.jpg", b"one"), ("8.jpg", b"eight")])
    warnings = unite(here, there).warnings
    assert [here.picture(f"{number}.jpg") for number in (0, 1, 2, 8, 9)] == [b"zero", b"one", None, b"eight", None]
    back, gone = warnings
    assert back == "2 pictures that were missing here came from the other copy"
    # five of them are named: 2 to 6, not 7 nor the new one without a picture
    assert "IMG 2.jpg, IMG 3.jpg, IMG 4.jpg, IMG 5.jpg, IMG 6.jpg…;" in gone
    # a copy that has its pictures says nothing, one picture is one
    all_there = FakeStore(known[:1], grid=GRID)
    all_there.append_with_pictures([], [("0.jpg", b"zero")])
    assert unite(all_there, there.__class__(known[:1], grid=GRID)).warnings == ()
    one = FakeStore(known[:1], grid=GRID)
    giving = FakeStore(known[:1], grid=GRID)
    giving.append_with_pictures([], [("0.jpg", b"zero")])
    assert unite(one, giving).warnings == ("1 picture that was missing here came from the other copy",)
    five = unite(FakeStore(known[:5], grid=GRID), FakeStore(known[:5], grid=GRID)).warnings
    assert len(five) == 1 and "IMG 4.jpg; load" in five[0]


def test_rasters_and_another_grid_that_come_with_a_copy_are_said() -> None:
    source: dict[str, Any] = {"path": "dem.tif", "crs_wkt": "", "vertical_unit": "m", "recorded_at": LATER}
    heights, canopy = ElevationSource(uuid="e", **source), CanopySource(uuid="c", **source)

    def said(*rows: Row, known: Sequence[Row] = (), grid: LocalGrid | None = GRID) -> list[str]:
        told = unite(FakeStore(known, grid=GRID), FakeStore([*known, *rows], grid=grid)).warnings
        return [word for word in ("elevation", "canopy", "two grids") if any(word in words for words in told)]

    assert said(heights) == ["elevation"] and said(canopy) == ["canopy"]
    assert said(heights, canopy, grid=LocalGrid(38.01, -98.0)) == ["elevation", "canopy", "two grids"]
    assert said(known=[heights, canopy]) == said(grid=None) == []
