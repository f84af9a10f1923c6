"""Stage, slash and snag acres of random ledgers against another route: other noding, other areas, other arithmetic.

The other route and its tolerance are told in ``other_route``.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from fakes import FakeStore
from other_route import DRAWN, STAGES, TOLERANCE_ACRES, Stand, drawn_ledger, in_order, other_route, random_line

from habmap.jobs.acres import acres
from habmap.land.grid import LocalGrid
from habmap.work.stages import ground_state


@pytest.mark.parametrize("seed", range(30))
def test_random_ledgers_agree_with_another_noding_other_areas_and_rules_written_anew(seed: int) -> None:
    rng = random.Random(f"stages {seed}")
    ground, units, log = drawn_ledger(rng)
    days = sorted(line.date for line in log)
    grid = LocalGrid(round(ground.lat, 2), round(ground.lon, 2))
    store = FakeStore([*units, *log], grid=grid)
    for day in {days[len(days) // 3], days[len(days) // 2], days[-2], days[-1]}:
        ours = acres(store, on=day)
        theirs = other_route(ground, units, [line for line in log if line.date <= day])
        for line in ours.units:
            other = theirs[line.unit_id]
            told = {stage: getattr(line.stage_acres, stage) for stage in STAGES}
            told |= {"acres": line.acres, "slash": line.slash_acres, "snag": line.snag_acres}
            expected = {name: other.get(name, 0.0) for name in told}
            assert told == pytest.approx(expected, abs=TOLERANCE_ACRES), (line.unit_id, day)
        told = {line.practice: line.acres for line in ours.practices}
        assert told == pytest.approx(theirs[""], abs=TOLERANCE_ACRES), day


@pytest.mark.parametrize("seed", range(8))
def test_long_histories_agree_with_the_rules_written_anew(seed: int) -> None:
    rng = random.Random(f"histories {seed}")
    for _ in range(400):
        target, is_cedar = rng.choice((60, 80, 100)), rng.random() < 0.85
        log = [random_line(rng, rng.choice(DRAWN)) for _ in range(rng.randint(1, 18))]
        stand = Stand(target=Fraction(target, 100), leave=25.0, is_cedar=is_cedar)
        for line in in_order(log):
            stand.work(line)
        state = ground_state(log, target_frac=target / 100, leave_stems_per_acre=25.0, is_cedar=is_cedar)
        told = {place: getattr(state, f"{place}_frac") for place in ("lying", "charred", "piled", "snag")}
        told["alive"] = 1 - state.killed_frac
        # Sums and products of some twenty binary fractions.
        assert told == pytest.approx({place: float(stand.trees[place]) for place in told}, abs=1e-12)
        assert {place for place in told if told[place]} - {"alive"} == {
            place for place in told if stand.trees[place]
        } - {"alive"}
        assert state.stage == stand.stage
        assert state.stage != "piled" or state.piled_frac > 0
