"""``habmap rank``: the order of work, with the reason for each stand."""

from __future__ import annotations

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_json, print_table, say, warn

TIER_WORDS = {"first": "first", "upkeep": "upkeep", "next": "next", "later": "later", "none": "nothing to do"}


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("rank")
    def rank_command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
        """Show the order of work, with the reason for each stand. Dense cedar on sun-facing slopes comes first."""
        from habmap.jobs.rank import rank

        session: Session = context.obj
        result = rank(session.store(), on=on)
        for warning in result.warnings:
            warn(warning)
        if as_json:
            print_json("rank", result)
            return
        if not result.units:
            say("No units are loaded yet; load them with `habmap add units FILE`.")
            return
        work = [unit for unit in result.units if unit.tier not in ("none", "upkeep")]
        upkeep = [unit for unit in result.units if unit.tier == "upkeep"]
        if not work:
            say("No cedar ground is left to cut.")
        else:
            top = work[0]
            firmness = "a close call" if top.close_call else "a clear choice"
            if top.tier == "first":
                say(f"Go to {top.unit_id} ({top.name}) first: {', '.join(top.reasons)}. It is {firmness}.")
            else:
                say(
                    "No stand is known to be dense cedar on a sun-facing slope. "
                    f"Next is {top.unit_id} ({top.name}): {', '.join(top.reasons)}. It is {firmness}."
                )
        if upkeep:
            named = "; ".join(f"{unit.unit_id} ({unit.name}): {unit.reasons[-1]}" for unit in upkeep)
            say(f"Beside it, the cheapest acres there are, upkeep: {named}.")
        as_of = f"work up to {result.on.isoformat()}" if result.on else "no work logged yet"
        say(f"As of: {as_of}.")
        print_table(
            ["order", "unit", "name", "tier", "score", "holds", "acres left", "why"],
            [
                [
                    unit.order,
                    unit.unit_id,
                    unit.name,
                    TIER_WORDS[unit.tier],
                    unit.score,
                    None if unit.holds_pct is None else ("close call" if unit.close_call else "clear"),
                    unit.remaining_acres,
                    "; ".join(unit.reasons),
                ]
                for unit in result.units
            ],
        )
        say("")
        for caution in result.cautions:
            say(caution)
