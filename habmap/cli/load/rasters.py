"""``habmap load dem`` and ``canopy``: rasters of heights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.cli.context import JsonOption, OverwriteOption, Session
from habmap.cli.load.shared import FileArgument
from habmap.cli.output import progress_bar, say, told_as_json
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.measures import VerticalUnit
    from habmap.place.load.rasters import RasterLoaded

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
    """Use an elevation raster, where it lies or copied in."""
    how = _how(context, vertical_unit, copy_into=copy_into, overwrite=overwrite)
    from habmap.jobs.load.layers import load_dem

    with progress_bar() as progress:
        result = load_dem(path=file, progress=progress, **how)
    if not told_as_json("load", result, as_json=as_json):
        _say_file("Elevation", result.dem, result)
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
    """Use a raster of canopy heights, where it lies or copied in."""
    how = _how(context, vertical_unit, copy_into=copy_into, overwrite=overwrite)
    from habmap.jobs.load.layers import load_canopy

    with progress_bar() as progress:
        result = load_canopy(path=file, progress=progress, **how)
    if not told_as_json("load", result, as_json=as_json):
        _say_file("Canopy heights", result.canopy, result, " They must be heights above the ground.")
        if result.units_covered or result.units_off:
            say(
                f"They reach {result.units_covered} of {result.units_covered + len(result.units_off)} units; "
                f"`habmap density` counts ground at {result.height_ft:g} ft and above."
            )


def _how(context: typer.Context, vertical_unit: str | None, *, copy_into: bool, overwrite: bool) -> dict[str, Any]:
    unit = known_vertical_unit(vertical_unit)
    session: Session = context.obj
    return {
        "store": session.store(),
        "vertical_unit": unit,
        "copy_into": session.folder if copy_into else None,
        "overwrite": overwrite,
        "now": session.now(),
    }


def _say_file(what: str, file: Any, result: RasterLoaded, besides: str = "") -> None:
    say(
        f"{what} {'copied and ' if result.copied else ''}loaded: {file.path}, cells of {file.cell_m:.2f} m, heights in "
        f"{VERTICAL_UNIT_WORDS[file.vertical_unit]}.{besides}"
    )


def known_vertical_unit(text: str | None) -> VerticalUnit | None:
    """Return a unit of heights as it was told, ``None`` where none was.

    Raises
    ------
    UsageError
        There is no such unit.
    """
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
