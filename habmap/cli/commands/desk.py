"""``habmap desk``: the same jobs in a local web page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.context import Session
from habmap.cli.output import say


def command(
    context: typer.Context,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, metavar="N", help="Port on this computer (default: a free one).")
    ] = 0,
    is_opening: Annotated[bool, typer.Option("--open/--no-open", help="Open the browser.")] = True,
) -> None:
    """Do the whole job in a web page on this computer.

    It ends by Ctrl-C, by "close the desk", or a minute after its last page was closed. Where a desk runs already,
    another page of that is opened.
    """
    from habmap.desk.start import run_desk

    session: Session = context.obj
    run_desk(
        home=Path(typer.get_app_dir("habmap")),
        made_in=Path.home() / "habmap",
        folder=session.property_folder(),
        port=port,
        is_opening=is_opening,
        tell=_say_at_once,
    )


def _say_at_once(words: str) -> None:
    """Print words and hand them on: who reads the desk's address through a pipe waits for it while the desk serves."""
    say(words)
    sys.stdout.flush()
