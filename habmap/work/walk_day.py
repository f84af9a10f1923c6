"""The ground of a GPS walk as the log wants it: the patch, its day, and what is to be said about the walk."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from habmap.errors import InputError
from habmap.work.traced import TracedGround
from habmap.work.unit_shares import Covered


def walk_on(traced: TracedGround, *, day: dt.date | None, unit_ids: tuple[str, ...], zone: dt.tzinfo) -> Covered:
    """Return a walk's ground on the day that is given, else on the walk's own (local at the place).

    Raises
    ------
    InputError
        No day is given and the walk has none or several.
    """
    result = traced.result
    article = "an" if result.kind == "edge walk" else "a"
    notes = [f"the walk looks like {article} {result.kind}", *result.notes]
    if result.dropped_fixes:
        reasons = ", ".join(f"{one.count} {one.reason}" for one in result.dropped)
        notes.append(f"{result.dropped_fixes} of {result.fixes} fixes were left out: {reasons}")
    walked = [moment.astimezone(zone).date() for moment in (result.started_at, result.ended_at) if moment is not None]
    if day is None:
        day = _own_day(walked)
        notes.append(f"the work is dated {day}, the day of the walk")
    elif walked and not walked[0] <= day <= walked[-1]:
        notes.append(f"the walk was recorded on {walked[0]}, the work is dated {day}")
    return Covered(patch=traced.patch, day=day, unit_ids=unit_ids, acres_sd=result.acres_sd, notes=tuple(notes))


def _own_day(walked: Sequence[dt.date]) -> dt.date:
    if not walked:
        raise InputError(
            "the walk has no times, so it does not tell the day of the work",
            where="--date",
            allowed="YYYY-MM-DD",
            mend="give the day with --date",
        )
    if walked[0] != walked[-1]:
        raise InputError(
            "the walk runs over more than one day",
            where="--date",
            value=f"{walked[0]} to {walked[-1]}",
            allowed="one day",
            mend="give the day of the work with --date, or log each day's walk on its own",
        )
    return walked[0]
