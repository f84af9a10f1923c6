"""``habmap effort``: person-hours and cost so far, the pace, what remains and when it would be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_json, print_table, say

if TYPE_CHECKING:
    from habmap.jobs.effort import EffortResult


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("effort")
    def effort_command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
        """Show hours and money so far, the pace, and what the rest would take."""
        from habmap.jobs.effort import effort

        session: Session = context.obj
        store = session.store()
        result = effort(store, on=on, today=session.today(store.settings.place.timezone))
        if as_json:
            print_json("effort", result)
            return
        _first_words(result)
        print_table(
            ["unit", "name", "acres left", "hours low", "hours", "hours high", "cost", "hand-only acres"],
            [
                [
                    unit.unit_id,
                    unit.name,
                    unit.remaining_acres,
                    unit.person_hours_left_low,
                    unit.person_hours_left,
                    unit.person_hours_left_high,
                    unit.cost_left,
                    unit.hand_only_acres,
                ]
                for unit in result.units
            ],
        )
        print_table(
            ["work", "log lines", "acres", "hours", "hours/acre", "95 % from", "to"],
            [
                [
                    line.practice,
                    line.entries,
                    line.acres,
                    line.person_hours,
                    line.hours_per_acre,
                    line.hours_per_acre_low,
                    line.hours_per_acre_high,
                ]
                for line in result.practices
            ],
        )
        say("")
        say(result.context)
        for caution in result.cautions:
            say(caution)


def _first_words(result: EffortResult) -> None:
    spent = f"{result.person_hours:,.0f} person-hours and {result.cost:,.0f} {result.currency} so far"
    if result.person_hours_left is None:
        say(f"{spent}; {result.remaining_acres:.1f} acres remain. What they take is not known: {result.rests_on}.")
        return
    range_words = (
        ""
        if result.person_hours_left_low is None or result.person_hours_left_high is None
        else f" ({result.person_hours_left_low:,.0f} to {result.person_hours_left_high:,.0f})"
    )
    say(
        f"{spent}; the {result.remaining_acres:.1f} acres that remain would take about "
        f"{result.person_hours_left:,.0f}{range_words} person-hours, going by {result.rests_on}."
    )
    if result.hours_per_week is None:
        say("Write hours_per_week under [effort] in habmap.toml to see when that would be done.")
    elif result.finish is None:
        say(f"At {result.hours_per_week:g} hours a week that is more than a hundred years.")
    else:
        latest = f", and {result.finish_high} if it goes slowly" if result.finish_high else ""
        say(f"At {result.hours_per_week:g} hours a week it would be done about {result.finish}{latest}.")
