"""The order of work, from hand-worked examples."""

from __future__ import annotations

from dataclasses import replace

import pytest

from habmap.work.priority import PARTS, Candidate, DenseLimits, is_dense, is_sun_facing, parts_of, rank_units, tier_of

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
