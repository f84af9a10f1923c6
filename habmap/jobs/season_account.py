"""The account by season: the log's own work laid over the units as they are, season after season."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache
from itertools import groupby

from habmap.jobs.ground import Ground, UnitRules, ground, unit_rules
from habmap.jobs.ports import Store
from habmap.place.settings import Settings
from habmap.vocabulary import CEDAR_STAGES, REMAINING, TREATED
from habmap.work.season_account import Change, Season, WorkLine, by_season, season_year
from habmap.work.stages import ground_state


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


def season_account(store: Store, *, on: date | None = None) -> SeasonAccount:
    """Return what was treated season by season.

    Parameters
    ----------
    store
        The place.
    on
        As of this day's work; ``None``: all work so far.

    Notes
    -----
    Units are taken as they are on that day, for every season: an outline drawn anew does not look like work. The last
    season's cumulative acres are the acre account's treated acres.
    """
    return season_account_of(ground(store, on=on), settings=store.settings)


def season_account_of(state: Ground, *, settings: Settings) -> SeasonAccount:
    """Add up ground that is already cut into pieces."""
    start_acres = math.fsum(piece.acres for piece in state.pieces if piece.stage in CEDAR_STAGES)
    lines = [WorkLine(day=entry.date, person_hours=entry.person_hours, cost=entry.cost) for entry in state.entries]
    return SeasonAccount(
        on=state.on,
        start_remaining_acres=start_acres,
        seasons=by_season(lines, _changes(state, settings), start_remaining_acres=start_acres),
    )


def _changes(state: Ground, settings: Settings) -> Iterator[Change]:
    """Yield what each season's work changed on each piece of ground, dated by its last line there."""
    by_id = {entry.entry_id: entry for entry in state.entries}
    units = {unit.unit_id: unit for unit in state.units}

    @cache
    def stage(entry_ids: tuple[str, ...], rules: UnitRules) -> str:
        return ground_state(
            [by_id[entry_id] for entry_id in entry_ids],
            target_frac=rules.target_frac,
            leave_stems_per_acre=rules.leave_stems_per_acre,
            is_cedar=rules.is_cedar,
        ).stage

    for piece in state.pieces:
        rules = unit_rules(units[piece.unit_id], settings)
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
