"""``habmap density``: stems per acre with confidence limits, crown cover, and how sure."""

from __future__ import annotations

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_json, print_table, say, warn


def register(app: typer.Typer) -> None:
    """Hang the command on the app."""

    @app.command("density")
    def density_command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
        """Show how dense each stand is, how sure, and what it rests on."""
        from habmap.jobs.density import density

        session: Session = context.obj
        result = density(session.store(), on=on)
        for warning in result.warnings:
            warn(warning)
        for unit in result.units:
            for warning in unit.warnings:
                warn(f"{unit.unit_id}: {warning}")
        if as_json:
            print_json("density", result)
            return
        if not result.units:
            say("No cedar ground and no plots are loaded yet: `habmap load units`, `habmap load plots`.")
            return
        dense = [unit for unit in result.units if unit.dense]
        unknown = [unit.unit_id for unit in result.units if unit.dense is None]
        say(
            f"{len(dense)} of {len(result.units)} stands {'is' if len(dense) == 1 else 'are'} dense "
            f"({result.dense_stems_per_acre:,.0f} stems per acre or more, or crowns over "
            f"{result.dense_canopy_pct:.0f} % of the ground)."
        )
        whole = result.whole_property
        if whole is not None:
            range_words = (
                ""
                if whole.stems_per_acre_ci95_low is None or whole.stems_per_acre_ci95_high is None
                else f" ({whole.stems_per_acre_ci95_low:,.0f} to {whole.stems_per_acre_ci95_high:,.0f})"
            )
            say(
                f"All sampled ground together: {whole.stems_per_acre:,.0f}{range_words} stems per acre, "
                f"{whole.rests_on}."
            )
        if unknown:
            say(f"Not measured yet: {', '.join(unknown)}.")
        for unit in result.units:
            if unit.more_plots:
                plots = "1 more plot" if unit.more_plots == 1 else f"{unit.more_plots} more plots"
                say(f"{unit.unit_id}: {plots} would bring it within 20 % either way.")
        day = f"what was measured by {result.on}, units as drawn that day"
        say(f"As of: {day if result.on else 'all that was measured, units as drawn now'}.")
        print_table(
            ["unit", "name", "stems/ac", "95 % from", "to", "crowns %", "dense", "level", "rests on"],
            [
                [
                    unit.unit_id,
                    unit.name,
                    unit.stems_per_acre,
                    unit.stems_per_acre_ci95_low,
                    unit.stems_per_acre_ci95_high,
                    unit.canopy_pct,
                    {True: "yes", False: "no", None: "unknown"}[unit.dense],
                    unit.management_level or "unknown",
                    unit.rests_on,
                ]
                for unit in result.units
            ],
        )
        say("")
        say(
            "Level: maintenance is under 6 ft and under 250 stems per acre, else restoration (OSU Extension NREM-2876)."
        )
