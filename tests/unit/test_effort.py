"""Hours and money per acre, by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from fakes import GRID, FakeStore, entry, unit
from shapely import MultiPolygon, box

from habmap.jobs.ground import ground
from habmap.measures import M2_PER_ACRE
from habmap.work.bite import acres_in, usual_bite
from habmap.work.closures import Closure, Closures
from habmap.work.effort import (
    Rates,
    Sample,
    assumed,
    density_classes,
    follow_up,
    left,
    left_on,
    pass_acres,
    rate,
    rates,
    samples,
    slope_class,
    timed_patches,
)
from habmap.work.effort_account import rests_on
from habmap.work.finish import Finish, finish
from habmap.work.next_bite import Asked, bite_in
from habmap.work.priority import DenseLimits
from habmap.work.seasons import DatedBan, HeldUnit
from habmap.work.terrain import UnitTerrain


def test_rate_is_the_ratio_of_totals_with_t_limits() -> None:
    # 2 ac in 10 h and 4 ac in 26 h: R = 6; residuals −2 and 2; SE = √(2·8)/6; t(1) = 12.7062 (Student's table)
    got = rate([Sample(acres=2, spent=10), Sample(acres=4, spent=26)])
    assert got is not None and got.per_acre == pytest.approx(6.0)
    assert got.high == pytest.approx(6 + 12.7062 * math.sqrt(16) / 6, rel=1e-5)
    assert got.low == 0.0


def test_steady_days_have_no_spread() -> None:
    got = rate([Sample(acres=1, spent=8), Sample(acres=0.5, spent=4)])
    assert got is not None and (got.low, got.per_acre, got.high) == (8.0, 8.0, 8.0)


def test_one_day_gives_a_rate_without_limits_and_none_gives_nothing() -> None:
    got = rate([Sample(acres=2, spent=10)])
    assert got is not None and (got.per_acre, got.low, got.high) == (5.0, None, None)
    assert rate([]) is None


def test_what_is_left_is_acres_times_the_rate() -> None:
    got = left(3.0, rate([Sample(acres=1, spent=8), Sample(acres=0.5, spent=4)]))
    assert (got.low, got.middle, got.high) == (24.0, 24.0, 24.0)
    assert left(3.0, assumed(7.0)).middle == 21.0
    assert left(3.0, None).middle is None


def test_classes_need_enough_lines_each_and_the_finest_way_wins() -> None:
    def some(count: int, spent: float, density: str | None, slope: str | None) -> list[Sample]:
        return [
            Sample(acres=1, spent=spent, line=f"{density}{slope}{n}", density=density, slope=slope)
            for n in range(count)
        ]

    both = [*some(3, 8, "dense", "steep"), *some(3, 4, "dense", "gentle"), *some(3, 2, "open", "steep")]
    got = rates([*both, *some(3, 1, "open", "gentle")])
    assert got.split_by == ("density", "slope") and got.of(density="dense", slope="steep").per_acre == 8  # type: ignore[union-attr]
    # two lines are too few for a class of their own: density alone is told apart, 12 lines in all less one
    got = rates([*both, *some(2, 1, "open", "gentle")])
    assert got.split_by == ("density",) and got.of(density="open").per_acre == pytest.approx(8 / 5)  # type: ignore[union-attr]
    got = rates(some(3, 8, "dense", "steep"))
    assert got.split_by == () and got.of(density="open").per_acre == 8 and "one rate" in got.split_words  # type: ignore[union-attr]


def test_one_line_on_two_units_is_one_sample() -> None:
    got = rates(
        [Sample(acres=1, spent=8, line="a"), Sample(acres=1, spent=4, line="a"), Sample(acres=2, spent=9, line="b")]
    )
    assert got.overall is not None and (got.overall.samples, got.overall.per_acre) == (2, 21 / 4)


YEAR = tuple(range(1, 13))
OPEN = Closures(bans=(), holds=())


def done_on(
    hours: dict[str, float], *, per_week: float = 7, months: tuple[int, ...] = YEAR, closures: Closures = OPEN
) -> Finish:
    return finish(hours, start=date(2026, 1, 1), hours_per_week=per_week, working_months=months, closures=closures)


def test_finish_counts_weeks_and_skips_months_off() -> None:
    # 14 hours at 7 a week is one hour a day: the fourteenth day is the last
    assert done_on({"A": 14}).day == date(2026, 1, 14)
    assert done_on({"A": 7, "B": 7}).day == date(2026, 1, 14)
    assert done_on({"A": 0}).day == date(2026, 1, 1)
    # 31 days of January, then nothing until October
    off = done_on({"A": 32}, months=(1, 10))
    assert (off.day, off.moved_by) == (date(2026, 10, 1), ("months off",))
    assert done_on({"A": 1e9}, per_week=1).day is None


@pytest.mark.parametrize(("weeks", "per_week"), [(700, 7.1), (1040, 0.3), (3, 40), (1, 1 / 3)])
def test_whole_weeks_end_on_their_last_day(weeks: int, per_week: float) -> None:
    # so many weeks of hours end after 7 days each, whatever the binary rounding of a seventh
    assert done_on({"A": weeks * per_week}, per_week=per_week).day == date(2026, 1, 1) + timedelta(days=7 * weeks - 1)


def test_holds_and_closed_days_move_the_finish_and_are_named() -> None:
    hold = HeldUnit(unit_id="A", reason="nest", first=None, last=date(2026, 1, 20))
    # ten hours of B by 10 January, then nothing can be done until A's hold is over
    moved = done_on({"A": 5, "B": 10}, closures=Closures(bans=(), holds=(hold,)))
    assert moved.day == date(2026, 1, 25) and moved.moved_by == ("A on hold until 2026-01-20: nest",)
    ban = DatedBan(what="closed_cut", reason="mud", first=date(2026, 1, 3), last=date(2026, 1, 12))
    shut = done_on({"A": 5}, closures=Closures(bans=(ban,), holds=()))
    assert shut.day == date(2026, 1, 15) and shut.moved_by == ("closed to cutting until 2026-01-12: mud",)


def test_the_finish_waits_for_the_first_day_of_a_contract() -> None:
    waits = {"A": Closure(work="contract", reason="EQIP 2 (314)", last=date(2026, 1, 20))}
    moved = finish(
        {"A": 5, "B": 10}, start=date(2026, 1, 1), hours_per_week=7, working_months=YEAR, closures=OPEN, waits=waits
    )
    # B's ten hours by 10 January; A's five from 21 January on
    assert moved.day == date(2026, 1, 25)
    assert moved.moved_by == ("A waiting until 2026-01-20: EQIP 2 (314) has not begun",)


def test_ground_on_hold_without_an_end_is_left_out_and_named() -> None:
    hold = HeldUnit(unit_id="A", reason="nest", first=None, last=None)
    closures = Closures(bans=(), holds=(hold,))
    got = done_on({"A": 5, "B": 10}, closures=closures)
    assert (got.day, got.without) == (date(2026, 1, 10), ("A",))
    assert done_on({"A": 5}, closures=closures) == Finish(day=None, without=("A",))
    # a hold that begins on 4 January leaves three days for it
    later = HeldUnit(unit_id="A", reason="nest", first=date(2026, 1, 4), last=None)
    assert done_on({"A": 3}, closures=Closures(bans=(), holds=(later,))).day == date(2026, 1, 3)
    got = done_on({"A": 5}, closures=Closures(bans=(), holds=(later,)))
    assert (got.day, got.without) == (date(2026, 1, 3), ("A",))


def test_lines_that_say_hours_or_cost_are_timed_and_follow_up_is_added_up() -> None:
    square = box(0, 0, 100, 100)
    hours, cost, both = (entry("cut", f"2026-01-0{day}", square, **said) for day, said in (
        (1, {"person_hours": 3.0}), (2, {"cost": 50.0}), (3, {"person_hours": 2.0, "cost": 9.0})))  # fmt: skip
    silent = entry("cut", "2026-01-04", square)
    pile, again = entry("pile", "2026-01-05", square, person_hours=4.0), entry("pile", "2026-01-06", square, cost=1.0)
    burn = entry("pile_burn", "2026-01-07", square, person_hours=1.5)
    found = ground(FakeStore([unit("A", square), hours, cost, both, silent, pile, again, burn], grid=GRID))
    timed = timed_patches(found)
    assert list(timed) == [hours.entry_id, cost.entry_id, both.entry_id]
    assert timed[cost.entry_id].area == pytest.approx(10_000, rel=1e-6)
    assert pass_acres(found, silent) == pytest.approx(10_000 / M2_PER_ACRE, rel=1e-6)
    assert follow_up(found, ("pile_burn", "haul", "pile")) == (("pile_burn", "pile"), 5.5)
    assert follow_up(found, ("haul",)) == ((), 0)


def test_the_figures_of_a_density_class_rest_on_the_class_that_has_fewest_lines() -> None:
    def some(counts: dict[tuple[str, str], int]) -> Rates:
        return rates([
            Sample(acres=1, spent=1, line=f"{key}{n}", density=key[0], slope=key[1])
            for key, count in counts.items() for n in range(count)
        ])  # fmt: skip

    both = some({("dense", "steep"): 5, ("dense", "gentle"): 4, ("open", "steep"): 3, ("open", "gentle"): 6})
    assert both.split_by == ("density", "slope")
    assert (both.lines_of(density="dense"), both.lines_of(density="open"), both.lines_of()) == (4, 3, 18)
    by_density = some({("dense", "steep"): 7, ("open", "steep"): 4})
    assert by_density.split_by == ("density",)
    assert (by_density.lines_of(density="dense"), by_density.lines_of(density="open")) == (7, 4)
    assert by_density.lines_of() == 11
    # told apart by slope alone every density class rests on both
    by_slope = some({("dense", "steep"): 5, ("dense", "gentle"): 4})
    assert by_slope.split_by == ("slope",) and by_slope.lines_of(density="open") == by_slope.lines_of() == 4
    assert (some({("dense", "steep"): 2}).lines_of(), rates([]).lines_of()) == (2, 0)


def test_steep_and_gentle_shares_take_their_own_hours() -> None:
    def some(slope: str, spent: float) -> list[Sample]:
        return [Sample(acres=1, spent=spent, line=f"{slope}{n}", density=None, slope=slope) for n in range(3)]

    by = rates([*some("steep", 8.0), *some("gentle", 4.0)])
    assert left_on(10.0, density=None, steep_frac=0.25, by=by).middle == pytest.approx(2.5 * 8 + 7.5 * 4)
    assert left_on(10.0, density=None, steep_frac=None, by=by).middle == pytest.approx(60.0)
    assert acres_in(12.0, density=None, steep_frac=1.0, by=by) == pytest.approx(1.5)
    # the next bite lies on gentle ground: a week of 12 hours is three acres of it, or all that remains
    assert usual_bite(9.0, hours=12.0, density=None, by=by) == (pytest.approx(3.0), pytest.approx(12.0))
    assert usual_bite(2.0, hours=12.0, density=None, by=by) == (2.0, pytest.approx(8.0))
    assert usual_bite(9.0, hours=None, density=None, by=by) == (1.0, pytest.approx(4.0))
    unknown = rates([])
    assert acres_in(12.0, density=None, steep_frac=0.0, by=unknown) is None
    assert usual_bite(9.0, hours=12.0, density=None, by=unknown) == (1.0, None)
    # hours that nobody spent say nothing of how many acres they are good for
    nothing = rates([Sample(acres=1.0, spent=0.0, line="a")])
    assert acres_in(12.0, density=None, steep_frac=0.0, by=nothing) is None
    assert usual_bite(9.0, hours=12.0, density=None, by=nothing) == (1.0, 0.0)


def test_a_rate_needs_ground_and_is_never_below_nothing() -> None:
    assert rate([Sample(acres=0.0, spent=4.0)]) is None
    small = rate([Sample(acres=0.009, spent=0.036)])
    assert small is not None and small.per_acre == pytest.approx(4.0)
    assert [slope_class(pct, machine_limit_pct=30.0) for pct in (30.0, 30.01)] == ["gentle", "steep"]


def test_hours_are_of_ground_that_clearing_brought_to_its_target_all_its_passes_together() -> None:
    """Of a hectare 4,000 m² are cut at once, 4,000 m² in two passes, 2,000 m² are finished by a fire."""
    west, middle, east = box(0, 0, 40, 100), box(40, 0, 80, 100), box(80, 0, 100, 100)
    rows = [
        entry("cut", "2026-01-05", west.union(middle).union(east), killed_pct=60.0, person_hours=10.0),
        entry("cut", "2026-01-06", west, person_hours=4.0),
        entry("girdle", "2026-01-07", middle, killed_pct=60.0, person_hours=6.0),
        entry("burn", "2026-02-01", east, killed_pct=90.0, person_hours=50.0),
        entry("cut", "2026-03-01", west, person_hours=30.0),  # it was there already
    ]
    state = ground(FakeStore([unit("A", box(0, 0, 100, 100)), *rows], grid=GRID))
    found = samples(state, "person_hours", density={"A": "dense"}, slope={rows[1].entry_id: "steep"})
    told = {one.line: (round(one.acres * M2_PER_ACRE), round(one.spent, 6), one.density, one.slope) for one in found}
    assert told == {
        rows[1].entry_id: (4000, 10 * 0.4 + 4.0, "dense", "steep"),
        rows[2].entry_id: (4000, 10 * 0.4 + 6.0, "dense", None),
    }
    assert samples(state, "cost", density={}, slope={}) == []
    # a pass that says no hours leaves its ground out
    rows[0] = replace(rows[0], person_hours=None)
    silent = ground(FakeStore([unit("A", box(0, 0, 100, 100)), *rows], grid=GRID))
    assert samples(silent, "person_hours", density={}, slope={}) == []


def test_a_bite_by_hours_is_taken_again_on_ground_as_steep_as_it_lies() -> None:
    """At 8 h an acre on steep and 4 on gentle ground 12 hours are 3 acres of gentle ground, 2 where half is steep."""
    by = rates([Sample(acres=1, spent=spent, line=f"{slope}{n}", slope=slope)
                for slope, spent in (("steep", 8.0), ("gentle", 4.0)) for n in range(3)])  # fmt: skip
    remains = MultiPolygon([box(0, 0, 300, 300)])

    def taken(*, acres: float | None, hours: float | None, steep_pct: float | None = 50.0, hand_only: bool = False,
              hand_only_pct: float | None = None) -> tuple[float, float | None, int]:  # fmt: skip
        looks: list[object] = []

        def lie_of(outline: object) -> UnitTerrain:
            looks.append(outline)
            return UnitTerrain(hand_only_pct=steep_pct)

        unit_: Any = SimpleNamespace(unit_id="A")
        found = bite_in(
            unit_, remains, Asked(acres=acres, hours=hours, hand_only=hand_only, density=None, by=by), openings=(),
            liking=None, steep=None, hand_only_pct=hand_only_pct, lie_of=lie_of,
        )  # fmt: skip
        assert found is not None
        assert found.bite.area_m2 == pytest.approx(found.asked_acres * M2_PER_ACRE, rel=0.02)
        return round(found.asked_acres, 6), found.person_hours, len(looks)

    asked, hours, looks = taken(acres=None, hours=12.0)
    assert (asked, looks) == (2.0, 2) and hours == pytest.approx(12.0, rel=0.02)
    assert taken(acres=None, hours=12.0, steep_pct=0.0)[::2] == (3.0, 1)
    # of two wishes the lesser counts; acres alone need no second look
    assert taken(acres=2.5, hours=12.0)[::2] == (2.0, 2) and taken(acres=1.5, hours=12.0)[::2] == (1.5, 2)
    asked, hours, looks = taken(acres=2.0, hours=None)
    assert (asked, looks) == (2.0, 1) and hours == pytest.approx(12.0, rel=0.02)
    # with steep ground taken too the first guess is that of all that remains
    assert taken(acres=None, hours=12.0, hand_only=True, hand_only_pct=50.0)[::2] == (2.0, 1)
    assert taken(acres=None, hours=12.0, hand_only=True, hand_only_pct=100.0)[::2] == (2.0, 2)


@pytest.mark.parametrize(
    ("before_work", "outline", "now", "canopy_pct", "then"),
    [
        (400.0, 10.0, 10.0, None, "dense"),  # plots of before the work go before the outline's figure
        (10.0, 400.0, 400.0, None, "open"),
        (None, 400.0, 10.0, None, "dense"),  # the outline's before the plots of now
        (None, 10.0, 400.0, None, "open"),
        (None, None, 400.0, None, "dense"),
        (None, None, 10.0, None, "open"),
        (None, None, None, None, None),
        (0.0, 400.0, 400.0, None, "open"),
        (None, None, 10.0, 60.0, "dense"),  # crowns as given with the outline
    ],
)
def test_how_dense_cleared_ground_was_is_told_by_what_was_counted_before_the_work(
    before_work: float | None, outline: float | None, now: float | None, canopy_pct: float | None, then: str | None
) -> None:
    state: Any = SimpleNamespace(
        units=[SimpleNamespace(unit_id=name, stems_per_acre=outline, canopy_pct=canopy_pct) for name in "AB"]
    )
    stand: Any = SimpleNamespace(stems_per_acre_before_work=before_work, stems_per_acre=now, dense=None)
    others: Any = {"C": SimpleNamespace(dense=True), "D": SimpleNamespace(dense=False)}
    found, remains = density_classes(
        state, {"A": stand, **others}, limits=DenseLimits(stems_per_acre=250.0, canopy_pct=50.0)
    )
    assert found["A"] == then
    # of B nothing but the outline is known
    alone = "dense" if canopy_pct or (outline or 0) > 250 else None if outline is None else "open"
    assert found["B"] == alone
    assert remains == {"A": None, "C": "dense", "D": "open"}


def test_follow_up_that_says_no_hours_is_not_named_and_what_no_rate_comes_from_is_said() -> None:
    square = box(0, 0, 100, 100)
    rows = [entry("cut", "2026-01-05", square), entry("pile", "2026-02-05", square),
            entry("haul", "2026-02-06", square, person_hours=3.0)]  # fmt: skip
    state = ground(FakeStore([unit("A", square), *rows], grid=GRID))
    assert follow_up(state, ("pile", "haul")) == (("haul",), 3.0)
    assert follow_up(state, ("pile",)) == ((), 0.0)
    nothing = Rates(overall=None)
    assert rests_on(nothing, "hours").endswith("all give their hours and habmap.toml has no rate")
    assert rests_on(nothing, "cost").endswith("all give their cost")
