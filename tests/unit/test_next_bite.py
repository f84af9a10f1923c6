"""Which units are looked in for a bite, how often its hours are turned into acres, and what is told of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from fakes import GRID, FakeStore, entry, unit
from numpy.typing import NDArray
from shapely import MultiPolygon, Point, box
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.jobs.ground import ground
from habmap.land.bite import Bite
from habmap.measures import M2_PER_ACRE
from habmap.records import Feature
from habmap.vocabulary import SNAG_CAUTION, STEEP_CAUTION
from habmap.work.bite import Beside
from habmap.work.closures import Closure
from habmap.work.effort import Rates, Sample, rates
from habmap.work.next_bite import Asked, FoundBite, bite_in, bite_result, units_to_look_in
from habmap.work.priority import Ranked
from habmap.work.terrain import UnitTerrain

#: 4 h an acre, and 8 h where it is steep.
BY = rates([Sample(acres=1, spent=spent, line=f"{slope}{n}", slope=slope)
            for slope, spent in (("steep", 8.0), ("gentle", 4.0)) for n in range(3)])  # fmt: skip
HOLD = Closure(work=None, reason="owls", last=date(2026, 7, 31))
CONTRACT = Closure(work="contract", reason="EQIP 1", last=None)


def ranked(unit_id: str, *, tier: Any = "next", closure: Closure | None = None, **fields: Any) -> Ranked:
    return Ranked(order=1, unit_id=unit_id, name="", cover="cedar", tier=tier, score=None,
                  reasons=("cedar",), parts={}, firm_pct=None, close_call=False, remaining_acres=2.0,
                  closure=closure, **fields)  # fmt: skip


def order(*units: Ranked) -> Any:
    return SimpleNamespace(units=units, closed_on=date(2026, 3, 1))


def test_units_are_looked_in_by_their_order_but_those_held_closed_or_done() -> None:
    held, open_, waits, done = (
        ranked("A", closure=HOLD), ranked("B"), ranked("C", closure=CONTRACT), ranked("D", tier="upkeep")
    )  # fmt: skip
    last = ranked("E")
    assert units_to_look_in(order(held, open_, waits, done, last), None) == [open_, last]
    for units, said, value in (
        ([held, waits, done], "no ground remains that may be cut now",
         "A is on hold until 2026-07-31: owls; C is waiting: EQIP 1 has not begun"),
        ([done, replace(done, closure=HOLD)], "no ground remains to be cut", None),
    ):  # fmt: skip
        with pytest.raises(InputError) as refused:
            units_to_look_in(order(*units), None)
        assert str(refused.value).startswith(said) and refused.value.value == value


def test_a_unit_that_is_asked_for_is_refused_where_it_is_held_or_done_and_told_where_it_only_waits() -> None:
    closed = Closure(work="cut", reason="fawns", last=None)
    units = order(ranked("A", closure=HOLD), ranked("B"), ranked("C", closure=CONTRACT), ranked("D", tier="upkeep"),
                  ranked("E", closure=closed))  # fmt: skip
    assert [units_to_look_in(units, name) for name in "BC"] == [[units.units[1]], [units.units[2]]]
    for name, said in (
        ("A", "this unit is on hold: no ground in it is named"), ("E", "this unit is closed to cutting: no ground"),
        ("D", "nothing remains to be cut in this unit"), ("Z", "there is no such unit"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=said):
            units_to_look_in(units, name)


def test_acres_and_hours_that_are_asked_the_lesser_counts_and_hours_need_a_rate() -> None:
    asked = Asked(acres=None, hours=8.0, hand_only=False, density=None, by=BY)
    assert asked.acres_on(0.0) == pytest.approx(2.0) and asked.acres_on(1.0) == pytest.approx(1.0)
    assert replace(asked, acres=1.5).acres_on(0.0) == 1.5
    nothing = Rates(overall=None)
    assert replace(asked, acres=1.5, hours=None, by=nothing).acres_on(0.0) == 1.5
    with pytest.raises(InputError, match="how many hours an acre takes"):
        replace(asked, acres=1.5, by=nothing).acres_on(0.0)


def test_hours_are_turned_into_acres_three_times_at_most_and_ground_that_is_all_spared_gives_none() -> None:
    """The ground under each bite is told steeper than under the one before: 1.2 h are 0.3 acres where none is
    steep, 1.2 / 4.4 where a tenth is, a quarter where a fifth is."""
    looks: list[float] = []

    def steeper(_: BaseGeometry) -> UnitTerrain:
        looks.append(10.0 * (len(looks) + 1))
        return UnitTerrain(hand_only_pct=looks[-1])

    asked = Asked(acres=None, hours=1.2, hand_only=False, density=None, by=BY)
    how: Any = {"openings": (), "liking": None, "hand_only_pct": 70.0, "lie_of": steeper}
    ground_m = MultiPolygon([box(0, 0, 80, 80)])
    found = bite_in(ranked("A"), ground_m, asked, steep=None, **how)
    assert found is not None and len(looks) == 3 and found.lie.hand_only_pct == 30.0
    assert found.asked_acres == pytest.approx(1.2 / 4.8) and found.spared_acres == 0.0
    assert found.person_hours == pytest.approx(found.bite.area_m2 / M2_PER_ACRE * 5.2)
    assert bite_in(ranked("A"), ground_m, asked, steep=box(-10, -10, 90, 90), **how) is None
    # what is spared is told in acres; with what is steep taken along, the first guess is of ground 70% steep
    half = bite_in(ranked("A"), ground_m, asked, steep=box(40, -10, 90, 90), **how)
    assert half is not None and half.spared_acres == pytest.approx(40 * 80 / M2_PER_ACRE, rel=0.01)
    looks.clear()
    how["lie_of"] = lambda _: UnitTerrain(hand_only_pct=None)
    taken = bite_in(ranked("A"), ground_m, replace(asked, hand_only=True), steep=None, **how)
    assert taken is not None and taken.asked_acres == pytest.approx(1.2 / 6)  # half of either, not known how much


def test_ground_that_is_liked_is_taken_first() -> None:
    """Of a strip that is open along its south side the west or the east end is taken, as it is liked."""
    strip, lane = MultiPolygon([box(0, 0, 90, 30)]), Beside(words="lane", geometry=box(0, -9, 90, 0))
    asked = Asked(acres=0.2, hours=None, hand_only=False, density=None, by=BY)
    for end in (box(-1, -1, 45, 40), box(45, -1, 91, 40)):

        def liking(shapes: NDArray[np.object_], end: BaseGeometry = end) -> NDArray[np.float64]:
            share: NDArray[np.float64] = shapely.area(shapely.intersection(shapes, end)) / shapely.area(shapes)
            return share

        found = bite_in(ranked("A"), strip, asked, openings=[lane], liking=liking, steep=None, hand_only_pct=None,
                        lie_of=lambda _: UnitTerrain())  # fmt: skip
        assert found is not None and end.covers(found.bite.geometry)


def test_what_is_told_of_a_bite() -> None:
    """Three hectares in a row: a bite of the first leaves two pieces and specks of which one is a square meter."""
    first = box(0, 0, 100, 100)
    rest = [box(150, 0, 200, 100), box(250, 0, 260, 100), box(270, 0, 271, 1), box(280, 0, 281, 0.995)]
    whole = MultiPolygon([first, *rest])
    girdled = entry("girdle", "2026-01-05", box(50, 0, 100, 100), killed_pct=30.0)
    state = ground(FakeStore([unit("A", box(0, 0, 300, 100)), girdled], grid=GRID))
    nest = Feature(uuid="n", kind="nest", name="owl", geometry=GRID.to_lonlat(Point(10, 10)), sensitive=True,
                   recorded_at=datetime(2026, 1, 1, tzinfo=UTC))  # fmt: skip
    one = ranked("A", sun_facing_remaining_pct=40.0)
    lane = Beside(words="lane N", geometry=box(-5, 0, 0, 100))
    found = FoundBite(
        unit=one, bite=Bite(geometry=first, new_edge_m=30.48), asked_acres=2.5, spared_acres=1.5, openings=[lane],
        lie=UnitTerrain(hand_only_pct=12.0, sun_facing_pct=60.0), person_hours=9.0,
    )  # fmt: skip

    def told(remains: BaseGeometry, **how: Any) -> Any:
        content: dict[str, Any] = {"skipped": ["B is too narrow"], "is_asked": False, "features": [nest]} | how
        return bite_result(found, order(one), state, remains=remains, by=BY, limit_pct=30.0, **content)

    result = told(whole)
    assert (result.on, result.closed_on, result.unit_id, result.unit_name) == (
        date(2026, 1, 5),
        date(2026, 3, 1),
        "A",
        "",
    )
    assert (result.acres, result.asked_acres) == (pytest.approx(10_000 / M2_PER_ACRE), 2.5)
    assert result.new_edge_ft == pytest.approx(100.0)  # 30.48 m
    assert (result.hand_only_pct, result.sun_facing_pct, result.person_hours) == (12.0, 60.0, 9.0)
    assert result.left_acres == pytest.approx((50 * 100 + 10 * 100 + 1) / M2_PER_ACRE) and result.left_pieces == 3
    drawn = GRID.to_grid(shape(result.geometry))
    assert drawn.symmetric_difference(first).area < 0.01 and drawn.exterior.is_ccw
    assert result.beside == ("lane N, along 394 ft",)  # the west side, and 10 m on either side of it: 120 m
    assert [words.split(":")[0] for words in result.why] == [
        "B is too narrow", "A comes next in the order of work", "it lies beside lane N, along 394 ft",
        "2.47 acres in one piece; 1.48 acres remain in the unit after it, in 3 pieces, none cut smaller than 10% of it",
        "60% of it is sun-facing, of all that remains in the unit 40%",
        "1.50 acres of what remains here are hand-only (steeper than 30%) or lie in between, and are left out; "
        "--hand-only takes them too",
        "12% of it is hand-only, steeper than 30%",
        "1.24 acres of it are part killed already; its hours count it as not begun",
        "nest owl lies in it, and no line of the log leaves ground about it standing",
    ]  # fmt: skip
    assert STEEP_CAUTION in result.cautions and SNAG_CAUTION in result.cautions
    assert told(whole, is_asked=True, skipped=[]).why[0] == "A was asked for"
    all_of_it = told(first)
    assert (all_of_it.left_acres, all_of_it.left_pieces) == (0.0, 0)
    assert "nothing remains in the unit after it" in all_of_it.why[3]
