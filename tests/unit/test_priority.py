"""The order of work, from hand-worked examples."""

from __future__ import annotations

from dataclasses import replace

import pytest

from habmap.work.closures import Closure
from habmap.work.priority import (
    PARTS,
    Candidate,
    DenseLimits,
    is_dense,
    is_sun_facing,
    next_unit,
    parts_of,
    passed_over,
    rank_units,
    tier_of,
)

LIMITS = DenseLimits(stems_per_acre=250, canopy_pct=50)
EQUAL = dict.fromkeys(PARTS, 1.0)
BENCH = Candidate(
    unit_id="bench",
    cover="cedar",
    remaining_acres=5.0,
    stems_per_acre=900,
    sun_facing_pct=82.0,
    coverage_pct=100.0,
    aspect_mean_deg=202.5,
    heat_load_mean=1.05,
    near_open_m=0.0,
    hand_only_pct=20.0,
)


@pytest.mark.parametrize(
    ("changes", "tier"),
    [
        ({}, "first"),
        ({"stems_per_acre": 250}, "first"),
        ({"stems_per_acre": 249.9}, "next"),
        ({"stems_per_acre": None}, "next"),
        ({"stems_per_acre": None, "canopy_pct": 50}, "first"),
        ({"stems_per_acre": 10, "canopy_pct": 60}, "first"),
        ({"sun_facing_pct": 50.0}, "first"),
        ({"sun_facing_pct": 49.9}, "next"),
        ({"sun_facing_pct": None, "coverage_pct": 0.0}, "next"),
        ({"sun_facing_pct": 49.0, "stems_per_acre": 40}, "later"),
        ({"sun_facing_pct": None, "stems_per_acre": None}, "later"),
        ({"cover": "mixed"}, "next"),
        ({"cover": "grass"}, "none"),
        ({"remaining_acres": 0.0}, "none"),
    ],
)
def test_tier_follows_what_is_known(changes: dict[str, object], tier: str) -> None:
    assert tier_of(replace(BENCH, **changes), limits=LIMITS) == tier  # type: ignore[arg-type]


def test_missing_elevation_never_makes_a_unit_first_on_a_guess() -> None:
    half_seen = replace(BENCH, coverage_pct=50.0, sun_facing_pct=90.0)  # 45% known to be sunny, 50% unknown
    mostly_seen = replace(BENCH, coverage_pct=60.0, sun_facing_pct=90.0)  # 54% known to be sunny
    shady = replace(BENCH, coverage_pct=60.0, sun_facing_pct=10.0)  # 46% at the most
    assert [is_sun_facing(unit) for unit in (half_seen, mostly_seen, shady)] == [None, True, False]
    assert tier_of(half_seen, limits=LIMITS) == "next"


def test_unknown_density_is_not_sparse() -> None:
    assert is_dense(replace(BENCH, stems_per_acre=None), limits=LIMITS) is None


def test_parts_and_score_by_hand() -> None:
    parts = parts_of(BENCH, limits=LIMITS)
    assert parts == pytest.approx(
        {
            "sun_facing": 0.82,
            "heat_load": 1.0,
            "density": 0.9,
            "remaining": 0.5,
            "near_open": 1.0,
            "gentle": 0.8,
            "near_seed": None,
        }
    )
    line = rank_units([BENCH], limits=LIMITS, weights={**dict.fromkeys(PARTS, 0.0), "density": 3.0, "remaining": 1.0})
    assert line[0].score == pytest.approx((3 * 0.9 + 0.5) / 4)


def test_ties_break_by_remaining_acres_then_id() -> None:
    weights = {**dict.fromkeys(PARTS, 0.0), "density": 1.0}
    units = [
        replace(BENCH, unit_id="b", remaining_acres=2.0),
        replace(BENCH, unit_id="a", remaining_acres=2.0),
        replace(BENCH, unit_id="z", remaining_acres=9.0),
    ]
    assert [line.unit_id for line in rank_units(units, limits=LIMITS, weights=weights)] == ["z", "a", "b"]


def test_tiers_come_before_scores_and_orders_count_from_one() -> None:
    weak_first = replace(BENCH, unit_id="weak", sun_facing_pct=50.0, stems_per_acre=250, heat_load_mean=0.6)
    strong_next = replace(BENCH, unit_id="strong", cover="mixed")
    grass = replace(BENCH, unit_id="grass", cover="grass")
    lines = rank_units([grass, strong_next, weak_first], limits=LIMITS, weights=EQUAL)
    assert [(line.order, line.unit_id) for line in lines] == [(1, "weak"), (2, "strong"), (3, "grass")]
    assert lines[1].score is not None and lines[0].score is not None and lines[1].score > lines[0].score
    assert lines[2].score is None and lines[2].firm_pct is None


def test_a_unit_ahead_in_every_part_holds_and_an_even_trade_is_a_close_call() -> None:
    better = replace(BENCH, unit_id="better")
    worse = replace(BENCH, unit_id="worse", sun_facing_pct=60.0, stems_per_acre=300, heat_load_mean=0.8)
    clear = rank_units([worse, better], limits=LIMITS, weights=EQUAL)
    assert [(line.unit_id, line.firm_pct, line.close_call) for line in clear] == [
        ("better", 100.0, False),
        ("worse", 100.0, False),
    ]
    sunny = replace(BENCH, unit_id="sunny", sun_facing_pct=95.0, stems_per_acre=600)
    thick = replace(BENCH, unit_id="thick", sun_facing_pct=65.0, stems_per_acre=900)
    even = rank_units([sunny, thick], limits=LIMITS, weights=EQUAL)
    assert all(line.close_call for line in even)
    assert even[0].firm_pct is not None and 30 < even[0].firm_pct < 70


def test_twins_are_a_close_call_though_one_must_stand_first() -> None:
    """Nothing tells them apart but a hair of acres, which every weighting favors."""
    twins = [replace(BENCH, unit_id=name, remaining_acres=acres) for name, acres in (("a", 11.0), ("b", 11.0 + 1e-6))]
    lines = rank_units(twins, limits=LIMITS, weights=EQUAL)
    assert [(line.unit_id, line.firm_pct, line.close_call) for line in lines] == [("b", 0.0, True), ("a", 0.0, True)]


def test_the_order_is_the_same_every_time() -> None:
    units = [replace(BENCH, unit_id=str(i), sun_facing_pct=50.0 + i, stems_per_acre=900 - 7.0 * i) for i in range(9)]
    assert rank_units(units, limits=LIMITS, weights=EQUAL) == rank_units(
        list(reversed(units)), limits=LIMITS, weights=EQUAL
    )


def test_reasons_are_plain_and_own_up_to_what_is_unknown() -> None:
    line = rank_units([BENCH], limits=LIMITS, weights=EQUAL)[0]
    assert line.reasons == (
        "cedar",
        "faces south-southwest, 82% of what remains is sun-facing",
        "about 900 stems per acre",
        "dense",
        "5.0 acres remain",
    )
    unknown = replace(BENCH, stems_per_acre=None, sun_facing_pct=None, coverage_pct=0.0, aspect_mean_deg=None)
    words = " ".join(rank_units([unknown], limits=LIMITS, weights=EQUAL)[0].reasons)
    assert "not known" in words and "not been measured" in words


def test_upkeep_stands_beside_the_first_tier_nearest_seed_trees_first() -> None:
    done = replace(BENCH, remaining_acres=0.0, upkeep_acres=3.0, upkeep_why="four years since the fire")
    far, near = replace(done, unit_id="far", near_seed_m=300.0), replace(done, unit_id="near", near_seed_m=0.0)
    prairie = replace(near, unit_id="prairie", cover="grass", upkeep_acres=1.0)
    waiting = replace(BENCH, unit_id="next", stems_per_acre=10)
    lines = rank_units([waiting, far, prairie, near, BENCH], limits=LIMITS, weights=EQUAL)
    assert [(line.unit_id, line.tier) for line in lines] == [
        ("bench", "first"),
        ("near", "upkeep"),
        ("prairie", "upkeep"),
        ("far", "upkeep"),
        ("next", "next"),
    ]
    assert lines[3].score == pytest.approx(0.25)  # 100 / (100 + 300)
    assert "3.0 acres ask for upkeep: four years since the fire" in lines[1].reasons


def test_ground_without_cedars_says_so_unless_it_asks_for_upkeep() -> None:
    prairie = replace(BENCH, cover="grass", upkeep_acres=1.0, upkeep_why="four years since the fire")
    field = replace(BENCH, cover="crop")
    done = replace(BENCH, remaining_acres=0.0)
    told = {line.cover: line.reasons for line in rank_units([prairie, field, done], limits=LIMITS, weights=EQUAL)}
    assert told["grass"] == ("grass", "1.0 acres ask for upkeep: four years since the fire")
    assert told["crop"] == ("crop: not cedar ground",)
    assert told["cedar"] == ("cedar", "no acres remain")


def test_holds_and_contract_dates_are_said_in_every_tier() -> None:
    for unit in (replace(BENCH, remarks=("held: nesting",)), replace(BENCH, cover="crop", remarks=("held: nesting",))):
        assert "held: nesting" in rank_units([unit], limits=LIMITS, weights=EQUAL)[0].reasons


@pytest.mark.parametrize(
    ("coverage_pct", "share_pct", "is_reached"),
    [
        # what is not covered could face the sun, or not: 60% covered, 40% could be anything
        (60.0, 16.7, None), (60.0, 16.6, False), (60.0, 83.3, None), (60.0, 83.4, True),
        # but for a tenth of a percent, as rounding leaves it
        (99.95, 50.01, True), (99.95, 49.99, False), (99.9, 50.01, None), (99.85, 50.01, None),
        (99.85, 50.2, True), (99.85, 49.8, False),
        (100.0, 50.0, True), (None, 50.0, None), (0.0, 90.0, None),
    ],
)  # fmt: skip
def test_a_share_of_part_of_a_unit_reaches_a_half_whatever_the_rest_holds(
    coverage_pct: float | None, share_pct: float, is_reached: bool | None
) -> None:
    stand = replace(BENCH, coverage_pct=coverage_pct, sun_facing_pct=share_pct)
    assert is_sun_facing(stand) is is_reached
    canopy = replace(BENCH, stems_per_acre=None, canopy_pct=share_pct, canopy_coverage_pct=coverage_pct)
    wanted = share_pct >= 50 if coverage_pct is None else is_reached
    assert is_dense(canopy, limits=LIMITS) is wanted
    assert is_dense(replace(canopy, stems_per_acre=10), limits=LIMITS) is bool(wanted)


def test_ground_of_a_thousandth_of_an_acre_is_work_and_less_is_none() -> None:
    for acres, tier, upkeep in ((0.001, "first", "upkeep"), (0.0009999, "none", "none"), (0.001005, "first", "upkeep")):
        assert tier_of(replace(BENCH, remaining_acres=acres), limits=LIMITS) == tier
        kept = replace(BENCH, remaining_acres=0.0, upkeep_acres=acres, upkeep_why="years")
        assert tier_of(kept, limits=LIMITS) == upkeep
        (line,) = rank_units([kept], limits=LIMITS, weights=EQUAL)
        assert any("ask for upkeep" in words for words in line.reasons) is (upkeep == "upkeep")
        assert (line.facing_remaining, line.aspect_remaining_deg, line.sun_facing_remaining_pct) == (None, None, None)
    faced = replace(BENCH, facing="SW")
    (line,) = rank_units([faced], limits=LIMITS, weights=EQUAL)
    assert (line.facing_remaining, line.aspect_remaining_deg, line.sun_facing_remaining_pct) == ("SW", 202.5, 82.0)
    assert (line.on_hold, line.close_call, line.has_cutting) == (False, False, True)


@pytest.mark.parametrize(
    ("changes", "part", "value"),
    [
        ({"heat_load_mean": 0.5}, "heat_load", 0.0),
        ({"heat_load_mean": 0.6045}, "heat_load", 0.01),
        ({"heat_load_mean": 0.825}, "heat_load", 0.5),
        ({"heat_load_mean": 1.0455}, "heat_load", 0.99),
        ({"heat_load_mean": 1.2}, "heat_load", 1.0),
        ({"heat_load_mean": None}, "heat_load", None),
        ({"stems_per_acre": 990}, "density", 0.99),  # full at four times the limit
        ({"stems_per_acre": 2000}, "density", 1.0),
        ({"stems_per_acre": 500, "canopy_pct": 60}, "density", 0.6),
        ({"stems_per_acre": 700, "canopy_pct": 60}, "density", 0.7),
        ({"stems_per_acre": None, "canopy_pct": 60}, "density", 0.6),
        ({"stems_per_acre": None}, "density", None),
        ({"remaining_acres": 15.0}, "remaining", 0.75),
        ({"near_open_m": 300.0}, "near_open", 0.25),
        ({"near_open_m": None}, "near_open", None),
        ({"near_seed_m": 25.0}, "near_seed", 0.8),
        ({"hand_only_pct": None}, "gentle", None),
        ({"sun_facing_pct": None}, "sun_facing", None),
    ],
)
def test_each_part_of_a_score_by_hand(changes: dict[str, object], part: str, value: float | None) -> None:
    found = parts_of(replace(BENCH, **changes), limits=LIMITS)[part]  # type: ignore[arg-type]
    assert found == (None if value is None else pytest.approx(value))


def test_a_part_that_is_not_known_counts_as_nothing_but_heat_load_where_the_ground_is_known() -> None:
    weights = {**dict.fromkeys(PARTS, 0.0), "heat_load": 1.0, "sun_facing": 1.0, "gentle": 2.0}

    def score(**changes: object) -> float | None:
        return rank_units([replace(BENCH, **changes)], limits=LIMITS, weights=weights)[0].score  # type: ignore[arg-type]

    assert score() == pytest.approx((1.0 + 0.82 + 2 * 0.8) / 4)
    assert score(heat_load_mean=None) == pytest.approx((0.82 + 2 * 0.8) / 3)
    assert score(heat_load_mean=None, sun_facing_pct=None) == pytest.approx(2 * 0.8 / 4)
    assert score(hand_only_pct=None) == pytest.approx((1.0 + 0.82) / 4)
    only_heat = {**dict.fromkeys(PARTS, 0.0), "heat_load": 1.0}
    (nothing,) = rank_units([replace(BENCH, heat_load_mean=None)], limits=LIMITS, weights=only_heat)
    assert nothing.score == 0.0


def test_scores_half_a_hundredth_apart_hold_their_places_and_closer_ones_none() -> None:
    """One part alone weighs, so that no weighting moves it: 80.0 against 79.498 and against 79.502 hundredths."""
    gentle = {**dict.fromkeys(PARTS, 0.0), "gentle": 1.0}

    def firm(*hand_only_pct: float) -> list[tuple[float | None, bool]]:
        units = [replace(BENCH, unit_id=str(n), hand_only_pct=pct) for n, pct in enumerate(hand_only_pct)]
        return [(line.firm_pct, line.close_call) for line in rank_units(units, limits=LIMITS, weights=gentle)]

    assert firm(20.0, 20.502) == [(100.0, False)] * 2
    assert firm(20.0, 20.498) == [(0.0, True)] * 2
    # of three the one that stands apart holds its place
    assert firm(20.0, 20.1, 40.0) == [(0.0, True), (0.0, True), (100.0, False)]
    assert firm(1.0, 20.0, 20.1) == [(100.0, False), (0.0, True), (0.0, True)]
    assert firm(20.0) == [(100.0, False)]


def test_scores_alike_to_the_ninth_digit_are_ties_and_go_by_what_remains() -> None:
    gentle = {**dict.fromkeys(PARTS, 0.0), "gentle": 1.0}
    for apart, first in ((4e-9, "less"), (4e-10, "more")):
        units = [
            replace(BENCH, unit_id="less", hand_only_pct=20.0, remaining_acres=1.0),
            replace(BENCH, unit_id="more", hand_only_pct=20.0 + 100 * apart, remaining_acres=2.0),
        ]
        assert rank_units(units, limits=LIMITS, weights=gentle)[0].unit_id == first


def test_an_order_that_three_of_four_weightings_keep_is_no_close_call() -> None:
    """A stand ahead by its stems against one ahead by its face, whose lead shrinks step by step."""
    thick = replace(BENCH, unit_id="thick", sun_facing_pct=55.0, stems_per_acre=990)
    found = []
    for step in range(60):
        sunny = replace(BENCH, unit_id="sunny", sun_facing_pct=85.0 - step / 3, stems_per_acre=600)
        line = rank_units([sunny, thick], limits=LIMITS, weights=EQUAL)[0]
        assert line.firm_pct is not None and line.close_call is (line.firm_pct < 75)
        found.append(line.firm_pct)
        # it is told of 2,000 weightings
        assert line.firm_pct * 20 == pytest.approx(round(line.firm_pct * 20), abs=1e-6)
    assert any(75.0 <= firm < 75.75 for firm in found) and any(74.25 < firm < 75.0 for firm in found)


def test_what_comes_next_is_neither_held_nor_closed_and_what_it_passes_over_is_told() -> None:
    hold, closed = Closure(work=None, reason="owls", last=None), Closure(work="cut", reason="fair", last=None)
    units = [
        replace(BENCH, unit_id=name, stems_per_acre=stems, closure=closure)
        for name, stems, closure in (("a", 990, hold), ("b", 900, closed), ("c", 800, None), ("d", 700, hold))
    ]
    grass = replace(BENCH, unit_id="g", cover="grass", upkeep_acres=1.0, upkeep_why="years", closure=hold)
    ranked = rank_units([*units, grass], limits=LIMITS, weights=EQUAL)
    following = next_unit(ranked)
    assert following is not None and following.unit_id == "c"
    assert [line.unit_id for line in passed_over(ranked)] == ["a", "b"]
    assert [line.on_hold for line in ranked] == [True, False, False, True, True]
    kept_from = rank_units([units[0], units[3], grass], limits=LIMITS, weights=EQUAL)
    assert next_unit(kept_from) is None and [line.unit_id for line in passed_over(kept_from)] == ["a", "d"]
    assert next_unit(rank_units([grass], limits=LIMITS, weights=EQUAL)) is None


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"aspect_mean_deg": None}, "level ground, 82% of what remains is sun-facing"),
        ({"too_coarse": True}, "roughly 80% of what remains is sun-facing (the elevation's cells are too coarse for"),
        ({"coverage_pct": 98.9}, "elevation covers only 99% of it"),
        ({"coverage_pct": 60.0}, "elevation covers only 60% of it"),
        ({"canopy_pct": 61.0}, "crowns cover 61%"),
        ({"cover": "mixed"}, "mixed cedar and hardwood"),
        ({"stems_per_acre": 40}, "not dense"),
        ({"remaining_acres": 0.05}, "0.1 acres remain"),
        ({"remaining_acres": 0.0499}, "0.05 acres remain"),
        ({"remaining_acres": 0.0501}, "0.1 acres remain"),
        ({"upkeep_acres": 2.0, "upkeep_why": "years"}, "2.0 acres ask for upkeep: years"),
    ],
)  # fmt: skip
def test_reasons_word_by_word(changes: dict[str, object], words: str) -> None:
    found = rank_units([replace(BENCH, **changes)], limits=LIMITS, weights=EQUAL)[0].reasons  # type: ignore[arg-type]
    assert any(words in one for one in found), found
    plain = rank_units([replace(BENCH, coverage_pct=99.0)], limits=LIMITS, weights=EQUAL)[0].reasons
    assert not any("elevation covers only" in one for one in plain)
