"""Options that say what was done and on which ground, shared by ``log`` and ``correct``, and what both print."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from habmap.cli.output import print_json, print_table, say, warn
from habmap.errors import UsageError
from habmap.vocabulary import file_mark

if TYPE_CHECKING:
    import datetime as dt

    from shapely import MultiPolygon

    from habmap.cli.context import Session
    from habmap.jobs.ports import Store
    from habmap.work.logged import Logged
    from habmap.work.unit_shares import Covered

UnitOption = Annotated[
    list[str] | None,
    typer.Option("--unit", metavar="ID", help="A unit, whole, with --whole. Several: repeat, or join by ';'."),
]
AllOption = Annotated[bool, typer.Option("--whole", help="Yes, all of each unit named was covered.")]
PatchOption = Annotated[
    Path | None, typer.Option("--patch", metavar="FILE", help="A layer with the ground really covered, any CRS.")
]
RepairOption = Annotated[bool, typer.Option("--repair", help="Mend outlines that cross themselves.")]
BlockOption = Annotated[
    list[str] | None,
    typer.Option("--block", metavar="NAME", help="A burn block by name, or pieces (C1:down); as burnsheet takes it."),
]
WhoOption = Annotated[str | None, typer.Option("--who", metavar="W", help="Who did it.")]
YesOption = Annotated[bool, typer.Option("--yes", help="Take reported acres, or a temperature, that look wrong.")]

MapOption = Annotated[bool, typer.Option("--map", help="Draw the owner's map anew after it: out/map.html.")]
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
class WorkGround:
    """The ground of some work as a person names it: each field is an option."""

    unit: UnitOption = None
    is_all: AllOption = False
    track: TrackOption = None
    swath_ft: SwathOption = None
    travel: TravelOption = "foot"
    start: FromOption = None
    end: ToOption = None
    patch: PatchOption = None
    repair: RepairOption = False
    block: BlockOption = None

    def covered(self, store: Callable[[], Store]) -> Callable[[Any], Covered] | None:
        """Return what gives the ground for a day, of a walk for its own where none is given; ``None``: none is named.

        Units named beside a walk say which ones were meant; the patch is not cut to them.

        Raises
        ------
        UsageError
            Units are named without ``--whole``, two sources of ground are given, or a swath or a window without a walk.
        """
        unit_ids = tuple(
            dict.fromkeys(part.strip() for text in self.unit or () for part in text.split(";") if part.strip())
        )
        self._refuse_two(unit_ids)
        from habmap.jobs.log_ground import block_ground, walk_ground, whole_units
        from habmap.work.traced import Window
        from habmap.work.unit_shares import Covered

        if tracks := self.track:
            how: dict[str, Any] = {"swath_ft": self.swath_ft, "travel": self.travel, "unit_ids": unit_ids}
            return lambda day: walk_ground(store(), tracks, window=Window(self.start, self.end), day=day, **how)

        def drawn(day: dt.date) -> Covered:
            ids = unit_ids
            if self.block:
                patch, ids = block_ground(store(), self.block, on=day)
            elif self.patch is not None:
                patch = _patch_ground(self.patch, repair=self.repair)
            else:
                patch = whole_units(store(), unit_ids, on=day)
            return Covered(patch=patch, day=day, unit_ids=ids)

        return drawn if self.block or self.patch is not None or unit_ids else None

    def _refuse_two(self, unit_ids: Sequence[str]) -> None:
        """Refuse a second source of ground, and what belongs to a source that is not given."""
        two = "two sources of ground are given"
        if self.track and (self.patch is not None or self.is_all or self.block):
            allowed = "one of --track, --patch, --unit ID --whole, --block"
            raise UsageError(two, where="--track", allowed=allowed, mend="name one of them")
        if self.swath_ft is not None and not self.track:
            raise UsageError("a swath of which walk?", where="--swath-ft", mend="give the walk with --track")
        if (self.start is not None or self.end is not None) and not self.track:
            raise UsageError("times of which walk?", where="--from, --to", mend="give the walk with --track")
        if self.block and (self.unit or self.is_all or self.patch is not None):
            allowed = "one of --unit ID --whole, --track, --patch, --block"
            raise UsageError(two, where="--block", allowed=allowed, mend="give one")
        if self.unit and not unit_ids:
            raise UsageError("the unit's name is blank", where="--unit", mend="name a unit, such as --unit C1")
        if unit_ids and self.patch is not None:
            raise UsageError(two, where="--unit, --patch", mend="give one; a --patch finds its units by itself")
        if self.is_all and not unit_ids:
            raise UsageError("--whole of which unit?", where="--whole", mend="name it with --unit")
        if unit_ids and not (self.is_all or self.track):
            raise UsageError(
                "a whole unit is logged only with --whole",
                where="--unit",
                value="; ".join(unit_ids),
                mend="add --whole if every bit of it was covered; else give the ground really covered with --patch",
            )


def _patch_ground(path: Path, *, repair: bool) -> MultiPolygon:
    from habmap.place.layers import read_ground_and_repairs

    ground, repairs = read_ground_and_repairs(path, repair=repair)
    for words in repairs:
        warn(words)
    return ground


def agreement(*, is_yes: bool, as_json: bool, ask: str = "Log it all the same?") -> Callable[[str], bool]:
    """Return what answers a doubt: ``--yes``, or the person at the terminal, else no."""

    def agree(words: str) -> bool:
        if is_yes:
            return True
        if as_json or not (sys.stdin.isatty() and sys.stderr.isatty()):
            return False
        return typer.confirm(f"note: {words}. {ask}", default=False, err=True)

    return agree


def show_logged(
    session: Session,
    command: str,
    result: Logged,
    *,
    walks: Sequence[Path],
    notes: Sequence[str],
    is_preview: bool,
    draw: bool,
    as_json: bool,
) -> None:
    """Keep the files of the walk that was logged, show the line with what is to be said of the walk, draw the map."""
    from habmap.place.walk_files import keep_walks

    kept = () if is_preview else keep_walks(session.folder, walks, number=result.number)
    result = replace(result, warnings=(*result.warnings, *notes, *kept))
    if as_json:
        print_json(command, result)
    else:
        _print_logged(result)
    if draw:
        from habmap.jobs.map import draw_map

        drawn = draw_map(session.store(), target=session.map_path, now=session.now())
        if not as_json:
            say(f"The map was drawn anew: {drawn.path}.")


def _print_logged(result: Logged) -> None:
    """Print a line of the log in words: what to look at first, then what, how much, where, and what it changes."""
    from habmap.show.burn.words import burn_words
    from habmap.show.logged_words import caution_lines, lines_below, logged_sentence

    for words in result.warnings:
        warn(words)
    say(logged_sentence(result))
    rows: list[list[object]] = [[share.unit_id, share.acres] for share in result.units]
    if rows and result.outside_acres > 0.005:
        rows.append(["(no unit)", result.outside_acres])
    if rows:
        print_table(["unit", "acres"], rows)
    for words in lines_below(result, burn_words(result.burn)):
        say(words)
    for words in caution_lines(result):
        warn(words)


def check_map(session: Session, *, draw: bool, is_preview: bool) -> None:
    """Refuse, before anything is written, a map that could not be drawn afterwards.

    Raises
    ------
    UsageError
        A preview changes nothing that a map could show.
    InputError
        A file that is no such map of habmap's own lies where it goes.
    """
    if not draw:
        return
    if is_preview:
        raise UsageError("a preview changes no map", where="--map", mend="leave out --map or --preview")
    from habmap.place.writers import refuse_to_write

    refuse_to_write(session.map_path, overwrite=False, replaces=file_mark("map", "owner"))
