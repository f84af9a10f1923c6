"""The ground of some work as the log wants it: whole units, a burn block by its name, or a GPS walk."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from shapely import MultiPolygon

from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.trace import traced_ground
from habmap.measures import days_after
from habmap.work.burn.block import logged_block
from habmap.work.traced import Window, walk_on
from habmap.work.unit_shares import Covered, whole_ground


def whole_units(store: Store, unit_ids: Sequence[str], *, on: dt.date) -> MultiPolygon:
    """Return the ground of whole units as drawn now, or on a day where the unit is no more, lon/lat [°]."""
    return whole_ground(unit_ids, (*store.units(on), *store.units()))


def block_ground(store: Store, names: Sequence[str], *, on: dt.date) -> tuple[MultiPolygon, tuple[str, ...]]:
    """Return the ground of a block, lon/lat [°], and its units where it is all of them, on a day of work.

    What it is asked of by name and what is refused as in `logged_block`; stages are those of the evening before.
    """
    return logged_block(
        names,
        ground(store, on=days_after(on, -1)),
        blocks=store.settings.burn.blocks,
        drawn=store.drawn_blocks(),
        versions=(*store.units(on), *store.units()),
    )


def walk_ground(
    store: Store,
    paths: Sequence[Path],
    *,
    swath_ft: float | None = None,
    travel: str = "foot",
    window: Window | None = None,
    unit_ids: tuple[str, ...] = (),
    day: dt.date | None = None,
) -> Covered:
    """Return the ground of a walk, taken as `habmap.jobs.trace.traced_ground` takes it.

    Units named beside a walk say which ones were meant; the patch is not cut to them. The day is the one given, else
    the walk's own (local at the place).

    Raises
    ------
    UsageError
        The swath or the way of travel cannot be.
    InputError
        The walk makes no ground, a unit is not known, or no day is given and the walk has none or several.
    """
    traced = traced_ground(store, paths, swath_ft=swath_ft, travel=travel, window=window)
    walk = walk_on(traced, day=day, unit_ids=unit_ids, zone=ZoneInfo(store.settings.place.timezone))
    if unit_ids:
        whole_units(store, unit_ids, on=walk.day)  # refuses a unit that is not known
    return walk
