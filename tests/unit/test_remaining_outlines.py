"""What remains of a unit for a handheld: scraps, gaps and ground left on purpose, on squares of known size."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from fakes import GRID, FakeStore, entry, ground_lonlat, unit
from shapely import Polygon, box

from habmap.jobs.ground import ground
from habmap.measures import M2_PER_ACRE
from habmap.work.ground import Ground
from habmap.work.handheld import RemainingOutline, remaining_outline, remaining_outlines, telling_units

STAND = box(0, 0, 200, 100)


def state(*lines: tuple[str, Polygon], stand: Polygon = STAND) -> Ground:
    rows = [entry(practice, f"2026-01-{number:02d}", ground_) for number, (practice, ground_) in enumerate(lines, 1)]
    return ground(FakeStore([unit("A", stand), *rows], grid=GRID))


def left(*lines: tuple[str, Polygon]) -> RemainingOutline:
    found = remaining_outline("A", state(*lines).pieces)
    assert found is not None
    return found


def test_parts_from_a_tenth_of_an_acre_are_shown_and_smaller_ones_counted() -> None:
    """A cut from x = 20 on leaves a strip to the west; another leaves 10 m by 40.5 m (0.1001 acre) or by 40.4 m."""
    for north_m, scraps in ((40.5, 0), (40.4, 1)):
        found = left(("cut", box(20, 0, 200, 100).difference(box(190, 0, 200, north_m))))
        assert (found.scraps, len(found.geometry.geoms)) == (scraps, 2 - scraps)
        assert found.scrap_acres == pytest.approx(scraps * 10 * north_m / M2_PER_ACRE, rel=1e-6)
        assert found.acres == pytest.approx((2000 + 10 * north_m) / M2_PER_ACRE, rel=1e-6)
    assert remaining_outline("A", state(("cut", STAND)).pieces) is None
    only_scraps = left(("cut", box(4, 0, 200, 100)))
    assert (only_scraps.scraps, only_scraps.geometry.is_empty) == (1, True)


def test_small_gaps_are_closed_but_where_ground_is_left_on_purpose() -> None:
    gap = box(50, 30, 60, 70)  # 400 m², a scrap
    assert left(("cut", gap)).geometry.area == pytest.approx(20_000, rel=1e-9)
    assert left(("cut", box(50, 30, 60, 70.6))).geometry.area == pytest.approx(20_000 - 406, rel=1e-6)
    # the whole gap stays open where some of it is kept
    kept = left(("keep", box(52, 40, 54, 42)), ("cut", gap))
    assert kept.geometry.area == pytest.approx(19_600, rel=1e-6)
    assert left(("keep", gap)).geometry.area == pytest.approx(19_600, rel=1e-6)


def test_a_copy_that_shows_less_kept_ground_or_another_outline_tells_nothing_of_the_unit() -> None:
    own = state(("keep", box(0, 0, 50, 100)))
    assert telling_units(own, owners=own) == set() and len(remaining_outlines(own, owners=own)) == 1
    fewer = state(("keep", box(0, 0, 49, 100)))
    assert telling_units(fewer, owners=own) == {"A"} and remaining_outlines(fewer, owners=own) == ()
    assert telling_units(own, owners=fewer) == set()  # more of it kept tells nothing
    moved = replace(own, units=tuple(replace(one, geometry=ground_lonlat(box(0, 0, 201, 100))) for one in own.units))
    assert telling_units(moved, owners=own) == {"A"}
    (shown,) = remaining_outlines(own, owners=own)
    assert GRID.to_grid(shown.geometry).area == pytest.approx(15_000, rel=1e-6)
    assert shapely.get_coordinates(shown.geometry)[0][0] == pytest.approx(-98, abs=0.01)


def test_a_piece_has_the_state_after_its_last_line() -> None:
    cut, fire = entry("cut", "2026-01-01", STAND), entry("burn", "2026-02-01", STAND)
    (piece,) = ground(FakeStore([unit("A", STAND), cut, fire], grid=GRID)).pieces
    assert (piece.stage, piece.state.stage, piece.state.last_fire) == ("burned", "burned", fire.date)
    assert (piece.entry_ids, piece.state.last_felled) == ((cut.entry_id, fire.entry_id), cut.date)


def test_a_place_without_ground_has_no_outlines() -> None:
    bare = ground(FakeStore())
    assert remaining_outlines(bare, owners=bare) == ()
