"""One module per command; heavy libraries are imported inside the command itself.

A module's ``command`` bears the module's name; one of several commands, or of a group, has its own ``register(app)``.
"""

from types import ModuleType

import typer

from habmap.cli.commands import (
    acres,
    bite,
    burnsheet,
    check,
    correct,
    demo,
    density,
    desk,
    due,
    effort,
    export,
    feature,
    handout,
    history,
    load,
    log,
    manual,
    map,
    photos,
    plot,
    rank,
    region,
    response,
    schedule,
    sheet,
    shortcut,
    start,
    terrain,
    trace,
    unit,
    unite,
    week,
)
from habmap.cli.fact_options import with_groups

#: In the order in which help lists them: set up, keep the log, ask, show, share, look over.
IN_ORDER = (
    start, load, trace, unit, feature, log, correct, plot, history, acres, terrain, density, rank, bite, week, due,
    effort, schedule, burnsheet, photos, response, map, sheet, handout, export, unite, check, region, desk, shortcut,
    demo, manual,
)  # fmt: skip


def register(app: typer.Typer, module: ModuleType) -> None:
    """Hang a module's commands on the app."""
    if hasattr(module, "register"):
        module.register(app)
    else:
        app.command(module.__name__.rpartition(".")[2])(with_groups(module.command))
