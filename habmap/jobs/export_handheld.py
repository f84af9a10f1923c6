"""What goes onto a handheld: unit edges, the ground that remains, photo points and plots; and spots due again."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta

import shapely
from shapely import MultiPolygon, Point

from habmap.jobs.export_layers import waiting
from habmap.jobs.ground import ground
from habmap.jobs.photos import found_points
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.snapshot import once
from habmap.show.handheld import tracks
from habmap.vocabulary import Audience
from habmap.work.ground import Ground
from habmap.work.handheld import RemainingOutline, remaining_outline
from habmap.work.photo_pairs import PRIVATE_NEAR_M
from habmap.work.private import private_shapes
from habmap.work.revisits import Revisit, frame_revisits, photo_revisits, plot_revisits

#: Differences below this are binary crumbs of cutting the same ground twice [acre].
_CRUMB_ACRES = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Handheld:
    """(name, comment, ground) of every unit's edge and of what remains in it (lon/lat), and the spots to stand on."""

    outlines: tuple[tuple[str, str, MultiPolygon], ...]
    remaining: tuple[RemainingOutline, ...]
    spots: tuple[Revisit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandheldFile:
    """A file for a handheld: its outlines and waypoints, and the parts that remain but are too small to walk to."""

    path: str
    rows: int
    waypoints: int
    scraps: int
    scrap_acres: float
    audience: Audience


@dataclass(frozen=True, slots=True, kw_only=True)
class RevisitsFile:
    """A file of spots due again by a day: ``rows`` waypoints, and all ``spots``, those without a place too."""

    path: str
    on: date
    rows: int
    audience: Audience
    spots: tuple[Revisit, ...]


def handheld(store: Store, *, on: date | None = None, today: date, audience: Audience = "owner") -> Handheld:
    """Return what a handheld shows.

    Features are left out for whomever, so that no nest, grave or cultural site rides along. Ground left on purpose is
    never shown as remaining, for somebody might cut it; so where the copy for the public draws some of it otherwise, or
    closes a hole of the unit, what remains in that unit is left out.
    """
    kept, outline = _kept_acres(ground(store, on=on)), {unit.unit_id: unit.geometry for unit in store.units(on)}
    spots = [one for one in revisits(store, on=on or today, audience=audience) if one.kind != "frame" and one.lonlat]
    store = public_view(store) if audience == "public" else store
    state = ground(store, on=on)
    shown = _kept_acres(state)
    telling = {unit_id for unit_id, acres in kept.items() if acres > shown[unit_id] + _CRUMB_ACRES}
    telling |= {unit.unit_id for unit in state.units if unit.geometry != outline[unit.unit_id]}
    found = (remaining_outline(unit.unit_id, state.pieces) for unit in state.units if unit.unit_id not in telling)
    remaining = [
        replace(one, geometry=state.grid.to_lonlat(one.geometry)) for one in found if one is not None and state.grid
    ]
    edges = [(unit.unit_id, unit.name, unit.geometry) for unit in state.units]
    outlines = tracks(edges, remaining, waiting(store, on=on or today))
    return Handheld(outlines=tuple(outlines), remaining=tuple(remaining), spots=tuple(spots))


def due_again(store: Store, *, on: date, within_days: int = 0, audience: Audience = "owner") -> tuple[Revisit, ...]:
    """Return the spots that are due again on a day, or will be within so many days, by the day they came due."""
    last = on + timedelta(days=within_days)
    found = [one for one in revisits(store, on=on, audience=audience) if one.is_due(last)]
    return tuple(sorted(found, key=lambda one: one.due_on or date.min))


@once
def revisits(store: Store, *, on: date, audience: Audience = "owner") -> tuple[Revisit, ...]:
    """Return all photo points, plots and frames of plant cover, each with the day on which it is due again.

    For the public without those that stand near a private place or look at one.
    """
    grid, days = store.grid, store.settings.seasons
    private = shapely.union_all(private_shapes(store.features(), grid)) if grid is not None else Point()
    store = public_view(store) if audience == "public" else store
    state = ground(store, on=on)
    points = [(None if one.unit is None else one.unit.unit_id, one.photos) for one in found_points(store, on=on)]
    found = (
        *photo_revisits(points, state=state, days=days.photo_again_days, on=on),
        *plot_revisits(store.plots(), state=state, days=days.plot_again_days, on=on),
        *frame_revisits(store.cover_frames(), days=days.cover_again_days, on=on),
    )
    if audience == "owner" or grid is None:
        return found
    return tuple(
        one for one in found
        if one.lonlat is None or not shapely.dwithin(grid.to_grid(Point(one.lonlat)), private, PRIVATE_NEAR_M)
    )  # fmt: skip


def _kept_acres(state: Ground) -> defaultdict[str, float]:
    """Return the acres left on purpose by unit."""
    found: defaultdict[str, float] = defaultdict(float)
    for piece in state.pieces:
        if piece.stage == "keep":
            found[piece.unit_id] += piece.acres
    return found
