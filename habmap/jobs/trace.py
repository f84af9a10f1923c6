"""A GPS walk becomes ground: shown, or kept as a new unit."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from habmap.errors import UsageError
from habmap.jobs.ports import Store
from habmap.land.track_error import FixError
from habmap.measures import M_PER_FT
from habmap.place.settings import GpsSection
from habmap.place.walks import read_walks
from habmap.records import Unit
from habmap.vocabulary import COVERS
from habmap.work.traced import (
    TracedGround,
    TraceResult,
    Window,
    checked_swath_ft,
    ground_of_walk,
    known_travel,
    refuse_clash,
    without_neighbors,
)


def traced_ground(
    store: Store | None,
    paths: Sequence[Path],
    *,
    swath_ft: float | None = None,
    travel: str = "foot",
    window: Window | None = None,
) -> TracedGround:
    """Read walks and turn them into ground; nothing is written.

    Parameters
    ----------
    store
        The place whose grid and GPS settings count; ``None`` takes a grid at the walk's center and the defaults.
    paths
        GPX, KML or GeoJSON files, taken as one walk.
    swath_ft
        Breadth worked along the path [ft]; ``None`` for a walk around the ground.
    travel
        ``foot`` or ``vehicle``.
    window
        Local times of day (UTC where there is no place) between which fixes count; ``None`` takes all.

    Raises
    ------
    UsageError
        The swath or the way of travel cannot be.
    InputError
        A file is unfit, or the walk makes no ground.
    """
    way, breadth_ft = known_travel(travel), checked_swath_ft(swath_ft)
    gps = GpsSection() if store is None else store.settings.gps
    return ground_of_walk(
        read_walks(paths),
        grid=None if store is None else store.grid,
        error=FixError(gps.sigma_m, gps.correlation_s),
        close_gap_m=gps.close_gap_ft * M_PER_FT,
        swath_ft=breadth_ft,
        travel=way,
        window=window,
        zone=UTC if store is None else ZoneInfo(store.settings.place.timezone),
        clock_word=" UTC" if store is None else "",
    )


def trace(
    store: Store | None,
    paths: Sequence[Path],
    *,
    now: datetime,
    swath_ft: float | None = None,
    travel: str = "foot",
    window: Window | None = None,
    unit_id: str | None = None,
    cover: str | None = None,
    name: str | None = None,
    trim: bool = False,
    dry_run: bool = False,
) -> TraceResult:
    """Turn GPS walks into ground and, where a unit is named, add it to the place.

    Parameters
    ----------
    now
        Moment of recording, UTC.
    unit_id, cover, name
        The new unit; ``unit_id`` and ``cover`` go together.
    trim
        Cut off what neighboring units hold already: two walks of one edge never agree. At least half of the walked
        ground must be left.
    dry_run
        Check everything and write nothing.

    Raises
    ------
    UsageError
        ``unit_id`` without ``cover``, or the other way round; an unknown cover.
    InputError
        See `traced_ground`; a unit of this name is there, or the ground overlaps another unit.
    """
    if (unit_id is None) != (cover is None):
        raise UsageError(
            "a new unit needs both its name and its cover",
            where="--unit-id" if unit_id is None else "--cover",
            allowed="--unit-id ID --cover C, or neither",
            mend="give the missing one",
        )
    if unit_id is None and name is not None:
        raise UsageError("a name needs a unit", where="--name", value=name, mend="give --unit-id and --cover too")
    if unit_id is not None and not unit_id.strip():
        raise UsageError("the unit's name is empty", where="--unit-id", mend="give it a short name")
    if cover is not None and cover not in COVERS:
        raise UsageError(
            "this is no cover", where="--cover", value=cover, allowed=", ".join(COVERS), mend="use one of these"
        )
    traced = traced_ground(store, paths, swath_ft=swath_ft, travel=travel, window=window)
    if unit_id is None or cover is None:
        return traced.result
    if store is None:
        raise UsageError(
            "a unit needs a property to belong to", where="--unit-id", value=unit_id, mend="give --place DIR"
        )
    if trim and store.grid is not None:
        strip_m = store.settings.gps.sigma_m
        traced = without_neighbors(traced, store.units(), grid=store.grid, strip_m=strip_m)
    unit = Unit(
        uuid=str(uuid.uuid4()),
        unit_id=unit_id.strip(),
        name=(name or unit_id).strip(),
        cover=cover,
        geometry=traced.patch,
        acres_sd=traced.result.acres_sd,
        recorded_at=now,
    )
    refuse_clash(unit, store.units(), grid=store.grid)
    if not dry_run:
        store.append([unit])
    return replace(traced.result, unit_id=unit.unit_id, is_added=not dry_run)
