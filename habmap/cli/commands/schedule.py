"""``habmap schedule``: a season; which work in which weeks, and what would not fit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from habmap.cli.context import JsonOption, OverwriteOption, Session, day_option
from habmap.cli.output import print_table, say, told_as_json
from habmap.errors import UsageError

if TYPE_CHECKING:
    from habmap.work.schedule_result import ScheduleResult

#: Hours are the place's own of now; farther ahead a week means nothing.
LONGEST_SEASON: Final = timedelta(days=5 * 366)


def command(
    context: typer.Context,
    hours_per_week: Annotated[float, typer.Option("--hours-per-week", help="Person-hours in a week, all hands.")],
    first: Annotated[date | None, day_option("--from", "First day (today).")] = None,
    last: Annotated[date | None, day_option("--to", "Last day (half a year on).")] = None,
    ics: Annotated[Path | None, typer.Option("--ics", metavar="FILE", help="Also write a calendar file.")] = None,
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
) -> None:
    """Lay a season into weeks. Cuts, burns, piles, checks, upkeep, inside holds, closed days and drying days."""
    _check(hours_per_week, first, last)
    from habmap.jobs.schedule import last_day, schedule

    session: Session = context.obj
    store = session.store()
    begin = first or session.local_day()
    end = last_day(begin, last)
    result = schedule(store, first=begin, last=end, hours_per_week=hours_per_week)
    if ics is not None:
        from habmap.jobs.schedule import schedule_days
        from habmap.place.calendar import calendar_bytes
        from habmap.place.writers import write_whole

        days = schedule_days(store, first=begin, last=end, hours_per_week=hours_per_week)
        name = f"{store.settings.place.name}: season"
        stamp = session.local_day()
        data = calendar_bytes(days, name=name, place_id=store.place_id, stamp=stamp)
        write_whole(ics, lambda path: path.write_bytes(data), overwrite=overwrite)
    if told_as_json("schedule", result, as_json=as_json):
        return
    _print(result, session.cautions(result.cautions))
    if ics is not None:
        say(f"The season was written to {ics}; loading a newer file later updates it.")


def _check(hours_per_week: float, first: date | None, last: date | None) -> None:
    if not 0 < hours_per_week <= 10_000:
        raise UsageError(
            "these are not hours of a week",
            where="--hours-per-week",
            value=hours_per_week,
            allowed="more than 0, at most 10,000",
            mend="give person-hours, all hands together",
        )
    if first is None or last is None:
        return
    said = {"where": "--from, --to", "value": f"{first} to {last}"}
    if last - first > LONGEST_SEASON:
        raise UsageError(
            "the season is too long to be laid out week by week",
            allowed="at most five years",
            mend="give a shorter span",
            **said,
        )
    if last < first:
        raise UsageError("the season runs backwards", mend="give the first day with --from, the last with --to", **said)
    if (last - first).days < 6:
        raise UsageError(
            "the season holds no whole week",
            allowed="at least seven days",
            mend="give --from and --to at least a week apart",
            **said,
        )


def _print(result: ScheduleResult, cautions: Sequence[str]) -> None:
    from habmap.show.schedule_words import UNFIT_HEADS, WEEK_HEADS, season_words, unfit_rows, week_rows

    for words in season_words(result):
        say(words)
    print_table(WEEK_HEADS, week_rows(result))
    if result.unfit:
        say("")
        say("Would not fit:")
        print_table(UNFIT_HEADS, unfit_rows(result))
    say("")
    for caution in cautions:
        say(caution)
