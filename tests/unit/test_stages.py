"""The stage rules, line by line."""

from datetime import date

import pytest
from fakes import entry

from habmap.errors import InputError
from habmap.vocabulary import PRACTICES, STAGES, TREATED
from habmap.work.records import Entry
from habmap.work.stages import STAGE_TABLE, GroundState, ground_state

#: A history that brings ground to each stage by 2024-06-01.
WAY_TO: dict[str, list[tuple[str, str, float | None]]] = {
    "standing": [],
    "part_cut": [("cut", "2024-01-01", 30)],
    "dead_standing": [("girdle", "2024-01-01", 90)],
    "down": [("cut", "2024-01-01", None)],
    "piled": [("cut", "2024-01-01", None), ("pile", "2024-02-01", None)],
    "burned": [("cut", "2024-01-01", None), ("burn", "2024-03-01", None)],
    "slash_gone": [("mulch", "2024-01-01", None)],
    "kept_up": [("mulch", "2024-01-01", None), ("mow", "2024-05-01", None)],
    "coming_back": [("mulch", "2024-01-01", None), ("look", "2024-05-01", 100)],
    "keep": [("keep", "2024-01-01", None)],
}


def line(practice: str, day: str, value: float | None = None) -> Entry:
    """Make an entry; the value is the share killed in percent, or a look's live cedars per acre."""
    if practice == "look":
        return entry(practice, day, live_stems_per_acre=value)
    return entry(practice, day, killed_pct=value)


def state_after(*work: tuple[str, str, float | None], is_cedar: bool = True, target_frac: float = 0.8) -> GroundState:
    return ground_state(
        [line(*done) for done in work], target_frac=target_frac, leave_stems_per_acre=25, is_cedar=is_cedar
    )


@pytest.mark.parametrize("stage", WAY_TO)
def test_each_stage_is_reached(stage: str) -> None:
    assert state_after(*WAY_TO[stage]).stage == stage


# What one entry on 2026-06-01, more than 300 days after any fire, makes of each stage.
CUT_FULL = {
    "standing": "down", "part_cut": "down", "dead_standing": "down", "down": "down", "piled": "piled",
    "burned": "burned", "slash_gone": "slash_gone", "kept_up": "kept_up", "coming_back": "kept_up",
    "keep": "keep",
}  # fmt: skip
AFTER: list[tuple[str, float | None, dict[str, str]]] = [
    ("cut", 100, CUT_FULL),
    ("cut", 10, CUT_FULL | {"standing": "part_cut", "part_cut": "part_cut"}),
    ("cut", 0, CUT_FULL | {"standing": "standing", "part_cut": "part_cut", "dead_standing": "dead_standing"}),
    ("girdle", 100, CUT_FULL | {"standing": "dead_standing", "dead_standing": "dead_standing"}),
    ("spray", 50, CUT_FULL | {"standing": "part_cut", "part_cut": "part_cut", "dead_standing": "dead_standing"}),
    (
        "mulch",
        100,
        CUT_FULL | dict.fromkeys(("standing", "part_cut", "dead_standing", "down", "piled", "burned"), "slash_gone"),
    ),
    (
        "pile",
        None,
        {stage: stage for stage in WAY_TO} | dict.fromkeys(("down", "dead_standing", "burned"), "piled"),
    ),
    ("haul", None, {stage: stage for stage in WAY_TO} | dict.fromkeys(("down", "piled", "burned"), "slash_gone")),
    ("pile_burn", None, {stage: stage for stage in WAY_TO} | dict.fromkeys(("down", "piled", "burned"), "slash_gone")),
    (
        "burn",
        None,
        {
            "standing": "standing", "part_cut": "part_cut", "dead_standing": "burned", "down": "burned",
            "piled": "slash_gone", "burned": "kept_up", "slash_gone": "kept_up", "kept_up": "kept_up",
            "coming_back": "kept_up", "keep": "keep",
        },
    ),
    (
        "burn",
        90,
        {
            "standing": "dead_standing", "part_cut": "burned", "dead_standing": "burned", "down": "burned",
            "piled": "slash_gone", "burned": "kept_up", "slash_gone": "kept_up", "kept_up": "kept_up",
            "coming_back": "kept_up", "keep": "keep",
        },
    ),
    *(
        (
            practice,
            None,
            {stage: stage for stage in WAY_TO} | dict.fromkeys(("burned", "slash_gone", "coming_back"), "kept_up"),
        )
        for practice in ("mow", "pull", "graze")
    ),
    ("seed", None, {stage: stage for stage in WAY_TO}),
    ("other", None, {stage: stage for stage in WAY_TO}),
    ("keep", None, {stage: stage for stage in WAY_TO} | {"standing": "keep", "part_cut": "keep"}),
    ("look", 26, {stage: stage for stage in WAY_TO} | dict.fromkeys(TREATED, "coming_back")),
    ("look", 25, {stage: stage for stage in WAY_TO}),
    ("look", None, {stage: stage for stage in WAY_TO}),
]  # fmt: skip


@pytest.mark.parametrize("stage", WAY_TO)
@pytest.mark.parametrize(("practice", "value", "expected"), AFTER, ids=[f"{row[0]}-{row[1]}" for row in AFTER])
def test_one_more_entry(stage: str, practice: str, value: float | None, expected: dict[str, str]) -> None:
    assert state_after(*WAY_TO[stage], (practice, "2026-06-01", value)).stage == expected[stage]


def test_the_table_has_a_line_for_every_practice_and_stage() -> None:
    assert set(STAGE_TABLE) == set(PRACTICES)
    assert all(set(cells) == set(STAGES) for cells in STAGE_TABLE.values())


@pytest.mark.parametrize("days", [299, 300])
def test_a_fire_is_upkeep_only_after_300_days(days: int) -> None:
    # 2024-03-01 + 299 days is 2024-12-25.
    day = {299: "2024-12-25", 300: "2024-12-26"}[days]
    assert (date.fromisoformat(day) - date(2024, 3, 1)).days == days
    assert state_after(*WAY_TO["burned"], ("burn", day, None)).stage == ("kept_up" if days >= 300 else "burned")


def test_burned_piles_are_a_fire_too() -> None:
    piles = [*WAY_TO["piled"], ("pile_burn", "2024-03-01", None)]
    assert state_after(*piles, ("burn", "2024-06-01", None)).stage == "slash_gone"
    assert state_after(*piles, ("burn", "2025-06-01", None)).stage == "kept_up"


def test_a_first_fire_counts_as_300_days_passed() -> None:
    assert state_after(*WAY_TO["slash_gone"], ("burn", "2024-01-02", None)).stage == "kept_up"


def test_a_soon_fire_leaves_ground_that_is_coming_back() -> None:
    back = [*WAY_TO["burned"], ("look", "2024-04-01", 60)]
    assert state_after(*back, ("burn", "2024-05-01", None)).stage == "coming_back"
    assert state_after(*back, ("burn", "2025-05-01", None)).stage == "kept_up"


def test_half_killed_and_then_half_of_the_rest_is_75_percent() -> None:
    state = state_after(("cut", "2024-01-01", 50), ("cut", "2024-01-02", 50))
    assert state.killed_frac == 0.75
    assert state.stage == "part_cut"
    assert state_after(("cut", "2024-01-01", 50), ("cut", "2024-01-02", 50), target_frac=0.75).stage == "down"


def test_the_target_is_reached_in_spite_of_binary_fractions() -> None:
    # 1 − 0.9 × 0.8 × 0.7 = 0.496 exactly, on paper
    work = [("cut", "2024-01-01", 10.0), ("cut", "2024-01-02", 20.0), ("cut", "2024-01-03", 30.0)]
    assert state_after(*work, target_frac=0.496).stage == "down"


def test_one_practice_on_one_day_counts_once_with_the_larger_share() -> None:
    twice = state_after(("cut", "2024-01-01", 40), ("cut", "2024-01-01", 60))
    assert twice.killed_frac == pytest.approx(0.6, abs=1e-12)
    two_ways = state_after(("cut", "2024-01-01", 50), ("girdle", "2024-01-01", 50))
    assert two_ways.killed_frac == 0.75


def test_dying_after_a_partial_cut_is_down_because_something_was_cut() -> None:
    assert state_after(("cut", "2024-01-01", 30), ("spray", "2024-03-01", 90)).stage == "down"
    assert state_after(("mulch", "2024-01-01", 30), ("spray", "2024-03-01", 90)).stage == "dead_standing"


def test_work_of_one_day_goes_in_the_order_of_the_trade() -> None:
    same_day = [("burn", "2024-01-01", None), ("pile", "2024-01-01", None), ("cut", "2024-01-01", None)]
    assert state_after(*same_day).stage == "slash_gone"  # cut, piled, then burned
    assert state_after(("cut", "2024-01-01", None), ("keep", "2024-01-01", None)).stage == "keep"


def test_other_cover_stays_other_but_remembers_its_fires() -> None:
    state = state_after(("cut", "2024-01-01", None), ("burn", "2024-02-01", None), is_cedar=False)
    assert (state.stage, state.last_fire, state.first_treated) == ("other", date(2024, 2, 1), None)


def test_the_dates_that_later_jobs_ask_for() -> None:
    state = state_after(
        ("cut", "2024-01-01", 50), ("cut", "2024-02-01", 90), ("burn", "2024-04-01", None), ("look", "2025-05-01", 3)
    )
    assert state == GroundState(
        stage="burned",
        since=date(2024, 4, 1),
        killed_frac=pytest.approx(0.95, abs=1e-12),  # type: ignore[arg-type]
        cut_ever=True,
        last_cut=date(2024, 2, 1),
        last_fire=date(2024, 4, 1),
        last_look=date(2025, 5, 1),
        first_treated=date(2024, 2, 1),
        last_treated=date(2024, 4, 1),
        live_stems_per_acre=3,
    )


@pytest.mark.parametrize("practice", ["girdle", "spray"])
def test_a_kill_without_its_share_is_refused(practice: str) -> None:
    with pytest.raises(InputError, match="what share"):
        state_after((practice, "2024-01-01", None))
