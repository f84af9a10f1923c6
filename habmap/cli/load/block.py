"""``habmap load block``: a burn block drawn in a file, saved by name."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.context import JsonOption, OverwriteOption, Session
from habmap.cli.output import say, told_as_json


def block_command(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A layer with its ground.", show_default=False)],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="What the block is called.")],
    repair: Annotated[bool, typer.Option("--repair", help="Mend outlines that cross themselves.")] = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Save a drawn burn block by name, for burnsheet."""
    from habmap.jobs.load.layers import load_block
    from habmap.place.load.block import checked_name

    checked_name(name)
    session: Session = context.obj
    result = load_block(session.store(), name=name, path=file, now=session.now(), repair=repair, overwrite=overwrite)
    if told_as_json("load", result, as_json=as_json):
        return
    where = f" in {', '.join(result.units)}" if result.units else ""
    done = "is saved already" if result.already_there else "is saved anew" if result.replaced else "is saved"
    say(f"The block {result.name} {done}: {result.acres:,.2f} acres{where}. `habmap burnsheet` finds it by that name.")
