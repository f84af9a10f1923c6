"""What the log says and ever said, line by line in words, whatever face shows it (`habmap.work.log_history`)."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from habmap.measures import so_many
from habmap.records import Entry, facts, value_of
from habmap.show.burn.words import burn_words
from habmap.show.logged_words import cleared_words
from habmap.show.words import short_day
from habmap.vocabulary import PRACTICE_WORDS
from habmap.work.log_history import (
    HistoryLine,
    HistoryResult,
    PlotChange,
    UnitAcresThen,
    UnitChange,
    VersionLine,
)

#: What became of a row, beside its id; ``log`` lines, corrections (``amend``) and withdrawals (``void``).
STATE_WORDS: Final = {
    ("log", "withdrawn"): "; it no longer counts",
    ("log", "corrected"): "; corrected below",
    ("amend", "withdrawn"): "; it no longer counts",
    ("amend", "corrected"): "; corrected again below",
    ("amend", "lost"): "; it does not count, a correction made apart from it does",
    ("amend", "unknown"): "; that line is not in this log",
    ("void", "taken back"): "; taken back below",
    ("void", "unknown"): "; that line is not in this log",
}


def history_lines(result: HistoryResult, zone: ZoneInfo) -> list[str]:
    """Return the history in plain lines: one per row of the log, its corrections under it."""
    where = f"in unit {_plain(result.unit_id)}" if result.unit_id else f"at {_plain(result.place)}"
    roots = [line for line in result.entries if line.action == "log"]
    if not roots and not result.changes and not result.plots and len(result.versions) < 2:
        return [f"No work is logged {where} yet."]
    withdrawn = {line.root_id for line in result.entries} - {line.root_id for line in result.entries if line.counts}
    words = [
        f"{so_many(len(roots), 'piece')} of work logged {where}"
        + (f", {len(withdrawn - {None})} of them withdrawn." if withdrawn - {None} else ".")
    ]
    kinds = {line.entry_id: line.action for line in result.entries}
    for line in result.entries:
        words.append("")
        words.append(line_words(line, zone, kinds))
        own = f", {_plain(line.source_id)} in the file it came from" if line.source_id else ""
        # a line goes by its number; what has none is named by its id, or nobody could take it back
        kind = "correction" if line.action == "amend" else "withdrawal"
        numbered = line.action == "log" and line.number is not None
        name = f"line {line.number}" if numbered else f"{kind} ({line.entry_id})"
        words.append(f"  {name}{own}, written {short_day(_local(line.recorded_at, zone))}")
        words[-1] += STATE_WORDS.get((line.action, line.state), "")
    for change in result.changes:
        words += ["", *change_words(change)]
    for plot in result.plots:
        words += ["", _plot_words(plot, zone)]
    if len(result.versions) > 1:
        words += ["", "Versions, oldest first:", *(f"  {_version_words(version)}" for version in result.versions)]
    return words


def _plot_words(change: PlotChange, zone: ZoneInfo) -> str:
    done = {"correct": "corrected", "void": "withdrawn", "restore": "counted again"}[change.action]
    where = f" in {_plain(change.unit_id)}" if change.unit_id else ""
    said = "; ".join(_plain(words) for words in (*change.changes, *([change.why] if change.why else [])))
    return f"Plot {_plain(change.plot_id)}{where} {done} on {short_day(_local(change.recorded_at, zone))}" + (
        f": {said}." if said else "."
    )


def _version_words(version: VersionLine) -> str:
    begins = "from the beginning" if version.valid_from is None else f"from {short_day(version.valid_from)}"
    state = {
        "holds": "holds",
        "retired": "the unit is retired",
        "taken back": "taken back, never held",
        "ended": "" if version.valid_to is None else f"until {short_day(version.valid_to)}",
    }[version.state]
    follows = f", after {', '.join(map(_plain, version.follows))}" if version.follows else ""
    return f"{_plain(version.unit_id)}, {_plain(version.cover)}, {version.acres:,.2f} acres, {begins}{follows}: {state}"


def _change_word(before: int, after: int) -> str:
    return "Merged" if before > max(after, 1) else "Split" if after > before else "Redrawn" if after else "Retired"


def _local(moment: datetime, zone: ZoneInfo) -> date:
    return moment.astimezone(zone).date()


def _withdrawal_words(line: HistoryLine, kinds: dict[str, str]) -> str:
    kind = kinds.get(line.target or "", "log")
    if kind == "log":
        return f"Line {line.number or line.target} withdrawn"
    what = "correction" if kind == "amend" else "withdrawal"
    return f"The {what} {line.target} of line {line.number} taken back"


def content_words(line: HistoryLine) -> str:
    """Say what a line of the log says, in a few words."""
    words = _done(line)
    return words[0].lower() + words[1:] + (f" ({_plain(line.who)})" if line.who else "")


def line_words(line: HistoryLine, zone: ZoneInfo, kinds: dict[str, str]) -> str:
    """Say what one row of the log says; ``kinds`` are the actions of all rows by id."""
    who = f" ({_plain(line.who)})" if line.who else ""
    why = f": {_plain(line.why)}" if line.why else ""
    if line.action == "void":
        return f"{_withdrawal_words(line, kinds)} on {short_day(_local(line.recorded_at, zone))}{who}{why}."
    said = f"{_done(line)}{who}."
    if line.action == "amend":
        day, name = short_day(_local(line.recorded_at, zone)), line.number or line.target
        said = f"Corrected on {day}{why}. Line {name} should read: {said}"
    if line.product:
        rate = f" at {_plain(line.product_rate)}" if line.product_rate else ""
        said += f" Product: {_plain(line.product)}{rate}; the product's label is the law."
    for words in burn_words(line.burn):
        said += f" {_plain(words)}."
    if line.note:
        said += f" Note: {_plain(line.note)}"
    return said + (f" {cleared_words(line.cleared)}" if line.cleared else "")


def _done(line: HistoryLine) -> str:
    words = PRACTICE_WORDS.get(line.practice, line.practice) or "work"  # a word that another program put there
    parts = [f"{words[0].upper()}{words[1:]} on {short_day(line.date)}"]
    if line.acres is not None:
        parts.append(f"{line.acres:,.1f} acres{_where(line)}")
    if line.acres_sd is not None:
        parts.append(f"give or take {line.acres_sd:,.2f}")
    if line.reported_acres is not None:
        parts.append(f"reported as {line.reported_acres:,.1f}{', and confirmed' if line.is_sure else ''}")
    for one in facts(Entry).values():
        parts += map(_plain, one.told(value_of(line, one)))
    return ", ".join(parts)


def _where(line: HistoryLine) -> str:
    places = [f"{touched.acres:,.1f} in {_plain(touched.unit_id)}" for touched in line.units]
    if line.outside_acres is not None and line.outside_acres >= 0.05:
        places.append(f"{line.outside_acres:,.1f} outside every unit")
    if len(places) == 1 and line.units:
        return f" in {_plain(line.units[0].unit_id)}"
    return f" ({', '.join(places)})" if places else ""


def change_words(change: UnitChange) -> list[str]:
    """Say a redrawing of units, with their account before and after."""

    def side(units: tuple[UnitAcresThen, ...]) -> str:
        return "; ".join(
            f"{_plain(unit.unit_id)} {unit.acres:,.2f} acres, {unit.treated_acres:,.2f} treated, "
            f"{unit.remaining_acres:,.2f} remaining"
            for unit in units
        )

    return [
        f"{_change_word(len(change.before), len(change.after))} from {short_day(change.date)}.",
        f"  before: {side(change.before)}",
        f"  after:  {side(change.after)}",
    ]


def _plain(text: str | None) -> str:
    """Return text without what would move a terminal's cursor."""
    return "".join(character if character.isprintable() else " " for character in text or "")
