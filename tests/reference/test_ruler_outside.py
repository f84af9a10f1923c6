"""Acres of each step of the map page's ruler, and of each season on the page and the handout, against another route.

habmap cuts the ground once for all days on which the units were drawn alike and adds up what changes from step to
step and from season to season. The other route (``other_route``) knows neither steps nor seasons: it is asked for each
day, and each June 30, from the beginning. The figures of the ruler are those that the page's script reads.
"""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from fakes import FakeStore
from other_route import STAGES, TOLERANCE_ACRES, TREATED, Map, drawn_ledger, other_route
from shapely import MultiPolygon

from habmap.jobs.handout import build_handout
from habmap.jobs.map import build_page
from habmap.land.grid import LocalGrid
from habmap.records import Entry, Unit
from habmap.show.page.render import drawing_json

NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
#: The page carries acres to six decimals, which is off by half of the last one.
STEP_ACRES = TOLERANCE_ACRES + 5e-7
#: Sums over three units, or over two stages of them.
SUM_ACRES = 3 * TOLERANCE_ACRES + 5e-7
REMAINING = STAGES[:2]


def redrawn(rng: random.Random, ground: Map, units: list[Unit], log: list[Entry]) -> list[Unit]:
    """Draw unit B smaller from some day on, which may be one of work or come after all of it."""
    old = next(one for one in units if one.unit_id == "B")
    day = rng.choice([line.date for line in log] + [date(2026, 4, 1), date(2024, 2, 29)])
    smaller = ground.lonlat([(210, -13), (330, -5), (345, 149), (190, 148), (205, 60)])
    new = replace(
        old, uuid=f"{old.uuid} redrawn", geometry=MultiPolygon([smaller]), valid_from=day, replaces=(old.uuid,),
        recorded_at=old.recorded_at + timedelta(seconds=30),
    )  # fmt: skip
    return [*(replace(one, valid_to=day) if one is old else one for one in units), new]


def drawn_on(units: list[Unit], day: date) -> list[Unit]:
    return [
        one
        for one in units
        if (one.valid_from is None or day >= one.valid_from) and (one.valid_to is None or day < one.valid_to)
    ]


def until(log: list[Entry], day: date) -> list[Entry]:
    return [line for line in log if line.date <= day]


@pytest.mark.parametrize("seed", range(12))
def test_every_step_and_every_season_of_random_ledgers_agrees_with_another_route(seed: int) -> None:
    rng = random.Random(f"ruler {seed}")
    ground, units, log = drawn_ledger(rng)
    if seed % 2:
        units = redrawn(rng, ground, units, log)
    store = FakeStore([*units, *log], grid=LocalGrid(round(ground.lat, 2), round(ground.lon, 2)))
    page = build_page(store, now=NOW, audience="owner")

    # --- the ruler, each step on its day ---
    ruler = json.loads(drawing_json(page))["ruler"]
    assert sorted(ruler["stages"]) == sorted(STAGES)
    days = sorted({line.date for line in log})
    before = days[0] - timedelta(days=1)
    told_days = [None if step["n"] is None else date.fromordinal(step["n"]) for step in ruler["steps"]]
    is_late = any(one.valid_from is not None and one.valid_from > days[-1] for one in units)
    assert told_days[: len(days) + 1] == [None, *days]
    assert len(told_days) == len(days) + 1 + is_late
    now: dict[str, dict[str, float]] = {}
    for at, (step, day) in enumerate(zip(ruler["steps"], told_days, strict=True)):
        for index, *pairs in step["units"]:  # a step names the units that changed, with all their stages
            stages = dict(zip((ruler["stages"][stage] for stage in pairs[::2]), pairs[1::2], strict=True))
            now[ruler["units"][index][0]] = stages
        # Behind the last day of work stands one more step where the units were drawn anew since: as they are now.
        there = drawn_on(units, NOW.date() if at > len(days) else day or before)
        theirs = other_route(ground, there, until(log, day or before))
        assert {unit_id for unit_id, stages in now.items() if stages} == {one.unit_id for one in there}
        for one in there:
            expected = {stage: theirs[one.unit_id].get(stage, 0.0) for stage in STAGES}
            told = {stage: now[one.unit_id].get(stage, 0.0) for stage in STAGES}
            assert told == pytest.approx(expected, abs=STEP_ACRES), (one.unit_id, day)
        total = {stage: sum(theirs[one.unit_id].get(stage, 0.0) for one in there) for stage in STAGES}
        assert dict(zip(ruler["stages"], step["all"], strict=True)) == pytest.approx(total, abs=SUM_ACRES), day

    # --- the seasons, July 1 to June 30, on the units as they are at last ---
    assert page.seasons is not None
    there = drawn_on(units, NOW.date())
    first = days[0].year - (days[0].month < 7)
    last = days[-1].year - (days[-1].month < 7)
    assert [season.label for season in page.seasons.seasons] == [
        f"{year}-{str(year + 1)[2:]}" for year in range(first, last + 1)
    ]
    cedar = [one.unit_id for one in there if one.cover == "cedar"]
    begun = other_route(ground, there, [])
    started = sum(begun[unit_id]["acres"] for unit_id in cedar)
    assert page.seasons.start_remaining_acres == pytest.approx(started, abs=SUM_ACRES)
    so_far = 0.0
    for year, season in zip(range(first, last + 1), page.seasons.seasons, strict=True):
        assert (season.first_day, season.last_day) == (date(year, 7, 1), date(year + 1, 6, 30))
        theirs = other_route(ground, there, until(log, date(year + 1, 6, 30)))
        treated, remaining = (
            sum(theirs[unit_id].get(stage, 0.0) for unit_id in cedar for stage in stages)
            for stages in (TREATED, REMAINING)
        )
        assert season.cumulative_treated_acres == pytest.approx(treated, abs=SUM_ACRES), year
        assert season.treated_acres == pytest.approx(treated - so_far, abs=2 * SUM_ACRES), year
        assert season.remaining_acres == pytest.approx(remaining, abs=SUM_ACRES), year
        so_far = treated
    handout = build_handout(store, now=NOW, today=NOW.date(), audience="public")
    assert [(one.label, one.cumulative_treated_acres, one.remaining_acres) for one in handout.account.seasons] == [
        (one.label, one.cumulative_treated_acres, one.remaining_acres) for one in page.seasons.seasons
    ]
