"""A line of the log in words: what was added, what it changes, what to mind, and the cautions of the day."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence

from habmap.measures import acres
from habmap.records import Entry
from habmap.records.said import clearable
from habmap.show.words import SPOKEN_ACRES, joined
from habmap.vocabulary import CAUTIONS, PRACTICE_WORDS, STATEMENTS
from habmap.work.leave import Taken
from habmap.work.logged import Changes, Logged
from habmap.work.paperwork_records import Item
from habmap.work.seasons import HeldUnit
from habmap.work.unit_shares import TRACE_M2


def ground_warnings(
    entry: Entry,
    *,
    today: dt.date,
    redrawn: Iterable[str],
    holds: Iterable[HeldUnit],
    too_early: Iterable[Item],
    patch_acres: float,
    outside_acres: float,
    not_counted: Iterable[str],
    same_as: int | None,
) -> list[str]:
    """Return what is to be pointed out about a line, besides its reported acres.

    Parameters
    ----------
    same_as
        Number of a line that says the same.
    """
    words = [] if entry.date <= today else [f"{entry.date} is after today, {today}"]
    words += [
        f"unit {unit_id} was drawn otherwise on {entry.date}; the ground taken is its outline of today"
        for unit_id in redrawn
    ]
    words += [f"unit {hold.unit_id} is on hold on {entry.date}: {hold.reason}" for hold in holds]
    words += [
        f"{item.program} item {item.item} begins on {item.not_before}; work dated earlier can forfeit payment"
        for item in too_early
    ]
    if outside_acres >= patch_acres * (1 - 1e-9):
        words.append("none of this ground lies in a unit")
    elif acres(TRACE_M2) < outside_acres:
        words.append(f"{outside_acres:,.2f} acres of this ground lie outside every unit")
    words += [f"a {what} is not counted for `{entry.practice}`" for what in not_counted]
    if same_as is not None:
        words.append(
            f"the same work is already logged ({PRACTICE_WORDS[entry.practice]}, {entry.date}, same ground: "
            f"line {same_as}); ground counts once, hours and cost count twice"
        )
    return words


def logged_sentence(logged: Logged) -> str:
    """Say in one sentence what was added, or would be."""
    sd = "" if logged.acres_sd is None else f" ± {logged.acres_sd:,.2f}"
    return f"{_opening(logged)}: {PRACTICE_WORDS[logged.practice]}, {logged.date}, {logged.acres:,.2f}{sd} acres."


def _opening(logged: Logged) -> str:
    if logged.preview:
        return "Preview, nothing is written" + ("" if logged.action == "log" else f"; line {logged.number} would read")
    if logged.action == "log":
        return f"Logged as line {logged.number}"
    return f"Line {logged.number} corrected (`habmap void {logged.entry_id[:8]}` takes that back)"


def changes_sentences(logged: Logged) -> list[str]:
    """Say what a line changes, what was treated already, and the account with it."""
    changes, taken_out = logged.changes, [cleared_words(logged.cleared)] if logged.cleared else []
    if changes is None:
        return taken_out
    words = list(taken_out)
    if logged.practice not in STATEMENTS:
        words.append(_treated_sentence(changes, is_preview=logged.preview))
    if changes.already_treated_acres >= 0.005 and logged.practice not in STATEMENTS:
        verb = "are" if logged.preview else "were"
        words.append(f"{changes.already_treated_acres:,.2f} acres of this ground {verb} treated already.")
    kept = "" if changes.keep_after_acres < SPOKEN_ACRES else f" and {changes.keep_after_acres:,.1f} left on purpose"
    would = "would be: " if logged.preview else ""
    words.append(
        f"Account{'' if would else ':'} {would}{changes.treated_after_acres:,.1f} of {changes.cedar_acres:,.1f} cedar "
        f"acres treated at least once; {changes.remaining_after_acres:,.1f} remain{kept}."
    )
    return words


def _treated_sentence(changes: Changes, *, is_preview: bool) -> str:
    before, after = changes.treated_before_acres, changes.treated_after_acres
    if abs(after - before) < 0.005:
        return f"Treated acres {'would stay' if is_preview else 'stay'} at {after:,.2f}."
    units = ", ".join(
        f"{unit.unit_id} {unit.treated_after_acres - unit.treated_before_acres:+,.2f}"
        for unit in changes.units
        if abs(unit.treated_after_acres - unit.treated_before_acres) >= 0.005
    )
    verb = "would go" if is_preview else "went"
    return f"Treated acres {verb} from {before:,.2f} to {after:,.2f}{f' ({units})' if units else ''}."


def cleared_words(names: Sequence[str]) -> str:
    """Say what a correction took out of a line."""
    return f"Taken out: {joined([one.words for one in clearable() if one.name in names])}."


def caution_lines(logged: Logged) -> list[str]:
    """Return the cautions: each in full once a day, and after that in one line which ones hold too."""
    told = {one.caution: one.number for one in logged.said_today}
    again: defaultdict[int, list[str]] = defaultdict(list)
    for caution, number in told.items():
        again[number].append(CAUTIONS.get(caution, caution))
    return [
        *(caution for caution in logged.cautions if caution not in told),
        *(
            f"what was said in full today with line {number} holds here too: {joined(about)}"
            for number, about in again.items()
        ),
    ]


def lines_below(logged: Logged, burn_words: Sequence[str]) -> list[str]:
    """Return the sentences that stand below the units of a line."""
    return [*changes_sentences(logged), *(f"{words}." for words in (*burn_words, *logged.next_steps))]


def taken_sentence(taken: Taken) -> str:
    """Return the warning that stands before work which takes cedar that should be left."""
    words = (
        f"this takes unit {taken.unit_id} below what is to be left on purpose: {taken.after_acres:,.2f} acres of live "
        f"cedar ground stay, where at least {taken.least_acres:,.2f} are meant to"
    )
    if taken.before_acres < taken.least_acres:
        words += f" ({taken.before_acres:,.2f} before this line, too little already)"
    return words
