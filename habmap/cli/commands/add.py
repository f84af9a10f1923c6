"""``habmap load``: what a person's own files bring; the commands themselves lie in `habmap.cli.adding`."""

from __future__ import annotations

import typer

from habmap.cli.adding.block import block_command
from habmap.cli.adding.layers import boundary_command, features_command, units_command
from habmap.cli.adding.photos import photos_command
from habmap.cli.adding.rasters import canopy_command, dem_command
from habmap.cli.adding.tables import cover_command, entries_command, forecast_command, plots_command, sightings_command


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""
    add = typer.Typer(
        name="load",
        help="Load a layer, a table or a raster, whole or not at all.",
        no_args_is_help=True,
    )
    add.command("units")(units_command)
    add.command("boundary")(boundary_command)
    add.command("features")(features_command)
    add.command("entries")(entries_command)
    add.command("plots")(plots_command)
    add.command("forecast")(forecast_command)
    add.command("sightings")(sightings_command)
    add.command("cover")(cover_command)
    add.command("photos")(photos_command)
    add.command("dem")(dem_command)
    add.command("canopy")(canopy_command)
    add.command("block")(block_command)
    app.add_typer(add)
