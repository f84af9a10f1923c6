"""``habmap log``: one line of the work log."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

from habmap.cli import track_options
from habmap.cli import work_options as options
from habmap.cli.context import DateOption, JsonOption, PreviewOption, Session
from habmap.cli.fact_options import Told, add_command
from habmap.cli.output import print_json
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
    unit: options.UnitOption = None,
    is_all: options.AllOption = False,
    track: track_options.TrackOption = None,
    swath_ft: track_options.SwathOption = None,
    travel: track_options.TravelOption = "foot",
    start: track_options.FromOption = None,
    end: track_options.ToOption = None,
    patch: options.PatchOption = None,
    repair: options.RepairOption = False,
    block: options.BlockOption = None,
    *,
    told: Told,
    yes: options.YesOption = False,
    preview: PreviewOption = False,
    draw: options.MapOption = False,
    as_json: JsonOption = False,
) -> None:
    """Add one piece of work to the log, with the ground it covered."""
    from habmap.jobs.log import log as add
    from habmap.place.walk_files import keep_walks
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
    walked = track_options.track_ground(
        session.store,
        tracks=track,
        swath_ft=swath_ft,
        travel=travel,
        units=unit,
        has_other_ground=patch is not None or is_all or bool(block),
        day=date,
        start=start,
        end=end,
    )
    if walked is not None:
        store = session.store()
        covered, unit_ids, day = walked.patch, walked.unit_ids, walked.day
    else:
        if date is None:
            raise UsageError(
                "on which day?",
                where="--date",
                allowed="YYYY-MM-DD, today, yesterday, or a --track whose times tell the day",
                mend="give the day of the work",
            )
        ground = options.ground_from(session.store, units=unit, is_all=is_all, patch=patch, repair=repair, block=block)
        if ground is None:
            raise UsageError(
                "on which ground?",
                where="log",
                allowed="one of --unit ID --whole, --track GPX, --patch FILE, --block NAME",
                mend="give the ground that the work really covered",
            )
        store = session.store()
        covered, unit_ids, day = *ground(date), date
    result = add(
        store,
        practice=practice,
        date=day,
        patch=covered,
        said=said,
        now=session.now(),
        today=session.local_day(),
        unit_ids=unit_ids,
        acres_sd=None if walked is None else walked.acres_sd,
        burn=burn,
        agree=options.agreement(is_yes=yes, as_json=as_json),
        is_preview=preview,
    )
    if walked is not None:
        kept = () if preview else keep_walks(session.folder, track or (), number=result.number)
        result = replace(result, warnings=(*result.warnings, *walked.notes, *kept))
    if as_json:
        print_json("log", result)
    else:
        options.print_logged(result)
    options.renew_map(session, draw=draw, as_json=as_json)
