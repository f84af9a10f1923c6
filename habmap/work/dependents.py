"""Other people's lines that rest on a line of the log: a pile on another's cut, a burn on another's piles."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from habmap.errors import InputError
from habmap.land.grid import LocalGrid
from habmap.records import Entry, Unit
from habmap.vocabulary import PRACTICE_WORDS
from habmap.work.ground import Ground, StageLimits, cut_ground, unit_rules
from habmap.work.ledger import day_order, effective_entries, line_numbers

#: Ground smaller than this that would lose another's work is passed over [acre].
LEAST_ACRES: Final = 0.005


@dataclass(frozen=True, slots=True)
class Dependent:
    """Another person's line, and on how much ground it did something only because of the line in question [acre]."""

    entry_id: str
    number: int
    who: str
    practice: str
    date: dt.date
    acres: float

    @property
    def words(self) -> str:
        """What was done, by whom, where and when."""
        return f"{self.who} {PRACTICE_WORDS[self.practice]} {self.acres:,.2f} acres on {self.date} (line {self.number})"


def ask_dependents(found: Sequence[Dependent], *, agree: Callable[[str], bool]) -> None:
    """Ask before other people's work loses the ground it rests on.

    Raises
    ------
    InputError
        Nobody agreed.
    """
    told = "; ".join(one.words for one in found)
    question = f"other people's work rests on this: {told}; it would count for nothing there"
    if found and not agree(question):
        raise InputError(question, where="LINE", mend="talk to them, or confirm with --yes; nothing was written")


def dependent_lines(
    rows: Sequence[Entry],
    then: Sequence[Entry],
    *,
    entry_id: str,
    units: tuple[Unit, ...],
    grid: LocalGrid | None,
    limits: StageLimits,
) -> tuple[Dependent, ...]:
    """Return other people's lines whose work would lose its ground if the log read otherwise.

    Parameters
    ----------
    rows, then
        The rows of the log as they are, and as they would be.
    entry_id
        The line that would change; lines of the person who did that work are not looked at.
    units, grid, limits
        The place's.

    Notes
    -----
    A line does something on a piece of ground where it changes its stage. What it does with the log as it is and not
    with the log as it would be, on units as they are drawn now, rests on what would change.
    """
    now, changed = effective_entries(rows), effective_entries(then)
    line = next((entry for entry in now if entry.entry_id == entry_id), None)
    if line is None or line.patch is None:
        return ()
    patch = line.patch
    others = {
        entry.entry_id: entry
        for entry in now
        if entry.who is not None
        and _person(entry.who) != _person(line.who)
        and day_order(entry) > day_order(line)
        and entry.patch is not None
        and entry.patch.intersects(patch)
    }
    if not others:
        return ()
    did_acres, would_acres = (
        _did(cut_ground(units, entries, grid=grid, limits=limits), frozenset(others), limits)
        for entries in (now, changed)
    )
    lost = {name: did_acres[name] - would_acres[name] for name in others}
    numbers = line_numbers(rows)
    return tuple(
        Dependent(name, numbers[name], entry.who or "", entry.practice, entry.date, lost[name])
        for name, entry in others.items()
        if lost[name] > LEAST_ACRES
    )


def _person(who: str | None) -> str:
    return " ".join((who or "").casefold().split())


def _did(cut: Ground, names: frozenset[str], limits: StageLimits) -> dict[str, float]:
    """Return on how much ground each of these lines changed the stage [acre]."""
    done: defaultdict[str, float] = defaultdict(float)
    rules = {unit.unit_id: unit_rules(unit, limits) for unit in cut.units}
    by_id = {entry.entry_id: entry for entry in cut.entries}
    for piece in cut.pieces:
        own = rules[piece.unit_id]
        for at, name in enumerate(piece.entry_ids):
            if name not in names:
                continue
            before, after = (
                own.state_of(by_id[entry_id] for entry_id in piece.entry_ids[:count]).stage for count in (at, at + 1)
            )
            if before != after:
                done[name] += piece.acres
    return done
