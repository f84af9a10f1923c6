"""The row that corrects a line of the log: it carries the line's whole content anew."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import replace

from habmap.records import Entry, value_of
from habmap.records.said import Said, assembled, other_work_says
from habmap.work.ledger import Correction, sight
from habmap.work.unit_shares import Covered


def corrected(
    line: Correction,
    said: Said,
    *,
    now: dt.datetime,
    why: str,
    practice: str | None,
    date: dt.date | None,
    covered: Covered | None,
) -> Entry:
    """Return the row; what is left out stays as it was, ``who`` included.

    Parameters
    ----------
    line
        The line, which counts.
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
    return said.over(row)
