"""``habmap unite``: two copies of a place become one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.context import JsonOption, Session
from habmap.cli.output import print_table, say, told_as_json
from habmap.measures import so_many

if TYPE_CHECKING:
    from habmap.jobs.unite import ToldTwice


def command(
    context: typer.Context,
    other: Annotated[Path, typer.Argument(metavar="OTHER", help="The folder of another copy of this property.")],
    as_json: JsonOption = False,
) -> None:
    """Add what another copy of this property holds beyond this one.

    The other copy is only read. Uniting in either order gives the same rows, and uniting twice changes nothing.
    Rows of one id with other content are refused and shown. Pictures of photos come along; track files do not.
    """
    from habmap.jobs.unite import unite as job
    from habmap.place.schema import STORE_FILE
    from habmap.place.store import GeoPackageStore
    from habmap.records import KEPT

    session: Session = context.obj
    folder = other.parent if other.name == STORE_FILE else other
    result = job(session.store(), GeoPackageStore.open(folder))
    if told_as_json("unite", result, as_json=as_json):
        return
    rows = [(kept.nouns, result.added[kept.key]) for kept in KEPT.values()]
    total = sum(count for _, count in rows)
    if total == 0:
        say("The other copy holds nothing that is not here already; nothing was changed.")
    else:
        say(
            f"{so_many(total, 'row was', 'rows were')} added; "
            f"{result.entries_after} pieces of work count now, {result.entries_before} before."
        )
        print_table(("added", "rows"), [row for row in rows if row[1]])
    for pair in result.told_twice:
        _ask_about(pair)
    if result.settings_differ:
        say("The two habmap.toml differ; settings are not united, this copy's stay in force:")
        print_table(
            ("setting", "here", "there"),
            [(one.key, _setting(one.here), _setting(one.there)) for one in result.settings_differ],
        )


def _ask_about(pair: ToldTwice) -> None:
    """Point at two lines that may be one day's work, and say how one is withdrawn."""
    from habmap.show.ledger_words import content_words

    first, second = pair.first, pair.second
    say(f"These two may tell one day's work: {pair.shared_acres:,.1f} acres are common, hours and cost count twice:")
    for line in (first, second):
        say(f"  line {line.number}: {content_words(line)}")
    say(f'  If they do, withdraw the worse told: `habmap void {second.number} --why "told twice"`')


def _setting(value: object) -> str:
    from habmap.errors import printable

    if isinstance(value, dict):
        value = ", ".join(f"{key} {held}" for key, held in value.items() if held not in (None, []))
    elif isinstance(value, list):
        value = ", ".join(map(str, value))
    return "not set" if value is None else printable(str(value), longest=60)
