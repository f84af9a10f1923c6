"""``habmap add``: units, boundary, features, entries and elevation from a person's files."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.add_block_command import block_command
from habmap.cli.add_photos import photos_command
from habmap.cli.context import JsonOption, OverwriteOption, Session, parsed_date
from habmap.cli.output import print_json, say, warn
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.add.layers import AddResult
    from habmap.measures import VerticalUnit

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The file to load.", show_default=False)]
LayerOption = Annotated[
    str | None, typer.Option("--layer", metavar="NAME", help="Which layer, where the file holds several.")
]
MapOption = Annotated[
    list[str] | None,
    typer.Option("--map", metavar="FIELD=COLUMN", help="The file's own name for a field; may be given again."),
]
RepairOption = Annotated[
    bool, typer.Option("--repair", help="Mend outlines that cross themselves, and say what that changed.")
]
FromOption = Annotated[
    date | None,
    typer.Option(
        "--from", parser=parsed_date, metavar="YYYY-MM-DD", help="First day of new versions (default: today)."
    ),
]
VerticalUnitOption = Annotated[
    str | None, typer.Option("--vertical-unit", metavar="m|ft|us-ft", help="Unit of the heights.")
]
CopyOption = Annotated[bool, typer.Option("--copy", help="Copy the raster into the property's folder.")]
VERTICAL_UNIT_WORDS = {"m": "metres", "ft": "international feet", "us-ft": "US survey feet"}


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""
    add = typer.Typer(
        name="add",
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


def units_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    map_: MapOption = None,
    repair: RepairOption = False,
    overwrite: OverwriteOption = False,
    from_: FromOption = None,
    as_json: JsonOption = False,
) -> None:
    """Load units: polygons with unit_id, name and cover.

    An existing unit_id becomes a new version with --overwrite.
    """
    columns = _renames(map_)
    from habmap.jobs.add.layers import add_units

    session: Session = context.obj
    store = session.store()
    result = add_units(
        store,
        path=file,
        valid_from=from_ or session.today(store.settings.place.timezone),
        now=session.now(),
        layer=layer,
        columns=columns,
        repair=repair,
        overwrite=overwrite,
    )
    _show(result, as_json=as_json)


def boundary_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    repair: RepairOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Load the property's outer line."""
    from habmap.jobs.add.layers import add_boundary

    session: Session = context.obj
    result = add_boundary(
        session.store(), path=file, now=session.now(), layer=layer, repair=repair, overwrite=overwrite
    )
    _show(result, as_json=as_json)


def features_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    map_: MapOption = None,
    repair: RepairOption = False,
    as_json: JsonOption = False,
) -> None:
    """Load roads, houses, creeks and other things, each of a kind."""
    columns = _renames(map_)
    from habmap.jobs.add.layers import add_features

    session: Session = context.obj
    result = add_features(session.store(), path=file, now=session.now(), layer=layer, columns=columns, repair=repair)
    _show(result, as_json=as_json)


def entries_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    map_: MapOption = None,
    as_json: JsonOption = False,
) -> None:
    """Load lines of the work log from a CSV table or a layer.

    In a layer the shapes are the ground. A file loaded twice is no news.
    """
    columns = _renames(map_)
    from habmap.jobs.add.entries import add_entries

    session: Session = context.obj
    store = session.store()
    result = add_entries(
        store,
        path=file,
        columns=columns,
        layer=layer,
        today=session.today(store.settings.place.timezone),
        now=session.now(),
    )
    _show(result, as_json=as_json)


def plots_command(
    context: typer.Context, file: FileArgument, map_: MapOption = None, as_json: JsonOption = False
) -> None:
    """Load density plots and quarter points from a CSV table.

    A file loaded twice is no news.
    """
    columns = _renames(map_)
    from habmap.jobs.add.plots import add_plots

    session: Session = context.obj
    _show(add_plots(session.store(), path=file, columns=columns, now=session.now()), as_json=as_json)


def forecast_command(
    context: typer.Context,
    file: FileArgument,
    map_: MapOption = None,
    wind_height: Annotated[
        str | None, typer.Option("--wind-height", metavar="20ft|eye", help="Where its wind is meant.")
    ] = None,
    is_sure: Annotated[bool, typer.Option("--yes", help="The temperatures are right as they stand.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Keep a forecast of hours from a CSV table.

    `habmap burnday` goes by the newest one that reaches its hour.
    """
    from habmap.cli.burn_options import WIND_HEIGHTS, check_choice

    check_choice("--wind-height", wind_height, WIND_HEIGHTS)
    columns = _renames(map_)
    from habmap.jobs.add.forecast import add_forecast

    session: Session = context.obj
    store = session.store()
    result = add_forecast(
        store, path=file, columns=columns, wind_height=wind_height, is_sure=is_sure, now=session.now()
    )
    _show(result, as_json=as_json)
    if result.loaded and not as_json:
        hours = store.forecasts()[0].hours
        say(
            f"They reach from {hours[0].at:%Y-%m-%d %H:%M} to {hours[-1].at:%Y-%m-%d %H:%M}; `habmap burnday` goes by "
            "them where no other weather is given."
        )


def sightings_command(
    context: typer.Context, file: FileArgument, map_: MapOption = None, as_json: JsonOption = False
) -> None:
    """Load sightings from a CSV table with Darwin Core columns."""
    columns = _renames(map_)
    from habmap.jobs.add.sightings import add_sightings

    session: Session = context.obj
    store = session.store()
    today = session.today(store.settings.place.timezone)
    _show(add_sightings(store, path=file, columns=columns, today=today, now=session.now()), as_json=as_json)


def cover_command(
    context: typer.Context, file: FileArgument, map_: MapOption = None, as_json: JsonOption = False
) -> None:
    """Load plant cover read in frames from a CSV table.

    A row is one plant in one frame, its cover as Daubenmire's class 1-6 or in percent; a frame with nothing in it
    is one row with species and group blank. Each frame counts, so that a plant that is not in it counts as 0.
    """
    columns = _renames(map_)
    from habmap.jobs.add.cover import add_cover

    session: Session = context.obj
    store = session.store()
    today = session.today(store.settings.place.timezone)
    _show(add_cover(store, path=file, columns=columns, today=today, now=session.now()), as_json=as_json)


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
    from habmap.jobs.add.dem import add_dem

    session: Session = context.obj
    result = add_dem(
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
        print_json("add", result)
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
    from habmap.jobs.add.canopy import add_canopy

    session: Session = context.obj
    result = add_canopy(
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
        print_json("add", result)
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
        allowed="m (metre), ft (international foot) or us-ft (US survey foot)",
        mend="write one of these",
    )


def _renames(pairs: list[str] | None) -> dict[str, str]:
    renames: dict[str, str] = {}
    for pair in pairs or []:
        name, sign, column = pair.partition("=")
        name = name.strip().casefold()
        if not (name and sign and column) or name in renames:
            raise UsageError(
                "--map does not say which column holds which field",
                where="--map",
                value=pair,
                allowed="FIELD=COLUMN, each field once",
                mend="write it like --map unit_id=STAND_NO",
            )
        renames[name] = column
    return renames


def _show(result: AddResult, *, as_json: bool) -> None:
    for mended in result.repaired:
        warn(mended)
    for warning in result.warnings:
        warn(warning)
    if as_json:
        print_json("add", result)
        return
    say(_words(result))
    if result.changes:
        from habmap.cli.commands.history import change_words

        for change in result.changes:
            for line in change_words(change):
                say(line)
    if result.kept_columns:
        say(f"Kept as they are: {', '.join(result.kept_columns)}.")


def _words(result: AddResult) -> str:
    singular, plural = {
        "units": ("unit", "units"),
        "boundary": ("boundary", "boundaries"),
        "features": ("feature", "features"),
        "entries": ("log line", "log lines"),
        "plots": ("plot", "plots"),
        "forecast": ("forecast hour", "forecast hours"),
        "sightings": ("sighting", "sightings"),
        "cover": ("frame", "frames"),
    }[result.kind]
    words = f"{result.loaded} {singular if result.loaded == 1 else plural} loaded"
    if result.loaded and result.acres is not None:
        words += f", {result.acres:,.2f} acres"
        if result.kind == "entries":
            words += " worked, a second pass counted again"
    if result.acres_by_cover:
        words += "; " + ", ".join(f"{cover} {area:,.2f}" for cover, area in result.acres_by_cover.items())
    words += "."
    if result.versions:
        words += f" {result.versions} of them {'is a new version' if result.versions == 1 else 'are new versions'}."
    if result.already_there:
        words += f" {result.already_there} {'was' if result.already_there == 1 else 'were'} there already."
    return words
