"""``habmap load dem`` and ``canopy``: rasters of heights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import JsonOption, OverwriteOption, Session
from habmap.cli.load.shared import FileArgument
from habmap.cli.output import print_json, say, warn
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.measures import VerticalUnit

VerticalUnitOption = Annotated[
    str | None, typer.Option("--vertical-unit", metavar="m|ft|us-ft", help="Unit of the heights.")
]
CopyOption = Annotated[bool, typer.Option("--copy", help="Copy the raster into the property's folder.")]
VERTICAL_UNIT_WORDS = {"m": "meters", "ft": "international feet", "us-ft": "US survey feet"}


def dem_command(
    context: typer.Context,
    file: FileArgument,
    vertical_unit: VerticalUnitOption = None,
    copy_into: CopyOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Point at an elevation raster, or copy it into the folder."""
    unit = _known_vertical_unit(vertical_unit)
    from habmap.jobs.load.dem import load_dem

    session: Session = context.obj
    result = load_dem(
        session.store(),
        path=file,
        vertical_unit=unit,
        copy_into=session.folder if copy_into else None,
        overwrite=overwrite,
        now=session.now(),
    )
    for warning in result.warnings:
        warn(warning)
    if as_json:
        print_json("load", result)
        return
    dem = result.dem
    say(
        f"Elevation {'copied and ' if result.copied else ''}loaded: {dem.path}, cells of {dem.cell_m:.2f} m, "
        f"heights in {VERTICAL_UNIT_WORDS[dem.vertical_unit]}."
    )
    if result.units_covered or result.units_off:
        say(f"It covers {result.units_covered} of {result.units_covered + len(result.units_off)} units.")


def canopy_command(
    context: typer.Context,
    file: FileArgument,
    vertical_unit: VerticalUnitOption = None,
    copy_into: CopyOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Point at a raster of canopy heights, or copy it in."""
    unit = _known_vertical_unit(vertical_unit)
    from habmap.jobs.load.canopy import load_canopy

    session: Session = context.obj
    result = load_canopy(
        session.store(),
        path=file,
        vertical_unit=unit,
        copy_into=session.folder if copy_into else None,
        overwrite=overwrite,
        now=session.now(),
    )
    for warning in result.warnings:
        warn(warning)
    if as_json:
        print_json("load", result)
        return
    canopy = result.canopy
    say(
        f"Canopy heights {'copied and ' if result.copied else ''}loaded: {canopy.path}, cells of "
        f"{canopy.cell_m:.2f} m, heights in {VERTICAL_UNIT_WORDS[canopy.vertical_unit]}. "
        "They must be heights above the ground."
    )
    if result.units_covered or result.units_off:
        covered, all_units = result.units_covered, result.units_covered + len(result.units_off)
        say(
            f"They reach {covered} of {all_units} units; `habmap density` counts ground at {result.height_ft:g} ft and "
            "above."
        )


def _known_vertical_unit(text: str | None) -> VerticalUnit | None:
    from habmap.measures import M_PER_VERTICAL_UNIT

    if text is None:
        return None
    for unit in M_PER_VERTICAL_UNIT:
        if text == unit:
            return unit
    raise UsageError(
        "unknown vertical unit",
        where="--vertical-unit",
        value=text,
        allowed="m (meter), ft (international foot) or us-ft (US survey foot)",
        mend="write one of these",
    )
