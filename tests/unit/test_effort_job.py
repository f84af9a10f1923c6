"""What the rest takes, on ground a person can check in the head: steep to the west, gentle to the east."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from fakes import GRID, FakeStore, entry, unit

from habmap.jobs.effort import effort
from habmap.measures import acres
from habmap.place.settings import Settings
from habmap.records import ElevationSource
from habmap.show.handout.contents import _effort
from habmap.work.effort import TOO_FEW_WORDS, Left, in_days, together
from habmap.work.effort_account import EffortResult

NOW = datetime(2026, 3, 1, tzinfo=UTC)
TODAY = date(2026, 3, 1)
#: Patches of 100 m by 100 m, 2.47 acres.
PATCH_ACRES = acres(10_000)


@pytest.fixture
def dem(tmp_path: Path) -> ElevationSource:
    """Heights that fall toward east by 50% west of the middle and by 10% east of it."""
    east_m = np.arange(-800, 800, 10) + 5.0
    heights = np.broadcast_to(np.where(east_m < 0, -0.5 * east_m, -0.1 * east_m), (160, 160))
    path = tmp_path / "dem.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=160, width=160, count=1, dtype="float64", crs=GRID.crs.to_wkt(),
        transform=Affine(10, 0, -800, 0, -10, 800),
    ) as target:  # fmt: skip
        target.write(heights, 1)
    return ElevationSource(uuid="e", path=str(path), crs_wkt=GRID.crs.to_wkt(), vertical_unit="m", recorded_at=NOW)


def worked(
    steep_hours: list[float], gentle_hours: list[float], *rows: object, **effort_settings: object
) -> EffortResult:
    """Cut patches on both sides of the middle and ask what the untouched unit east and west of it takes."""
    west = [shapely.box(-600 + 100 * i, 0, -500 + 100 * i, 100) for i in range(len(steep_hours))]
    east = [shapely.box(200 + 100 * i, 0, 300 + 100 * i, 100) for i in range(len(gentle_hours))]
    entries = [
        entry("cut", date(2026, 1, 1 + i), shape, person_hours=spent, cost=20 * spent)
        for i, (shape, spent) in enumerate(zip([*west, *east], [*steep_hours, *gentle_hours], strict=True))
    ]
    ground = [
        unit("DONE", shapely.box(-700, 0, 700, 100)),
        unit("LEFT", shapely.box(-400, 200, 400, 300)),
    ]
    settings = Settings.model_validate({"effort": effort_settings}) if effort_settings else None
    return effort(FakeStore([*ground, *entries, *rows], grid=GRID, settings=settings), today=TODAY)


def line(result: EffortResult, unit_id: str):
    return next(unit for unit in result.units if unit.unit_id == unit_id)


def test_steep_and_gentle_ground_each_at_its_own_rate(dem: ElevationSource) -> None:
    result = worked([30, 30, 30], [10, 10, 10], dem)
    rates = {one.slope: one for one in result.classes}
    assert (rates["steep"].entries, rates["gentle"].entries) == (3, 3)
    assert rates["steep"].hours_per_acre == pytest.approx(30 / PATCH_ACRES, rel=1e-6)
    assert rates["gentle"].hours_per_acre == pytest.approx(10 / PATCH_ACRES, rel=1e-6)
    # half of the untouched unit is steep (four patches' ground), half gentle; the one column of cells across the
    # middle has the mean of both slopes, 30%, within a rounding of the limit: 10 of 800 m either way
    left = line(result, "LEFT")
    assert left.hand_only_acres == pytest.approx(4 * PATCH_ACRES, rel=0.03)
    assert left.person_hours_left == pytest.approx(4 * 30 + 4 * 10, rel=0.02)
    assert "steep and gentle ground apart" in result.rests_on


def test_a_unit_that_is_steep_throughout_is_all_for_hands_at_their_rate(dem: ElevationSource) -> None:
    result = worked([30, 30, 30], [10, 10, 10], dem, unit("STEEP", shapely.box(-500, 400, -300, 500)))
    steep = line(result, "STEEP")
    assert steep.hand_only_acres == pytest.approx(2 * PATCH_ACRES, rel=1e-6)
    assert steep.person_hours_left == pytest.approx(2 * 30, rel=1e-6)


def test_two_steep_lines_are_too_few(dem: ElevationSource) -> None:
    result = worked([30, 30], [10, 10, 10], dem)
    assert result.classes == () and "one rate for all ground" in result.rests_on
    # all five together: 90 hours on five patches
    assert line(result, "LEFT").person_hours_left == pytest.approx(8 * 18, rel=1e-6)


def test_without_elevation_all_lines_go_together() -> None:
    result = worked([30, 30, 30], [10, 10, 10])
    assert result.classes == () and result.hand_only_acres is None
    assert line(result, "LEFT").person_hours_left == pytest.approx(8 * 20, rel=1e-6)
    assert line(result, "LEFT").hand_only_acres is None


def test_an_elevation_that_is_gone_leaves_the_hours(dem: ElevationSource) -> None:
    Path(dem.path).unlink()
    assert worked([30, 30, 30], [10, 10, 10], dem).person_hours_left is not None


def test_money_low_to_high_and_days(dem: ElevationSource) -> None:
    result = worked([30, 30, 30], [10, 10, 10], hours_per_day=10, hours_per_week=20)
    left = line(result, "LEFT")
    # twenty dollars an hour in every line
    assert left.cost_left == pytest.approx(20 * 160, rel=1e-6)
    assert left.cost_left_low is not None and left.person_hours_left_low is not None
    assert left.cost_left_low == pytest.approx(20 * left.person_hours_left_low, rel=1e-9)
    assert left.cost_left_high is not None and left.cost_left_high > left.cost_left
    assert result.person_days_left == pytest.approx((result.person_hours_left or 0) / 10)
    assert result.finish is not None and result.finish_high is not None and result.finish < result.finish_high
    assert result.cost_rests_on == "6 lines of your own log, one rate for all ground"


def test_no_log_goes_by_the_assumption_and_says_so() -> None:
    result = worked([], [], rates={"cut": 8})
    assert "assumption" in result.rests_on
    assert result.person_hours_left == pytest.approx(8 * acres(140_000 + 80_000), rel=1e-6)
    assert result.cost_left is None and result.person_hours_left_low is None
    assert result.lines == 0 and result.rests_on == "an assumption in habmap.toml"


def test_sums_lack_what_a_part_lacks() -> None:
    some, none = Left(low=1.0, middle=2.0, high=3.0), Left(low=None, middle=4.0, high=None)
    assert together([some, some]) == Left(low=2.0, middle=4.0, high=6.0)
    assert together([some, none]) == Left(low=None, middle=6.0, high=None)
    assert together([]) == Left(low=0, middle=0, high=0)
    assert in_days(some, hours_per_day=2) == Left(low=0.5, middle=1.0, high=1.5)


def square_of(number: int) -> shapely.Polygon:
    return shapely.box(200 * number, 0, 200 * number + 100, 100)


def asked(*rows: object, stems: dict[str, float] | None = None, **settings: object) -> EffortResult:
    """Ask what the log in ``rows`` says of squares W0, W1 … of one size."""
    units = [unit(f"W{n}", square_of(n), stems_per_acre=(stems or {}).get(f"W{n}")) for n in range(7)]
    return effort(
        FakeStore([*units, *rows], grid=GRID, settings=Settings.model_validate(settings)),  # type: ignore[list-item]
        today=TODAY,
    )


def test_passes_that_reach_the_target_together_are_one_acre_s_work() -> None:
    # two cuts of 60 hours each, 50 and 60% of what stood: 1 − 0.5 · 0.4 = 80%; its twin takes 120 hours, not 60
    passes = [
        entry("cut", "2026-01-05", square_of(0), killed_pct=50.0, person_hours=60, cost=600),
        entry("cut", "2026-01-12", square_of(0), killed_pct=60.0, person_hours=60, cost=600),
    ]
    result = asked(*passes)
    assert line(result, "W1").person_hours_left == pytest.approx(120)
    assert line(result, "W1").cost_left == pytest.approx(1200)
    assert result.acres_per_person_hour == pytest.approx(PATCH_ACRES / 120)
    assert (result.lines, result.practices[0].pass_acres) == (1, pytest.approx(2 * PATCH_ACRES))
    # a third pass over ground that was there already is upkeep, and says nothing of what the rest takes
    again = asked(*passes, entry("cut", "2026-02-12", square_of(0), person_hours=500))
    assert line(again, "W1").person_hours_left == pytest.approx(120)


def test_girdling_that_missed_its_target_is_no_acre_done() -> None:
    missed = entry("girdle", "2026-01-05", square_of(0), killed_pct=40.0, person_hours=2)
    done = entry("cut", "2026-01-06", square_of(1), person_hours=30)
    result = asked(missed, done)
    assert line(result, "W2").person_hours_left == pytest.approx(30)
    assert line(result, "W0").person_hours_left == pytest.approx(30)  # part killed: told as if nothing were done
    assert result.person_hours == 32
    only = asked(missed)
    assert only.person_hours_left is None and only.rests_on.startswith("nothing: no ground is at its target")


def test_half_a_patch_takes_half_of_its_hours_and_a_pass_without_hours_counts_for_nothing() -> None:
    # 40 hours over both halves, 10 more on the west half brought it to target: 30 hours on half a square, 60 a square
    half = shapely.box(0, 0, 50, 100)
    west = [
        entry("cut", "2026-01-05", square_of(0), killed_pct=50.0, person_hours=40),
        entry("cut", "2026-01-12", half, killed_pct=100.0, person_hours=10),
    ]
    assert line(asked(*west), "W1").person_hours_left == pytest.approx(60)
    silent = [
        entry("cut", "2026-01-05", square_of(2), killed_pct=50.0),
        entry("cut", "2026-01-12", square_of(2), killed_pct=100.0, person_hours=1),
    ]
    assert line(asked(*west, *silent), "W1").person_hours_left == pytest.approx(60)


def test_dense_and_open_ground_each_at_its_own_rate() -> None:
    # three dense squares of 50 hours, three open ones of 5; what is left is one dense square
    stems = {"W0": 510.0, "W1": 510.0, "W2": 510.0, "W3": 60.0, "W4": 60.0, "W5": 60.0, "W6": 510.0}
    days = [entry("cut", date(2026, 1, 1 + n), square_of(n), person_hours=50 if n < 3 else 5) for n in range(6)]
    result = asked(*days, stems=stems)
    assert {one.density: one.hours_per_acre for one in result.classes} == {
        "dense": pytest.approx(50 / PATCH_ACRES), "open": pytest.approx(5 / PATCH_ACRES)
    }  # fmt: skip
    assert line(result, "W6").person_hours_left == pytest.approx(50)
    assert "dense and open ground apart" in result.rests_on
    thin = asked(*days, stems=stems | {"W6": 60.0})
    assert line(thin, "W6").person_hours_left == pytest.approx(5)
    unknown = asked(*days, stems={name: value for name, value in stems.items() if name != "W6"})
    assert line(unknown, "W6").person_hours_left == pytest.approx((150 + 15) / 6)


def test_work_on_slash_is_told_beside_the_hours_of_clearing() -> None:
    cut = entry("cut", "2026-01-05", square_of(0), person_hours=30)
    assert asked(cut).follow_up.person_hours_left is None
    # twelve hours of piling and burning on one square treated, six squares left
    slash = [
        entry("pile", "2026-02-05", square_of(0), person_hours=8),
        entry("pile_burn", "2026-02-20", square_of(0), person_hours=4),
    ]
    result = asked(cut, *slash)
    assert result.follow_up.practices == ("pile", "pile_burn")
    assert result.follow_up.hours_per_acre == pytest.approx(12 / PATCH_ACRES)
    assert result.follow_up.person_hours_left == pytest.approx(6 * 12)
    assert result.person_hours_left == pytest.approx(6 * 30) and "upkeep" in result.left_out


def test_a_hold_moves_the_finish_and_its_unit_says_so() -> None:
    cut = [entry("cut", date(2026, 1, 1 + n), square_of(n), person_hours=7) for n in range(5)]
    plain = asked(*cut, effort={"hours_per_week": 7})
    # 14 hours at one a day from 1 March
    assert plain.finish == date(2026, 3, 14) and not plain.finish_moved_by
    hold = {"unit": "W6", "reason": "nest", "from": date(2026, 1, 1), "to": date(2026, 4, 30)}
    held = asked(*cut, effort={"hours_per_week": 7}, hold=[hold])
    assert held.finish == date(2026, 5, 7)
    assert held.finish_moved_by == ("W6 on hold until 2026-04-30: nest",)
    assert (line(held, "W6").on_hold, line(held, "W5").on_hold) == (True, False)


def test_a_contract_that_has_not_begun_moves_the_finish() -> None:
    cut = [entry("cut", date(2026, 1, 1 + n), square_of(n), person_hours=7) for n in range(5)]
    item = {"program": "EQIP", "item": "2", "practice_code": "314", "units": ["W6"], "not_before": date(2026, 5, 1)}
    waits = asked(*cut, effort={"hours_per_week": 7}, contract=[item])
    assert waits.finish == date(2026, 5, 7)
    assert waits.finish_moved_by == ("W6 waiting until 2026-04-30: EQIP 2 (314) has not begun",)
    assert line(waits, "W6").waits and not line(waits, "W5").waits
    # what waits or is closed is not on hold
    shut = asked(*cut, closed=[{"work": "cut", "from": "02-01", "to": "03-31", "reason": "fawns", "units": ["W5"]}])
    assert line(shut, "W5").waits == "closed to cutting until 2026-03-31: fawns" and not line(shut, "W5").on_hold
    assert not line(waits, "W6").on_hold


@pytest.mark.parametrize(("lines", "is_told"), [(0, False), (4, False), (5, True), (6, True)])
def test_how_far_off_hours_may_be_is_told_from_five_lines_of_the_log_on(lines: int, is_told: bool) -> None:
    spent = replace(
        asked(), lines=lines, person_hours_left_low=1.0, person_hours_left_high=9.0, cost_left_low=1.0,
        cost_left_high=9.0, finish_low=TODAY, finish_high=TODAY, rests_on="the log",
    )  # fmt: skip
    told = _effort(spent)
    ends = (told.person_hours_left_low, told.person_hours_left_high, told.cost_left_low, told.cost_left_high,
            told.finish_low, told.finish_high)  # fmt: skip
    assert ends == ((1.0, 9.0, 1.0, 9.0, TODAY, TODAY) if is_told else (None,) * 6)
    assert told.rests_on == ("the log" if is_told or not lines else f"the log ({TOO_FEW_WORDS})")


def test_lines_that_say_no_hours_and_no_money_add_none_and_ground_of_less_than_an_acre_is_followed_up() -> None:
    silent = asked(entry("cut", "2026-01-05", square_of(0)), entry("mow", "2026-02-05", square_of(0)))
    assert (silent.person_hours, silent.cost, silent.lines) == (0.0, 0.0, 0)
    one = asked(entry("cut", "2026-01-05", square_of(0), person_hours=30, cost=7.0))
    assert (one.person_hours, one.cost, one.lines) == (30.0, 7.0, 1)
    # 30 m by 100 m are 0.74 acre; all of it is treated, eight hours of piling on it are told by the acre
    strip = shapely.box(0, 0, 30, 100)
    rows = [unit("S", strip), entry("cut", "2026-01-05", strip, person_hours=5, cost=70.0)]
    rows.append(entry("pile", "2026-02-05", strip, person_hours=8))
    done = effort(FakeStore(rows, grid=GRID), today=TODAY)
    assert done.follow_up.hours_per_acre == pytest.approx(8 / acres(3000), rel=1e-5)
    assert (done.lines, done.follow_up.person_hours_left, done.units) == (0, 0.0, ())
    # nothing remains, so nothing is left to take, at whatever rate
    assert (done.person_hours_left, done.cost_left, done.hand_only_acres) == (0.0, 0.0, None)
    assert done.hours_per_acre == pytest.approx(5 / acres(3000), rel=1e-5)
