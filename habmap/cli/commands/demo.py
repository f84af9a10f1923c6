"""``habmap demo``: the sample property, and the whole main job on it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.context import JsonOption, OverwriteOption, Session
from habmap.cli.output import print_table, progress_lines, say, told_as_json, warn


def command(
    context: typer.Context,
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder.", show_default=False)],
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Build an invented sample property and do the main job on it.

    With --overwrite an earlier sample property in DIR, and whatever was put beside it, is replaced; a property of
    your own never is.
    """
    from habmap.jobs.demo import demo as build
    from habmap.place.settings import PlaceSection
    from habmap.vocabulary import PRACTICES, STAGE_WORDS, cautions_of

    session: Session = context.obj
    result = build(
        directory,
        now=session.now(),
        today=session.today(PlaceSection().timezone),
        overwrite=overwrite,
        tell=(lambda words: None) if as_json else say,
        note=warn,
        progress=progress_lines(),
    )
    if told_as_json("demo", result, as_json=as_json):
        return
    print_table(
        ["stage", "acres"],
        [[STAGE_WORDS[stage], stage_acres] for stage, stage_acres in result.stage_acres.items()],
    )
    say("")
    for words in cautions_of(PRACTICES, has_snags=True, is_steep=True):
        say(words)
    say("")
    say(f"The map is {result.map}; open it in a browser, it needs no network.")
    say(f"The sheet to print is {result.sheet}; print it at 100%, not fitted to the page.")
    say(f"Four pages for a meeting without a screen are {result.handout}.")
    say(f"Next: habmap --place {directory} acres")
