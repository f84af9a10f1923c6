"""Withdraw a line of the log, one of its corrections, or such a withdrawal: a row more, nothing changed or deleted."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from habmap.errors import InputError
from habmap.jobs.dependents import ask_dependents
from habmap.jobs.history import described
from habmap.jobs.ports import Store
from habmap.records import Entry
from habmap.work.ledger import Correction, conflicts, corrections, line_numbers, sight
from habmap.work.lines import find_row
from habmap.work.log_history import HistoryLine
from habmap.work.said import check_why


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


def void(
    store: Store,
    entry: str,
    *,
    why: str,
    now: dt.datetime,
    who: str | None = None,
    agree: Callable[[str], bool] = lambda words: False,
    tell: Callable[[Voided], None] = lambda voided: None,
) -> Voided:
    """Withdraw what a person names.

    A line is withdrawn whole; a correction is taken back, so that the line stands as it did before; a withdrawal is
    taken back, so that what it withdrew counts again.

    Parameters
    ----------
    store
        The place.
    entry
        The id of a row, the beginning of it (4 characters or more, of one row only) or the id a line was imported with.
    why, who
        The reason, and whose it is.
    now
        Moment of recording, UTC.
    agree
        Asked where other people's work rests on what would no longer count.
    tell
        Told what will be done before it is.

    Raises
    ------
    UsageError
        No reason is given.
    InputError
        There is no such row, several begin so, it counts for nothing already, or nobody agreed.
    """
    check_why(why)
    rows = store.entries()
    line, row = find_row(rows, entry)
    _refuse_idle(line, row)
    counting = line.content or line.root
    voiding = Entry(
        entry_id=str(uuid.uuid4()),
        recorded_at=now,
        action="void",
        target=row.entry_id,
        why=why,
        who=who,
        practice=counting.practice,
        date=counting.date,
        supersedes=sight(line),
    )
    then = (*rows, voiding)
    after = next(found for found in corrections(then) if found.root.entry_id == line.root.entry_id)
    ask_dependents(store, rows, then, entry_id=line.root.entry_id, agree=agree)
    before_words, after_words = described((line.content, after.content), store)
    result = Voided(
        entry_id=voiding.entry_id,
        target=row.entry_id,
        withdraws="withdrawal" if row.action == "void" else "correction" if row.action == "amend" else "line",
        line_id=line.root.entry_id,
        number=line_numbers(rows)[line.root.entry_id],
        practice=counting.practice,
        date=counting.date,
        why=why,
        who=who,
        before=before_words,
        after=after_words,
    )
    tell(result)
    store.append([voiding])
    return result


def _refuse_idle(line: Correction, row: Entry) -> None:
    """Refuse to withdraw what counts for nothing already, but where that settles what was written apart."""
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
