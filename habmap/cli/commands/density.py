"""``habmap density``: stems per acre with confidence limits, crown cover, and how sure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_table, say, told_as_json, warn
from habmap.measures import so_many

if TYPE_CHECKING:
    from habmap.work.density_records import PropertyDensity, StratumDensity


def command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
    """Show how dense each unit is now, and how sure."""
    from habmap.jobs.density import density
    from habmap.show.words import whole
    from habmap.work.stems import QUARTER_POINTS_CAUTION

    session: Session = context.obj
    result = density(session.store(), on=on)
    is_told = told_as_json("density", result, as_json=as_json)
    for unit in result.units:
        for warning in unit.warnings:
            warn(f"{unit.unit_id}: {warning}")
    if is_told:
        return
    if not result.units:
        say("No cedar ground and no plots are loaded yet: `habmap load units`, `habmap load plots`.")
        return
    dense = [unit for unit in result.units if unit.dense]
    unknown = [unit for unit in result.units if unit.dense is None]
    say(
        f"{len(dense)} of {len(result.units)} units {'is' if len(dense) == 1 else 'are'} dense "
        f"({result.dense_stems_per_acre:,.0f} stems per acre or more, or crowns over "
        f"{result.dense_canopy_pct:.0f}% of the ground)."
    )
    if result.whole_property is not None:
        _say_whole(result.whole_property)
    since = [unit.unit_id for unit in unknown if unit.plots_before_work]
    never = [unit.unit_id for unit in unknown if not unit.plots_before_work]
    if since:
        say(f"Not measured since the work there: {', '.join(since)}.")
    if never:
        say(f"Not measured yet: {', '.join(never)}.")
    for unit in result.units:
        if unit.more_plots:
            say(f"{unit.unit_id}: add {so_many(unit.more_plots, 'plot')} for ±20%.")
    day = f"what was measured by {result.on}, units as drawn that day"
    say(f"As of: {day if result.on else 'all that was measured, units as drawn now'}.")
    print_table(
        ["unit", "name", "stems/ac", "95% from", "to", "crowns %", "dense", "level", "rests on"],
        [
            [
                unit.unit_id,
                unit.name,
                whole(unit.stems_per_acre),
                whole(unit.stems_per_acre_ci95_low),
                whole(unit.stems_per_acre_ci95_high),
                whole(unit.canopy_pct),
                {True: "yes", False: "no", None: "unknown"}[unit.dense],
                unit.management_level or "unknown",
                unit.rests_on,
            ]
            for unit in result.units
        ],
    )
    say("")
    if any("quarter point" in unit.rests_on for unit in result.units):
        say(QUARTER_POINTS_CAUTION)
    say("Level: maintenance is under 6 ft and under 250 stems per acre, else restoration (OSU Extension NREM-2876).")


def _say_whole(whole: PropertyDensity) -> None:
    say(f"All sampled ground together: {_with_limits(whole)} stems per acre, {whole.rests_on}.")
    if len(whole.strata) > 1:
        for part in whole.strata:
            kind = {"fixed": "fixed plot", "quarter": "quarter point"}[part.method]
            say(f"  {part.stratum}: {_with_limits(part)}, {so_many(part.plots, kind)}, {part.acres:,.1f} acres")


def _with_limits(part: PropertyDensity | StratumDensity) -> str:
    low, high = part.stems_per_acre_ci95_low, part.stems_per_acre_ci95_high
    limits = "" if low is None or high is None else f" ({low:,.0f} to {high:,.0f})"
    return f"{part.stems_per_acre:,.0f}{limits}"
