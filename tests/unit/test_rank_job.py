"""The order of work looks at the ground that remains: a ridge with a sunny and a shady side, by hand."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box
from small_places import write_dem

from habmap.jobs.ground import ground
from habmap.jobs.handout import build_handout
from habmap.jobs.map import build_page
from habmap.jobs.rank import rank
from habmap.measures import acres
from habmap.records import ElevationSource
from habmap.show.handout.words import unit_reasons
from habmap.work.order_of_work import RankResult, first_due, to_open_ground_m, to_standing_cedars_m
from habmap.work.priority import Ranked
from habmap.work.seasons import DueItem

NOW = datetime(2026, 3, 1, 18, tzinfo=UTC)
TODAY = date(2026, 3, 1)
#: Heights fall by 20% to the south of the middle, by 40% to the north.
SOUTH_PCT, NORTH_PCT = 20.0, 40.0
RIDGE = unit("R", box(-200, -200, 200, 200), name="Ridge", stems_per_acre=400)
SHADY = unit("N", box(-200, 300, 200, 500), name="Shade", stems_per_acre=400)


@pytest.fixture
def dem(tmp_path: Path) -> ElevationSource:
    path = write_dem(
        tmp_path / "ridge.tif",
        lambda _, north: 500 - abs(north) * (SOUTH_PCT + (NORTH_PCT - SOUTH_PCT) * (north > 0)) / 100,
    )
    return ElevationSource(uuid="e", path=str(path), crs_wkt=GRID.crs.to_wkt(), vertical_unit="m", recorded_at=NOW)


def order(*rows: object) -> RankResult:
    return rank(FakeStore([RIDGE, SHADY, *rows], grid=GRID), today=TODAY)  # type: ignore[list-item]


def ranked(result: RankResult, unit_id: str) -> Ranked:
    return next(one for one in result.units if one.unit_id == unit_id)


def test_a_sunny_side_that_is_cut_leaves_a_unit_that_faces_north(dem: ElevationSource) -> None:
    # whole, it faces neither way and half of it the sun; with the north side cut what is left is sunny, and the reverse
    south_left = ranked(order(dem, entry("cut", "2026-01-05", box(-300, 10, 300, 300))), "R")
    assert south_left.facing_remaining == "S" and south_left.tier == "first"
    assert south_left.parts["sun_facing"] == pytest.approx(1.0, abs=0.06)  # cells across the crest are level
    assert south_left.remaining_acres == pytest.approx(acres(400 * 210), rel=1e-6)

    north = order(dem, entry("cut", "2026-01-05", box(-300, -300, 300, 0)))
    north_left = ranked(north, "R")
    assert north_left.facing_remaining == "N" and north_left.tier == "next"
    assert north_left.parts["sun_facing"] == pytest.approx(0.0, abs=0.06)
    assert any(reason.startswith("faces north, ") for reason in north_left.reasons)
    assert not any("faces south" in reason for reason in north_left.reasons)
    # the slope is that of the side that is left: hand work above 30%
    assert north_left.parts["gentle"] == pytest.approx(0.0, abs=0.12)
    assert south_left.parts["gentle"] == pytest.approx(1.0, abs=0.12)
    # heat load of a plane of that slope (McCune & Keon 2002, eq. 3), scaled from 0.6–1.05 to 0–1
    slope, lat = math.atan(SOUTH_PCT / 100), math.radians(38)
    heat = (
        0.339
        + 0.808 * math.cos(lat) * math.cos(slope)
        - 0.196 * math.sin(lat) * math.sin(slope)
        - 0.482 * math.cos(math.radians(135)) * math.sin(slope)
    )
    assert south_left.parts["heat_load"] == pytest.approx((heat - 0.6) / 0.45, abs=0.03)


def test_untouched_and_finished_units_are_measured_whole(dem: ElevationSource) -> None:
    plain = ranked(order(dem), "R")
    assert plain.parts["sun_facing"] == pytest.approx(0.5, abs=0.03)
    done = ranked(order(dem, entry("cut", "2026-01-05", box(-300, -300, 300, 290))), "R")
    assert (done.tier, done.facing_remaining) == ("none", None)


def test_page_and_handout_tell_the_face_of_what_remains(dem: ElevationSource) -> None:
    store = FakeStore([RIDGE, SHADY, dem, entry("cut", "2026-01-05", box(-300, -300, 300, 0))], grid=GRID)
    page = build_page(store, now=NOW, audience="public")
    ridge = next(one for one in page.units if one.unit_id == "R")
    assert "faces north" in " ".join(ridge.reasons)
    handout = build_handout(store, now=NOW, today=TODAY, audience="public")
    told = unit_reasons(next(one for one in handout.next_units if one.unit.unit_id == "R"))
    assert told.startswith("Faces north")


def test_how_far_ground_lies_from_opened_ground_and_from_seed_trees_by_hand() -> None:
    """A is cut from 40 m on, B untouched 30 m east of it, G grass 100 m north of B, H hardwood that counts not."""
    rows = [
        unit("A", box(0, 0, 100, 100)), unit("B", box(130, 0, 200, 100)),
        unit("G", box(130, 200, 200, 300), cover="grass"),
        unit("H", box(400, 0, 500, 100), cover="hardwood"), entry("cut", "2026-01-05", box(40, 0, 100, 100)),
    ]  # fmt: skip
    state = ground(FakeStore(rows, grid=GRID))
    # what remains of A touches its own cut ground; B's nearest is that of A, nearer than the grass
    assert to_open_ground_m(state) == pytest.approx({"A": 0.0, "B": 30.0}, abs=1e-6)
    # cleared ground of A touches what stands there; grass lies 100 m from B; no other cover is cleared ground
    assert to_standing_cedars_m(state) == pytest.approx({"A": 0.0, "G": 100.0}, abs=1e-6)
    # ground left on purpose seeds too
    kept = [*rows, entry("keep", "2026-01-06", box(0, 0, 20, 100)), entry("cut", "2026-01-07", box(20, 0, 40, 100))]
    state = ground(FakeStore(kept, grid=GRID))
    assert to_open_ground_m(state) == pytest.approx({"B": 30.0}, abs=1e-6)
    assert to_standing_cedars_m(state) == pytest.approx({"A": 0.0, "G": 100.0}, abs=1e-6)
    # with nothing of the kind in its own unit a neighbor's is the nearest
    apart = [*rows[:2], *(entry("cut", "2026-01-05", box(west, 0, west + 100, 100)) for west in (0, 150))]
    state = ground(FakeStore(apart, grid=GRID))
    assert to_standing_cedars_m(state) == pytest.approx({"A": 30.0, "B": 0.0}, abs=1e-6)
    assert to_open_ground_m(state) == pytest.approx({"B": 0.0}, abs=1e-6)
    # with nothing opened, or nothing standing, no distance is known
    bare = ground(FakeStore(rows[1:2], grid=GRID))
    assert (to_open_ground_m(bare), to_standing_cedars_m(bare)) == ({}, {})
    done = ground(FakeStore([rows[0], entry("cut", "2026-01-05", box(0, 0, 100, 100))], grid=GRID))
    assert (to_open_ground_m(done), to_standing_cedars_m(done)) == ({}, {})


def test_of_contract_items_the_one_due_first_presses_and_one_without_a_day_last() -> None:
    def item(name: str, due: date | None, units: str | None, state: str = "due") -> DueItem:
        return DueItem(unit_id=units, what="contract", state=state, acres=1.0, since_date=None, from_date=None,
                       to_date=due, words=name, name=name)  # fmt: skip

    may, june = date(2026, 5, 1), date(2026, 6, 1)
    items = [item("open", None, "A;B"), item("june", june, "A"), item("may", may, "A;C", "overdue"),
             item("later", may, "B", "open"), item("all", june, None)]  # fmt: skip
    found = first_due(items, ["A", "B", "C", "D"])
    assert {name: one.name for name, one in found.items()} == {"A": "may", "B": "all", "C": "may", "D": "all"}
