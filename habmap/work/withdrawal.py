"""Correcting and withdrawing lines of the log: the rows that do it, when they do nothing, and who must be asked."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from habmap.errors import InputError, UsageError
from habmap.land.grid import LocalGrid
from habmap.records import BurnRecord, Entry, Fact, Unit, value_of
from habmap.records.said import BurnSaid, Said, assembled, clearable, is_said, other_work_says, without
from habmap.vocabulary import PRACTICE_WORDS
from habmap.work.ground import Ground, StageLimits, cut_ground, unit_rules
from habmap.work.ledger import Correction, conflicts, day_order, effective_entries, line_numbers, sight
from habmap.work.log_history import HistoryLine
from habmap.work.unit_shares import Covered


@dataclass(frozen=True, slots=True, kw_only=True)
class Voided:
    """What a withdrawal does.

    Attributes
    ----------
    entry_id
        The new row.
    target, withdraws
        The row it names, and what that is: the line itself, a correction of it, or a withdrawal.
    line_id, number
        The line of the log it is all about, and what people call it by.
    practice, date
        What the line says, or said.
    before, after
        The line as it counts before and after; ``None`` = it does not count.
    """

    entry_id: str
    target: str
    withdraws: Literal["line", "correction", "withdrawal"]
    line_id: str
    number: int
    practice: str
    date: dt.date
    why: str
    who: str | None
    before: HistoryLine | None
    after: HistoryLine | None


def refuse_idle(line: Correction, row: Entry) -> None:
    """Refuse to withdraw what counts for nothing already, but where that settles what was written apart.

    Raises
    ------
    InputError
        It counts for nothing already.
    """
    what, mend = "", "nothing needs to be done"
    if row.action == "log":
        is_settling = any(one.kind == "amended_and_void" for one in conflicts(line.rows))
        if line.content is None and not is_settling:
            what, mend = "this line is withdrawn already", f"{mend}; {_lift(line)}"
    elif row.entry_id in line.withdrawn:
        what = f"this {'correction' if row.action == 'amend' else 'withdrawal'} is taken back already"
    elif row.action == "amend" and line.content is None:
        what, mend = "the line of this correction is withdrawn", _lift(line)
    elif row.action == "amend" and row.entry_id not in _latest(line):
        what = "a later correction of this line counts, which was made in sight of this one"
        mend = f"take back {line.basis[-1].entry_id[:8]} first, or say what is right with `habmap correct`"
    if what:
        raise InputError(what, where="LINE", value=row.entry_id, mend=mend)


def _latest(line: Correction) -> Sequence[str]:
    return [row.entry_id for row in (*line.rivals, *line.basis[-1:])]


def _lift(line: Correction) -> str:
    voids = [row for row in line.voids if row.target == line.root.entry_id and row.entry_id not in line.withdrawn]
    return f"to bring the line back, take back its withdrawal: `habmap void {voids[-1].entry_id[:8]}`"


# --- a correction -------------------------------------------------------------------------------------------


def corrected(
    line: Correction,
    said: Said,
    *,
    now: dt.datetime,
    why: str,
    practice: str | None,
    date: dt.date | None,
    covered: Covered | None,
    gone: Sequence[Fact] = (),
) -> Entry:
    """Return the row; what is left out stays as it was, ``who`` included.

    Parameters
    ----------
    line
        The line, which counts.
    gone
        What of a line it no longer says.
    """
    content = line.content
    assert content is not None
    row = replace(
        content,
        entry_id=str(uuid.uuid4()),
        recorded_at=now,
        action="amend",
        target=line.basis[-1].entry_id,
        supersedes=sight(line),
        why=why,
        practice=practice or content.practice,
        date=date or content.date,
    )
    if covered is not None:
        row = replace(row, patch=covered.patch, unit_ids=covered.unit_ids, acres_sd=covered.acres_sd)
    if row.practice != "checkup" and row.look is not None:
        # of what stands there other work says only what a look need not say
        kept = {one.name: value_of(row.look, one) for one in other_work_says()}
        row = replace(row, look=assembled(Entry, kept).get("look"))
    row = without(said.over(row), gone)
    return row if row.reported_acres is not None else replace(row, is_sure=False)


def taken_out(
    names: Iterable[str], *, content: Entry, burn: BurnRecord | None, said: Said, told: BurnSaid
) -> tuple[Fact, ...]:
    """Return the facts that a correction takes out of a line, in the order of the records.

    Parameters
    ----------
    names
        Words of their options (``person-hours``, with dashes before them or not), or their names.
    content, burn
        What the line says now.
    said, told
        What the correction says anew.

    Raises
    ------
    UsageError
        There is no such thing to be said of a line, or it is said anew as well.
    InputError
        The line says nothing of it.
    """
    there = {one.name: one for one in clearable()}
    by_word = {one.flag.removeprefix("--"): one.name for one in there.values()}
    gone = set()
    for name in names:
        word = name.strip().removeprefix("--").replace("_", "-")
        found = by_word.get(word) or name.strip()
        if found not in there:
            raise UsageError(
                "nothing of this name can be taken out of a line",
                where="--clear",
                value=name,
                allowed=", ".join(by_word),
                mend="name it by its option; the practice, the day and the ground can be corrected, not taken out",
            )
        one = there[found]
        now, anew = (burn, told) if one.record is BurnRecord else (content, said)
        if is_said(anew, one):
            raise UsageError("this is corrected and taken out at once", where="--clear", value=name, mend="do one")
        if not is_said(now, one):
            raise InputError(
                f"the line says nothing of its {one.words}",
                where="--clear",
                value=name,
                mend="leave it out; `habmap history` tells what the line says",
            )
        gone.add(found)
    return tuple(one for name, one in there.items() if name in gone)


#: Ground smaller than this that would lose another's work is passed over [acre].
LEAST_ACRES: Final = 0.005


# --- whose work rests on a line -----------------------------------------------------------------------------


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
    others = {
        entry.entry_id: entry
        for entry in now
        if entry.who is not None and _person(entry.who) != _person(line.who) and day_order(entry) > day_order(line)
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
