"""What the rest takes, on ground a person can check in the head: steep to the west, gentle to the east."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from fakes import GRID, FakeStore, entry, unit

from habmap.jobs.effort import EffortResult, effort
from habmap.measures import acres
from habmap.place.settings import Settings
from habmap.work.effort import Left, in_days, together
from habmap.work.records import ElevationSource

NOW = datetime(2026, 3, 1, tzinfo=UTC)
TODAY = date(2026, 3, 1)
#: Patches of 100 m by 100 m, 2.47 acres.
PATCH_ACRES = acres(10_000)


@pytest.fixture
def dem(tmp_path: Path) -> ElevationSource:
    """Heights that fall toward east by 50 % west of the middle and by 10 % east of it."""
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
    rates = {one.ground: one for one in result.by_slope}
    assert (rates["steep"].entries, rates["gentle"].entries) == (3, 3)
    assert rates["steep"].hours_per_acre == pytest.approx(30 / PATCH_ACRES, rel=1e-6)
    assert rates["gentle"].hours_per_acre == pytest.approx(10 / PATCH_ACRES, rel=1e-6)
    # half of the untouched unit is steep (four patches' ground), half gentle; the one column of cells across the
    # middle has the mean of both slopes, 30 %, within a rounding of the limit: 10 of 800 m either way
    left = line(result, "LEFT")
    assert left.hand_only_acres == pytest.approx(4 * PATCH_ACRES, rel=0.03)
    assert left.person_hours_left == pytest.approx(4 * 30 + 4 * 10, rel=0.02)
    assert "steep and gentle" in result.rests_on


def test_two_steep_lines_are_too_few(dem: ElevationSource) -> None:
    result = worked([30, 30], [10, 10, 10], dem)
    assert result.by_slope == ()
    # all five together: 90 hours on five patches
    assert line(result, "LEFT").person_hours_left == pytest.approx(8 * 18, rel=1e-6)


def test_without_elevation_all_lines_go_together() -> None:
    result = worked([30, 30, 30], [10, 10, 10])
    assert result.by_slope == () and result.hand_only_acres is None
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
    assert result.cost_rests_on == "6 lines of your own log"


def test_no_log_goes_by_the_assumption_and_says_so() -> None:
    result = worked([], [], rates={"cut": 8})
    assert "assumption" in result.rests_on
    assert result.person_hours_left == pytest.approx(8 * acres(140_000 + 80_000), rel=1e-6)
    assert result.cost_left is None and result.person_hours_left_low is None


def test_sums_lack_what_a_part_lacks() -> None:
    some, none = Left(low=1.0, middle=2.0, high=3.0), Left(low=None, middle=4.0, high=None)
    assert together([some, some]) == Left(low=2.0, middle=4.0, high=6.0)
    assert together([some, none]) == Left(low=None, middle=6.0, high=None)
    assert together([]) == Left(low=0, middle=0, high=0)
    assert in_days(some, hours_per_day=2) == Left(low=0.5, middle=1.0, high=1.5)
