"""``habmap rank``: the order of work, with the reason for each unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_table, say, told_as_json

if TYPE_CHECKING:
    from habmap.work.order_of_work import RankResult
    from habmap.work.priority import Ranked

TIER_WORDS = {"first": "first", "upkeep": "upkeep", "next": "next", "later": "later", "none": "nothing to do"}


def command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
    """Show the order of work, with the reason for each unit. Dense cedar on sun-facing slopes comes first."""
    from habmap.jobs.rank import rank

    session: Session = context.obj
    result = rank(session.store(), on=on, today=session.local_day())
    if told_as_json("rank", result, as_json=as_json):
        return
    if not result.units:
        say("No units are loaded yet; load them with `habmap load units FILE`.")
        return
    say(next_words(result))
    upkeep = [unit for unit in result.units if unit.tier == "upkeep" and unit.closure is None]
    if upkeep:
        named = "; ".join(f"{unit.unit_id} ({unit.name}): {unit.reasons[-1]}" for unit in upkeep)
        say(f"Beside it, the cheapest acres there are, upkeep: {named}.")
    pressing = [unit for unit in result.units if unit.pressing and unit.has_cutting]
    if pressing:
        named = "; ".join(f"{_called(unit)}: {unit.pressing}" for unit in pressing)
        say(f"The order goes by the ground alone; a contract presses for {named}.")
    as_of = f"work up to {result.on.isoformat()}" if result.on else "no work logged yet"
    say(f"As of: {as_of}; holds and closed days as of {result.closed_on.isoformat()}.")
    print_table(
        ["order", "unit", "name", "tier", "score", "order is", "remaining acres", "why"],
        [
            [
                unit.order if unit.closure is None else None,
                unit.unit_id,
                unit.name,
                TIER_WORDS[unit.tier] if unit.closure is None else unit.closure.public_words,
                unit.score,
                None if unit.firm_pct is None else ("close" if unit.close_call else "firm"),
                unit.remaining_acres,
                "; ".join(unit.reasons),
            ]
            for unit in result.units
        ],
    )
    say("")
    for caution in session.cautions(result.cautions):
        say(caution)


def next_words(result: RankResult) -> str:
    """Return what comes next, and what would come before it but is on hold or closed."""
    from habmap.work.priority import next_unit, passed_over

    before = [unit for unit in passed_over(result.units) if unit.closure is not None]
    at_rest = "; ".join(
        f"{_called(unit)} {'is' if number else 'would come first but is'} {unit.closure.words}"
        for number, unit in enumerate(before)
        if unit.closure is not None
    )
    following = next_unit(result.units)
    if following is None:
        return f"No unit can come next now. {at_rest}." if at_rest else "No cedar ground remains to cut."
    why = f"{', '.join(following.reasons)}. The order is {'a close call' if following.close_call else 'firm'}."
    if at_rest:
        return f"{at_rest}. Next that is not on hold or closed: {_called(following)}: {why}"
    if following.tier == "first":
        return f"Go to {_called(following)} first: {why}"
    return f"No unit is known to be dense cedar on a sun-facing slope. Next is {_called(following)}: {why}"


def _called(unit: Ranked) -> str:
    return f"{unit.unit_id} ({unit.name})" if unit.name else unit.unit_id
