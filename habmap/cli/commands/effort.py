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
        """Show hours and money so far and what the rest would take."""
        from habmap.jobs.effort import effort

        session: Session = context.obj
        store = session.store()
        result = effort(store, on=on, today=session.today(store.settings.place.timezone))
        if as_json:
            print_json("effort", result)
            return
        _first_words(result)
        say(f"As of: {f'work up to {result.on}' if result.on else 'no work logged yet'}.")
        print_table(
            ["unit", "name", "acres left", "hours low", "hours", "high", "cost low", "cost", "high", "hand-only acres"],
            [
                [
                    unit.unit_id,
                    unit.name,
                    unit.remaining_acres,
                    unit.person_hours_left_low,
                    unit.person_hours_left,
                    unit.person_hours_left_high,
                    unit.cost_left_low,
                    unit.cost_left,
                    unit.cost_left_high,
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
        if result.by_slope:
            print_table(
                ["ground", "log lines", "hours/acre", "95 % from", "to"],
                [
                    [line.ground, line.entries, line.hours_per_acre, line.hours_per_acre_low, line.hours_per_acre_high]
                    for line in result.by_slope
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
    hours = _ranged(result.person_hours_left_low, result.person_hours_left, result.person_hours_left_high)
    days = _ranged(result.person_days_left_low, result.person_days_left, result.person_days_left_high)
    say(
        f"{spent}; the {result.remaining_acres:.1f} acres that remain would take about {hours} person-hours, that is "
        f"{days} days of one person, going by {result.rests_on}."
    )
    if result.cost_left is not None:
        money = _ranged(result.cost_left_low, result.cost_left, result.cost_left_high)
        say(f"They would cost about {money} {result.currency}, going by {result.cost_rests_on}.")
    if result.hand_only_acres is not None:
        machine = result.remaining_acres - result.hand_only_acres
        say(
            f"{result.hand_only_acres:.1f} of them are steeper than the machine limit and hand work only; "
            f"{machine:.1f} are below it."
        )
    if result.hours_per_week is None:
        say("Write hours_per_week under [effort] in habmap.toml to see when that would be done.")
    elif result.finish is None:
        say(f"At {result.hours_per_week:g} hours a week that is more than a hundred years.")
    else:
        latest = f", and {result.finish_high} if it goes slowly" if result.finish_high else ""
        say(f"At {result.hours_per_week:g} hours a week it would be done about {result.finish}{latest}.")


def _ranged(low: float | None, middle: float | None, high: float | None) -> str:
    words = "unknown" if middle is None else f"{middle:,.0f}"
    return words if low is None or high is None else f"{words} ({low:,.0f} to {high:,.0f})"
