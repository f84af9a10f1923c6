"""The order of work looks at the ground that remains: a ridge with a sunny and a shady side, by hand."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import box
from small_places import write_dem

from habmap.jobs.handout import build_handout
from habmap.jobs.map import build_page
from habmap.jobs.rank import rank
from habmap.measures import acres
from habmap.records import ElevationSource
from habmap.show.handout.words import unit_reasons
from habmap.work.order_of_work import RankResult
from habmap.work.priority import Ranked

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
