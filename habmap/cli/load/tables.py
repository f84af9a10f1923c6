"""``habmap load entries``, ``plots``, ``forecast`` and the plainer tables, row by row."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from functools import partial
from typing import Annotated, Any, Final

import typer

from habmap.cli.context import JsonOption, Session
from habmap.cli.load.shared import (
    FileArgument,
    LayerOption,
    MapOption,
    SheetOption,
    TableArgument,
    load_and_show,
    renames,
)
from habmap.cli.output import say


def entries_command(
    context: typer.Context,
    file: FileArgument,
    layer: LayerOption = None,
    sheet: SheetOption = None,
    map_: MapOption = None,
    as_json: JsonOption = False,
) -> None:
    """Load lines of the work log from a table or a layer.

    A table is CSV, .xlsx or .ods; in a layer the shapes are the ground. A unit_id alone stands for the whole unit and
    needs whole = yes beside it; reported_acres far from the ground need sure = yes. A file loaded twice adds nothing.
    """
    columns = renames(map_)
    from habmap.jobs.load.tables import load_entries

    session: Session = context.obj
    how: dict[str, Any] = {
        "path": file,
        "columns": columns,
        "layer": layer,
        "sheet": sheet,
        "today": session.local_day(),
    }
    load_and_show(context, load_entries, noun="log line", as_json=as_json, **how)


def forecast_command(
    context: typer.Context,
    file: TableArgument,
    sheet: SheetOption = None,
    map_: MapOption = None,
    wind_height: Annotated[
        str | None, typer.Option("--wind-height", metavar="20ft|eye", help="Where its wind is meant.")
    ] = None,
    is_sure: Annotated[bool, typer.Option("--yes", help="The temperatures are right as they stand.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Keep a forecast of hours from a table.

    `habmap burnsheet` goes by the newest one that reaches its hour.
    """
    from habmap.cli.burn_options import check_choice
    from habmap.records import WIND_HEIGHTS

    check_choice("--wind-height", wind_height, WIND_HEIGHTS)
    columns = renames(map_)
    from habmap.jobs.load.tables import load_forecast

    how = {"path": file, "columns": columns, "sheet": sheet, "wind_height": wind_height, "is_sure": is_sure}
    result = load_and_show(context, load_forecast, noun="forecast hour", as_json=as_json, **how)
    if result.loaded and not as_json:
        hours = context.obj.store().forecasts()[0].hours
        say(
            f"They reach from {hours[0].at:%Y-%m-%d %H:%M} to {hours[-1].at:%Y-%m-%d %H:%M}; `habmap burnsheet` goes "
            "by them where no other weather is given."
        )


#: Tables that need nothing but their file: what help says of each, and of --overwrite where rows can be corrected so.
HELP_OF: Final[dict[str, tuple[str, str | None]]] = {
    "plots": (
        """Load density plots and quarter points from a table.

    A file loaded twice adds nothing. `habmap plot void` withdraws a plot.
    """,
        "Correct plots that were told otherwise; the old rows stay on record.",
    ),
    "sightings": ("Load sightings from a table with Darwin Core columns.", None),
    "cover": (
        """Load plant cover read in frames from a table.

    A row is one plant in one frame, its cover as Daubenmire's class 1-6 or in percent; a frame with nothing in it
    is one row with species and group blank. Each frame counts, so that a plant that is not in it counts as 0.
    """,
        None,
    ),
}


def table_command(kind: str) -> Callable[..., None]:
    """Return the command that loads one of ``HELP_OF``."""
    words, overwriting = HELP_OF[kind]

    def command(
        context: typer.Context,
        file: TableArgument,
        sheet: SheetOption = None,
        map_: MapOption = None,
        overwrite: Annotated[bool, typer.Option("--overwrite", help=overwriting)] = False,
        as_json: JsonOption = False,
    ) -> None:
        columns = renames(map_)
        from habmap.jobs.load.tables import TABLES, load_table

        session: Session = context.obj
        how: dict[str, Any] = {
            "path": file,
            "columns": columns,
            "sheet": sheet,
            "overwrite": overwrite,
            "today": session.local_day(),
        }
        load_and_show(context, partial(load_table, kind=kind), noun=TABLES[kind].noun, as_json=as_json, **how)

    command.__doc__ = words
    signature = inspect.signature(command, eval_str=True, locals={"overwriting": overwriting})
    known = [one for one in signature.parameters.values() if overwriting or one.name != "overwrite"]
    command.__signature__ = signature.replace(parameters=known)  # type: ignore[attr-defined]
    command.__annotations__ = {one.name: one.annotation for one in known}
    return command
