"""A property as strangers may see it: every copy for the public is made from this, and from nothing else.

It is a store like the property's own, so that map, sheet, handout and exports need no rules about what is private: the
records carry nothing of it, and no figure differs from what is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import cached_property
from typing import Final, TypeVar, cast

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError
from habmap.jobs.acres import acres
from habmap.jobs.photos import found_points
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import Snapshot, once
from habmap.land.grid import LocalGrid
from habmap.land.veil import RADIUS_M, Veil, ends_there, runs_round, veil, veiled
from habmap.place.contents import Contents
from habmap.records import Boundary, BurnRecord, DrawnBlock, Entry, Feature, Forecast, Photo, Plot, Row, Unit
from habmap.show.records import Page
from habmap.show.words import SPOKEN_ACRES
from habmap.work.burns import burn_of
from habmap.work.ledger import corrections, effective_entries
from habmap.work.private import is_private, private_shapes
from habmap.work.told import told

Record = TypeVar("Record")

#: What strangers may see as it is: readings of whole units, and what the map is drawn on.
_AS_IT_IS: Final = frozenset(
    {
        "place_id", "settings", "grid", "elevation", "canopy", "plots", "sightings", "cover_frames",
        "picture",
    }
)  # fmt: skip

#: Less ground than this in a hole is what two outlines of one edge differ by [m²].
_CRUMB_M2: Final = 1.0
#: Kinds of feature that lie where they do for no private place's sake, and those that only lead somewhere.
_NATURAL: Final = frozenset({"creek", "pond"})
_WAYS: Final = frozenset({"road", "lane", "power_line", "gas_line"})


def public_view(store: Store) -> Store:
    """Return the property as strangers may see it; what is asked of it that nobody decided about is refused."""
    return store if isinstance(store, _PublicSnapshot) else _seen_by_strangers(store)


@once
def _seen_by_strangers(store: Store) -> Store:
    return cast("Store", _PublicSnapshot(cast("Store", _PublicStore(store))))


class _PublicSnapshot(Snapshot):
    """What strangers may see, read once."""


def veil_words(store: Store, page: Page) -> tuple[str, ...]:
    """Tell the owner what a copy for the public has otherwise than the account, and what it cannot hide.

    Nothing of it stands in the copy.
    """
    if page.audience != "public":
        return ()
    totals, drawn = acres(store, on=page.on).totals, page.totals
    words = []
    if max(abs(totals.treated_acres - drawn.treated_acres), abs(totals.keep_acres - drawn.keep_acres)) >= SPOKEN_ACRES:
        words.append(
            "near private places this copy draws ground like what lies around it, and its acres follow: "
            f"{drawn.treated_acres:.2f} treated and {drawn.keep_acres:.2f} left on purpose, where the account has "
            f"{totals.treated_acres:.2f} and {totals.keep_acres:.2f}"
        )
    outlines = {unit.unit_id: unit.geometry for unit in public_view(store).units(page.on)}
    filled = [unit.unit_id for unit in store.units(page.on) if outlines[unit.unit_id] != unit.geometry]
    if filled:
        words.append(
            f"the outline of {', '.join(filled)} has a hole about a private place; this copy draws it filled, and "
            "counts the ground in it as what lies around it"
        )
    telling = _telling_units(store, page.on)
    if telling:
        words.append(
            f"the outline of {', '.join(telling)} itself runs round a private place, and is drawn as it is: draw the "
            "unit over it, and log the ground that is left standing there as `keep`"
        )
    return tuple(words)


def _telling_units(store: Store, on: date | None) -> tuple[str, ...]:
    """Return the units that tell a private place still: a hole about it that stays, or a part that is little else."""
    grid = store.grid
    if grid is None:
        return ()
    private = private_shapes(store.features(), grid)
    found = []
    for unit in public_view(store).units(on):
        parts = shapely.get_parts(grid.to_grid(unit.geometry))
        rings = [shapely.Polygon(ring) for part in parts for ring in part.interiors]
        little = [part for part in parts if shapely.area(part) <= math.pi * RADIUS_M**2]
        shapes = np.array([*rings, *little], dtype=object)
        if any(bool(shapely.intersects(shapes, one).any()) for one in private):
            found.append(unit.unit_id)
    return tuple(found)


def _is_telling(feature: Feature, grid: LocalGrid, over: Veil) -> bool:
    """Return whether a feature stands where something private is, leads there or was drawn round it.

    Water lies where it lies, and ways bend for many reasons.
    """
    shape = grid.to_grid(feature.geometry)
    if shapely.covered_by(shape, over.discs):
        return True
    if feature.kind in _NATURAL:
        return False
    return ends_there(shape, over) or (feature.kind not in _WAYS and runs_round(shape, over))


def _hold_together(unit: Unit, other: Unit) -> bool:
    """Return whether another unit holds on some day of this version's."""
    starts = [day for day in (unit.valid_from, other.valid_from) if day is not None]
    ends = [day for day in (unit.valid_to, other.valid_to) if day is not None]
    is_other = other.unit_id != unit.unit_id and not other.is_retired
    return is_other and (not starts or not ends or max(starts) < min(ends))


class _PublicStore:
    def __init__(self, store: Store) -> None:
        self._store = store
        self._told_units: dict[str, Unit] = {}

    def __getattr__(self, name: str) -> object:
        if name in _AS_IT_IS:
            return getattr(self._store, name)
        raise AttributeError(name)

    @cached_property
    def _private(self) -> list[BaseGeometry]:
        grid = self._store.grid
        return [] if grid is None else private_shapes(self._store.features(), grid)

    @cached_property
    def _veil(self) -> Veil:
        return veil(self._private, key=self._store.place_id)

    @cached_property
    def _entries(self) -> tuple[Entry, ...]:
        effective = effective_entries(self._store.entries())
        entries = [entry for entry in effective if entry.patch is not None]
        grid = self._store.grid
        if grid is None:
            return ()
        now = self.units()
        former = [unit for unit in self.unit_versions() if unit.uuid not in {one.uuid for one in now}]
        redrawn = veiled(
            [grid.to_grid(entry.patch) for entry in entries if entry.patch is not None],
            outlines=[grid.to_grid(unit.geometry) for unit in (*now, *former)],
            current=len(now),
            over=self._veil,
            never={index for index, entry in enumerate(entries) if entry.practice == "keep"},
        )
        drawn = [
            replace(entry, patch=grid.to_lonlat(redrawn[index])) if index in redrawn else entry
            for index, entry in enumerate(entries)
        ]
        return tuple(told(entry) for entry in drawn if entry.patch is not None and not entry.patch.is_empty)

    def held(self) -> Contents:
        return cast("Store", self)

    def entries(self) -> tuple[Entry, ...]:
        return self._entries

    def burns(self) -> tuple[BurnRecord, ...]:
        records = self._store.burns()
        lines = corrections(self._store.entries())
        shown = {entry.entry_id for entry in self._entries}
        return tuple(
            replace(told(found), entry_id=line.root.entry_id)
            for line in lines
            if line.root.entry_id in shown and (found := burn_of(line, records)) is not None
        )

    def boundary(self) -> Boundary | None:
        line = self._store.boundary()
        return None if line is None else replace(line, geometry=self._filled(line.geometry, ()))

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        return tuple(self._told(unit) for unit in self._store.units(on))

    def unit_versions(self) -> tuple[Unit, ...]:
        return tuple(self._told(unit) for unit in self._store.unit_versions())

    def _told(self, unit: Unit) -> Unit:
        known = self._told_units.get(unit.uuid)
        if known is None:
            beside = [other.geometry for other in self._store.unit_versions() if _hold_together(unit, other)]
            known = self._told_units[unit.uuid] = replace(told(unit), geometry=self._filled(unit.geometry, beside))
        return known

    def _filled(self, shape: MultiPolygon, beside: Sequence[MultiPolygon]) -> MultiPolygon:
        """Close the holes about private places, but for the ground of what lies beside: such a hole tells the place."""
        grid = self._store.grid
        if grid is None or not any(len(part.interiors) for part in shape.geoms):
            return shape
        holes = []
        for ring in (ring for part in shape.geoms for ring in part.interiors):
            hole = grid.to_grid(shapely.Polygon(ring))
            if self._veil.reach.covers(hole) and any(shapely.intersects(hole, one) for one in self._private):
                holes.append(shapely.Polygon(ring))
        if not holes:
            return shape
        closing = shapely.difference(shapely.union_all(holes), shapely.union_all(list(beside)))
        if grid.to_grid(closing).area < _CRUMB_M2:
            return shape
        whole = shapely.union(shape, closing)
        return MultiPolygon([part for part in shapely.get_parts(whole) if part.geom_type == "Polygon"])

    def features(self) -> tuple[Feature, ...]:
        """Leave out what is private, and what leads there, runs round it or stands so near: a lane, a fence, a sign."""
        grid = self._store.grid
        return tuple(
            told(feature)
            for feature in self._store.features()
            if not is_private(feature) and (grid is None or not _is_telling(feature, grid, self._veil))
        )

    def photos(self) -> tuple[Photo, ...]:
        hidden = {photo.uuid for point in found_points(self._store) if point.is_private for photo in point.photos}
        return tuple(told(photo) for photo in self._store.photos() if photo.uuid not in hidden)

    def forecasts(self) -> tuple[Forecast, ...]:
        return ()

    def drawn_blocks(self) -> tuple[DrawnBlock, ...]:
        return ()

    def plot_rows(self) -> tuple[Plot, ...]:
        return ()

    def rows(self) -> tuple[Row, ...]:
        return ()

    def all_of(self, record: type[Record]) -> tuple[Record, ...]:
        """Return nothing: rows as they were written are the owner's, and each kind has its own answer here."""
        return ()

    def last_recorded(self) -> datetime | None:
        return None

    def append(self, rows: Sequence[Row]) -> None:
        raise HabmapError("a copy for the public is only read")

    def append_with_pictures(self, rows: Sequence[Row], pictures: Iterable[tuple[str, bytes]]) -> None:
        raise HabmapError("a copy for the public is only read")
