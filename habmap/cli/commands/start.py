"""``habmap start``: a new place folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.context import JsonOption, Session
from habmap.cli.output import say, told_as_json


def command(
    context: typer.Context,
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="The folder to make.")],
    name: Annotated[str, typer.Option("--name", help="What people call the property.")],
    boundary: Annotated[
        Path | None, typer.Option("--boundary", metavar="FILE", help="A layer with the property's outer line.")
    ] = None,
    timezone: Annotated[
        str | None, typer.Option("--timezone", metavar="ZONE", help="Such as America/Chicago (the default).")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Make a new property folder with commented settings."""
    from habmap.jobs.start import start as make

    session: Session = context.obj
    result = make(directory, name=name, now=session.now(), boundary=boundary, timezone=timezone)
    if told_as_json("start", result, as_json=as_json):
        return
    size = "" if result.boundary_acres is None else f", {result.boundary_acres:,.2f} acres inside its boundary"
    say(f"{result.place} now has its folder, {result.folder}{size}.")
    say(f"It holds {', '.join(result.files)}.")
    say(f"Next: habmap --place {directory} load units FILE")
