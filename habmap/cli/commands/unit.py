"""``habmap unit``: units split, redrawn, merged, retired, and such a change dated anew or undone."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.cli.context import JsonOption, Session, day_option
from habmap.cli.load.layers import RepairOption
from habmap.cli.load.shared import LayerOption
from habmap.cli.output import print_table, say, told_as_json, warn

if TYPE_CHECKING:
    from habmap.jobs.unit import UnitEdit

UnitArgument = Annotated[str, typer.Argument(metavar="ID", help="The unit's unit_id.", show_default=False)]
FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="A file with one polygon.", show_default=False)]
FromOption = Annotated[date | None, day_option("--from", "First day of the change (default: today).")]
PreviewOption = Annotated[bool, typer.Option("--preview", help="Show what it would change, and write nothing.")]


def register(app: typer.Typer) -> None:
    """Hang the commands on the app."""
    unit = typer.Typer(
        name="unit",
        help="Split, redraw, merge or retire units; undo it too.",
        no_args_is_help=True,
    )
    for name, command in (
        ("split", split_command),
        ("redraw", redraw_command),
        ("merge", merge_command),
        ("retire", retire_command),
        ("redate", redate_command),
        ("undo", undo_command),
    ):
        unit.command(name)(command)
    app.add_typer(unit)


def split_command(
    context: typer.Context,
    unit: UnitArgument,
    by: Annotated[
        Path, typer.Option("--by", metavar="FILE", help="One line across the unit, or one polygon over part of it.")
    ],
    into: Annotated[
        str | None,
        typer.Option(
            "--into",
            metavar="A,B",
            help="The new unit_ids: from west to east, or the polygon's part first (default: ID-1,ID-2).",
        ),
    ] = None,
    layer: LayerOption = None,
    from_: FromOption = None,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Cut a unit along a line or around a polygon."""
    names = [part.strip() for part in into.split(",")] if into is not None else ()
    _run(context, "split", unit, first=from_, preview=preview, as_json=as_json, by=by, into=names, layer=layer)


def redraw_command(
    context: typer.Context,
    unit: UnitArgument,
    file: FileArgument,
    layer: LayerOption = None,
    repair: RepairOption = False,
    trim: Annotated[bool, typer.Option("--trim", help="Cut it back where it overlaps other units.")] = False,
    from_: FromOption = None,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Give a unit another outline; a retired one comes back with it."""
    how = {"path": file, "layer": layer, "repair": repair, "trim": trim}
    _run(context, "redraw", unit, first=from_, preview=preview, as_json=as_json, **how)


def merge_command(
    context: typer.Context,
    units: Annotated[list[str], typer.Argument(metavar="ID ID…", help="The units.", show_default=False)],
    into: Annotated[str, typer.Option("--into", metavar="ID", help="The unit_id of the whole: one of theirs, or new.")],
    cover: Annotated[
        str | None, typer.Option("--cover", metavar="COVER", help="The cover of the whole, where theirs differ.")
    ] = None,
    from_: FromOption = None,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Make one unit of several, whether they touch or not."""
    _run(context, "merge", units, first=from_, preview=preview, as_json=as_json, into=into, cover=cover)


def retire_command(
    context: typer.Context,
    unit: UnitArgument,
    from_: FromOption = None,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Let a unit be no unit from a day on; its work stays in the log."""
    _run(context, "retire", unit, first=from_, preview=preview, as_json=as_json)


def redate_command(
    context: typer.Context,
    unit: UnitArgument,
    from_: Annotated[date, day_option("--from", "The right first day.")],
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Give a unit's last change another first day."""
    _run(context, "redate", unit, first=from_, preview=preview, as_json=as_json)


def undo_command(
    context: typer.Context,
    unit: UnitArgument,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Take a unit's last change back; the units before it hold again."""
    _run(context, "undo", unit, preview=preview, as_json=as_json)


_DONE = {
    "split": "split",
    "redraw": "redrawn",
    "merge": "merged",
    "retire": "retired",
    "redate": "dated anew",
    "undo": "as before",
}


def _run(
    context: typer.Context,
    change: str,
    named: str | list[str],
    *,
    first: date | None = None,
    preview: bool,
    as_json: bool,
    **how: Any,
) -> None:
    """Make one kind of change from a day on (``None``: today; an undone change keeps its own) and show it."""
    from habmap.jobs import unit as changes

    session: Session = context.obj
    if change != "undo":
        how["valid_from"] = first or session.local_day()
    _show(
        getattr(changes, change)(session.store(), named, now=session.now(), is_preview=preview, **how), as_json=as_json
    )


def _show(result: UnitEdit, *, as_json: bool) -> None:
    for note in result.notes:
        warn(note)
    if told_as_json("unit", result, as_json=as_json):
        return
    names = ", ".join(unit.unit_id for unit in result.before) or ", ".join(unit.unit_id for unit in result.after)
    would = "" if result.is_written else "Nothing is written yet. Would be "
    words = f"{names} {_DONE[result.change]} from {result.valid_from.isoformat()}."
    say(f"{would}{words}" if would else words)
    print_table(
        ["", "unit", "acres", "treated", "remaining", "on purpose"],
        [
            [side, unit.unit_id, unit.acres, unit.treated_acres, unit.remaining_acres, unit.keep_acres]
            for side, units in (("before", result.before), ("after", result.after))
            for unit in units
        ],
    )
