"""Laws of what came up: they hold for any frames."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from habmap.work.response import change, mean_cover, rarefied

frames = st.lists(st.sets(st.sampled_from("abcdefgh")), min_size=1, max_size=9)
covers = st.lists(st.floats(0, 300), min_size=1, max_size=30)


@given(frames)
def test_more_frames_never_hold_fewer_species_and_all_of_them_hold_all(read: list[set[str]]) -> None:
    expected = [rarefied(read, to_frames=number).species for number in range(1, len(read) + 1)]
    assert all(one <= other + 1e-9 for one, other in pairwise(expected))
    assert expected[0] == pytest.approx(sum(map(len, read)) / len(read))
    assert expected[-1] == pytest.approx(len(set().union(*read)))


@given(frames, st.randoms(use_true_random=False))
def test_the_order_of_frames_tells_nothing(read: list[set[str]], chance: object) -> None:
    mixed = list(read)
    chance.shuffle(mixed)  # type: ignore[attr-defined]
    assert rarefied(mixed, to_frames=1) == rarefied(read, to_frames=1)


@given(covers)
def test_a_blank_frame_lowers_the_mean_by_its_share(read: list[float]) -> None:
    n = len(read)
    assert mean_cover([*read, 0.0]).mean_pct == pytest.approx(mean_cover(read).mean_pct * n / (n + 1), abs=1e-9)


@given(covers)
def test_limits_hold_the_mean_and_nothing_below_zero(read: list[float]) -> None:
    mean = mean_cover(read)
    if mean.ci95_low is None or mean.ci95_high is None:
        assert len(read) == 1
    else:
        assert 0 <= mean.ci95_low <= mean.mean_pct + 1e-9 and mean.mean_pct <= mean.ci95_high + 1e-9


@given(covers, covers)
def test_looking_backward_turns_the_sign(one: list[float], other: list[float]) -> None:
    there, back = change(mean_cover(one), mean_cover(other)), change(mean_cover(other), mean_cover(one))
    assert there.points == pytest.approx(-back.points, abs=1e-9)
    if there.ci95_low is not None and back.ci95_high is not None:
        assert there.ci95_low == pytest.approx(-back.ci95_high, rel=1e-9, abs=1e-6)
