"""Bars of the seasons: parts by hand figures, any number of seasons, and the sentence that counts them."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import pytest

from habmap.show.season_bars import season_bars, seasons_sentence
from habmap.work.season_account import Season, SeasonAccount


def account(*treated_acres: float, start_acres: float = 100.0, left_acres: float = 0.0) -> SeasonAccount:
    """Return seasons from 2024-25 on that treat so much each, of cedar of which some is left on purpose."""
    done, seasons = 0.0, []
    for i, acres in enumerate(treated_acres):
        done += acres
        seasons.append(
            Season(
                label=f"{2024 + i}-{25 + i:02d}", first_day=date(2024 + i, 7, 1), last_day=date(2025 + i, 6, 30),
                treated_acres=acres, cumulative_treated_acres=done, remaining_acres=start_acres - left_acres - done,
            )
        )  # fmt: skip
    return SeasonAccount(on=None, start_remaining_acres=start_acres, seasons=tuple(seasons))


IN_2026_27 = date(2026, 8, 1)


def test_dark_is_what_stands_and_each_bar_holds_all_cedar_there_was() -> None:
    before, first, second = season_bars(account(20.0, 30.0, left_acres=10.0), today=IN_2026_27)
    assert before.parts == (("standing", 0.0, 1.0),)
    assert first.parts == (
        ("added", 0.0, pytest.approx(0.2)),
        ("keep", pytest.approx(0.2), pytest.approx(0.1)),
        ("standing", pytest.approx(0.3), pytest.approx(0.7)),
    )
    assert [(kind, round(start, 9), round(length, 9)) for kind, start, length in second.parts] == [
        ("before", 0.0, 0.2), ("added", 0.2, 0.3), ("keep", 0.5, 0.1), ("standing", 0.6, 0.4),
    ]  # fmt: skip


@pytest.mark.parametrize("count", [1, 3, 10, 40])
def test_every_season_has_its_bar_however_many_there_are(count: int) -> None:
    bars = season_bars(account(*[2.0] * count), today=IN_2026_27)
    assert len(bars) == count + 1
    for bar in bars:
        assert sum(length for _, _, length in bar.parts) == pytest.approx(1.0)
        assert all(b[1] == pytest.approx(a[1] + a[2]) for a, b in pairwise(bar.parts))


@pytest.mark.parametrize(
    ("treated", "begin"),
    [
        ((26.7, 24.0, 0.0), "In 2 seasons (2026-27 so far: none), 50.7 acres were treated for the first time"),
        ((26.7, 24.0, 1.0), "In 3 seasons, 51.7 acres"),
        ((26.7, 0.0), "In 1 of 2 seasons"),
        ((26.7, 0.0, 0.0), "In 1 of 2 seasons (2026-27 so far: none), 26.7 acres"),
        ((0.0, 0.0, 5.0), "In 1 of 3 seasons"),
        ((5.0,), "In the season 2024-25, 5.0 acres"),
        ((0.0,), "No acres were treated for the first time yet; of 100.0 acres of standing cedar 100.0 remain."),
    ],
)
def test_a_season_with_nothing_treated_is_not_counted_among_those_that_treated(
    treated: tuple[float, ...], begin: str
) -> None:
    assert seasons_sentence(account(*treated), today=IN_2026_27).startswith(begin)
