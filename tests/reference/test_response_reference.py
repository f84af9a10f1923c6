"""Cover classes, limits and rarefaction against published figures and against counting every case by hand."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from scipy import stats

from habmap.records.observations import CLASS_LIMITS_PCT
from habmap.work.response import (
    change,
    class_midpoint_pct,
    is_cedar,
    mean_cover,
    rarefied,
)

#: Daubenmire 1959 (Northwest Science 33:43-64), as printed in Sampling Vegetation Attributes, BLM TR 1734-4: class,
#: range, midpoint. From memory of both; the midpoints are half the sums of the printed ranges, so exact.
DAUBENMIRE = {
    1: (0, 5, 2.5),
    2: (5, 25, 15.0),
    3: (25, 50, 37.5),
    4: (50, 75, 62.5),
    5: (75, 95, 85.0),
    6: (95, 100, 97.5),
}

#: Four frames; a in 3 of them, b in 2, c and d in 1 each, the last frame empty.
FRAMES = [{"a", "b"}, {"a", "b", "c"}, {"a", "d"}, set()]


def test_classes_are_daubenmires() -> None:
    assert {
        number: (*CLASS_LIMITS_PCT[number], class_midpoint_pct(number)) for number in CLASS_LIMITS_PCT
    } == DAUBENMIRE


def test_the_published_mean_of_five_frames() -> None:
    # classes 1, 2, 2, 3, 5: (2.5 + 15 + 15 + 37.5 + 85) / 5 = 31.0%, by hand
    mean = mean_cover([class_midpoint_pct(number) for number in (1, 2, 2, 3, 5)])
    assert mean.mean_pct == pytest.approx(31.0, abs=1e-12)
    # t(0.975, 4) = 2.776 in printed tables (three decimals); squared differences from 31, by hand: 812.25, 256, 256,
    # 42.25 and 2916, together 4282.5
    half = 2.776 * math.sqrt(4282.5 / 4 / 5)
    assert mean.ci95_high == pytest.approx(31.0 + half, abs=0.01)  # the table's last digit times the standard error
    assert mean.ci95_low == 0.0  # 31.0 − 40.6 lies under nothing at all


def test_limits_are_scipys_own_interval() -> None:
    read = [10.0, 20.0, 35.0, 15.0, 40.0, 30.0]
    low, high = stats.t.interval(0.95, 5, loc=25.0, scale=stats.sem(read))
    mean = mean_cover(read)
    assert (mean.ci95_low, mean.ci95_high) == pytest.approx((low, high), rel=1e-12)


def test_the_change_is_welchs() -> None:
    one, other = [5.0, 12.0, 0.0, 20.0, 8.0], [30.0, 55.0, 42.0, 61.0, 38.0, 47.0]
    outside = stats.ttest_ind(other, one, equal_var=False).confidence_interval(0.95)
    moved = change(mean_cover(one), mean_cover(other))
    assert moved.points == pytest.approx(sum(other) / 6 - 9.0, rel=1e-12)
    assert (moved.ci95_low, moved.ci95_high) == pytest.approx((outside.low, outside.high), rel=1e-9)


def test_one_frame_has_a_mean_and_no_limits() -> None:
    mean = mean_cover([37.5])
    assert (mean.mean_pct, mean.ci95_low, mean.ci95_high, mean.se) == (37.5, None, None, None)
    assert change(mean, mean_cover([40.0, 60.0])).ci95_low is None
    assert change(mean_cover([10.0, 10.0]), mean_cover([15.0, 15.0])).ci95_low == 5.0


@pytest.mark.parametrize("drawn", [1, 2, 3, 4])
def test_species_expected_is_the_mean_over_every_draw(drawn: int) -> None:
    draws = [len(set().union(*chosen)) for chosen in combinations(FRAMES, drawn)]
    assert rarefied(FRAMES, to_frames=drawn).species == pytest.approx(sum(draws) / len(draws), rel=1e-12)


def test_the_standard_deviation_by_hand() -> None:
    # Colwell, Mao & Chang 2004, equations 5 and 6 (as in the EstimateS guide), worked on paper for two of four frames:
    # alpha for 3, 2, 1 frames of 4 = C(1,2)/6, C(2,2)/6, C(3,2)/6 = 0, 1/6, 1/2; tau = 4 - 1/6 - 2·1/2 = 17/6.
    # Chao2, bias-corrected: 4 + 3/4 · 2·1/(2·(1 + 1)) = 4.375.
    # variance = 1 + (5/6)² + 2·(1/2)² − (17/6)²/4.375
    variance = 1 + 25 / 36 + 0.5 - (17 / 6) ** 2 / 4.375
    found = rarefied(FRAMES, to_frames=2)
    assert found.species == pytest.approx(17 / 6, rel=1e-12)
    assert found.sd == pytest.approx(math.sqrt(variance), rel=1e-12)


def test_all_frames_give_what_was_counted() -> None:
    assert rarefied(FRAMES, to_frames=4).species == 4.0
    assert rarefied([set(), set()], to_frames=1).species == 0.0
    with pytest.raises(ValueError, match="5 of 4"):
        rarefied(FRAMES, to_frames=5)


@pytest.mark.parametrize(
    ("name", "is_one"),
    [
        ("Juniperus virginiana", True),
        ("juniperus", True),
        ("Eastern  Redcedar", True),
        ("Carex planostachys", False),
        ("cedar sedge", False),
        ("saltcedar", False),
        ("", False),
    ],
)
def test_only_cedars_are_cedars(name: str, is_one: bool) -> None:
    assert is_cedar(name) is is_one
