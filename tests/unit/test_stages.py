"""The stage rules, line by line."""

from datetime import date

import pytest
from fakes import entry

from habmap.errors import InputError
from habmap.records import Entry, Look
from habmap.vocabulary import KILLING, PRACTICES, STAGES, TOP_KILLING, TREATED
from habmap.work.stages import FELLING, SHARE_TABLE, STAGE_TABLE, Course, GroundState, ground_state

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
    "coming_back": [("mulch", "2024-01-01", None), ("checkup", "2024-05-01", 100)],
    "keep": [("keep", "2024-01-01", None)],
}


def line(practice: str, day: str, value: float | None = None) -> Entry:
    """Make an entry; the value is the share killed in percent, or a look's live cedars per acre."""
    if practice == "checkup":
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
    "burned": "kept_up", "slash_gone": "kept_up", "kept_up": "kept_up", "coming_back": "kept_up",
    "keep": "keep",
}  # fmt: skip
#: Standing or lying, the dead that are there stay as they are for these; the stage goes forward only.
KILL_FULL = CUT_FULL | {"burned": "burned", "slash_gone": "slash_gone"}
AFTER: list[tuple[str, float | None, dict[str, str]]] = [
    ("cut", 100, CUT_FULL),
    ("cut", 10, CUT_FULL | {"standing": "part_cut", "part_cut": "part_cut"}),
    ("cut", 0, CUT_FULL | {"standing": "standing", "part_cut": "part_cut", "dead_standing": "dead_standing"}),
    ("girdle", 100, KILL_FULL | {"standing": "dead_standing", "dead_standing": "dead_standing"}),
    ("spray", 50, KILL_FULL | {"standing": "part_cut", "part_cut": "part_cut", "dead_standing": "dead_standing"}),
    (
        "mulch",
        100,
        KILL_FULL | dict.fromkeys(("standing", "part_cut", "dead_standing", "down", "piled", "burned"), "slash_gone"),
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
        for practice in ("mow", "graze")
    ),
    ("pull", None, CUT_FULL),
    ("pull", 10, CUT_FULL | {"standing": "part_cut", "part_cut": "part_cut"}),
    ("seed", None, {stage: stage for stage in WAY_TO}),
    ("other", None, {stage: stage for stage in WAY_TO}),
    ("keep", None, {stage: stage for stage in WAY_TO} | {"standing": "keep", "part_cut": "keep"}),
    ("checkup", 26, {stage: stage for stage in WAY_TO} | dict.fromkeys(TREATED, "coming_back")),
    ("checkup", 25, {stage: stage for stage in WAY_TO}),
    ("checkup", None, {stage: stage for stage in WAY_TO}),
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
    back = [*WAY_TO["burned"], ("checkup", "2024-04-01", 60)]
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
        ("cut", "2024-01-01", 50), ("cut", "2024-02-01", 90), ("burn", "2024-04-01", None), ("checkup", "2025-05-01", 3)
    )
    assert (state.stage, state.since) == ("burned", date(2024, 4, 1))
    assert state.killed_frac == pytest.approx(0.95, abs=1e-12)
    assert state.felled_ever
    assert (state.last_felled, state.last_piled, state.last_fire) == (date(2024, 2, 1), None, date(2024, 4, 1))
    assert (state.last_look, state.live_stems_per_acre) == (date(2025, 5, 1), 3)
    assert (state.first_treated, state.last_treated) == (date(2024, 2, 1), date(2024, 4, 1))
    unseen = state_after(("cut", "2024-01-01", 90), ("pile", "2024-03-01", None), ("graze", "2024-05-01", None))
    assert (unseen.last_look, unseen.last_fire, unseen.last_piled) == (None, None, date(2024, 3, 1))


@pytest.mark.parametrize("practice", ["girdle", "spray"])
def test_a_kill_without_its_share_is_refused(practice: str) -> None:
    with pytest.raises(InputError, match="what share"):
        state_after((practice, "2024-01-01", None))


# Shares felled and lying, felled and in piles, killed standing: worked out by hand from what each line says of itself.
SHARES: list[tuple[str, list[tuple[str, float | None]], tuple[float, float, float]]] = [
    ("a partial cut lies where it fell", [("cut", 70)], (0.7, 0, 0)),
    ("cutting and pulling add up", [("cut", 50), ("pull", 50)], (0.75, 0, 0)),
    ("pulling fells all unless it says less", [("pull", None)], (1, 0, 0)),
    ("a cut leaves girdled trees standing", [("girdle", 50), ("cut", 80)], (0.4, 0, 0.5)),
    ("spray after a cut", [("cut", 30), ("spray", 50)], (0.3, 0, 0.35)),
    ("a killing fire leaves snags and takes slash", [("cut", 60), ("burn", 50)], (0, 0, 0.2)),
    ("a fire leaves what was girdled", [("girdle", 90), ("burn", None)], (0, 0, 0.9)),
    ("mulched trees neither lie nor stand", [("mulch", 70)], (0, 0, 0)),
    ("a mulching below the target leaves older slash", [("cut", 30), ("mulch", 20)], (0.3, 0, 0)),
    ("a mulching that ends at the target shreds older slash", [("cut", 85), ("mulch", None)], (0, 0, 0)),
    ("a mulching leaves what was girdled", [("girdle", 50), ("mulch", None)], (0, 0, 0.5)),
    ("piles are slash still", [("cut", 60), ("pile", None)], (0, 0.6, 0)),
    ("cut after piling", [("cut", 60), ("pile", None), ("cut", 50)], (0.2, 0.6, 0)),
    ("piling leaves snags of a part kill", [("girdle", 30), ("pile", None)], (0, 0, 0.3)),
    ("piling dead standing ground brings it down", [("girdle", 90), ("pile", None)], (0, 0.9, 0)),
    ("piling skeletons after a fire", [("girdle", 90), ("burn", None), ("pile", None)], (0, 0.9, 0)),
    (
        "piling what was girdled after all felled is hauled",
        [("cut", 50), ("haul", None), ("girdle", 80), ("pile", None)],
        (0, 0.4, 0),
    ),
    ("piling twice leaves the snags", [("girdle", 50), ("cut", 80), ("pile", None), ("pile", None)], (0, 0.4, 0.5)),
    ("piling slash among snags", [("girdle", 50), ("cut", 80), ("pile", None)], (0, 0.4, 0.5)),
    ("piling what a fire left", [("cut", 60), ("burn", None), ("pile", None)], (0, 0.6, 0)),
    ("hauling what a fire left", [("cut", 60), ("burn", None), ("haul", None), ("pile", None)], (0, 0, 0)),
    ("piles burned without a line for piling", [("cut", 90), ("pile_burn", None)], (0, 0, 0)),
    ("piles burned, a later cut lies", [("cut", 60), ("pile", None), ("cut", 50), ("pile_burn", None)], (0.2, 0, 0)),
    ("hauling takes all that was felled", [("cut", 60), ("pile", None), ("cut", 50), ("haul", None)], (0, 0, 0)),
    ("a burn takes all that was felled", [("cut", 60), ("pile", None), ("cut", 50), ("burn", None)], (0, 0, 0)),
    ("hauling leaves snags", [("girdle", 50), ("cut", 80), ("haul", None)], (0, 0, 0.5)),
    ("a cut of nothing", [("cut", 0)], (0, 0, 0)),
    ("mowing, grazing, seeding", [("cut", 90), ("mow", None), ("graze", None), ("seed", None)], (0.9, 0, 0)),
    ("touch-up on burned ground", [("cut", 80), ("burn", None), ("cut", 50)], (0.1, 0, 0)),
]


@pytest.mark.parametrize(("work", "expected"), [row[1:] for row in SHARES], ids=[row[0] for row in SHARES])
@pytest.mark.parametrize("is_cedar", [True, False])
def test_shares_felled_and_left_standing(
    work: list[tuple[str, float | None]], expected: tuple[float, float, float], is_cedar: bool
) -> None:
    dated = [(practice, f"2024-01-{day:02d}", value) for day, (practice, value) in enumerate(work, 1)]
    state = state_after(*dated, is_cedar=is_cedar)
    assert (state.lying_frac, state.piled_frac, state.snag_frac) == pytest.approx(expected, abs=1e-12)
    assert state.felled_frac == pytest.approx(expected[0] + expected[1], abs=1e-12)


def test_practices_of_no_share_are_those_that_neither_kill_nor_clear() -> None:
    assert set(PRACTICES) - set(SHARE_TABLE) == {"keep", "mow", "graze", "checkup", "seed", "other"}
    assert {practice for practice, row in SHARE_TABLE.items() if row["killed"] != "."} == KILLING
    assert ({"cut", "pull"}, {"cut", "mulch", "pull"}) == (FELLING, TOP_KILLING)


def test_what_was_taken_away_is_gone_to_the_last_digit() -> None:
    work = [("cut", "2024-01-01", 10.0), ("cut", "2024-01-02", 30.0), ("haul", "2024-01-03", None)]
    for done in (work, [*work, ("burn", "2024-02-01", None), ("burn", "2025-02-01", 0.0)]):
        assert state_after(*done).felled_frac == 0
        assert state_after(*done).snag_frac == 0


def test_the_line_that_brought_ground_to_its_target() -> None:
    log = [line("cut", "2024-01-01", 50), line("girdle", "2024-02-01", 50), line("cut", "2024-03-01", 50)]
    log += [line("cut", "2024-03-01", 60), line("cut", "2024-04-01", 90)]
    state = ground_state(log, target_frac=0.8, leave_stems_per_acre=25)
    assert [(kill.entry_id, kill.practice, kill.date) for kill in state.kills] == [
        (log[at].entry_id, log[at].practice, log[at].date) for at in (0, 1, 3, 4)
    ]
    assert [(kill.killed_before_frac, kill.killed_after_frac) for kill in state.kills] == [
        pytest.approx(pair, abs=1e-12) for pair in ((0, 0.5), (0.5, 0.75), (0.75, 0.9), (0.9, 0.99))
    ]
    assert state.brought_to_target is not None
    assert state.brought_to_target.entry_id == log[3].entry_id
    assert ground_state(log[:2], target_frac=0.8, leave_stems_per_acre=25).brought_to_target is None


def test_pulled_ground_is_down_and_dries_from_that_day() -> None:
    state = state_after(("girdle", "2024-01-01", 50), ("pull", "2024-02-01", 70))
    assert (state.stage, state.last_felled) == ("down", date(2024, 2, 1))


def test_needles_are_those_of_the_last_check_up_since_the_last_felling() -> None:
    cut, more = line("cut", "2024-01-01", 50), line("cut", "2024-03-01", 50)
    red = entry("checkup", "2024-02-01", look=Look(needles="red"))
    later = entry("checkup", "2024-02-15", look=Look(live_stems_per_acre=3))

    def needles(*log: Entry) -> tuple[str | None, date | None]:
        state = ground_state(log, target_frac=0.8, leave_stems_per_acre=25)
        return state.needles, state.needles_seen

    assert needles(cut, red, later) == ("red", date(2024, 2, 1))
    assert needles(cut, red, more) == (None, None)
    assert needles(cut, red, line("girdle", "2024-03-01", 50)) == ("red", date(2024, 2, 1))


@pytest.mark.parametrize("killed_pct", [0.1, 3, 10, 33.3, 70, 99.9])
def test_a_line_that_kills_nothing_leaves_the_share_to_the_last_bit(killed_pct: float) -> None:
    lines = [entry("cut", f"2025-0{month}-01", killed_pct=pct) for month, pct in ((1, killed_pct), (2, 7), (3, 0))]
    states = Course(target_frac=0.8, leave_stems_per_acre=25, is_cedar=True).states(lines)
    assert states[3].killed_frac == states[2].killed_frac > states[1].killed_frac > 0
    assert [len(state.kills) for state in states] == [0, 1, 2, 2]


def test_only_a_look_at_what_stands_there_counts_and_one_of_nothing_changes_nothing() -> None:
    cut = entry("cut", "2025-01-01")
    noted = entry("checkup", "2025-06-01", look=None)
    told = entry("mow", "2025-07-01", look=Look(live_stems_per_acre=999.0, needles="red"))
    seen = entry("checkup", "2025-08-01", look=Look(live_stems_per_acre=26.0, needles="red"))
    course = Course(target_frac=0.8, leave_stems_per_acre=25, is_cedar=True)
    start, down, after_note, after_told, after_seen = course.states([cut, noted, told, seen])
    assert [one.stage for one in (start, down, after_note, after_told, after_seen)] == [
        "standing", "down", "down", "down", "coming_back",
    ]  # fmt: skip
    assert [one.last_look for one in (down, after_note, after_seen)] == [None, noted.date, seen.date]
    for state in (after_note, after_told):
        assert (state.live_stems_per_acre, state.needles, state.needles_seen) == (None, None, None)
    assert (after_seen.live_stems_per_acre, after_seen.needles, after_seen.needles_seen) == (26.0, "red", seen.date)


def test_only_a_line_that_kills_brings_ground_to_its_target_however_low_that_is() -> None:
    mow, cut, again = (entry(one, f"2025-0{at}-01", killed_pct=pct)
                       for at, (one, pct) in enumerate((("mow", None), ("cut", 5), ("cut", 50)), start=1))  # fmt: skip
    states = Course(target_frac=1e-10, leave_stems_per_acre=25, is_cedar=True).states([mow, cut, again])
    assert [one.brought_to_target and one.brought_to_target.entry_id for one in states] == [
        None, None, cut.entry_id, cut.entry_id,
    ]  # fmt: skip
