"""The options of ``log`` that take the ground from a GPS walk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.errors import UsageError

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


@dataclass(frozen=True, slots=True)
class TrackGround:
    """A walked patch (lon/lat) with the standard deviation of its acres and what is to be said about it."""

    patch: MultiPolygon
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
    day: dt.date,
) -> TrackGround | None:
    """Return the ground of the walk that the options name; ``None`` where they name none.

    Units named beside a walk say which ones were meant; the patch is not cut to them.

    Raises
    ------
    UsageError
        A second source of ground is given, or a swath without a walk.
    InputError
        The walk makes no ground, or a unit is not known.
    """
    if not tracks:
        if swath_ft is not None:
            raise UsageError("a swath of which walk?", where="--swath-ft", mend="give the walk with --track")
        return None
    if has_other_ground:
        raise UsageError(
            "two sources of ground are given", where="--track", allowed="one of --track, --patch, --unit ID --whole"
        )
    from zoneinfo import ZoneInfo

    from habmap.jobs.log import whole_units
    from habmap.jobs.trace import traced_ground

    place = store()
    unit_ids = tuple(dict.fromkeys(part.strip() for text in units or () for part in text.split(";") if part.strip()))
    if unit_ids:
        whole_units(place, unit_ids, on=day)  # refuses a unit that is not known
    traced = traced_ground(place, tracks, swath_ft=swath_ft, travel=travel)
    result = traced.result
    article = "an" if result.kind == "edge walk" else "a"
    notes = [f"the walk looks like {article} {result.kind}", *result.notes]
    if result.dropped_fixes:
        reasons = ", ".join(f"{one.count} {one.reason}" for one in result.dropped)
        notes.append(f"{result.dropped_fixes} of {result.fixes} fixes were left out: {reasons}")
    if result.started_at is not None and result.ended_at is not None:
        zone = ZoneInfo(place.settings.place.timezone)
        first, last = result.started_at.astimezone(zone).date(), result.ended_at.astimezone(zone).date()
        if not first <= day <= last:
            notes.append(f"the walk was recorded on {first}, the work is dated {day}")
    return TrackGround(traced.patch, unit_ids, result.acres_sd, tuple(notes))
