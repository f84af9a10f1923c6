"""One module per command; heavy libraries are imported inside the command itself.

A module's ``command`` bears the module's name; one of several commands, or of a group, has its own ``register(app)``.
"""

from importlib import import_module
from types import ModuleType

import typer

from habmap.cli.fact_options import with_groups

#: In the order in which help lists them: set up, keep the log, ask, show, share, look over.
NAMES = (
    "start", "load", "trace", "unit", "feature", "log", "correct", "plot", "history", "acres", "terrain", "density",
    "rank", "bite", "week", "due", "effort", "schedule", "burnsheet", "photos", "response", "map", "sheet", "handout",
    "export", "unite", "check", "region", "desk", "shortcut", "demo", "manual",
)  # fmt: skip


def modules(*names: str) -> tuple[ModuleType, ...]:
    """Return the modules of some commands; left out: of all of them. Each is loaded when it is asked for."""
    return tuple(import_module(f"{__name__}.{name}") for name in names or NAMES)


def register(app: typer.Typer, module: ModuleType) -> None:
    """Hang a module's commands on the app."""
    if hasattr(module, "register"):
        module.register(app)
    else:
        app.command(module.__name__.rpartition(".")[2])(with_groups(module.command))
