"""The acre account on strips of a hectare, each figure added up by hand [m²]."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, entry, unit
from shapely import box

from habmap.measures import M2_PER_ACRE
from habmap.records import Entry, Unit
from habmap.work.acres import AcresResult, Paper, StageAcres, acre_account, cedar_acres
from habmap.work.ground import Ground, cut_ground
from habmap.work.leave import LeaveRule

LIMITS: Any = SimpleNamespace(target_pct=80.0, leave_stems_per_acre=25.0)
#: B's edge was drawn 4 cm into A; the meadow lies off both.
A = unit("A", box(0, 0, 100, 100), acres_sd=0.2)
B = unit("B", box(99.96, 0, 200, 100), name="north")
MEADOW = unit("M", box(300, 0, 400, 100), cover="grass")


def strip(practice: str, day: str, west: float, east: float, north: float = 100, **fields: Any) -> Entry:
    return entry(practice, day, box(west, 0, east, north), **fields)


#: Of A 1,000 m² are kept, 3,000 lie cut (1,000 of them piled), 1,000 stand dead, 1,000 are half cut, 4,000 untouched.
WORK = (
    strip("keep", "2025-01-01", 0, 10), strip("cut", "2025-02-01", 10, 40, north=120),
    strip("pile", "2025-03-01", 30, 40), strip("girdle", "2025-04-01", 40, 50, killed_pct=100),
    strip("cut", "2025-05-01", 50, 60, killed_pct=50), strip("mow", "2025-06-01", 350, 410),
)  # fmt: skip


def account(*lines: Entry, units: tuple[Unit, ...] = (A, B, MEADOW), **paper: Any) -> AcresResult:
    cut = cut_ground(units, lines, grid=GRID, limits=LIMITS, on=date(2026, 1, 1))
    return acre_account(cut, paper=Paper(**paper))


def near(*m2: float) -> Any:
    return pytest.approx([one / M2_PER_ACRE for one in m2], rel=2e-6, abs=1e-9)


def test_a_unit_s_ground_adds_up_stage_by_stage() -> None:
    found = account(*WORK, place="P")
    a, b, meadow = found.units
    stages = a.stage_acres
    assert [stages.keep, stages.down, stages.piled, stages.dead_standing, stages.part_cut, stages.standing] == near(
        1000, 2000, 1000, 1000, 1000, 4000
    )
    assert [a.treated_acres, a.remaining_acres, a.keep_acres, a.left_acres, a.cedar_acres, a.acres] == near(
        4000, 5000, 1000, 1000, 10_000, 10_000
    )
    # felled and not gone: what lies, what is piled, and the half cut; killed standing: what was girdled
    assert [a.slash_acres, a.snag_acres, a.coming_back_acres] == near(4000, 1000, 0)
    assert a.treated_pct == pytest.approx(40, rel=1e-5)
    assert (a.unit_id, a.name, a.cover, a.acres_sd) == ("A", "Unit A", "cedar", 0.2)
    assert (b.name, b.acres_sd, b.treated_pct, b.treated_acres) == ("north", None, 0.0, 0.0)
    assert [meadow.stage_acres.other, meadow.acres, meadow.cedar_acres] == near(10_000, 10_000, 0)
    assert (a.leave_target_acres, a.still_to_leave_acres, a.too_late_to_leave_acres) == (None, None, None)
    assert (found.place, found.on, found.acre_m2) == ("P", date(2026, 1, 1), M2_PER_ACRE)


def test_the_totals_are_sums_of_the_units_and_shared_ground_is_told() -> None:
    back = strip("checkup", "2025-08-01", 10, 20, live_stems_per_acre=26.0)
    found = account(*WORK, back)
    total = found.totals
    assert [total.acres, total.cedar_acres, total.treated_acres, total.remaining_acres, total.keep_acres] == near(
        30_004, 20_004, 4000, 15_004, 1000
    )
    assert [total.coming_back_acres, total.slash_acres, total.snag_acres, total.left_acres] == near(
        1000, 4000, 1000, 1000
    )
    assert [total.stage_acres.standing, total.stage_acres.other] == near(14_004, 10_000)
    assert (total.leave_target_acres, total.still_to_leave_acres, total.too_late_to_leave_acres) == (None, None, None)
    # 20 m of the cut's 30 by 20 m and 10 m of the mowing lie in no unit; 4 cm by 100 m in two
    assert [found.outside_acres] == near(30 * 20 + 10 * 100)
    assert found.counted_twice_acres == pytest.approx(4 / M2_PER_ACRE, rel=1e-3)
    assert 0 <= found.closure_m2 < 1e-6
    third = unit("C", box(99.97, 0, 100, 100))  # 3 m² of it lie in A, in B and in C
    assert account(units=(A, B, third)).counted_twice_acres == pytest.approx((1 + 2 * 3) / M2_PER_ACRE, rel=1e-3)
    assert account(units=(A, MEADOW)).counted_twice_acres == 0.0


def test_pieces_that_do_not_fill_their_unit_are_told_by_the_largest_gap() -> None:
    cut = cut_ground((A, B, MEADOW), WORK, grid=GRID, limits=LIMITS)
    by_unit = [replace(one, pieces=one.pieces[:-1]) if at < 2 else one for at, one in enumerate(cut.by_unit)]
    lost_m2 = [one.pieces[-1].area_m2 for one in cut.by_unit]
    told = acre_account(replace(cut, by_unit=tuple(by_unit)), paper=Paper()).closure_m2
    assert told == pytest.approx(max(lost_m2[:2]), abs=1e-6)


def test_each_practice_s_ground_counts_once_however_often_it_was_gone_over() -> None:
    """Two cuts share 10 m; across A and B, where the outlines overlap, a burn covers each square meter once."""
    lines = (
        strip("cut", "2025-02-01", 10, 40, north=120), strip("cut", "2024-12-01", 30, 60),
        strip("burn", "2025-03-01", 80, 120), strip("mow", "2025-01-01", 500, 510), entry("seed", "2025-01-05"),
    )  # fmt: skip
    found = account(*lines, codes={"cut": "314", "mow": None})
    cut, burn, seed, mow = (next(one for one in found.practices if one.practice == name)
                            for name in ("cut", "burn", "seed", "mow"))  # fmt: skip
    assert [cut.acres, cut.inside_acres, cut.outside_acres, cut.pass_acres] == near(5600, 5000, 600, 6600)
    assert [burn.acres, burn.inside_acres, burn.outside_acres, burn.pass_acres] == near(4000, 4000, 0, 4000)
    assert [mow.acres, mow.inside_acres, mow.outside_acres, mow.pass_acres] == near(1000, 0, 1000, 1000)
    assert [seed.acres, seed.pass_acres, seed.entries] == [0, 0, 1]
    assert (cut.entries, cut.first_date, cut.last_date) == (2, date(2024, 12, 1), date(2025, 2, 1))
    assert (cut.practice_code, burn.practice_code, mow.practice_code) == ("314", None, None)
    assert {one.practice for one in found.practices} == {"cut", "burn", "seed", "mow"}


def test_ground_to_leave_is_counted_unit_by_unit_where_a_goal_is_set() -> None:
    """A tenth to a fifth of A's 10,000 m² and of B's 10,004; A leaves 1,000, and all of B is cut."""
    all_b = strip("cut", "2025-07-01", 100, 200)
    rule = LeaveRule(place_pct=(20.0, 30.0))
    found = account(*WORK, all_b, leave=rule)
    a, b, meadow = found.units
    assert a.leave_target_acres == near(2000, 3000) and meadow.leave_target_acres == (0, 0)
    assert [a.still_to_leave_acres, a.too_late_to_leave_acres] == near(1000, 0)
    assert [b.still_to_leave_acres, b.too_late_to_leave_acres] == near(4, 2000.8 - 4)
    total = found.totals
    assert total.leave_target_acres == near(4000.8, 6001.2)
    assert [total.still_to_leave_acres, total.too_late_to_leave_acres] == near(1004, 1996.8)
    # one unit's own goal is a goal; so is the place's without a unit, of nothing
    own = account(*WORK, leave=LeaveRule(unit_pct={"A": (20.0, 30.0)})).totals
    assert own.leave_target_acres == near(2000, 3000)
    assert [own.still_to_leave_acres, own.too_late_to_leave_acres] == near(1000, 0)
    bare = account(units=(), leave=rule).totals
    assert (bare.leave_target_acres, bare.still_to_leave_acres, bare.too_late_to_leave_acres) == ((0, 0), 0, 0)
    assert account(units=()).totals.leave_target_acres is None


def test_before_there_is_any_ground_all_is_nothing() -> None:
    bare = acre_account(Ground(None, None, (), ()), paper=Paper())
    assert (bare.on, bare.place, bare.totals.acres, bare.outside_acres, bare.practices) == (None, "", 0.0, 0.0, ())
    alone = cut_ground((A,), (), grid=None, limits=LIMITS)
    (one,) = acre_account(alone, paper=Paper()).units
    assert (one.acres, one.treated_pct, one.stage_acres) == (0.0, 0.0, StageAcres())


def test_all_of_a_unit_is_a_hundred_and_cedar_ground_is_what_is_treated_remains_or_is_left() -> None:
    (whole,) = account(strip("cut", "2025-02-01", -10, 110, north=110), units=(A,)).units
    assert whole.treated_pct == pytest.approx(100, abs=1e-9) and whole.treated_pct <= 100
    assert cedar_acres({"down": 1.0, "standing": 2.0, "keep": 4.0, "other": 8.0, "coming_back": 16.0}) == 23.0
    assert StageAcres(down=2.5).get("down") == 2.5
    assert (StageAcres().get("nothing"), StageAcres().get("nothing", 3.0)) == (0.0, 3.0)
