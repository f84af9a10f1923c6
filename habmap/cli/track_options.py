"""The options of ``log`` that take the ground from a GPS walk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.errors import UsageError

if TYPE_CHECKING:
    import datetime as dt

    from habmap.jobs.ports import Store
    from habmap.work.unit_shares import Covered

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
) -> Covered | None:
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
            "two sources of ground are given",
            where="--track",
            allowed="one of --track, --patch, --unit ID --whole",
            mend="name one of them",
        )
    from habmap.jobs.log_ground import walk_ground
    from habmap.work.traced import Window

    unit_ids = tuple(dict.fromkeys(part.strip() for text in units or () for part in text.split(";") if part.strip()))
    window = Window(start, end)
    return walk_ground(store(), tracks, swath_ft=swath_ft, travel=travel, window=window, unit_ids=unit_ids, day=day)
