"""``habmap sheet``: the printed map sheet, true to scale."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.context import Copy, JsonOption, Session
from habmap.cli.output import progress_bar, say, told_as_json
from habmap.show.copy_words import as_of, made_for


class PaperSize(StrEnum):
    """The papers a sheet is made for."""

    LETTER = "letter"
    TABLOID = "tabloid"
    A4 = "a4"
    A3 = "a3"


PaperOption = Annotated[PaperSize, typer.Option("--paper", help="The paper it will be printed on.")]


def command(
    context: typer.Context,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="The PDF to write; out/sheet.pdf in the place."),
    ] = None,
    unit: Annotated[
        str | None, typer.Option("--unit", metavar="ID", help="A sheet of this unit, not of the whole property.")
    ] = None,
    paper: PaperOption = PaperSize.LETTER,
    *,
    copy: Copy,
    as_json: JsonOption = False,
) -> None:
    """Write the map sheet for the wall, a PDF at a true scale.

    With the account and how it was made.
    """
    from habmap.jobs.sheet import write_sheet

    session: Session = context.obj
    with progress_bar() as progress:
        result = write_sheet(
            session.store(),
            target=output,
            folder=session.folder,
            now=session.now(),
            paper=paper.value,
            unit_id=unit,
            progress=progress,
            **copy.told,
        )
    if told_as_json("sheet", result, as_json=as_json):
        return
    what = f"unit {result.unit_id}" if result.unit_id is not None else f"{result.units} units"
    say(
        f"{result.path} shows {what} at 1:{result.scale:,} on {result.paper} paper, {result.orientation}: "
        f"{result.treated_acres:,.1f} acres treated, {result.remaining_acres:,.1f} remaining, "
        f"{as_of(result.on)}; "
        f"{'one page' if result.pages == 1 else f'{result.pages} pages'}. "
        f"{made_for(result.audience)} Print it at 100%, not fitted to the page, "
        "or its scale is no longer true."
    )
