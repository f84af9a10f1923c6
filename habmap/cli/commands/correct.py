"""``habmap void`` and ``habmap correct``: corrections that delete nothing."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.cli import work_options as options
from habmap.cli.context import JsonOption, PreviewOption, Session, parsed_work_day
from habmap.cli.fact_options import Told, add_command
from habmap.cli.output import print_json, say

if TYPE_CHECKING:
    from habmap.work.unit_shares import Covered
    from habmap.work.withdrawal import Voided

EntryArgument = Annotated[
    str,
    typer.Argument(
        metavar="LINE", help="A line's number (12 or #12), its id or the first 4 of it, or its imported id."
    ),
]
WhyOption = Annotated[str, typer.Option("--why", metavar="T", help="The reason, kept with the correction.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("void")(void)
    add_command(app, "correct", amend)


def void(
    context: typer.Context,
    entry: Annotated[
        str,
        typer.Argument(
            metavar="LINE",
            help="A line's number (12 or #12), or the id (4 characters do) of a line, correction or withdrawal.",
        ),
    ],
    why: WhyOption,
    who: options.WhoOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do it though other people's work rests on it.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Withdraw a line of the log, or take back a correction of one. All that was written stays on record.

    Voiding a line withdraws it with all its corrections. Voiding a correction brings the line back as it stood before
    that correction; voiding a withdrawal brings back what it withdrew. Which of them it does is said first.
    """
    from habmap.jobs.withdraw import void as withdraw

    session: Session = context.obj
    result = withdraw(
        session.store(),
        entry,
        why=why,
        now=session.now(),
        who=who,
        agree=options.agreement(is_yes=yes, as_json=as_json, ask="Do it all the same?"),
        tell=(lambda voided: None) if as_json else _tell,
    )
    if as_json:
        print_json("void", result)
    else:
        say(f"Done, as {result.entry_id[:8]}; `habmap void {result.entry_id[:8]}` takes it back. Reason: {result.why}")


def _tell(voided: Voided) -> None:
    """Say what a withdrawal does, before it is done."""
    from habmap.show.ledger_words import content_words

    line, target = voided.number, voided.target[:8]
    if voided.withdraws == "line":
        say(f"This withdraws line {line} itself, with all its corrections:")
        if voided.before is not None:
            say(f"  {content_words(voided.before)}")
    else:
        say(f"This takes back the {voided.withdraws} {target}, not line {line} itself:")
        say(f"  before: {'withdrawn' if voided.before is None else content_words(voided.before)}")
        say(f"  after:  {'still withdrawn' if voided.after is None else content_words(voided.after)}")


def amend(
    context: typer.Context,
    entry: EntryArgument,
    why: WhyOption,
    practice: Annotated[str | None, typer.Option("--practice", help="What was really done.")] = None,
    date: Annotated[
        Any, typer.Option("--date", parser=parsed_work_day, metavar="DAY", help="The day it really was.")
    ] = None,
    *,
    where: options.WorkGround,
    told: Told,
    clear: Annotated[
        list[str] | None,
        typer.Option(
            "--clear",
            metavar="FIELD",
            help="Take out what the line says of a field, named as its option: --clear note. Several: repeat.",
        ),
    ] = None,
    yes: options.YesOption = False,
    preview: PreviewOption = False,
    draw: options.MapOption = False,
    as_json: JsonOption = False,
) -> None:
    """Correct a line of the log. Give only what was wrong; the old line stays on record."""
    from habmap.jobs.correct import amend as correct
    from habmap.records import BurnRecord, Entry
    from habmap.records.said import BurnSaid, Said, assembled
    from habmap.work.burn.observed import check_burn_said

    session: Session = context.obj
    said, burn = Said(**assembled(Entry, told)), BurnSaid(**assembled(BurnRecord, told))
    options.check_map(session, draw=draw, is_preview=preview)
    date = session.work_day(date)
    if practice is not None:
        check_burn_said(burn, practice=practice, month=date.month if date else None, is_sure=yes)
    covered = where.covered(session.store)
    store = session.store()
    notes: list[str] = []

    def ground(day: dt.date) -> Covered:
        assert covered is not None  # the job asks only where some ground is given
        found = covered(day)
        notes.extend(found.notes)
        return found

    result = correct(
        store,
        entry,
        why=why,
        said=said,
        now=session.now(),
        today=session.local_day(),
        practice=practice,
        date=date,
        ground=None if covered is None else ground,
        burn=burn,
        clear=clear or (),
        agree=options.agreement(is_yes=yes, as_json=as_json),
        is_preview=preview,
    )
    options.show_logged(
        session, "correct", result, walks=where.track or (), notes=notes, is_preview=preview, draw=draw,
        as_json=as_json,
    )  # fmt: skip
