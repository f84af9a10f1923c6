"""``habmap history``: everything ever said, in order."""

from __future__ import annotations

from typing import Annotated

import typer

from habmap.cli.context import JsonOption, Session
from habmap.cli.output import say, told_as_json


def command(
    context: typer.Context,
    unit: Annotated[str | None, typer.Argument(metavar="[UNIT]", help="Only what was done in this unit.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Show everything recorded about the work, corrections too."""
    from zoneinfo import ZoneInfo

    from habmap.jobs.history import history
    from habmap.show.ledger_words import history_lines

    session: Session = context.obj
    store = session.store()
    result = history(store, unit_id=unit)
    if told_as_json("history", result, as_json=as_json):
        return
    zone = ZoneInfo(store.settings.place.timezone)
    for line in history_lines(result, zone):
        say(line)
