"""``habmap handout``: four landscape pages for a meeting without a screen."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.commands.sheet import PaperOption, PaperSize
from habmap.cli.context import Copy, JsonOption, Session
from habmap.cli.output import progress_bar, say, told_as_json
from habmap.show.copy_words import as_of, made_for


def command(
    context: typer.Context,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="The PDF to write; out/handout.pdf in the place."),
    ] = None,
    paper: PaperOption = PaperSize.LETTER,
    *,
    copy: Copy,
    as_json: JsonOption = False,
) -> None:
    """Write four pages to print for a meeting without a screen.

    Then and now, acres by season, what comes next and why, what it takes and what help is asked.
    """
    from habmap.jobs.handout import write_handout

    session: Session = context.obj
    with progress_bar() as progress:
        result = write_handout(
            session.store(),
            target=output,
            folder=session.folder,
            now=session.now(),
            today=session.local_day(),
            paper=paper.value,
            progress=progress,
            **copy.told,
        )
    if told_as_json("handout", result, as_json=as_json):
        return
    scale = (
        "no ground is drawn yet"
        if result.now_scale is None
        else f"the ground at 1:{result.now_scale:,}, the order of work at 1:{result.order_scale:,}"
    )
    say(
        f"{result.path} tells the story in {result.pages} pages on {result.paper} paper, landscape: "
        f"{result.treated_acres:,.1f} acres treated, {result.remaining_acres:,.1f} remaining, "
        f"{as_of(result.on)}; {scale}. "
        f"{made_for(result.audience)} Print it at 100%, not fitted to the page."
    )
