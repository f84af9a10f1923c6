"""``habmap acres``: the account of treated and remaining acres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from habmap.cli.context import JsonOption, OnOption, Session
from habmap.cli.output import print_table, say, told_as_json, warn

if TYPE_CHECKING:
    from habmap.work.acres import AcresResult, UnitAcres

#: Acres print to a hundredth.
TWICE_WORTH_SAYING_ACRES = 0.005
#: Less worked ground outside the units than this is not worth a sentence [acre].
OUTSIDE_WORTH_SAYING_ACRES = 0.05


def command(context: typer.Context, on: OnOption = None, as_json: JsonOption = False) -> None:
    """Show the account: acres treated and remaining. Per unit, and acres per practice."""
    from habmap.jobs.acres import acres

    session: Session = context.obj
    result = acres(session.store(), on=on)
    if told_as_json("acres", result, as_json=as_json):
        return
    say(answer(result))
    if more := lying_and_left(result):
        say(more)
    if result.counted_twice_acres >= TWICE_WORTH_SAYING_ACRES:
        warn(
            f"{result.counted_twice_acres:,.2f} acres count twice, once for each of two units whose outlines "
            "overlap by a hair; `habmap load units FILE --overwrite --trim` takes it off the ones loaded"
        )
    _print_units(result)
    _print_practices(result)
    _print_cautions(result)


def answer(result: AcresResult) -> str:
    """Return the account in a sentence or three."""
    if not result.units:
        return "No units are loaded yet; load them with `habmap load units FILE`."
    totals = result.totals
    day = f"work up to {result.on.isoformat()}" if result.on else "no work logged yet"
    kept = f" and {totals.keep_acres:,.1f} are left on purpose" if totals.keep_acres >= 0.05 else ""
    words = (
        f"{totals.treated_acres:,.1f} of {totals.cedar_acres:,.1f} cedar acres treated at least once; "
        f"{totals.remaining_acres:,.1f} remain{kept} ({day})."
    )
    if totals.coming_back_acres >= 0.05:
        words += f" On {totals.coming_back_acres:,.1f} of the treated acres the cedars are coming back."
    if result.outside_acres >= OUTSIDE_WORTH_SAYING_ACRES:
        words += f" {result.outside_acres:,.1f} worked acres lie outside every unit."
    return words


def lying_and_left(result: AcresResult) -> str:
    """Return where slash lies and dead trees stand, whatever the stage, and what is to be left; empty without any."""
    from habmap.show.words import left_sentence

    totals = result.totals
    words = []
    if totals.slash_acres >= 0.005:
        words.append(f"{totals.slash_acres:,.2f} acres hold felled cedar, lying or in piles.")
    if totals.snag_acres >= 0.005:
        words.append(f"{totals.snag_acres:,.2f} acres hold cedars killed and left standing.")
    if left := left_sentence(totals):
        words.append(left)
    return " ".join(words)


def _print_units(result: AcresResult) -> None:
    if not result.units:
        return
    is_walked = any(unit.acres_sd is not None for unit in result.units)
    is_missing = (result.totals.still_to_leave_acres or 0.0) >= 0.005
    rows: list[list[object]] = [
        [
            unit.unit_id,
            unit.name,
            unit.cover,
            unit.acres,
            *([unit.acres_sd] if is_walked else []),
            unit.treated_acres,
            unit.remaining_acres,
            unit.keep_acres,
            *([unit.still_to_leave_acres] if is_missing else []),
            _done(unit),
            stages_in_words(unit.stage_acres),
        ]
        for unit in result.units
    ]
    totals = result.totals
    sums = [totals.treated_acres, totals.remaining_acres, totals.keep_acres]
    sums += [totals.still_to_leave_acres or 0.0] if is_missing else []
    rows.append(["all", "", "", totals.acres, *([None] if is_walked else []), *sums, "", ""])
    sd = ["± acres"] if is_walked else []
    left = ["left on purpose", *(["still to leave"] if is_missing else [])]
    print_table(
        ["unit", "name", "cover", "acres", *sd, "treated", "remaining", *left, "done", "stages (acres)"],
        rows,
    )
    if is_walked:
        say("± is one standard deviation of an outline walked by GPS.")


def _done(unit: UnitAcres) -> str | None:
    if unit.stage_acres.other > 0:
        return None  # not cedar ground: there is nothing to do, and so no share of it
    words = f"{unit.treated_pct:.0f}%"
    if words == "100%" and unit.remaining_acres >= 0.005:
        return f"{min(unit.treated_pct, 99.9):.1f}%"  # while the table shows ground that remains, not all is done
    return words


def stages_in_words(stage_acres: object) -> str:
    """Return the stages that hold at least 0.005 acre, in words with their acres."""
    from habmap.vocabulary import STAGE_WORDS, STAGES

    found = [(stage, float(getattr(stage_acres, stage))) for stage in STAGES]
    return "; ".join(f"{STAGE_WORDS[stage]} {size:,.2f}" for stage, size in found if size >= 0.005)


def _print_practices(result: AcresResult) -> None:
    from habmap.vocabulary import PRACTICE_WORDS

    if not result.practices:
        return
    print_table(
        ["practice", "code", "acres", "total acres over all passes", "outside units", "log lines", "first", "last"],
        [
            [
                PRACTICE_WORDS[practice.practice],
                practice.practice_code or "",
                practice.acres,
                practice.pass_acres,
                practice.outside_acres,
                practice.entries,
                practice.first_date.isoformat(),
                practice.last_date.isoformat(),
            ]
            for practice in result.practices
        ],
    )


def _print_cautions(result: AcresResult) -> None:
    from habmap.vocabulary import SNAG_CAUTION

    if result.totals.snag_acres > 0:
        say("")
        say(SNAG_CAUTION)
