"""A store that holds what strangers may see of another: the records carry nothing that is private."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from functools import cached_property
from typing import Final, cast

from habmap.errors import HabmapError
from habmap.place.contents import Contents
from habmap.records import Boundary, BurnRecord, Entry, Feature, Photo, Unit
from habmap.work.burns import burn_of
from habmap.work.ledger import corrections, effective_entries
from habmap.work.photo_pairs import found_points
from habmap.work.public_copy import public_copy
from habmap.work.public_ground import PublicGround

#: What strangers may see as it is: readings of whole units, and what the map is drawn on.
AS_IT_IS: Final = frozenset(
    {"place_id", "settings", "grid", "elevation", "canopy", "plots", "sightings", "cover_frames", "picture"}
)
#: Rows as they were written are the owner's, and each kind has its own answer here; so are a burn day's forecasts and
#: blocks, and corrected plots.
NOTHING: Final = frozenset({"forecasts", "drawn_blocks", "plot_rows", "rows", "all_of"})
REFUSED: Final = frozenset({"append", "append_with_pictures"})


def public_ground(store: Contents) -> PublicGround | None:
    """Return what of a property's ground may be told; ``None`` while it holds no geometry."""
    return None if store.grid is None else PublicGround.of(store.features(), store.grid, key=store.place_id)


class PublicStore:
    """A property as strangers may see it; what is asked of it that nobody decided about is refused."""

    def __init__(self, store: Contents) -> None:
        self._store = store
        self._public_units: dict[str, Unit] = {}

    def __getattr__(self, name: str) -> object:
        if name in AS_IT_IS:
            return getattr(self._store, name)
        if name in NOTHING:
            return lambda *_asked: ()
        if name in REFUSED:
            raise HabmapError(
                "a copy for the public is only read",
                where="the copy for the public",
                mend="write to the property itself",
            )
        raise AttributeError(name)

    @cached_property
    def _ground(self) -> PublicGround | None:
        return public_ground(self._store)

    @cached_property
    def _entries(self) -> tuple[Entry, ...]:
        if self._ground is None:
            return ()
        now = self.units()
        former = [unit for unit in self.unit_versions() if unit.uuid not in {one.uuid for one in now}]
        return self._ground.entries(effective_entries(self._store.entries()), units=now, former=former)

    def held(self) -> Contents:
        return cast("Contents", self)

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
        store = self._store
        points = found_points(
            store.photos(), store.units(None), store.features(), effective_entries(store.entries()), grid=store.grid,
            sigma_m=store.settings.gps.sigma_m,
        )  # fmt: skip
        hidden = {photo.uuid for point in points if point.is_private for photo in point.photos}
        return tuple(public_copy(photo) for photo in store.photos() if photo.uuid not in hidden)

    def last_recorded(self) -> datetime | None:
        return None
