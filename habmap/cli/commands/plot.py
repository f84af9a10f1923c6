"""``habmap plot``: a density plot withdrawn."""

from __future__ import annotations

from typing import Annotated

import typer

from habmap.cli.commands.correct import WhyOption
from habmap.cli.context import JsonOption, Session
from habmap.cli.output import say, told_as_json


def register(app: typer.Typer) -> None:
    """Hang the commands on the app."""
    plot = typer.Typer(help="Withdraw a density plot; `load plots --overwrite` corrects one.")
    app.add_typer(plot, name="plot")

    @plot.command("void")
    def void(
        context: typer.Context,
        plot_id: Annotated[str, typer.Argument(metavar="PLOT", help="The plot's id, as it was loaded.")],
        why: WhyOption,
        as_json: JsonOption = False,
    ) -> None:
        """Withdraw a plot. It counts no more; the plot and the reason stay on record."""
        from habmap.jobs.plot import void_plot

        session: Session = context.obj
        result = void_plot(session.store(), plot_id, why=why, now=session.now())
        if told_as_json("plot-void", result, as_json=as_json):
            return
        where = f", unit {result.unit_id}" if result.unit_id else ""
        say(f"Withdrawn: plot {result.plot_id}{where}. Reason: {result.why}")
