"""``habmap log``: one line of the work log."""

from __future__ import annotations

from typing import Annotated

import typer

from habmap.cli import work_options as options
from habmap.cli.context import DateOption, JsonOption, PreviewOption, Session
from habmap.cli.fact_options import Told, add_command
from habmap.errors import UsageError


def register(app: typer.Typer) -> None:
    """Add the command."""
    add_command(app, "log", log)


def log(
    context: typer.Context,
    practice: Annotated[
        str, typer.Argument(metavar="PRACTICE", help="cut, girdle, spray, burn, mow, checkup, keep, …")
    ],
    date: DateOption = None,
    *,
    where: options.WorkGround,
    told: Told,
    yes: options.YesOption = False,
    preview: PreviewOption = False,
    draw: options.MapOption = False,
    as_json: JsonOption = False,
) -> None:
    """Add one piece of work to the log, with the ground it covered."""
    from habmap.jobs.log import log as add
    from habmap.records import BurnRecord, Entry
    from habmap.records.said import BurnSaid, Said, assembled
    from habmap.work.burn.observed import check_burn_said
    from habmap.work.said import check_practice, check_said

    session: Session = context.obj
    said, burn = Said(**assembled(Entry, told)), BurnSaid(**assembled(BurnRecord, told))
    check_practice(practice)
    check_said(said, practice=practice)
    options.check_map(session, draw=draw, is_preview=preview)
    date = session.work_day(date)
    check_burn_said(burn, practice=practice, month=date.month if date else None, is_sure=yes)
    if date is None and not where.track:
        raise UsageError(
            "on which day?",
            where="--date",
            allowed="YYYY-MM-DD, today, yesterday, or a --track whose times tell the day",
            mend="give the day of the work",
        )
    ground = where.covered(session.store)
    if ground is None:
        raise UsageError(
            "on which ground?",
            where="log",
            allowed="one of --unit ID --whole, --track GPX, --patch FILE, --block NAME",
            mend="give the ground that the work really covered",
        )
    store, covered = session.store(), ground(date)
    result = add(
        store,
        practice=practice,
        date=covered.day,
        patch=covered.patch,
        said=said,
        now=session.now(),
        today=session.local_day(),
        unit_ids=covered.unit_ids,
        acres_sd=covered.acres_sd,
        burn=burn,
        agree=options.agreement(is_yes=yes, as_json=as_json),
        is_preview=preview,
    )
    options.show_logged(
        session, "log", result, walks=where.track or (), notes=covered.notes, is_preview=preview, draw=draw,
        as_json=as_json,
    )  # fmt: skip
