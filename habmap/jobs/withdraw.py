"""Withdraw a line of the log, one of its corrections, or such a withdrawal: a row more, nothing changed or deleted."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable

from habmap.jobs.history import described
from habmap.jobs.ports import Store
from habmap.records import Entry
from habmap.work.ledger import corrections, line_numbers, sight
from habmap.work.lines import find_row
from habmap.work.said import check_why
from habmap.work.withdrawal import Voided, ask_dependents, dependent_lines, refuse_idle


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
    refuse_idle(line, row)
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
    resting = dependent_lines(
        rows, then, entry_id=line.root.entry_id, units=store.units(), grid=store.grid, limits=store.settings.stages
    )
    ask_dependents(resting, agree=agree)
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
