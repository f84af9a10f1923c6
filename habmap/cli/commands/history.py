"""``habmap history``: everything ever said, in order."""

from __future__ import annotations

from typing import Annotated

import typer

from habmap.cli.context import JsonOption, Session
from habmap.cli.output import print_json, say


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("history")
    def history_command(
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
        if as_json:
            print_json("history", result)
            return
        zone = ZoneInfo(store.settings.place.timezone)
        for line in history_lines(result, zone):
            say(line)
