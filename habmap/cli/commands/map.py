"""``habmap map``: the self-contained HTML map for the meeting."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.context import Copy, JsonOption, Session
from habmap.cli.output import progress_bar, say, told_as_json
from habmap.show.copy_words import as_of, made_for


def command(
    context: typer.Context,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="The file to write; out/map.html in the place."),
    ] = None,
    *,
    copy: Copy,
    as_json: JsonOption = False,
) -> None:
    """Write the map: one HTML file that opens without any network.

    What is done, what remains, what comes next.
    """
    from habmap.jobs.map import draw_map

    session: Session = context.obj
    path = output if output is not None else session.folder / "out" / "map.html"
    with progress_bar() as progress:
        result = draw_map(
            session.store(),
            target=path,
            now=session.now(),
            progress=progress,
            **copy.told,
        )
    if told_as_json("map", result, as_json=as_json):
        return
    say(
        f"{result.path} shows {result.treated_acres:,.1f} acres treated and {result.remaining_acres:,.1f} remaining in "
        f"{result.units} units, {as_of(result.on)}; "
        f"{result.bytes / 1e6:.1f} MB, opens without a network. {made_for(result.audience)}"
    )
