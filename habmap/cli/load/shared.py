"""What the commands of ``habmap load`` share: the options on the file, and the printing of what it brought."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.cli.context import Session
from habmap.cli.output import progress_bar, say, told_as_json, warn
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.jobs.load.result import LoadResult

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The file to load.", show_default=False)]
TableArgument = Annotated[
    Path, typer.Argument(metavar="FILE", help="The table: CSV in UTF-8, .xlsx or .ods.", show_default=False)
]
LayerOption = Annotated[
    str | None, typer.Option("--layer", metavar="NAME", help="Which layer, where the file holds several.")
]
SheetOption = Annotated[
    str | None, typer.Option("--sheet", metavar="NAME", help="Which sheet, where a spreadsheet has several.")
]
MapOption = Annotated[
    list[str] | None,
    typer.Option(
        "--map",
        metavar="FIELD=COLUMN",
        help="The file's own name for a field, or FIELD==WORD where every row says that; may be given again.",
    ),
]


def renames(pairs: list[str] | None) -> dict[str, str]:
    """Return field → column of the file from what ``--map`` was given.

    Raises
    ------
    UsageError
        A pair is not FIELD=COLUMN, or a field stands twice.
    """
    columns: dict[str, str] = {}
    for pair in pairs or []:
        name, sign, column = pair.partition("=")
        name = name.strip().casefold()
        if not (name and sign and column) or name in columns:
            raise UsageError(
                "--map does not say which column holds which field",
                where="--map",
                value=pair,
                allowed="FIELD=COLUMN, each field once",
                mend="write it like --map unit_id=STAND_NO",
            )
        columns[name] = column
    return columns


def load_and_show(
    context: typer.Context,
    job: Callable[..., LoadResult],
    *,
    noun: str,
    as_json: bool,
    **how: Any,
) -> LoadResult:
    """Load by a job, its rows called ``noun``, and show what that brought and meanwhile how far it is."""
    session: Session = context.obj
    with progress_bar() as progress:
        result = job(session.store(), now=session.now(), progress=progress, **how)
    show(result, as_json=as_json, noun=noun)
    return result


def show(result: LoadResult, *, as_json: bool, noun: str) -> None:
    """Print what one file brought, rows called ``noun``: warnings first, then JSON, or a sentence and redrawn units."""
    for mended in result.repaired:
        warn(mended)
    if told_as_json("load", result, as_json=as_json):
        return
    from habmap.show.load_words import load_words

    say(load_words(asdict(result), noun=noun))
    if result.changes:
        from habmap.show.ledger_words import change_words

        for change in result.changes:
            for line in change_words(change):
                say(line)
    if result.kept_columns:
        say(f"Kept as they are: {', '.join(result.kept_columns)}.")
