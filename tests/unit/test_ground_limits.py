"""Terrain figures from sums, what remains by hand-held, closed days and ground to leave: each rule at its limit."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from fakes import GRID, unit
from shapely import MultiPolygon, Point, Polygon, box

from habmap.cli.commands.terrain import _cell
from habmap.land.facerules import FaceRules
from habmap.measures import M2_PER_ACRE
from habmap.records import cell_facts
from habmap.work.handheld import remaining_outline, remaining_outlines, telling_units
from habmap.work.leave import LeaveRule, leavable_acres, missing_acres, taken_under
from habmap.work.terrain import UnitTerrain, as_stored, figure_columns, of_unit, rules_for, rules_here, terrain_figures

RULES = FaceRules()


class Sums:
    """Sums of one outline: 100 m² covered, a mean gradient of 3/100 east and 4/100 north where nothing else is said."""

    def __init__(self, *, slopes: tuple[float, ...] = (12.5, 100.0, 40.0, 20.0, 30.0), **named: float) -> None:
        plain = {
            "covered_m2": 100.0, "slope_deg_m2": 250.0, "gradient_length_m2": 10.0, "gradient_east_m2": 3.0,
            "gradient_north_m2": 4.0, "heat_load_m2": 45.0, "heat_load_ground_m2": 50.0,
        }  # fmt: skip
        self.plain, self.slopes = plain | named, slopes

    def sums(self, name: str) -> np.ndarray:
        return np.array([self.plain[name]])

    def by_slope(self, rules: FaceRules) -> tuple[np.ndarray, ...]:
        return tuple(np.array([float(one)]) for one in self.slopes)


def figures(*, unit_m2: float = 100.0, **named: Any) -> UnitTerrain:
    (found,) = terrain_figures(Sums(**named), unit_m2=np.array([unit_m2]), rules=RULES)  # type: ignore[arg-type]
    return found


def test_sums_become_shares_and_means() -> None:
    found = figures(unit_m2=125.0)
    assert (found.slope_mean_deg, found.slope_mean_pct, found.slope_p90_pct) == (2.5, 10.0, 12.5)
    # uphill is 3 east and 4 north, so it faces southwest: 180° + atan(3/4)
    assert found.aspect_mean_deg == pytest.approx(180 + math.degrees(math.atan2(3, 4)))
    assert (found.aspect_concentration, found.facing) == (0.5, "SW")
    assert (found.flat_pct, found.sun_facing_pct, found.hand_only_pct) == (40.0, 20.0, 30.0)
    assert (found.heat_load_mean, found.coverage_pct) == (0.9, 80.0)


def test_terrain_figures_at_their_limits() -> None:
    # half of it flat still faces somewhere, a little more does not; the aspect stays
    assert figures(slopes=(1, 100, 50, 0, 0)).facing == "SW"
    more = figures(slopes=(1, 100, 50.001, 0, 0))
    assert more.facing == "flat" and more.aspect_mean_deg is not None
    # all of it flat, to a millionth of a millionth: no aspect
    assert figures(slopes=(1, 100, 100 - 0.999e-7, 0, 0)).aspect_mean_deg is None
    assert figures(slopes=(1, 100, 100 - 1.001e-7, 0, 0)).aspect_mean_deg is not None
    level = figures(gradient_east_m2=0.0, gradient_north_m2=0.0)
    assert (level.aspect_mean_deg, level.facing, level.aspect_concentration) == (None, "flat", 0.0)
    # a hair more ground in a part than in all is all
    over = figures(slopes=(1, 100, 100.1, 100.1, 100.1), gradient_east_m2=30.0)
    assert (over.flat_pct, over.sun_facing_pct, over.hand_only_pct, over.aspect_concentration) == (100, 100, 100, 1)
    # from 99.999% on it is all
    assert figures(covered_m2=99.9991).coverage_pct == 100 and figures(covered_m2=99.9989).coverage_pct < 99.999
    assert figures(covered_m2=102.0).coverage_pct == 100
    # each way by its own name
    faces = {(0, -1): "N", (-1, 0): "E", (0, 1): "S", (1, 0): "W", (-1, -1): "NE", (1e-13, -1.0): "N"}
    for (east, north), face in faces.items():
        one = figures(gradient_east_m2=float(east), gradient_north_m2=float(north))
        assert one.facing == face and one.aspect_mean_deg is not None and 0 <= one.aspect_mean_deg < 360
    assert figures(covered_m2=0.5).slope_mean_deg == 500  # however little of it is covered
    off = figures(covered_m2=0.0)
    assert off == UnitTerrain()
    assert figure_columns(Sums(covered_m2=0.0), unit_m2=np.array([9.0]), rules=RULES)["facing"][0] is None  # type: ignore[arg-type]


def test_a_unit_s_cells_and_whether_they_are_too_coarse() -> None:
    outline, known = box(0, 0, 100, 100), UnitTerrain(slope_mean_deg=0.0)
    found = of_unit(known, unit_id="A", name="a", outline=outline, cell_m=5.0)
    assert (found.unit_id, found.name, found.cells, found.too_coarse) == ("A", "a", 400.0, False)
    assert of_unit(known, unit_id="A", name="a", outline=outline, cell_m=90.0).too_coarse is True
    assert of_unit(UnitTerrain(), unit_id="A", name="a", outline=outline, cell_m=90.0).too_coarse is None


def test_rough_figures_are_told_to_their_own_steps() -> None:
    """A slope to one, a bearing and a share to ten; of good ground to its own decimals."""
    rough = {
        "slope_mean_deg": (13.4, "~13", "13.4"), "slope_mean_pct": (23.4, "~23", "23.4"),
        "slope_p90_pct": (33.4, "~33", "33.4"), "aspect_mean_deg": (134.0, "~130", "134"),
        "aspect_concentration": (0.456, "0.46", "0.46"), "sun_facing_pct": (36.0, "~40", "36"),
        "flat_pct": (14.0, "~10", "14"), "heat_load_mean": (0.456, "0.46", "0.46"),
        "hand_only_pct": (46.0, "~50", "46"),
        "coverage_pct": (46.0, "46", "46"),
    }  # fmt: skip
    facts = {one.name: one for one in cell_facts(UnitTerrain)}
    for name, (value, coarse, fine) in rough.items():
        one = replace(UnitTerrain(), **{name: value}, too_coarse=True)  # type: ignore[arg-type]
        assert str(_cell(one, facts[name])) == coarse
        assert str(_cell(replace(one, too_coarse=False), facts[name])) == fine
    assert str(_cell(UnitTerrain(aspect_mean_deg=359.6, too_coarse=False), facts["aspect_mean_deg"])) == "0"
    assert _cell(UnitTerrain(facing="N"), facts["facing"]) == "N" and set(facts) == {*rough, "facing"}
    # what of it is told beside: hand-only ground from half a percent on
    assert facts["hand_only_pct"].tells_from == 0.5 and facts["facing"].beside == "slope_p90_pct"


def test_the_sun_s_side_turns_south_of_the_equator_where_nobody_chose_it() -> None:
    south, own = (292.5, 67.5), replace(RULES, sun_facing_deg=(100.0, 200.0))
    assert rules_for(RULES, is_south=True).sun_facing_deg == south and rules_for(RULES, is_south=False) == RULES
    assert rules_for(own, is_south=True) == own
    grids: list[tuple[Any, bool]] = [(SimpleNamespace(lat=lat), lat < 0) for lat in (-0.1, 0.0, 0.1)]
    assert all((rules_here(RULES, grid).sun_facing_deg == south) is is_south for grid, is_south in grids)
    assert rules_here(RULES, None) == RULES
    stored = unit("A", box(0, 0, 100, 100))
    whole, half = as_stored([GRID.to_grid(stored.geometry), box(0, 0, 50, 100)], [stored], GRID)
    assert whole is stored.geometry and GRID.to_grid(half).area == pytest.approx(5000, rel=1e-6)
    assert as_stored([box(0, 0, 1, 1)], [stored], None) == []


def piece(stage: str, shape: Polygon, unit_id: str = "A") -> Any:
    return SimpleNamespace(
        unit_id=unit_id, stage=stage, geometry=shape, area_m2=shape.area, acres=shape.area / M2_PER_ACRE
    )


def test_what_remains_has_no_scraps_and_no_gaps_but_for_trees_that_are_left() -> None:
    tenth_m = 0.1 * M2_PER_ACRE / 10  # a strip of this length and 10 m is a tenth of an acre
    just, under = box(0, 0, 10, tenth_m * 1.001), box(20, 0, 30, tenth_m * 0.999)
    found = remaining_outline("A", [piece("standing", just), piece("part_cut", under), piece("standing", just, "B")])
    assert found is not None and found.geometry.equals(MultiPolygon([just]))
    assert (found.scraps, found.unit_id) == (1, "A")
    assert (found.acres, found.scrap_acres) == (pytest.approx(0.2), pytest.approx(0.0999))
    assert remaining_outline("A", [piece("down", just), piece("standing", just, "B")]) is None
    assert remaining_outline("A", [piece("standing", Polygon())]) is None
    scraps = remaining_outline("A", [piece("standing", under)])
    assert scraps is not None and scraps.geometry.is_empty and scraps.scraps == 1
    # gaps of an acre's tenth, of less, and of less with ground left on purpose in it
    large, small, kept = (box(x, 20, x + 10, 20 + tenth_m * size) for x, size in ((20, 1.001), (50, 0.999), (80, 0.5)))
    ring = box(0, 0, 100, 100).difference(large).difference(small).difference(kept)
    pieces = [piece("standing", ring), piece("keep", Point(85, 30).buffer(1)), piece("down", small)]
    open_gaps = remaining_outline("A", pieces)
    assert open_gaps is not None and len(open_gaps.geometry.geoms[0].interiors) == 2
    assert open_gaps.geometry.area == pytest.approx(ring.area + small.area)
    others = [pieces[0], piece("keep", Point(85, 30).buffer(1), "B")]
    closed = remaining_outline("A", others)
    assert closed is not None and len(closed.geometry.geoms[0].interiors) == 1


def test_a_tenth_of_an_acre_to_the_last_digit_is_no_scrap_and_its_gap_stays_open() -> None:
    tenth_m2 = 0.1 * M2_PER_ACRE
    found = remaining_outline("A", [piece("standing", box(0, 0, tenth_m2, 1))])
    assert found is not None and found.scraps == 0 and found.geometry.area == tenth_m2
    hole = box(0, 0, tenth_m2, 1)
    ring = Polygon(box(-9, -9, 999, 9).exterior, [hole.exterior])
    opened = remaining_outline("A", [piece("standing", ring)])
    assert opened is not None and len(opened.geometry.geoms[0].interiors) == 1


def test_units_of_a_copy_that_would_tell_of_ground_left_are_left_out() -> None:
    a, b, c = (unit(name, box(x, 0, x + 100, 100)) for name, x in (("A", 0), ("B", 200), ("C", 400)))

    def ground(keeps_m: float, units: Any = (a, b, c)) -> Any:
        pieces = [piece("standing", box(0, 0, 50, 100)), piece("keep", box(60, 0, 60 + keeps_m, 100)),
                  piece("standing", box(200, 0, 300, 100), "B"), piece("keep", box(0, 0, 1, 1), "B")]  # fmt: skip
        return SimpleNamespace(units=units, pieces=pieces, grid=GRID)

    assert telling_units(ground(20), owners=ground(20)) == set()
    assert telling_units(ground(20.1), owners=ground(20)) == set()
    assert telling_units(ground(20), owners=ground(20.1)) == {"A"}
    moved = (a, replace(b, geometry=a.geometry), c)
    assert telling_units(ground(20, moved), owners=ground(20)) == {"B"}
    told = remaining_outlines(ground(20), owners=ground(20.1))
    assert [one.unit_id for one in told] == ["B"] and abs(told[0].geometry.bounds[1] - 38.0) < 1e-3
    assert remaining_outlines(SimpleNamespace(grid=None), owners=ground(1)) == ()  # type: ignore[arg-type]


def test_ground_to_leave_is_missed_from_the_first_crumb_on() -> None:
    rule = LeaveRule(place_pct=(10.0, 20.0), unit_pct={"B": (50.0, 60.0)})
    assert (rule.target_acres("A", 40.0), rule.target_acres("B", 40.0)) == ((4.0, 8.0), (20.0, 24.0))
    assert LeaveRule().target_acres("A", 40.0) is None
    assert missing_acres(None, left_acres=1, remaining_acres=1) == (None, None)
    assert missing_acres((4, 8), left_acres=1, remaining_acres=2) == (2, 1)
    assert missing_acres((4, 8), left_acres=1, remaining_acres=5) == (3, 0)
    assert missing_acres((4, 8), left_acres=5, remaining_acres=5) == (0, 0)

    def ground(live_m2: float, stage: str = "standing", all_m2: float = 10 * M2_PER_ACRE) -> Any:
        def sized(one: str, m2: float) -> Any:
            return SimpleNamespace(unit_id="A", stage=one, area_m2=m2)

        return SimpleNamespace(
            pieces=[sized(stage, live_m2), sized("down", all_m2 - live_m2), sized("grass", M2_PER_ACRE)]
        )

    acre = M2_PER_ACRE
    for stage in ("standing", "part_cut", "keep"):
        assert leavable_acres(ground(2 * acre, stage))["A"] == pytest.approx((10, 2))
    assert leavable_acres(ground(2 * acre, "down"))["A"] == pytest.approx((10, 0))
    # one acre of ten is the least
    (taken,) = taken_under(ground(2 * acre), ground(0.5 * acre), rule)
    assert (taken.unit_id, taken.least_acres, taken.before_acres, taken.after_acres) == (
        "A", pytest.approx(1), pytest.approx(2), pytest.approx(0.5),
    )  # fmt: skip
    assert taken_under(ground(2 * acre), ground((1 - 5e-7) * acre), rule) == ()
    assert taken_under(ground(2 * acre), ground((1 - 5e-6) * acre), rule) != ()
    assert taken_under(ground(0.5 * acre), ground(0.5 * acre), rule) == ()  # it was too little before
    assert taken_under(ground(0.5 * acre), ground((0.5 - 5e-6) * acre), rule) != ()
    assert taken_under(ground(2 * acre), ground(0.5 * acre), LeaveRule()) == ()
