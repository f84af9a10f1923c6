"""``habmap response``: native cover, canopy and species before and after the first work on each unit's ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_table, say, told_as_json
from habmap.measures import so_many

if TYPE_CHECKING:
    from habmap.work.response_records import ResponseResult


def command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
    """Show native cover, canopy and species before and after.

    Before and after the first cutting or burning on each unit's ground, with intervals where frames give any. It
    tells what was seen when, and claims no cause.
    """
    from habmap.jobs.response import response
    from habmap.show.words import whole

    session: Session = context.obj
    result = response(session.store(), on=on)
    if told_as_json("response", result, as_json=as_json):
        return
    say(_headline(result))
    told = [unit for unit in result.units if unit.frames_before or unit.frames_after or unit.species_before]
    told += [unit for unit in result.units if unit not in told and unit.species_after]
    for unit in result.units:
        if unit in told:
            say(f"{unit.unit_id}, {unit.name}: {unit.words}" if unit.name else f"{unit.unit_id}: {unit.words}")
        if unit in told and unit.left_out:
            say(f"{unit.unit_id}: of that very day, or over days around it, and so counted nowhere: {unit.left_out}.")
        if unit in told and unit.sightings_unsure:
            say(
                f"{unit.unit_id}: sightings whose place is unsure and may lie beyond the unit: {unit.sightings_unsure}."
            )
    silent = [unit.unit_id for unit in result.units if unit not in told]
    if silent:
        say(f"Nothing is read or seen yet in {', '.join(silent)}.")
    if result.sightings_outside:
        say(f"{result.sightings_outside} sightings lie outside every unit.")
    if told:
        print_table(
            [
                "unit", "first work", "native % before, layers summed", "95% from", "to", "after", "95% from", "to",
                "crowns % before", "after", "species before", "after", "frames before", "after",
            ],
            [
                [
                    unit.unit_id,
                    unit.first_work_on or "none yet",
                    whole(unit.native_cover_before_pct),
                    whole(unit.native_cover_before_pct_ci95_low),
                    whole(unit.native_cover_before_pct_ci95_high),
                    whole(unit.native_cover_after_pct),
                    whole(unit.native_cover_after_pct_ci95_low),
                    whole(unit.native_cover_after_pct_ci95_high),
                    whole(unit.canopy_before_pct),
                    whole(unit.canopy_after_pct),
                    unit.species_before,
                    unit.species_after,
                    unit.frames_before,
                    unit.frames_after,
                ]
                for unit in told
            ],
        )  # fmt: skip
        say("")
        for words in result.method:
            say(words)


def _headline(result: ResponseResult) -> str:
    both = [unit for unit in result.units if unit.native_cover_change_pct is not None]
    as_of = "" if result.on is None else f", as of {result.on}"
    if not both:
        return (
            f"No unit has cover read before and after its first work{as_of}: load readings with `habmap load cover` "
            "and `habmap load sightings`."
        )
    more = sum((unit.native_cover_change_pct_ci95_low or 0) > 0 for unit in both)
    less = sum((unit.native_cover_change_pct_ci95_high or 0) < 0 for unit in both)
    rest = len(both) - more - less
    words = [
        f"{count} {said}"
        for count, said in ((more, "with more native cover"), (less, "with less"), (rest, "too close to tell"))
        if count
    ]
    units = so_many(len(both), "unit was", "units were")
    return f"{units} read before and after the first work{as_of}: {', '.join(words)} (beyond the 95% limits)."
