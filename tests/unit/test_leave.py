"""Cedar to be left on purpose: what is missing, what still can be left, and work that takes it, by hand."""

from __future__ import annotations

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import Polygon, box

from habmap.jobs.ground import ground
from habmap.measures import M2_PER_ACRE
from habmap.work.ground import Ground
from habmap.work.leave import LeaveRule, leavable_acres, missing_acres, taken_under


@pytest.mark.parametrize(
    ("least", "left", "remaining", "missing"),
    [
        (2.0, 0.5, 9.0, (1.5, 0.0)), (2.0, 0.5, 1.0, (1.0, 0.5)), (2.0, 0.5, 0.0, (0.0, 1.5)),
        (2.0, 2.0, 9.0, (0.0, 0.0)), (2.0, 3.0, 0.0, (0.0, 0.0)),
    ],
)  # fmt: skip
def test_what_is_missing_can_still_be_left_as_far_as_ground_remains(
    least: float, left: float, remaining: float, missing: tuple[float, float]
) -> None:
    assert missing_acres((least, 9.0), left_acres=left, remaining_acres=remaining) == pytest.approx(missing, abs=1e-12)
    assert missing_acres(None, left_acres=left, remaining_acres=remaining) == (None, None)


def test_a_unit_s_own_goal_goes_before_the_place_s() -> None:
    rule = LeaveRule(place_pct=(10.0, 20.0), unit_pct={"B": (0.0, 5.0)})
    assert rule.target_acres("A", 40.0) == (4.0, 8.0) and rule.target_acres("B", 40.0) == (0.0, 2.0)
    assert LeaveRule().target_acres("A", 40.0) is None


def test_work_is_told_that_takes_cedar_below_the_least_and_none_that_found_it_there() -> None:
    """Of a hectare a tenth should stay: 1,000 m²."""

    def state(*cut: Polygon, keep: Polygon | None = None) -> Ground:
        rows = [
            *(entry("cut", "2026-01-05", one) for one in cut),
            *([entry("keep", "2026-01-04", keep)] if keep else []),
        ]
        stand = [unit("A", box(0, 0, 100, 100)), unit("G", box(0, 200, 100, 300), cover="grass")]
        return ground(FakeStore([*stand, *rows], grid=GRID))

    rule = LeaveRule(place_pct=(10.0, 20.0))
    bare = state()
    assert leavable_acres(bare) == {"A": pytest.approx((10_000 / M2_PER_ACRE,) * 2, rel=1e-6)}
    (taken,) = taken_under(bare, state(box(0, 0, 91, 100)), rule)
    assert (taken.unit_id, taken.least_acres * M2_PER_ACRE) == ("A", pytest.approx(1000, rel=1e-6))
    assert (taken.before_acres * M2_PER_ACRE, taken.after_acres * M2_PER_ACRE) == pytest.approx((10_000, 900), rel=1e-6)
    assert (
        taken_under(bare, state(box(0, 0, 89, 100)), rule)
        == taken_under(bare, state(box(0, 0, 91, 100)), LeaveRule())
        == ()
    )
    # what was left on purpose counts, and work elsewhere takes none of what was missing before
    kept = state(box(20, 0, 100, 100), keep=box(0, 0, 5, 100))
    assert leavable_acres(kept)["A"][1] * M2_PER_ACRE == pytest.approx(2000, rel=1e-6)
    short = state(box(0, 0, 95, 100))
    assert taken_under(short, short, rule) == ()
