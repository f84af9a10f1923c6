"""``habmap shortcut``: an icon on the desktop that opens the desk."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from habmap.cli.context import OverwriteOption, Session
from habmap.cli.output import say


def command(
    context: typer.Context,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", metavar="DIR", help="The folder to put it into (the desktop).")
    ] = None,
    overwrite: OverwriteOption = False,
) -> None:
    """Put an icon on the desktop that opens the desk.

    With --place, or in a property's folder, it opens that property; else the list of those that are known.
    """
    from habmap.desk.shortcut import write_shortcut

    session: Session = context.obj
    target = write_shortcut(
        place=session.property_folder(), desktop=output, home=Path(typer.get_app_dir("habmap")), overwrite=overwrite
    )
    say(f"The icon is {target}. Some desktops ask once whether it may be started: allow it.")
