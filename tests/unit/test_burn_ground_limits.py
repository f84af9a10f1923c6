"""Cold air from a block's outline, and the moisture of its ground, at the limits of each rule; figures by hand."""

from __future__ import annotations

import math
from datetime import date, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from fakes import entry
from shapely import Point, Polygon, box

from habmap.land.downhill import DownhillPath, Surface
from habmap.records import Look
from habmap.work.burn.block_terrain import BlockTerrain, _joins, cold_air_paths, rise_frac
from habmap.work.burn.fuel import FuelClass, driest_pct, fuel_classes, fuel_there
from habmap.work.fuel_moisture import Air


def plane(east: float, north: float, *, cell_m: float, bounds: tuple[float, float, float, float]) -> Surface:
    xmin, ymin, xmax, ymax = bounds
    xs, ys = np.arange(xmin, xmax + cell_m / 2, cell_m), np.arange(ymin, ymax + cell_m / 2, cell_m)
    return Surface(xs[None, :] * east + ys[:, None] * north, xmin, ymin, cell_m)


def starts(paths: list[DownhillPath]) -> list[tuple[int, int]]:
    return [(round(path.points[0][0]), round(path.points[0][1])) for path in paths]


def test_cold_air_starts_at_the_lowest_point_and_at_each_twelfth_of_the_outline() -> None:
    """A square of 1200 m, its ring begun 20 m north of the lowest corner: twelfths are 400 m, steps 20 m.

    All run southeast for 2 km. Left out are those that end within 3 cells of a way found before: (1200, 20),
    (780, 1200), (380, 1200) and (0, 1180) each end 14 or 28 m beside one.
    """
    surface = plane(-0.1, 0.1, cell_m=40, bounds=(-80, -1520, 2760, 1280))
    block = Polygon([(1200, 20), (1200, 1200), (0, 1200), (0, 0), (1200, 0)])
    paths = cold_air_paths(surface, block)
    assert starts(paths) == [
        (1200, 0), (1200, 420), (1200, 820), (1180, 1200), (0, 780), (0, 380), (20, 0), (420, 0), (820, 0),
    ]  # fmt: skip
    assert {path.end for path in paths} == {"length"}
    assert [path.length_m for path in paths] == pytest.approx([2000.0] * 9)
    (x, y), (east, south) = paths[0].points[-1], (1200 + 2000 / math.sqrt(2), -2000 / math.sqrt(2))
    assert (x, y) == pytest.approx((east, south))
    # of two rings the longer one counts
    hole = Polygon(block.exterior, [[(500, 500), (600, 500), (600, 600), (500, 600)]])
    assert starts(cold_air_paths(surface, hole)) == starts(paths)


def test_the_shortest_way_counts_and_no_way_does_not() -> None:
    # Directions are known up to the last cell but one, x = 9: from 8.5 one step of half a cell is left.
    (path, *_) = cold_air_paths(plane(-0.1, 0.0, cell_m=1, bounds=(0, 0, 10, 10)), box(4, 4, 8.5, 8.5))
    assert (path.length_m, path.points[0][0]) == pytest.approx((0.5, 8.5)) and path.end == "edge"
    level = plane(0.0, 0.0, cell_m=1, bounds=(0, 0, 10, 10))
    assert cold_air_paths(level, box(2, 2, 8, 8)) == []
    assert cold_air_paths(level, box(20, 20, 30, 30)) == []  # no height is known there
    assert cold_air_paths(level, Polygon()) == []


@pytest.mark.parametrize(
    ("end", "joins"),
    [
        ((50, 29.9), True),
        ((50, 30), False),
        ((50, -29.9), True),
        ((50, -30), False),
        ((129.9, 0), True),
        ((130, 0), False),
    ],
)
def test_a_way_joins_another_where_its_end_lies_within_three_cells(end: tuple[float, float], joins: bool) -> None:
    other = DownhillPath(((0, 0), (50, 0), (100, 0)), 100.0, "edge")
    for first in ((400.0, 400.0), (10.0, 0.0)):  # only the end counts
        path = DownhillPath((first, (700.0 - first[0], first[1]), end), 1.0, "edge")
        assert _joins(path, other, 10.0) is joins


def test_rise_is_over_the_distance_and_negative_downhill() -> None:
    surface = plane(0.2, 0.0, cell_m=10, bounds=(0, 0, 100, 100))
    assert rise_frac(surface, (20, 20), (50, 60)) == pytest.approx(6 / 50)
    assert rise_frac(surface, (50, 60), (20, 20)) == pytest.approx(-6 / 50)
    assert rise_frac(surface, (20, 20), (500, 20)) is None
    terrain = BlockTerrain({}, surface)
    assert terrain.above_ft(Point(50, 50), 10.0) == pytest.approx(10 / 0.3048 - 10.0)
    assert terrain.above_ft(Point(50, 50), None) is None and terrain.above_ft(Point(500, 50), 10.0) is None


@pytest.mark.parametrize(
    ("known_m2", "is_more"), [(1e6 - 100.5, True), (1e6 - 100, False), (1e6 - 99.5, False), (1e6 + 5000, False)]
)
def test_ground_without_a_facing_is_told_from_a_ten_thousandth_on(known_m2: float, is_more: bool) -> None:
    terrain = BlockTerrain({("N", "0-30"): known_m2}, plane(0, 0, cell_m=1, bounds=(0, 0, 2, 2)))
    rows = fuel_classes(None, terrain, 1e6)
    assert [(row.facing, row.slope_class) for row in rows] == [("N", "0-30")] + [("unknown", "unknown")] * is_more
    assert rows[0].acres == pytest.approx(known_m2 / 4046.8564224)
    assert driest_pct(rows) is None and driest_pct(()) is None
    (whole,) = fuel_classes(None, None, 1e6)
    assert (whole.facing, whole.pct) == ("unknown", None) and whole.acres == pytest.approx(1e6 / 4046.8564224)


def test_the_driest_ground_stands_first_then_the_larger() -> None:
    """April 20, 1300, 75 °F, 32 %: table A gives 5; table C at noon, exposed, level: N 1, S 1; steeper: N 3, S 1."""
    air = Air(at=datetime(2026, 4, 20, 13), temp_f=75.0, rh_pct=32.0)
    ground = {("N", ">30"): 9e5, ("S", "0-30"): 1e5, ("N", "0-30"): 2e5}
    rows = fuel_classes(air, BlockTerrain(ground, plane(0, 0, cell_m=1, bounds=(0, 0, 2, 2))), 1.2e6)
    assert [(row.facing, row.slope_class, row.pct) for row in rows] == [
        ("N", "0-30", 6.0), ("S", "0-30", 6.0), ("N", ">30", 8.0),
    ]  # fmt: skip
    assert driest_pct(rows) == 6.0
    assert FuelClass(facing="N", slope_class=">30", acres=1.0, pct=None).moisture_pct(air) == 8.0


def piece(felled: date | None, seen: date | None, needles: str | None) -> Any:
    return SimpleNamespace(entry_ids=(), state=SimpleNamespace(last_felled=felled, needles_seen=seen, needles=needles))


def test_the_newest_look_on_the_ground_tells_of_its_fuel() -> None:
    def look(day: str, pounds: float | None, tallest_ft: float | None = None) -> Any:
        return entry("checkup", day, look=Look(fuel_lb_ac=pounds, tallest_ft=tallest_ft))

    first, second, twin = look("2026-01-10", 900.0, 3.0), look("2026-02-10", 1500.0), look("2026-02-10", None, 7.0)
    elsewhere, bare = look("2026-03-01", 4000.0), entry("cut", "2026-03-02")
    told: Any = SimpleNamespace(entries=(bare, second, first, elsewhere, twin))

    def of(*lines: Any) -> tuple[date | None, float | None, float | None]:
        ground = [SimpleNamespace(entry_ids=(one.entry_id,), state=piece(None, None, None).state) for one in lines]
        found = fuel_there(ground, told, date(2026, 4, 1))  # type: ignore[arg-type]
        return found.look_date, found.fuel_lb_ac, found.tallest_ft

    assert of(first, second) == of(second, first, bare) == (date(2026, 2, 10), 1500.0, None)
    assert of(first) == (date(2026, 1, 10), 900.0, 3.0)
    assert of(second, twin) == of(twin, second) == (date(2026, 2, 10), None, 7.0)  # written last
    assert of(bare) == of() == (None, None, None)


def test_the_newest_felling_and_the_newest_needles_count_and_ground_without_them_says_nothing() -> None:
    state: Any = SimpleNamespace(entries=())
    bare = piece(None, None, None)
    old = piece(date(2026, 1, 1), date(2026, 2, 1), "red")
    new = piece(date(2026, 1, 11), date(2026, 3, 1), "fallen")
    got = fuel_there([new, bare, old], state, date(2026, 3, 11))
    assert (got.needles, got.last_cut, got.days_since_cut) == ("fallen", date(2026, 1, 11), 59)
    assert fuel_there([bare], state, date(2026, 3, 11)).days_since_cut is None
    assert fuel_there([old], state, date(2026, 1, 1)).days_since_cut == 0
    assert (got.look_date, got.fuel_lb_ac, got.tallest_ft) == (None, None, None)
