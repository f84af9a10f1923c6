"""``habmap due``: everything that is due, one row for each unit and kind, and the same as a calendar."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import AudienceOption, For, JsonOption, OnOption, OverwriteOption, Session
from habmap.cli.output import print_table, say, told_as_json

if TYPE_CHECKING:
    from habmap.jobs.due import DueResult


def command(
    context: typer.Context,
    on: OnOption = None,
    ics: Annotated[
        Path | None, typer.Option("--ics", metavar="FILE", help="Also write a calendar, from this day on.")
    ] = None,
    audience: AudienceOption = For.OWNER,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show everything that is due, one row for each unit and kind.

    What dries or is past its days, upkeep, check-ups, holds, closed days and contract dates; `week` is the short
    answer.
    """
    from habmap.jobs.due import calendar_days, due
    from habmap.work.seasons import WHAT_WORDS

    session: Session = context.obj
    store = session.store()
    result = due(store, on=on or session.local_day(), audience=audience.value)
    if ics is not None:
        from habmap.place.calendar import calendar_bytes
        from habmap.place.writers import write_whole

        days = calendar_days(store, on=result.on, audience=audience.value)
        name = store.settings.place.name
        data = calendar_bytes(days, name=name, place_id=store.place_id, stamp=result.on)
        write_whole(ics, lambda path: path.write_bytes(data), overwrite=overwrite)
    if told_as_json("due", result, as_json=as_json):
        return
    _first_words(result)
    print_table(
        ["unit", "what", "where it stands", "acres so", "in all", "since", "from", "to", "why"],
        [
            [
                row.unit_id or "all",
                WHAT_WORDS[row.what],
                row.state,
                row.state_acres,
                row.acres,
                row.since_date,
                row.from_date,
                row.to_date,
                row.words,
            ]
            for row in result.items
        ],
    )
    say("")
    for caution in result.cautions if audience is For.PUBLIC else session.cautions(result.cautions):
        say(caution)
    if ics is not None:
        say(f"The dates from {result.on} on were written to {ics}; loading a newer file later updates them.")


def _first_words(result: DueResult) -> None:
    from habmap.work.seasons import WHAT_WORDS

    late = [row for row in result.items if row.state in ("overdue", "past its drying days", "due")]
    if late:
        top = late[0]
        number = "1 thing presses" if len(late) == 1 else f"{len(late)} things press"
        which = f"{top.unit_id or 'all units'}, {WHAT_WORDS[top.what]}, {top.state}"
        say(f"{number} on {result.on}; the first: {which}{f' ({top.words})' if top.words else ''}.")
    else:
        say(f"No item is overdue or due on {result.on}.")
    say(f"Beginning or ending within 30 days: {_glance(result, 30)}; within 90: {_glance(result, 90)}.")


def _glance(result: DueResult, days: int) -> str:
    """Return what begins or ends within so many days, and in how many rows each."""
    from habmap.work.due_rows import coming_within
    from habmap.work.seasons import WHAT_WORDS

    counts = Counter(WHAT_WORDS[row.what] for row in coming_within(result.items, on=result.on, days=days))
    return ", ".join(what if number == 1 else f"{what} ×{number}" for what, number in counts.items()) or "nothing"
