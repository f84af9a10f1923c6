"""Commands of the work room."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Hang the commands of this module on the app."""
