"""Which outlines tell a private place, which holes are closed and which features left out, each rule at its limit.

Grid and lon/lat are one plane; circles about the one private place have a radius of 100 m and half a cell's diagonal.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from fakes import entry, unit
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from habmap.land.veil import Veil
from habmap.records import Entry, Feature, Unit
from habmap.work.public_copy import public_copy
from habmap.work.public_ground import PublicGround

NOW = datetime(2026, 1, 1, tzinfo=UTC)
PLANE: Any = SimpleNamespace(to_grid=lambda shape: shape, to_lonlat=lambda shape: shape)
RADIUS_M = 100 + math.hypot(40, 40) / 2
CIRCLE_M2 = math.pi * RADIUS_M**2
NEST = Point(0, 0)


def around(*places: BaseGeometry) -> PublicGround:
    discs, reach = NEST.buffer(RADIUS_M), NEST.buffer(315)
    return PublicGround(PLANE, list(places), Veil(discs, reach, np.array([[0.0, 0.0]])))


HERE = around(NEST)


def drawn(shape: BaseGeometry, name: str = "A") -> Unit:
    parts = [part for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon)]
    return unit(name, shape, geometry=MultiPolygon(parts))


def tells(shape: BaseGeometry, ground: PublicGround = HERE) -> bool:
    return bool(ground.telling_units([drawn(shape)]))


def square(side_m: float, east_m: float = 0.0) -> Polygon:
    return box(east_m - side_m / 2, -side_m / 2, east_m + side_m / 2, side_m / 2)


def test_a_part_with_a_private_place_that_is_little_more_than_a_circle_tells_it() -> None:
    side_m = math.sqrt(CIRCLE_M2)
    assert tells(square(side_m - 0.01)) and not tells(square(side_m + 0.01))
    just = box(-0.5, 0, 0.5, CIRCLE_M2)
    assert just.area == CIRCLE_M2 and tells(just)
    # another part of the unit, and one beside the place
    assert not tells(square(50, east_m=400)) and not tells(square(50, east_m=400).union(square(900, east_m=-900)))
    assert tells(square(50).union(box(500, 500, 1500, 1500)))
    assert not tells(square(50), around()) and not tells(square(900).difference(square(20, east_m=440)), around())
    assert tells(square(50, east_m=400), around(NEST, Point(400, 0)))
    rows = [drawn(square(50), "A"), drawn(square(900), "B"), drawn(square(50), "C")]
    assert HERE.telling_units(rows) == ("A", "C")


def test_a_hole_about_a_private_place_tells_it_and_another_does_not() -> None:
    assert tells(square(1000).difference(square(20))) and not tells(square(1000).difference(square(20, east_m=50)))
    assert tells(square(1000).difference(square(400)))  # however wide


@pytest.mark.parametrize(
    ("wide_m", "deep_m", "told"),
    [
        # A circle laid on a mouth of 100 m dips in by 128.28 − √(128.28² − 50²) = 10.15 m, a segment of 684 m²: the bay
        # has 100 m times its depth without that, and a circle 51,701 m².
        (100, 523, True), (100, 525, False), (100, 60, True),
        # a bay wider than a circle is none
        (260, 60, False),
        # crumbs that two drawings of one edge leave
        (0.1, 10.04, True), (0.1, 9.97, False),
    ],
)  # fmt: skip
def test_a_bay_about_a_private_place_tells_it(wide_m: float, deep_m: float, told: bool) -> None:
    south = -min(30.0, deep_m / 2)
    bay = box(-wide_m / 2, south, wide_m / 2, south + deep_m)
    land = box(-900, south, 900, 900).difference(bay)
    assert tells(land) is told
    # farther from the place than a circle's radius no bay is looked for
    assert not tells(land, around(Point(0, south - 129)))


def test_holes_of_a_square_meter_about_a_place_are_closed_but_for_the_ground_beside() -> None:
    whole = MultiPolygon([square(1000)])

    def filled(hole: BaseGeometry, *beside: BaseGeometry) -> float:
        land = MultiPolygon([square(1000).difference(hole)])
        done = HERE.filled(land, [MultiPolygon([one]) for one in beside])  # type: ignore[list-item]
        assert (done is land) or done.geom_type == "MultiPolygon"
        return done.area - land.area

    assert filled(square(1.0)) == pytest.approx(1.0, rel=1e-6) and filled(square(0.9975)) == 0.0
    assert filled(square(1.0025)) == pytest.approx(1.0025**2, rel=1e-6)
    assert filled(square(20)) == pytest.approx(400) and filled(square(20, east_m=50)) == 0.0
    # all of a hole within 315 m of the place
    assert filled(box(-10, -10, 300, 10)) == pytest.approx(6200) and filled(box(-10, -10, 330, 10)) == 0.0
    # ground of a unit beside stays out, and where it leaves less than a square meter all of it
    assert filled(square(20), box(-10, -10, 0, 10)) == pytest.approx(200)
    assert filled(square(20), box(-10, -10, 9.96, 10)) == 0.0 and filled(square(20), square(20)) == 0.0
    assert HERE.filled(whole) is whole
    two = square(1000).difference(square(20)).difference(square(20, east_m=100))
    assert HERE.filled(MultiPolygon([two])).area == pytest.approx(1e6 - 400)


def test_a_hole_stays_where_another_unit_lies_in_it_on_some_day_of_this_one() -> None:
    holed = drawn(square(1000).difference(square(20)))

    def holes(*beside: Unit) -> int:
        told = HERE.unit(holed, [holed, *beside])
        return sum(len(part.interiors) for part in told.geometry.geoms)

    assert holes() == 0 and holes(drawn(square(20), "N")) == 1
    # what it was drawn like before, and what is no unit any more, lies beside nothing
    assert holes(drawn(square(1000))) == 0
    assert holes(replace(drawn(square(20), "N"), is_retired=True)) == 0


@pytest.mark.parametrize(
    ("kinds", "shape", "is_told"),
    [
        # within the circles all but what is farther off goes
        ("creek pond road fence lane", LineString([(-60, -60), (60, -60)]), False),
        ("creek pond road fence lane", LineString([(-600, -60), (600, -60)]), True),
        # what ends there leads there, but water lies where it lies
        ("fence lane road power_line", LineString([(-900, 0), (-5, 0)]), False),
        ("creek pond", LineString([(-900, 0), (-5, 0)]), True),
        # what runs round it was drawn round it, but ways bend for many reasons
        ("fence sign building", LineString([(-300, 200), (-200, 200), (-200, -200), (200, -200), (200, 190)]), False),
        ("road lane power_line gas_line creek pond",
         LineString([(-300, 200), (-200, 200), (-200, -200), (200, -200), (200, 190)]), True),
    ],
)  # fmt: skip
def test_what_stands_so_near_leads_there_or_runs_round_is_not_told(
    kinds: str, shape: BaseGeometry, is_told: bool
) -> None:
    for kind in kinds.split():
        one = Feature(uuid=kind, kind=kind, name="", geometry=shape, recorded_at=NOW)
        assert bool(HERE.features([one])) is is_told, kind
    marked = Feature(uuid="m", kind="well", name="", geometry=Point(900, 900), sensitive=True, recorded_at=NOW)
    assert HERE.features([marked]) == ()


def test_lines_stand_with_ground_that_tells_nothing_or_not_at_all() -> None:
    land = drawn(square(2000))

    def told(*lines: Entry) -> dict[str, MultiPolygon | None]:
        return {one.entry_id: one.patch for one in HERE.entries(lines, units=[land], former=[])}

    def line(practice: str, shape: BaseGeometry | None) -> Entry:
        return replace(entry(practice, "2026-01-01"), patch=None if shape is None else drawn(shape).geometry)

    bare, far = line("cut", None), line("mow", square(50, east_m=700))
    ring = line("cut", square(800).difference(NEST.buffer(30)))
    own, (shown,) = ring.patch, told(ring).values()
    assert own is not None and shown is not None
    # the hole is closed, for its surroundings count for it; a line without ground changes nothing and is left out
    assert len(own.geoms[0].interiors) == 1 and shown.area == pytest.approx(square(800).area, rel=1e-6)
    assert told(bare, ring, far) == told(ring, far) == {ring.entry_id: shown, far.entry_id: far.patch}
    # a patch within the circles alone is left out, and ground left on purpose about the place too
    small, kept = line("cut", square(20)), line("keep", square(800))
    assert told(small, far) == {far.entry_id: far.patch}
    assert told(kept) == {}
    (whole,) = told(replace(kept, practice="cut")).values()
    assert whole is not None and whole.area == pytest.approx(square(800).area, rel=1e-6)


def test_strangers_read_the_names_of_roads_creeks_and_ponds_alone() -> None:
    def name(kind: str) -> str | None:
        row = Feature(uuid="f", kind=kind, name="Hill", geometry=Point(0, 0), recorded_at=NOW)
        told = public_copy(row)
        assert (told.kind, told.geometry) == (kind, row.geometry)
        return told.name

    assert [name(kind) for kind in ("road", "creek", "pond")] == ["Hill"] * 3
    assert not any(name(kind) for kind in ("house", "fence", "school", "well", "nest", "sign"))
