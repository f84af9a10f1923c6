"""Withdrawing a line of the log, a correction of one, or such a withdrawal: what it does, and when it does nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from habmap.errors import InputError
from habmap.records import Entry
from habmap.work.ledger import Correction, conflicts
from habmap.work.log_history import HistoryLine


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
