"""Work added up by season: what was treated, what then remained, and what it took.

A season runs from July 1 to June 30, so that a winter's cutting and the spring's burning that follows it stand
together; it is named by the two years it touches, ``2025-26``. Common practice, no source: a tax or budget year may be
cut elsewhere.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from itertools import groupby
from typing import Final

from habmap.vocabulary import CEDAR_STAGES, REMAINING, TREATED
from habmap.work.ground import Ground, StageLimits, UnitRules, unit_rules

#: Month whose first day begins a season.
FIRST_MONTH: Final = 7
SEASON_WORDS: Final = "A season here runs from July 1 to June 30: a winter's cutting and the burning after it."


@dataclass(frozen=True, slots=True)
class Change:
    """What the work of a day changed [acre]; a loss is negative.

    Attributes
    ----------
    treated_acres
        Ground that came to be treated at least once.
    remaining_acres
        Ground that came to be standing or part killed; mostly negative.
    """

    day: date
    treated_acres: float
    remaining_acres: float


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One counting line of the log: its day, and what it took; ``None`` = not said."""

    day: date
    person_hours: float | None = None
    cost: float | None = None


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


def season_account(state: Ground, *, limits: StageLimits) -> SeasonAccount:
    """Return what was treated season by season.

    Parameters
    ----------
    state
        The ground as of a day.
    limits
        Those by which it was cut.

    Notes
    -----
    Units are taken as they are on that day, for every season: an outline drawn anew does not look like work. The last
    season's cumulative acres are the acre account's treated acres.
    """
    start_acres = math.fsum(piece.acres for piece in state.pieces if piece.stage in CEDAR_STAGES)
    lines = [WorkLine(day=entry.date, person_hours=entry.person_hours, cost=entry.cost) for entry in state.entries]
    return SeasonAccount(
        on=state.on,
        start_remaining_acres=start_acres,
        seasons=by_season(lines, _changes(state, limits), start_remaining_acres=start_acres),
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


def by_season(
    lines: Iterable[WorkLine], changes: Iterable[Change], *, start_remaining_acres: float
) -> tuple[Season, ...]:
    """Return every season from the first line's to the last one's, those without work between them included.

    Parameters
    ----------
    lines
        The lines that count, in any order; without any there is no season.
    changes
        What they changed, on days of theirs.
    start_remaining_acres
        Ground standing before any work [acre].
    """
    worked: dict[int, list[WorkLine]] = defaultdict(list)
    for line in lines:
        worked[season_year(line.day)].append(line)
    changed: dict[int, list[Change]] = defaultdict(list)
    for change in changes:
        changed[season_year(change.day)].append(change)
    if not worked:
        return ()
    seasons: list[Season] = []
    so_far: list[Change] = []
    for year in range(min(worked), max(worked) + 1):
        # Summed anew each time, exactly rounded, so that the last figure is the account's own.
        so_far += changed[year]
        total = math.fsum(change.treated_acres for change in so_far)
        mine = worked[year]
        seasons.append(
            Season(
                label=season_label(year),
                first_day=season_days(year)[0],
                last_day=season_days(year)[1],
                treated_acres=total - (seasons[-1].cumulative_treated_acres if seasons else 0.0),
                cumulative_treated_acres=total,
                remaining_acres=math.fsum([start_remaining_acres, *(change.remaining_acres for change in so_far)]),
                person_hours=_known_sum(line.person_hours for line in mine),
                cost=_known_sum(line.cost for line in mine),
            )
        )
    return tuple(seasons)


def _changes(state: Ground, limits: StageLimits) -> Iterator[Change]:
    """Yield what each season's work changed on each piece of ground, dated by its last line there."""
    by_id = {entry.entry_id: entry for entry in state.entries}
    units = {unit.unit_id: unit for unit in state.units}

    @cache
    def stage(entry_ids: tuple[str, ...], rules: UnitRules) -> str:
        return rules.state_of(by_id[entry_id] for entry_id in entry_ids).stage

    for piece in state.pieces:
        rules = unit_rules(units[piece.unit_id], limits)
        if not rules.is_cedar:
            continue
        before, done = "standing", 0
        for _, season in groupby(piece.entry_ids, key=lambda entry_id: season_year(by_id[entry_id].date)):
            ids = tuple(season)
            done += len(ids)
            now = stage(piece.entry_ids[:done], rules)
            treated = (now in TREATED) - (before in TREATED)
            remaining = (now in REMAINING) - (before in REMAINING)
            if treated or remaining:
                yield Change(by_id[ids[-1]].date, treated * piece.acres, remaining * piece.acres)
            before = now


def _known_sum(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) if known else None
