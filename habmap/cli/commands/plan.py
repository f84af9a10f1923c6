"""``habmap schedule``: a season; which ground in which weeks, and what would not fit."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Annotated

import typer

from habmap.cli.context import JsonOption, Session, parsed_date
from habmap.cli.output import print_json, print_table, say
from habmap.errors import UsageError

#: A season where no end is given [days].
HALF_YEAR = timedelta(days=182)
#: Hours are the place's own of now; farther ahead a week means nothing.
LONGEST_SEASON = timedelta(days=5 * 366)


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("schedule")
    def plan_command(
        context: typer.Context,
        hours_per_week: Annotated[float, typer.Option("--hours-per-week", help="Person-hours in a week, all hands.")],
        first: Annotated[
            date | None, typer.Option("--from", parser=parsed_date, metavar="YYYY-MM-DD", help="First day (today).")
        ] = None,
        last: Annotated[
            date | None,
            typer.Option("--to", parser=parsed_date, metavar="YYYY-MM-DD", help="Last day (half a year on)."),
        ] = None,
        as_json: JsonOption = False,
    ) -> None:
        """Lay the order of work into weeks. Inside holds, closed days, drying windows and contract dates."""
        if not 0 < hours_per_week <= 10_000:
            raise UsageError(
                "these are not hours of a week",
                where="--hours-per-week",
                value=hours_per_week,
                allowed="more than 0, at most 10,000",
                mend="give person-hours, all hands together",
            )
        if first and last and last - first > LONGEST_SEASON:
            raise UsageError(
                "the season is too long to plan week by week",
                where="--from, --to",
                value=f"{first} to {last}",
                allowed="at most five years",
                mend="give a shorter span",
            )
        if first and last and last < first:
            raise UsageError("the season runs backwards", where="--from, --to", value=f"{first} to {last}")
        if first and last and (last - first).days < 6:
            raise UsageError(
                "the season holds no whole week",
                where="--from, --to",
                value=f"{first} to {last}",
                allowed="at least seven days",
                mend="give --from and --to at least a week apart",
            )
        from habmap.jobs.plan import plan
        from habmap.measures import days_after

        session: Session = context.obj
        store = session.store()
        begin = first or session.today(store.settings.place.timezone)
        result = plan(store, first=begin, last=last or days_after(begin, HALF_YEAR.days), hours_per_week=hours_per_week)
        if as_json:
            print_json("schedule", result)
            return
        if result.slots:
            one = result.slots[0]
            say(
                f"{result.acres:.1f} acres fit between {result.from_date} and {result.to_date}, "
                f"{result.person_hours:,.0f} person-hours; begin with {one.unit_id} in the week of {one.week_from}."
            )
        else:
            say(f"Nothing fits between {result.from_date} and {result.to_date}.")
        per_acre = result.person_hours / result.acres if result.acres > 0 else result.hours_per_acre
        say(f"That is {per_acre:.1f} hours an acre, going by {result.rests_on}.")
        print_table(
            ["week of", "unit", "acres", "hours", "drying window from", "to"],
            [[s.week_from, s.unit_id, s.acres, s.person_hours, s.burn_from, s.burn_to] for s in result.slots],
        )
        if result.unfit:
            say("")
            say("Would not fit:")
            print_table(
                ["unit", "acres", "hours", "why"], [[u.unit_id, u.acres, u.person_hours, u.why] for u in result.unfit]
            )
        say("")
        for caution in result.cautions:
            say(caution)
