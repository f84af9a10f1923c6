"""``habmap load units``, ``boundary``, ``features`` and ``block``: layers of a person's own map."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from habmap.cli.context import JsonOption, OverwriteOption, Session, day_option
from habmap.cli.load.shared import FileArgument, LayerOption, MapOption, load_and_show, renames
from habmap.cli.output import say, told_as_json

RepairOption = Annotated[
    bool, typer.Option("--repair", help="Mend outlines that cross themselves, and say what that changed.")
]
TrimOption = Annotated[
    bool,
    typer.Option(
        "--trim",
        help="Cut new units back where they overlap units that are there; of two new ones the earlier keeps it.",
    ),
]
FromOption = Annotated[date | None, day_option("--from", "First day of new versions (default: today).")]


def units_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    map_: MapOption = None,
    repair: RepairOption = False,
    overwrite: OverwriteOption = False,
    trim: TrimOption = False,
    from_: FromOption = None,
    as_json: JsonOption = False,
) -> None:
    """Load units: polygons with unit_id, name and cover.

    An existing unit_id becomes a new version with --overwrite.
    """
    columns = renames(map_)
    from habmap.jobs.load.layers import load_units

    session: Session = context.obj
    load_and_show(
        context,
        load_units,
        noun="unit",
        as_json=as_json,
        path=file,
        valid_from=from_ or session.local_day(),
        layer=layer,
        columns=columns,
        repair=repair,
        overwrite=overwrite,
        trim=trim,
    )


def boundary_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    repair: RepairOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Load the property's outer line."""
    from habmap.jobs.load.layers import load_boundary

    how = {"path": file, "layer": layer, "repair": repair, "overwrite": overwrite}
    load_and_show(context, load_boundary, noun="boundary", as_json=as_json, **how)


def features_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    map_: MapOption = None,
    repair: RepairOption = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Load roads, houses, creeks and other things, each of a kind.

    With --overwrite a row corrects the feature of its feature_id, else of its kind and shape, or kind and name.
    """
    columns = renames(map_)
    from habmap.jobs.load.layers import load_features

    how: dict[str, Any] = {"path": file, "layer": layer, "columns": columns, "repair": repair, "overwrite": overwrite}
    load_and_show(context, load_features, noun="feature", as_json=as_json, **how)


def block_command(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A layer with its ground.", show_default=False)],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="What the block is called.")],
    repair: Annotated[bool, typer.Option("--repair", help="Mend outlines that cross themselves.")] = False,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Save a drawn burn block by name, for burnsheet."""
    from habmap.jobs.load.layers import load_block
    from habmap.place.load.block import checked_name

    checked_name(name)
    session: Session = context.obj
    result = load_block(session.store(), name=name, path=file, now=session.now(), repair=repair, overwrite=overwrite)
    if told_as_json("load", result, as_json=as_json):
        return
    where = f" in {', '.join(result.units)}" if result.units else ""
    done = "is saved already" if result.already_there else "is saved anew" if result.replaced else "is saved"
    say(f"The block {result.name} {done}: {result.acres:,.2f} acres{where}. `habmap burnsheet` finds it by that name.")
