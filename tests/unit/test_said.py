"""What a person says about work: ranges, words and cautions."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from fakes import entry

from habmap.errors import UsageError
from habmap.records import Entry, Look
from habmap.records.said import Said, assembled
from habmap.records.written import sprouts_of
from habmap.vocabulary import (
    CAUTIONS,
    FIRE_CAUTION,
    LABEL_CAUTION,
    MACHINE_CAUTION,
    PRACTICES,
    SAW_CAUTION,
    SNAG_CAUTION,
    STEEP_CAUTION,
    STEEP_CAUTION_PUBLIC,
    cautions_of,
)
from habmap.work.said import cautions_for, check_practice, check_said, reported_question, temperature_question

NAN, INF = math.nan, math.inf


@pytest.mark.parametrize(
    ("practice", "fields", "option"),
    [
        *[("cut", {"killed_pct": value}, "--killed-pct") for value in (-0.001, 100.001, NAN, INF)],
        *[("burn", {"burned_pct": value}, "--burned-pct") for value in (-1, 101, NAN, -INF)],
        *[("cut", {"person_hours": value}, "--person-hours") for value in (-1, NAN, INF, 10_000.1)],
        *[("cut", {"cost": value}, "--cost") for value in (-0.01, NAN, INF)],
        *[("cut", {"reported_acres": value}, "--reported-acres") for value in (0, -1, NAN, INF)],
        ("girdle", {}, "--killed-pct"),
        ("spray", {"product": "x"}, "--killed-pct"),
        ("checkup", {}, "log checkup"),
        ("cut", {"look": Look(needles="red")}, "the log line"),
        *[
            ("checkup", {"look": Look(**{name: value})}, f"--{name.replace('_', '-')}")
            for name in ("live_stems_per_acre", "tallest_ft", "seedlings_per_acre", "fuel_lb_ac")
            for value in (-1, NAN, INF)
        ],
    ],
)
def test_what_cannot_be_is_refused(practice: str, fields: dict[str, Any], option: str | None) -> None:
    with pytest.raises(UsageError) as caught:
        check_said(Said(**fields), practice=practice)
    assert caught.value.where == option
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("practice", "fields"),
    [
        ("cut", {}),
        ("cut", {"killed_pct": 0, "person_hours": 0, "cost": 0, "reported_acres": 1e-6}),
        ("girdle", {"killed_pct": 100}),
        ("cut", {"look": Look(stump_treated=True)}),
        ("checkup", {"note": "nothing to see"}),
        ("checkup", {"look": Look(live_stems_per_acre=0)}),
        ("burn", {"burned_pct": 100, "person_hours": 10_000}),
    ],
)
def test_the_edges_of_what_can_be_are_taken(practice: str, fields: dict[str, Any]) -> None:
    check_said(Said(**fields), practice=practice)


def test_practices_are_known_or_listed() -> None:
    assert [check_practice(practice) for practice in PRACTICES] == list(PRACTICES)
    with pytest.raises(UsageError) as caught:
        check_practice("Cut")
    assert "pile_burn" in (caught.value.allowed or "")


def test_sprouts() -> None:
    assert sprouts_of(" elm = 3 ,osage orange=0") == (("elm", 3), ("osage orange", 0))
    for text in ("", "elm", "elm=", "=3", "elm=-1", "elm=1.5", "elm=x", "elm=1,elm=2", "elm=1,", "elm=²"):
        with pytest.raises(UsageError):
            sprouts_of(text)


def test_a_look_of_nothing_is_none() -> None:
    assert assembled(Entry, {"needles": None, "sprouts": ()}) == {}
    assert assembled(Entry, {"stump_treated": False}) == {"look": Look(stump_treated=False)}
    with pytest.raises(UsageError, match="choices"):
        check_said(Said(look=Look(needles="blue")), practice="checkup")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("practice", "said", "cautions"),
    [
        ("cut", Said(), {SAW_CAUTION}),
        ("cut", Said(look=Look(stump_treated=True)), {SAW_CAUTION, LABEL_CAUTION}),
        ("cut", Said(product="x"), {SAW_CAUTION, LABEL_CAUTION}),
        ("girdle", Said(), {SAW_CAUTION, SNAG_CAUTION}),
        ("spray", Said(), {SNAG_CAUTION, LABEL_CAUTION}),
        ("burn", Said(), {FIRE_CAUTION, SNAG_CAUTION}),
        ("pile_burn", Said(), {FIRE_CAUTION}),
        ("mulch", Said(), {MACHINE_CAUTION}),
        ("haul", Said(), {MACHINE_CAUTION}),
        ("mow", Said(), {MACHINE_CAUTION}),
        ("pull", Said(), {MACHINE_CAUTION}),
        ("graze", Said(), set()),
        ("checkup", Said(look=Look(stump_treated=False)), set()),
    ],
)
def test_cautions_go_with_saws_machines_fire_snags_and_labels(practice: str, said: Said, cautions: set[str]) -> None:
    assert set(cautions_for(practice, said)) == cautions


def test_each_caution_says_what_can_happen_and_whom_to_ask() -> None:
    """By the list of cautions that people who work with saws, machines, products and fire asked for."""
    asked = {
        SAW_CAUTION: ("Never cut alone", "two tree lengths", "power lines", "foot protection", "employer or insurer"),
        MACHINE_CAUTION: ("debris", "start fires", "roll on side slopes", "never work below another person"),
        LABEL_CAUTION: ("label is the law", "site, rate, weather, protective gear and re-entry", "applicator license"),
        FIRE_CAUTION: ("burn boss", "permits", "burn bans", "local law"),
        SNAG_CAUTION: ("drop limbs", "look up"),
        STEEP_CAUTION: ("manual and its operator decide",),
    }
    for caution, parts in asked.items():
        assert [part for part in parts if part not in caution] == []
    told = cautions_of(PRACTICES, has_snags=True, is_steep=True)
    assert set(told) == set(asked)
    assert cautions_of(PRACTICES, has_snags=True, is_steep=True, audience="public")[-1] == STEEP_CAUTION_PUBLIC
    assert cautions_of(("graze", "seed", "keep")) == ()
    assert set(CAUTIONS) == {*asked, STEEP_CAUTION_PUBLIC}


@pytest.mark.parametrize(
    ("reported_acres", "sd_acres", "is_asked"),
    [
        (10.999, None, False), (11.0, None, True), (9.001, None, False), (9.0, None, True),
        (12.0, 1.0, False), (12.001, 1.0, True), (8.0, 1.0, False), (7.999, 1.0, True), (10.5, 0.1, False),
    ],
)  # fmt: skip
def test_reported_acres_are_asked_about_from_a_tenth_and_beyond_two_standard_deviations(
    reported_acres: float, sd_acres: float | None, is_asked: bool
) -> None:
    """Ground of 10 acres."""
    row = replace(entry("cut", "2026-01-05"), reported_acres=reported_acres, acres_sd=sd_acres)
    question = reported_question(row, 10.0)
    assert (question is not None) is is_asked
    assert question is None or (
        f"{abs(reported_acres - 10):,.2f} {'more' if reported_acres > 10 else 'less'}" in question
    )
    assert reported_question(entry("cut", "2026-01-05"), 10.0) is None


def test_the_coldest_air_that_is_taken_without_a_question() -> None:
    """December to February 10 °F; March, April, October and November 30; else 45. In no month more than 125."""
    coldest_f = {12: 10, 1: 10, 2: 10, 3: 30, 4: 30, 10: 30, 11: 30} | dict.fromkeys(range(5, 10), 45)
    for month, limit_f in coldest_f.items():
        assert temperature_question(month, limit_f) is None
        assert temperature_question(month, 125) is None
        assert temperature_question(month, 125.1) == "is 125.1 °F meant? It is hotter than weather is"
        # 31 °C are 87.8 °F
        assert (temperature_question(month, limit_f - 1) or "").startswith(f"is {limit_f - 1} °F meant, or ")
    assert (temperature_question(7, 31) or "").endswith("31 °C, which is 88 °F?")
