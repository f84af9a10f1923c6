"""Options that say what was done and on which ground, shared by ``log`` and ``amend``."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from habmap.cli.output import say, warn
from habmap.errors import UsageError
from habmap.vocabulary import file_mark

if TYPE_CHECKING:
    import datetime as dt

    from shapely import MultiPolygon

    from habmap.cli.context import Session
    from habmap.jobs.ports import Store
    from habmap.work.logged import Logged

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

#: For a day: the patch (lon/lat), the units named.
Ground = Callable[["dt.date"], tuple["MultiPolygon", tuple[str, ...]]]


def ground_from(
    store: Callable[[], Store],
    *,
    units: Sequence[str] | None,
    is_all: bool,
    patch: Path | None,
    repair: bool,
    block: Sequence[str] | None = None,
) -> Ground | None:
    """Return what gives the ground that the options name; ``None`` where they name none.

    Raises
    ------
    UsageError
        Units are named without ``--whole``, or two sources of ground are given.
    """
    if block and (units or is_all or patch is not None):
        raise UsageError(
            "two sources of ground are given",
            where="--block",
            allowed="one of --unit ID --whole, --track, --patch, --block",
            mend="give one",
        )
    unit_ids = tuple(dict.fromkeys(part.strip() for text in units or () for part in text.split(";") if part.strip()))
    if units and not unit_ids:
        raise UsageError("the unit's name is blank", where="--unit", mend="name a unit, such as --unit C1")
    if unit_ids and patch is not None:
        raise UsageError(
            "two sources of ground are given",
            where="--unit, --patch",
            mend="give one; a --patch finds its units by itself",
        )
    if is_all and not unit_ids:
        raise UsageError("--whole of which unit?", where="--whole", mend="name it with --unit")
    if unit_ids and not is_all:
        raise UsageError(
            "a whole unit is logged only with --whole",
            where="--unit",
            value="; ".join(unit_ids),
            mend="add --whole if every bit of it was covered; else give the ground really covered with --patch",
        )
    from habmap.jobs.log_ground import block_ground, whole_units

    if block:
        return lambda day: block_ground(store(), block, on=day)
    if patch is not None:
        return lambda day: (_patch_ground(patch, repair=repair), ())
    if unit_ids:
        return lambda day: (whole_units(store(), unit_ids, on=day), unit_ids)
    return None


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


def print_logged(result: Logged) -> None:
    """Print a line of the log in words: what to look at first, then what, how much, where, and what it changes."""
    from habmap.cli.output import print_table
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


def renew_map(session: Session, *, draw: bool, as_json: bool) -> None:
    """Draw the owner's map anew and say so."""
    if not draw:
        return
    from habmap.jobs.map import draw_map

    drawn = draw_map(session.store(), target=session.map_path, now=session.now())
    if not as_json:
        say(f"The map was drawn anew: {drawn.path}.")
