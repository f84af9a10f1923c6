"""The account by season as one bar a season, drawn alike on the page and on paper: dark is always cedar that stands.

A bar holds all cedar ground there was before any work: treated ground from the left, then what was left on purpose,
then what remains, so that the dark ends line up and grow shorter season by season. Rows take any number of seasons.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from habmap.show.words import SPOKEN_ACRES, tenths
from habmap.work.season_account import Season, SeasonAccount

Part = Literal["before", "added", "keep", "standing"]
#: What each part of a bar is, left to right, in the words of its key.
PART_WORDS: Final[dict[Part, str]] = {
    "before": "treated in earlier seasons",
    "added": "treated in that season",
    "keep": "left on purpose",
    "standing": "remaining at its end",
}


@dataclass(frozen=True, slots=True)
class SeasonBar:
    """One season; ``parts`` are its kinds with start and length as shares of the longest bar, left to right."""

    label: str
    is_under_way: bool
    treated_acres: float
    cumulative_treated_acres: float
    remaining_acres: float
    left_acres: float
    parts: tuple[tuple[Part, float, float], ...]


def season_bars(account: SeasonAccount, *, today: date) -> tuple[SeasonBar, ...]:
    """Return the bar of each season, oldest first, after one of the ground before any work."""
    rows = [("before any work", False, 0.0, 0.0, account.start_remaining_acres, 0.0)]
    rows += [
        (
            season.label,
            today <= season.last_day,
            season.treated_acres,
            season.cumulative_treated_acres,
            season.remaining_acres,
            left_acres(account, season),
        )
        for season in account.seasons
    ]
    longest = max((done + remaining + left for _, _, _, done, remaining, left in rows), default=0.0)
    return tuple(
        SeasonBar(label, under_way, added, done, remaining, left, _parts(added, done, remaining, left, longest))
        for label, under_way, added, done, remaining, left in rows
    )


def _parts(
    added: float, done: float, remaining: float, left: float, longest: float
) -> tuple[tuple[Part, float, float], ...]:
    """Return the parts of one bar that have any length."""
    # Ground that came back may make a season's own figure negative: the bar then shows the sum alone.
    added = min(max(added, 0.0), done)
    start, found = 0.0, []
    sizes: dict[Part, float] = {"before": done - added, "added": added, "keep": left, "standing": remaining}
    for kind, acres in sizes.items():
        length = acres / longest if longest > 0 else 0.0
        if length > 0:
            found.append((kind, start, length))
        start += length
    return tuple(found)


def left_acres(account: SeasonAccount, season: Season) -> float:
    """Return the cedar ground that was left on purpose at a season's end: neither treated nor remaining [acre]."""
    return max(0.0, account.start_remaining_acres - season.cumulative_treated_acres - season.remaining_acres)


def worked_seasons(seasons: Sequence[Season], *, today: date) -> str:
    """Return in how many seasons ground was treated: ``in 2 seasons (2026-27 so far: none)``."""
    worked = [season for season in seasons if season.treated_acres >= SPOKEN_ACRES]
    last = seasons[-1]
    is_none_yet = last not in worked and today <= last.last_day
    over = len(seasons) - is_none_yet
    if over > len(worked):
        words = f"in {len(worked)} of {over} seasons"
    elif len(worked) == 1:
        words = f"in the season {worked[0].label}"
    else:
        words = f"in {len(worked)} seasons"
    return f"{words} ({last.label} so far: none)" if is_none_yet and worked else words


def seasons_sentence(account: SeasonAccount, *, today: date) -> str:
    """Return what the bars show, in a sentence or two."""
    last = account.seasons[-1]
    standing = (
        f"of {tenths(account.start_remaining_acres)} acres of standing cedar {tenths(last.remaining_acres)} remain"
    )
    if (left := left_acres(account, last)) >= SPOKEN_ACRES:
        standing += f", {tenths(left)} are left on purpose"
    if all(season.treated_acres < SPOKEN_ACRES for season in account.seasons):
        return f"No acres were treated for the first time yet; {standing}."
    when = worked_seasons(account.seasons, today=today)
    text = f"{when[0].upper()}{when[1:]}, {tenths(last.cumulative_treated_acres)} acres were treated for the first time"
    text += f"; {standing}."
    best = max(account.seasons, key=lambda season: season.treated_acres)
    if len(account.seasons) > 1 and best.treated_acres < last.cumulative_treated_acres - SPOKEN_ACRES:
        text += f" The most was done in {best.label}: {tenths(best.treated_acres)} acres."
    return text
