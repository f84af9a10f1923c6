"""Which plots are older than the work on their ground, each rule at its limit, on acres and shares by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import count
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, unit
from shapely import Point, box

from habmap.measures import M2_PER_ACRE
from habmap.records import Plot
from habmap.work.density import _look
from habmap.work.ground import CutUnit, GroundPiece
from habmap.work.plot_age import UnitGround, by_age, given_since
from habmap.work.stages import GroundState, Kill

NOW = datetime(2026, 1, 1, tzinfo=UTC)
_numbers = count(1)


def day(text: str) -> date:
    return date.fromisoformat(text)


def piece(acres: float, *kills: tuple[str, float, float], west_m: float = 0.0) -> GroundPiece:
    """Return ground with work by day, each with the share killed before it and after it."""
    told = tuple(Kill(f"e{n}", day(on), "cut", before, after) for n, (on, before, after) in enumerate(kills))
    state = GroundState(stage="down", killed_frac=told[-1].killed_after_frac if told else 0.0, kills=told)
    shape = box(west_m, 0, west_m + 100, 100)
    return GroundPiece("A", "down", state, tuple(one.entry_id for one in told), shape, acres * M2_PER_ACRE, acres)


def ground(*pieces: GroundPiece, grid: Any = GRID) -> UnitGround:
    return UnitGround(CutUnit((), pieces, (), ()), grid)


def plot(on: str | None, x_m: float | None = None) -> Plot:
    name = f"p{next(_numbers)}"
    return Plot(
        uuid=name, plot_id=name, method="fixed", plot_acres=0.1, stems=3, recorded_at=NOW,
        measured_on=None if on is None else day(on), geometry=None if x_m is None else GRID.to_lonlat(Point(x_m, 50)),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kills", "since", "is_worked"),
    [
        # a tenth of what was alive then, and a hair less
        ([("2025-03-01", 0.0, 0.1)], None, True), ([("2025-03-01", 0.0, 0.0999)], None, False),
        ([("2025-03-01", 0.5, 0.55)], None, True), ([("2025-03-01", 0.5, 0.5499)], None, False),
        ([("2025-03-01", 0.7, 0.73)], None, True), ([("2025-03-01", 0.9, 0.91)], None, True),
        ([("2025-03-01", 0.1, 0.19)], None, True), ([("2025-03-01", 0.1, 0.1899)], None, False),
        # a billionth less is rounding
        ([("2025-03-01", 0.0, 0.1 - 1e-9)], None, True), ([("2025-03-01", 0.0, 0.1 - 1.005e-9)], None, False),
        # nothing was alive any more
        ([("2025-03-01", 1.0, 1.0)], None, False), ([], None, False),
        # on the day itself; from it on, all that was killed since counts together
        ([("2025-03-01", 0.0, 0.5)], "2025-03-01", True), ([("2025-03-01", 0.0, 0.5)], "2025-03-02", False),
        ([("2025-03-01", 0.0, 0.5), ("2025-05-01", 0.5, 0.53), ("2025-06-01", 0.53, 0.56)], "2025-03-02", True),
        ([("2025-03-01", 0.0, 0.5), ("2025-05-01", 0.5, 0.53), ("2025-06-01", 0.53, 0.56)], "2025-05-02", False),
        ([("2025-03-01", 0.0, 0.06), ("2025-05-01", 0.06, 0.11)], None, True),
    ],
)  # fmt: skip
def test_work_that_matters_killed_a_tenth_of_what_was_alive(
    kills: list[tuple[str, float, float]], since: str | None, is_worked: bool
) -> None:
    on = None if since is None else day(since)
    there = ground(piece(3.0, *kills))
    assert there.worked_acres(on) == pytest.approx(3.0 if is_worked else 0.0, abs=1e-12)
    assert there.unworked_acres(on) == pytest.approx(0.0 if is_worked else 3.0, abs=1e-12)
    assert there.worked_frac(on) == pytest.approx(1.0 if is_worked else 0.0, abs=1e-12)


def test_of_a_unit_half_worked_since_what_its_outline_gives_is_old() -> None:
    half = ground(piece(1.0, ("2025-03-01", 0.0, 1.0)), piece(1.0))
    for there, is_old in ((half, True), (ground(*half.pieces, piece(0.01)), False)):
        look = _look(unit("A", box(0, 0, 100, 100)), (), there, None, versions={}, canopy_loaded_on=day("2025-01-01"))
        assert {look.are_stems_given_old, look.is_canopy_given_old, look.is_raster_old} == {is_old}


def test_ground_is_added_up_over_its_pieces_and_the_last_kill_is_the_latest() -> None:
    there = ground(
        piece(1.0, ("2025-03-01", 0.0, 1.0)), piece(2.0), piece(4.0, ("2025-05-01", 0.0, 0.5)),
        piece(8.0, ("2025-01-01", 0.0, 0.5), ("2025-04-01", 0.5, 0.9)),
    )  # fmt: skip
    for since, worked in ((None, 13), ("2025-03-01", 13), ("2025-03-02", 12), ("2025-04-02", 4), ("2025-05-02", 0)):
        on = None if since is None else day(since)
        assert (there.worked_acres(on), there.unworked_acres(on)) == pytest.approx((worked, 15 - worked))
        assert there.worked_frac(on) == pytest.approx(worked / 15)
    assert there.last_kill() == day("2025-05-01") and ground(piece(1.0)).last_kill() is None
    crumb = ground(piece(1e-4, ("2025-03-01", 0.0, 1.0)))  # 0.4 m²
    assert crumb.worked_frac(None) == pytest.approx(1.0) and ground(piece(1.0)).worked_frac(None) == 0.0
    assert ground().worked_frac(None) == 0.0 and ground().last_kill() is None and len(there.pieces) == 4


def test_a_plot_is_old_by_the_ground_it_stands_on_and_without_a_place_by_half_the_unit() -> None:
    def sides(cut_acres: float, left_acres: float, *, grid: Any = GRID) -> UnitGround:
        worked = piece(cut_acres, ("2025-03-01", 0.0, 1.0))
        return ground(worked, piece(left_acres, west_m=100), grid=grid)

    there = sides(1.0, 9.0)
    for on, x_m, is_old in (
        ("2025-02-28", 50, True), ("2025-03-01", 50, True), ("2025-03-02", 50, False), (None, 50, True),
        ("2025-02-28", 150, False), (None, 150, False),
        ("2025-02-28", 500, False), ("2025-02-28", None, False),  # a tenth of the unit alone was worked
    ):  # fmt: skip
        assert there.is_old(plot(on, x_m)) is is_old, (on, x_m)
    # off the unit, without a place or without a grid it stands for the whole unit: half of it
    for cut_acres, is_old in ((5.0, True), (4.99, False), (9.0, True)):
        half = sides(cut_acres, 10 - cut_acres)
        assert half.is_old(plot("2025-02-28")) is half.is_old(plot("2025-02-28", 500)) is is_old
        assert sides(cut_acres, 10 - cut_acres, grid=None).is_old(plot("2025-02-28", 150)) is is_old
        assert not half.is_old(plot("2025-03-02")) and half.is_old(plot("2025-02-28", 150)) is False
    # on the edge between both it stands on both
    plane: Any = SimpleNamespace(to_grid=lambda shape: shape)
    on_edge = replace(plot("2025-02-28"), geometry=Point(100, 50))
    assert sides(1.0, 9.0, grid=plane).is_old(on_edge)
    assert not sides(1.0, 9.0, grid=plane).is_old(replace(on_edge, geometry=Point(100.1, 50)))
    rows = [plot("2025-03-02", 50), plot("2025-02-28", 50), plot("2025-02-28", 150), plot(None, 50)]
    assert by_age(rows, there) == ((rows[0], rows[2]), (rows[1], rows[3]))


def test_a_figure_is_as_old_as_the_first_version_that_carried_it() -> None:
    def version(name: str, begins: str | None, stems: float, *replaces: str) -> Any:
        return replace(
            unit("A", box(0, 0, 100, 100), uuid=name, replaces=replaces),
            valid_from=None if begins is None else day(begins), stems_per_acre=stems,
        )  # fmt: skip

    rows = {
        one.uuid: one
        for one in (
            version("a", None, 90.0), version("b", "2025-02-01", 90.0, "a"), version("c", "2025-03-01", 40.0, "b"),
            version("d", "2025-04-01", 40.0, "c", "gone"), version("e", "2025-01-15", 40.0),
            version("f", "2025-05-01", 40.0, "d", "e", "b"), version("g", "2025-06-01", 90.0, "a", "f"),
            version("h", "2025-07-01", 90.0, "b", "c"), version("i", "2025-08-01", 7.0, "gone"),
            version("j", "2025-09-01", 40.0, "c", "e"),
        )
    }  # fmt: skip
    told = {name: given_since(row, "stems_per_acre", rows) for name, row in rows.items()}
    assert told == {
        "a": None, "b": None, "c": day("2025-03-01"), "d": day("2025-03-01"), "e": day("2025-01-15"),
        "f": day("2025-01-15"), "g": None, "h": None, "i": day("2025-08-01"), "j": day("2025-01-15"),
    }  # fmt: skip
