"""The options of ``log`` that take the ground from a GPS walk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.errors import InputError, UsageError

if TYPE_CHECKING:
    import datetime as dt

    from shapely import MultiPolygon

    from habmap.jobs.ports import Store

TrackOption = Annotated[
    list[Path] | None,
    typer.Option("--track", metavar="GPX", help="A GPS walk around or over the ground covered. Several: repeat."),
]
SwathOption = Annotated[
    float | None,
    typer.Option("--swath-ft", metavar="W", help="The walk went over the ground; breadth worked along it, feet."),
]
TravelOption = Annotated[
    str, typer.Option("--travel", metavar="foot|vehicle", help="Faster steps than this way allows are dropped.")
]


def parsed_clock(text: str) -> dt.time:
    """Read a time of day from the command line."""
    import datetime as dt

    try:
        if len(text) != len("HH:MM"):
            raise ValueError
        return dt.time.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            "this is not a time of day",
            where="--from, --to",
            value=text,
            allowed="HH:MM on the property's own clock, 00:00 to 23:59",
            mend="write it like 09:30",
        ) from error


FromOption = Annotated[
    Any,
    typer.Option("--from", parser=parsed_clock, metavar="HH:MM", help="Only fixes from this local time on count."),
]
ToOption = Annotated[
    Any,
    typer.Option("--to", parser=parsed_clock, metavar="HH:MM", help="Only fixes up to this local time count."),
]


@dataclass(frozen=True, slots=True)
class TrackGround:
    """A walked patch (lon/lat) with the standard deviation of its acres, its local day, and what is to be said."""

    patch: MultiPolygon
    day: dt.date
    unit_ids: tuple[str, ...]
    acres_sd: float | None
    notes: tuple[str, ...]


def track_ground(
    store: Callable[[], Store],
    *,
    tracks: Sequence[Path] | None,
    swath_ft: float | None,
    travel: str,
    units: Sequence[str] | None,
    has_other_ground: bool,
    day: dt.date | None,
    start: dt.time | None = None,
    end: dt.time | None = None,
) -> TrackGround | None:
    """Return the ground of the walk that the options name; ``None`` where they name none.

    Units named beside a walk say which ones were meant; the patch is not cut to them. The day is the one given, else
    the walk's own (local at the place).

    Raises
    ------
    UsageError
        A second source of ground is given, or a swath or a window without a walk.
    InputError
        The walk makes no ground, a unit is not known, or no day is given and the walk has none or several.
    """
    if not tracks:
        if swath_ft is not None:
            raise UsageError("a swath of which walk?", where="--swath-ft", mend="give the walk with --track")
        if start is not None or end is not None:
            raise UsageError("times of which walk?", where="--from, --to", mend="give the walk with --track")
        return None
    if has_other_ground:
        raise UsageError(
            "two sources of ground are given", where="--track", allowed="one of --track, --patch, --unit ID --whole"
        )
    from zoneinfo import ZoneInfo

    from habmap.jobs.log import whole_units
    from habmap.jobs.trace import Window, traced_ground

    place = store()
    unit_ids = tuple(dict.fromkeys(part.strip() for text in units or () for part in text.split(";") if part.strip()))
    traced = traced_ground(place, tracks, swath_ft=swath_ft, travel=travel, window=Window(start, end))
    result = traced.result
    article = "an" if result.kind == "edge walk" else "a"
    notes = [f"the walk looks like {article} {result.kind}", *result.notes]
    if result.dropped_fixes:
        reasons = ", ".join(f"{one.count} {one.reason}" for one in result.dropped)
        notes.append(f"{result.dropped_fixes} of {result.fixes} fixes were left out: {reasons}")
    zone = ZoneInfo(place.settings.place.timezone)
    walked = [moment.astimezone(zone).date() for moment in (result.started_at, result.ended_at) if moment is not None]
    if day is None:
        day = _own_day(walked)
        notes.append(f"the work is dated {day}, the day of the walk")
    elif walked and not walked[0] <= day <= walked[-1]:
        notes.append(f"the walk was recorded on {walked[0]}, the work is dated {day}")
    if unit_ids:
        whole_units(place, unit_ids, on=day)  # refuses a unit that is not known
    return TrackGround(traced.patch, day, unit_ids, result.acres_sd, tuple(notes))


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
