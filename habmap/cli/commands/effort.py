"""``habmap effort``: person-hours and cost so far, the pace, what remains and when it would be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_table, rounded, say, told_as_json
from habmap.vocabulary import PRACTICE_WORDS

if TYPE_CHECKING:
    from habmap.cli.output import Figure
    from habmap.work.effort_account import EffortResult


def command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
    """Show hours and money so far and what the rest would take."""
    from habmap.jobs.effort import effort

    session: Session = context.obj
    result = effort(session.store(), on=on, today=session.local_day())
    if told_as_json("effort", result, as_json=as_json):
        return
    _first_words(result)
    say(f"As of: {f'work up to {result.on}' if result.on else 'no work logged yet'}.")
    print_table(
        ["unit", "name", "remaining acres", "hours low", "hours", "high", "cost low", "cost",
         "high", "hand-only acres", "now"],
        [
            [
                unit.unit_id,
                unit.name,
                rounded(unit.remaining_acres, 1),
                *_range(unit, "person_hours_left", unit.lines),
                *_range(unit, "cost_left", unit.lines),
                rounded(unit.hand_only_acres, 1),
                unit.waits or "",
            ]
            for unit in result.units
        ],
    )  # fmt: skip
    print_table(
        ["work", "log lines", "pass acres", "hours", "hours per pass acre", "95% from", "to"],
        [
            [
                PRACTICE_WORDS[line.practice],
                line.entries,
                rounded(line.pass_acres, 1),
                rounded(line.person_hours),
                *_limits(line, line.entries),
            ]
            for line in result.practices
        ],
    )
    if result.classes:
        print_table(
            ["ground", "log lines", "hours per acre at target", "95% from", "to"],
            [
                [
                    ", ".join(word for word in (line.density, line.slope) if word),
                    line.entries,
                    *_limits(line, line.entries),
                ]
                for line in result.classes
            ],
        )
    say("")
    say("Pass acres: ground worked twice counts twice. Hours per acre at target: all passes together.")
    say(result.context)
    for caution in session.cautions(result.cautions):
        say(caution)


def _limits(line: object, lines: int) -> list[Figure | None]:
    low, middle, high = _range(line, "hours_per_acre", lines, decimals=1)
    return [middle, low, high]


def _range(record: object, name: str, lines: int, decimals: int = 0) -> list[Figure | None]:
    """Return cells of low, middle and high; so few lines say nothing of the first and the last."""
    from habmap.work.effort import TOO_FEW_LINES, Left

    one = Left.of(record, name)
    known = (one.low, one.high) if lines >= TOO_FEW_LINES else (None, None)
    return [rounded(known[0], decimals), rounded(one.middle, decimals), rounded(known[1], decimals)]


def _first_words(result: EffortResult) -> None:
    from habmap.work.effort import TOO_FEW_LINES, TOO_FEW_WORDS

    spent = f"{result.person_hours:,.0f} person-hours and {result.cost:,.0f} {result.currency} so far"
    if result.person_hours_left is None:
        why = result.rests_on.removeprefix("nothing: ")
        say(f"{spent}; {result.remaining_acres:.1f} acres remain. What they take is not known: {why}.")
        return
    is_few = 0 < result.lines < TOO_FEW_LINES
    few = f" ({TOO_FEW_WORDS})" if is_few else ""
    hours, days = (_ranged(result, name, is_few) for name in ("person_hours_left", "person_days_left"))
    say(
        f"{spent}; clearing the {result.remaining_acres:.1f} acres that remain would take about {hours} person-hours, "
        f"that is {days} days of one person{few}, going by {result.rests_on}."
    )
    if result.cost_left is not None:
        money = f"{_ranged(result, 'cost_left', is_few)} {result.currency}"
        say(f"That would cost about {money}{few}, going by {result.cost_rests_on}.")
    say(_follow_up_words(result))
    if result.hand_only_acres is not None:
        machine = result.remaining_acres - result.hand_only_acres
        say(
            f"{result.hand_only_acres:.1f} acres of it are steeper than the machine limit and hand work only; "
            f"{machine:.1f} acres are below that setting; the operator still decides."
        )
    say(_finish_words(result))


def _follow_up_words(result: EffortResult) -> str:
    """Return what the hours of clearing leave out, with what the log says of it."""
    after = result.follow_up
    if after.hours_per_acre is None or after.person_hours_left is None:
        no_hours = "piling, hauling and burning (no line of the log gives their hours)"
        return f"Not in these hours: {no_hours}, {result.left_out}."
    done = ", ".join(PRACTICE_WORDS[practice] for practice in after.practices)
    return (
        f"Work on slash ({done}) took {after.person_hours:,.0f} hours so far, {after.hours_per_acre:.1f} for each acre "
        f"treated, followed up or not; for the rest that is about {after.person_hours_left:,.0f} hours more. "
        f"In neither: {result.left_out}."
    )


def _finish_words(result: EffortResult) -> str:
    from habmap.work.effort import TOO_FEW_LINES

    if result.hours_per_week is None:
        return "Write hours_per_week under [effort] in habmap.toml to see when the clearing would be done."
    without = f", without {', '.join(result.finish_without)}: on hold and no end is written" * bool(
        result.finish_without
    )
    if result.finish is None:
        if result.finish_without and result.finish_low is None:
            return f"When the clearing would be done cannot be told{without}."
        return f"At {result.hours_per_week:g} hours a week the clearing would take more than a hundred years."
    latest = ""
    if result.finish_high is not None and result.lines >= TOO_FEW_LINES:
        latest = f", and {result.finish_high} if it goes slowly"
    moved = f" Counted in: {'; '.join(result.finish_moved_by)}." if result.finish_moved_by else ""
    return (
        f"At {result.hours_per_week:g} hours a week the clearing would be done about {result.finish}{latest}{without}."
        f"{moved}"
    )


def _ranged(result: EffortResult, name: str, is_few: bool) -> str:
    from habmap.work.effort import Left

    one = Left.of(result, name)
    words = "unknown" if one.middle is None else f"{one.middle:,.0f}"
    return words if is_few or one.low is None or one.high is None else f"{words} ({one.low:,.0f} to {one.high:,.0f})"
