"""``habmap unit``: units split, redrawn, merged, retired, and such a change dated anew or undone."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import JsonOption, Session, parsed_date
from habmap.cli.load.layers import RepairOption
from habmap.cli.load.shared import LayerOption
from habmap.cli.output import print_json, print_table, say, warn

if TYPE_CHECKING:
    from habmap.jobs.unit_edit import UnitEdit

UnitArgument = Annotated[str, typer.Argument(metavar="ID", help="The unit's unit_id.", show_default=False)]
FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="A file with one polygon.", show_default=False)]
FromOption = Annotated[
    date | None,
    typer.Option("--from", parser=parsed_date, metavar="YYYY-MM-DD", help="First day of the change (default: today)."),
]
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
    from habmap.jobs.unit import split

    session: Session = context.obj
    store = session.store()
    result = split(
        store,
        unit,
        by=by,
        into=[part.strip() for part in into.split(",")] if into is not None else (),
        layer=layer,
        valid_from=from_ or session.today(store.settings.place.timezone),
        now=session.now(),
        is_preview=preview,
    )
    _show(result, as_json=as_json)


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
    from habmap.jobs.unit import redraw

    session: Session = context.obj
    store = session.store()
    result = redraw(
        store,
        unit,
        path=file,
        layer=layer,
        repair=repair,
        trim=trim,
        valid_from=from_ or session.today(store.settings.place.timezone),
        now=session.now(),
        is_preview=preview,
    )
    _show(result, as_json=as_json)


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
    from habmap.jobs.unit import merge

    session: Session = context.obj
    store = session.store()
    result = merge(
        store,
        units,
        into=into,
        cover=cover,
        valid_from=from_ or session.today(store.settings.place.timezone),
        now=session.now(),
        is_preview=preview,
    )
    _show(result, as_json=as_json)


def retire_command(
    context: typer.Context,
    unit: UnitArgument,
    from_: FromOption = None,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Let a unit be no unit from a day on; its work stays in the log."""
    from habmap.jobs.unit import retire

    session: Session = context.obj
    store = session.store()
    day = from_ or session.today(store.settings.place.timezone)
    _show(retire(store, unit, valid_from=day, now=session.now(), is_preview=preview), as_json=as_json)


def redate_command(
    context: typer.Context,
    unit: UnitArgument,
    from_: Annotated[
        date, typer.Option("--from", parser=parsed_date, metavar="YYYY-MM-DD", help="The right first day.")
    ],
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Give a unit's last change another first day."""
    from habmap.jobs.unit import redate

    session: Session = context.obj
    result = redate(session.store(), unit, valid_from=from_, now=session.now(), is_preview=preview)
    _show(result, as_json=as_json)


def undo_command(
    context: typer.Context,
    unit: UnitArgument,
    preview: PreviewOption = False,
    as_json: JsonOption = False,
) -> None:
    """Take a unit's last change back; the units before it hold again."""
    from habmap.jobs.unit import undo

    session: Session = context.obj
    _show(undo(session.store(), unit, now=session.now(), is_preview=preview), as_json=as_json)


_DONE = {
    "split": "split",
    "redraw": "redrawn",
    "merge": "merged",
    "retire": "retired",
    "redate": "dated anew",
    "undo": "as before",
}


def _show(result: UnitEdit, *, as_json: bool) -> None:
    for note in result.notes:
        warn(note)
    if as_json:
        print_json("unit", result)
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
