"""What a job needs from a place. The GeoPackage store is one such; a shared database could be another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Protocol, TypeVar

from habmap.land.grid import LocalGrid
from habmap.place.settings import Settings
from habmap.records import (
    Boundary,
    BurnRecord,
    CanopySource,
    CoverFrame,
    DrawnBlock,
    ElevationSource,
    Entry,
    Feature,
    Forecast,
    Photo,
    Plot,
    Row,
    Sighting,
    Unit,
)

Record = TypeVar("Record")


class Contents(Protocol):
    """What a property holds. All geometry is WGS 84 lon/lat; the grid turns it into metres."""

    @property
    def place_id(self) -> str:
        """UUID of the place; copies of one place share it."""

    @property
    def settings(self) -> Settings:
        """What ``habmap.toml`` says, defaults filled in."""

    @property
    def grid(self) -> LocalGrid | None:
        """The stored equal-area grid; ``None`` until the first geometry is loaded."""

    def all_of(self, record: type[Record]) -> tuple[Record, ...]:
        """Return every row of a kind as written, oldest ``recorded_at`` first, rows of one moment by id."""

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        """Return the unit versions that hold on a day (``None``: the current ones), by ``unit_id``; no retired ones."""

    def unit_versions(self) -> tuple[Unit, ...]:
        """Return every version of every unit, oldest first."""

    def features(self) -> tuple[Feature, ...]:
        """Return the features that count, corrected ones as they are now."""

    def boundary(self) -> Boundary | None:
        """Return the boundary that counts."""

    def entries(self) -> tuple[Entry, ...]:
        """Return every row of the log as written, voiding and amending rows too, oldest ``recorded_at`` first."""

    def plots(self) -> tuple[Plot, ...]:
        """Return the density plots that count, each as last told, oldest first."""

    def plot_rows(self) -> tuple[Plot, ...]:
        """Return every row of every plot as written, corrections and withdrawals too, oldest first."""

    def elevation(self) -> ElevationSource | None:
        """Return the elevation source that counts, its path made absolute."""

    def canopy(self) -> CanopySource | None:
        """Return the source of canopy heights that counts, its path made absolute."""

    def forecasts(self) -> tuple[Forecast, ...]:
        """Return all forecasts, each as it was loaded, the newest first."""

    def burns(self) -> tuple[BurnRecord, ...]:
        """Return what was observed at burns, oldest first."""

    def drawn_blocks(self) -> tuple[DrawnBlock, ...]:
        """Return all burn blocks drawn and named, of one name the one that counts last."""

    def photos(self) -> tuple[Photo, ...]:
        """Return the photos in the order they were taken; of rows of one photo the one that counts."""

    def picture(self, name: str) -> bytes | None:
        """Return a photo's own small picture (JPEG); ``None`` where the file is gone."""

    def sightings(self) -> tuple[Sighting, ...]:
        """Return all sightings, oldest first."""

    def cover_frames(self) -> tuple[CoverFrame, ...]:
        """Return all frames read for cover, oldest first."""

    def rows(self) -> tuple[Row, ...]:
        """Return every row ever written, of every kind, as stored."""

    def last_recorded(self) -> datetime | None:
        """Return the latest moment at which any row was written, by the clock of the machine that wrote it."""


class Store(Contents, Protocol):
    """A property's rows, to be read and added to."""

    def held(self) -> Contents:
        """Return what the property holds at this moment; later writes need not show in it."""

    def append(self, rows: Sequence[Row], *, is_copied: bool = False) -> None:
        """Write all rows in one transaction, or none; they are there when this returns.

        A row of a kind of which one counts supersedes those that are there, unless it says itself which ones or comes
        as it is from another copy (``is_copied``).

        The first geometry ever written fixes the grid. A unit row that ``replaces`` others sets their ``valid_to``
        to its own ``valid_from``.
        """

    def append_with_pictures(
        self, rows: Sequence[Row], pictures: Iterable[tuple[str, bytes]], *, is_copied: bool = False
    ) -> None:
        """Write pictures by name and then the rows, or neither; a picture that is there already stays as it is."""
