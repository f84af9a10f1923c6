"""A burn block drawn in a file, to be saved under a name of its own, by which `habmap burnsheet` finds it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from habmap.errors import InputError, UsageError
from habmap.land.grid import grid_around
from habmap.measures import acres
from habmap.place.contents import Contents
from habmap.place.layers import read_ground_and_repairs
from habmap.place.load.engine import Brought
from habmap.records import DrawnBlock, differences
from habmap.vocabulary import STAGES
from habmap.work.unit_shares import shares

#: Longer names fill the sheet's heading.
LONGEST_NAME: int = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockSaved:
    """A block just saved.

    Attributes
    ----------
    acres, outside_acres
        Its ground, and the part of it in no unit [acre].
    units
        Units that it has ground of.
    replaced
        Whether a block was called so before; it stays on record, the newest counts.
    already_there
        Whether the newest block of that name is the same ground: nothing was added.
    """

    name: str
    acres: float
    outside_acres: float
    units: tuple[str, ...]
    replaced: bool
    already_there: bool
    warnings: tuple[str, ...]


def checked_name(name: str) -> str:
    """Return a block's name without the blanks around it.

    Raises
    ------
    UsageError
        It is blank, too long, not one line, or reads as pieces of a unit (``C1:down``).
    """
    plain = name.strip()
    if not plain or len(plain) > LONGEST_NAME or not plain.isprintable():
        raise UsageError(
            "this cannot be the name of a block",
            where="--name",
            value=name,
            allowed=f"1 to {LONGEST_NAME} characters in one line",
            mend="give it a short name of its own",
        )
    if plain.rpartition(":")[2] in STAGES and ":" in plain:
        raise UsageError(
            "this reads as the pieces of a unit at one stage, not as a block of its own",
            where="--name",
            value=name,
            mend="give it a name without a colon",
        )
    return plain


def bring_block(
    store: Contents,
    *,
    name: str,
    path: Path,
    now: dt.datetime,
    repair: bool = False,
    overwrite: bool = False,
) -> tuple[Brought[DrawnBlock], BlockSaved]:
    """Read a burn block drawn in a file, to be saved by name; nothing is written.

    Parameters
    ----------
    name
        What it is called; neither a unit nor a block of ``habmap.toml`` may be called so.
    path
        A layer with its ground, any coordinate system.
    overwrite
        Take the place of a block that is called so already.

    Raises
    ------
    UsageError
        The name cannot be one.
    InputError
        Something else is called so, or the file holds no ground.
    """
    plain = checked_name(name)
    _refuse_taken(store, plain)
    ground, repairs = read_ground_and_repairs(path, repair=repair)
    row = DrawnBlock(uuid=str(uuid.uuid4()), name=plain, geometry=ground, recorded_at=now)
    before = next((block for block in reversed(store.drawn_blocks()) if block.name == plain), None)
    is_same = before is not None and not differences(before, row, besides=("uuid",))
    if before is not None and not is_same and not overwrite:
        raise InputError(
            "another block is saved by this name",
            where="--name",
            value=plain,
            mend="give this one another name, or add --overwrite; the old drawing stays on record",
        )
    grid = store.grid or grid_around([ground])
    inside, outside_acres = shares(ground, store.units(), grid=grid)
    names = tuple(share.unit_id for share in inside)
    saved = BlockSaved(
        name=plain,
        acres=acres(grid.to_grid(ground).area),
        outside_acres=outside_acres,
        units=names,
        replaced=before is not None and not is_same,
        already_there=is_same,
        warnings=_warnings(repairs, names, outside_acres),
    )
    return Brought(fresh=() if is_same else (row,)), saved


def _refuse_taken(store: Contents, name: str) -> None:
    units = {unit.unit_id for unit in store.unit_versions()}
    owner = "a unit" if name in units else "a block of habmap.toml" if name in store.settings.burn.blocks else None
    if owner is not None:
        raise InputError(
            f"{owner} is called so already",
            where="--name",
            value=name,
            allowed="a name that no unit and no block of `[burn.blocks]` has",
            mend="give the block another name",
        )


def _warnings(repairs: Sequence[str], units: Sequence[str], outside_acres: float) -> tuple[str, ...]:
    words = list(repairs)
    if not units:
        words.append("none of this block lies in a unit")
    elif outside_acres >= 0.005:
        words.append(f"{outside_acres:,.2f} acres of this block lie outside every unit")
    return tuple(words)
