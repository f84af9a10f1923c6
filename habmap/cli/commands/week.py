"""``habmap week``: what to do now, on one screen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import AudienceOption, For, JsonOption, OnOption, Session
from habmap.cli.output import say, told_as_json
from habmap.errors import HabmapError, PlaceError, UsageError

if TYPE_CHECKING:
    import datetime as dt

    from habmap.work.week import WeekResult


def register(app: typer.Typer) -> None:
    """Add the command."""
    # folders after the first of --places come as words of the line, which has no argument of its own
    app.command("week", context_settings={"allow_extra_args": True})(week)


def week(
    context: typer.Context,
    on: OnOption = None,
    places: Annotated[
        list[Path] | None,
        typer.Option("--places", metavar="DIR…", help="Several properties' folders as one list; only read."),
    ] = None,
    audience: AudienceOption = For.OWNER,
    as_json: JsonOption = False,
) -> None:
    """Say what this week asks, on one screen.

    First what is forbidden or closed now; then what closes soonest, what may be considered for burning by the plan's
    days, what to cut and what to check. `due` has everything.
    """
    from habmap.show.week_words import week_lines

    session: Session = context.obj
    if context.args and not places:
        raise UsageError("of which property?", where="week", value=context.args[0], mend="name folders after --places")
    result = _together([*places, *map(Path, context.args)], on, audience) if places else _one(session, on, audience)
    if told_as_json("week", result, as_json=as_json):
        return
    if not places and audience is For.OWNER:
        result = replace(result, cautions=tuple(session.cautions(result.cautions)))
    for words in week_lines(result):
        say(words)


def _one(session: Session, on: dt.date | None, audience: For) -> WeekResult:
    from habmap.jobs.week import week as job

    return job(session.store(), on=on or session.local_day(), audience=audience.value)


def _together(folders: list[Path], on: dt.date | None, audience: For) -> WeekResult:
    """Ask each property on its own; one that cannot be read is named, and the rest is done."""
    from habmap.work.week import WeekFault, together

    found, faults = [], []
    for folder in dict.fromkeys(folders):
        try:
            found.append(_one(Session(folder, debug=False), on, audience))
        except HabmapError as error:
            faults.append(WeekFault(place=str(folder), what=str(error).replace("\n", " ")))
    if not found:
        raise PlaceError(
            "none of these properties can be read",
            where="--places",
            value="; ".join(f"{fault.place}: {fault.what}" for fault in faults),
            mend="name folders that `habmap start` made",
        )
    return together(found, on=on or min(week.on for week in found), faults=faults)
