"""A property as strangers may see it: every copy for the public is made from this, and from nothing else.

It is a store like the property's own, so that map, sheet, handout and exports need no rules about what is private: the
records carry nothing of it, and no figure differs from what is drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import cached_property
from typing import Final, TypeVar, cast

from habmap.errors import HabmapError
from habmap.jobs.acres import acres
from habmap.jobs.photos import found_points
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import Snapshot, once
from habmap.place.contents import Contents
from habmap.records import Boundary, BurnRecord, DrawnBlock, Entry, Feature, Forecast, Photo, Plot, Row, Unit
from habmap.show.public_words import copy_differs_words
from habmap.show.records import Page
from habmap.work.burns import burn_of
from habmap.work.ledger import corrections, effective_entries
from habmap.work.public_copy import public_copy
from habmap.work.public_ground import PublicGround

Record = TypeVar("Record")

#: What strangers may see as it is: readings of whole units, and what the map is drawn on.
_AS_IT_IS: Final = frozenset(
    {
        "place_id", "settings", "grid", "elevation", "canopy", "plots", "sightings", "cover_frames",
        "picture",
    }
)  # fmt: skip


def public_view(store: Store) -> Store:
    """Return the property as strangers may see it; what is asked of it that nobody decided about is refused."""
    return store if isinstance(store, _PublicSnapshot) else _seen_by_strangers(store)


@once
def _seen_by_strangers(store: Store) -> Store:
    return cast("Store", _PublicSnapshot(cast("Store", _PublicStore(store))))


class _PublicSnapshot(Snapshot):
    """What strangers may see, read once."""


def veil_words(store: Store, page: Page) -> tuple[str, ...]:
    """Tell the owner what a copy for the public has otherwise than the account, and what it cannot hide."""
    if page.audience != "public":
        return ()
    shown = public_view(store).units(page.on)
    outlines = {unit.unit_id: unit.geometry for unit in shown}
    return copy_differs_words(
        acres(store, on=page.on).totals,
        page,
        filled=[unit.unit_id for unit in store.units(page.on) if outlines[unit.unit_id] != unit.geometry],
        telling=() if (ground := _public_ground(store)) is None else ground.telling_units(shown),
    )


def _public_ground(store: Store) -> PublicGround | None:
    return None if store.grid is None else PublicGround.of(store.features(), store.grid, key=store.place_id)


class _PublicStore:
    def __init__(self, store: Store) -> None:
        self._store = store
        self._public_units: dict[str, Unit] = {}

    def __getattr__(self, name: str) -> object:
        if name in _AS_IT_IS:
            return getattr(self._store, name)
        raise AttributeError(name)

    @cached_property
    def _ground(self) -> PublicGround | None:
        return _public_ground(self._store)

    @cached_property
    def _entries(self) -> tuple[Entry, ...]:
        if self._ground is None:
            return ()
        now = self.units()
        former = [unit for unit in self.unit_versions() if unit.uuid not in {one.uuid for one in now}]
        return self._ground.entries(effective_entries(self._store.entries()), units=now, former=former)

    def held(self) -> Contents:
        return cast("Store", self)

    def entries(self) -> tuple[Entry, ...]:
        return self._entries

    def burns(self) -> tuple[BurnRecord, ...]:
        records = self._store.burns()
        shown = {entry.entry_id for entry in self._entries}
        return tuple(
            replace(public_copy(found), entry_id=line.root.entry_id)
            for line in corrections(self._store.entries())
            if line.root.entry_id in shown and (found := burn_of(line, records)) is not None
        )

    def boundary(self) -> Boundary | None:
        line = self._store.boundary()
        return (
            line if line is None or self._ground is None else replace(line, geometry=self._ground.filled(line.geometry))
        )

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        return tuple(self._public(unit) for unit in self._store.units(on))

    def unit_versions(self) -> tuple[Unit, ...]:
        return tuple(self._public(unit) for unit in self._store.unit_versions())

    def _public(self, unit: Unit) -> Unit:
        if unit.uuid not in self._public_units:
            ground, versions = self._ground, self._store.unit_versions()
            self._public_units[unit.uuid] = public_copy(unit) if ground is None else ground.unit(unit, versions)
        return self._public_units[unit.uuid]

    def features(self) -> tuple[Feature, ...]:
        return () if self._ground is None else self._ground.features(self._store.features())

    def photos(self) -> tuple[Photo, ...]:
        hidden = {photo.uuid for point in found_points(self._store) if point.is_private for photo in point.photos}
        return tuple(public_copy(photo) for photo in self._store.photos() if photo.uuid not in hidden)

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
