"""``habmap load``: what a person's own files bring; the commands themselves lie in `habmap.cli.load`."""

from __future__ import annotations

import typer

from habmap.cli.load.layers import block_command, boundary_command, features_command, units_command
from habmap.cli.load.photos import photos_command
from habmap.cli.load.rasters import canopy_command, dem_command
from habmap.cli.load.tables import HELP_OF, entries_command, forecast_command, table_command


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""
    load = typer.Typer(
        name="load",
        help="Load a layer, a table or a raster, whole or not at all.",
        no_args_is_help=True,
    )
    load.command("units")(units_command)
    load.command("boundary")(boundary_command)
    load.command("features")(features_command)
    load.command("entries")(entries_command)
    load.command("forecast")(forecast_command)
    for kind in HELP_OF:
        load.command(kind)(table_command(kind))
    load.command("photos")(photos_command)
    load.command("dem")(dem_command)
    load.command("canopy")(canopy_command)
    load.command("block")(block_command)
    app.add_typer(load)
