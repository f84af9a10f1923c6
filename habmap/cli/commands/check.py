"""``habmap check``: every rule the place must obey."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, Session
from habmap.cli.output import print_json, say
from habmap.measures import so_many

if TYPE_CHECKING:
    from habmap.work.checks.looked_at import Fault


def _where(fault: Fault) -> str:
    """Say where, a line of the log by the number that people call it by."""
    return fault.where if fault.number is None else f"line {fault.number} ({fault.where.removeprefix('line ')})"


def command(context: typer.Context, as_json: JsonOption = False) -> None:
    """Check the property's files for errors.

    Exit code 1 and a list where it does not.
    """
    from habmap.jobs.check import check as look

    session: Session = context.obj
    result = look(session.store(), today=session.local_day())
    if as_json:
        print_json("check", result)
    elif not result.faults:
        say(f"{result.place} obeys every rule looked at on {result.on}: {', '.join(result.rules)}.")
    else:
        say(f"{result.place}: {so_many(len(result.faults), 'fault')} found, on {result.on}.")
        for fault in result.faults:
            say(f"- {fault.rule}, {_where(fault)}: {fault.what}\n  fix: {fault.mend}")
    if not as_json and result.schema_version is not None:
        old = "" if result.schema_version == result.writes_schema_version else "; the next write brings it up to that"
        version = f"Its file is of version {result.schema_version}"
        say(f"{version}; this habmap writes version {result.writes_schema_version}{old}.")
    if result.faults:
        raise typer.Exit(1)
