"""Work added up by season: what was treated, what then remained, and what it took.

A season runs from July 1 to June 30, so that a winter's cutting and the spring's burning that follows it stand
together; it is named by the two years it touches, ``2025-26``. Common practice, no source: a tax or budget year may be
cut elsewhere.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Final

from habmap.memory import remembered
from habmap.records import Entry
from habmap.vocabulary import CEDAR_STAGES, REMAINING, TREATED
from habmap.work.ground import CutUnit, Ground, unit_courses

#: Month whose first day begins a season.
FIRST_MONTH: Final = 7
SEASON_WORDS: Final = "A season here runs from July 1 to June 30: a winter's cutting and the burning after it."


@dataclass(frozen=True, slots=True)
class Season:
    """One season's work.

    Attributes
    ----------
    label
        The years it touches, ``2025-26``.
    first_day, last_day
        July 1 and June 30; the calendar's own end where it ends sooner.
    treated_acres
        Ground treated in it for the first time [acre]: the cumulative figure less that of the season before.
    cumulative_treated_acres, remaining_acres
        Ground treated at least once, and ground standing or part killed, at its end [acre].
    person_hours, cost
        Sums of the lines that say them; ``None`` where none does.
    """

    label: str
    first_day: date
    last_day: date
    treated_acres: float
    cumulative_treated_acres: float
    remaining_acres: float
    person_hours: float | None = None
    cost: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonAccount:
    """What each season added.

    Attributes
    ----------
    on
        Day as of which it counts, as in the acre account; ``None`` when nothing was ever logged.
    start_remaining_acres
        Cedar ground before any work, on the units as they are that day [acre].
    seasons
        Oldest first; empty without a line of the log. The last one may still be running.
    """

    on: date | None
    start_remaining_acres: float
    seasons: tuple[Season, ...]

    def shown(self, *, hours: bool, cost: bool) -> SeasonAccount:
        """Return the same without the hours, or the cost, that are not asked for."""
        kept = [
            replace(one, person_hours=one.person_hours if hours else None, cost=one.cost if cost else None)
            for one in self.seasons
        ]
        return replace(self, seasons=tuple(kept))


def season_account(state: Ground) -> SeasonAccount:
    """Return what was treated season by season.

    Parameters
    ----------
    state
        The ground as of a day.

    Notes
    -----
    Units are taken as they are on that day, for every season: an outline drawn anew does not look like work. The last
    season's cumulative acres are the acre account's treated acres.
    """
    start_acres = math.fsum(piece.acres for piece in state.pieces if piece.stage in CEDAR_STAGES)
    return SeasonAccount(
        on=state.on,
        start_remaining_acres=start_acres,
        seasons=_seasons(state.entries, _changes(state), start_remaining_acres=start_acres),
    )


def season_year(day: date) -> int:
    """Return the year in which the season of a day begins."""
    return day.year if day.month >= FIRST_MONTH else day.year - 1


def season_label(first_year: int) -> str:
    """Return a season's name from the year it begins in: 2025 gives ``2025-26``."""
    return f"{first_year}-{(first_year + 1) % 100:02d}"


def season_days(first_year: int) -> tuple[date, date]:
    """Return the first and last day of the season that begins in a year; the calendar's own ends cut it short."""
    return (
        date.min if first_year < date.min.year else date(first_year, FIRST_MONTH, 1),
        date.max if first_year + 1 > date.max.year else date(first_year + 1, FIRST_MONTH - 1, 30),
    )


def _seasons(
    entries: Sequence[Entry], changes: Mapping[int, Sequence[tuple[float, float]]], *, start_remaining_acres: float
) -> tuple[Season, ...]:
    """Return every season from the first line's to the last one's, those without work between them included."""
    worked: dict[int, list[Entry]] = defaultdict(list)
    for entry in entries:
        worked[season_year(entry.date)].append(entry)
    if not worked:
        return ()
    seasons: list[Season] = []
    so_far: list[tuple[float, float]] = []
    for year in range(min(worked), max(worked) + 1):
        # Summed anew each time, exactly rounded, so that the last figure is the account's own.
        so_far += changes.get(year, ())
        total = math.fsum(treated for treated, _ in so_far)
        first_day, last_day = season_days(year)
        seasons.append(
            Season(
                label=season_label(year),
                first_day=first_day,
                last_day=last_day,
                treated_acres=total - (seasons[-1].cumulative_treated_acres if seasons else 0.0),
                cumulative_treated_acres=total,
                remaining_acres=math.fsum([start_remaining_acres, *(remaining for _, remaining in so_far)]),
                person_hours=_known_sum(entry.person_hours for entry in worked[year]),
                cost=_known_sum(entry.cost for entry in worked[year]),
            )
        )
    return tuple(seasons)


def _changes(state: Ground) -> dict[int, list[tuple[float, float]]]:
    """Return by season how much ground came to be treated, and to remain (mostly negative), piece by piece [acre]."""
    found: defaultdict[int, list[tuple[float, float]]] = defaultdict(list)
    for cut in state.by_unit:
        for year, treated_acres, remaining_acres in _unit_changes(cut):
            found[year].append((treated_acres, remaining_acres))
    return found


@remembered
def _unit_changes(cut: CutUnit) -> tuple[tuple[int, float, float], ...]:
    found = []
    for piece, course in unit_courses(cut, group_of=lambda entry: season_year(entry.date)):
        for (_, before), (year, now) in pairwise(course):
            treated = (now in TREATED) - (before in TREATED)
            remaining = (now in REMAINING) - (before in REMAINING)
            if year is not None and (treated or remaining):
                found.append((year, treated * piece.acres, remaining * piece.acres))
    return tuple(found)


def _known_sum(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) if known else None
