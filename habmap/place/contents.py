"""What the file of a property holds, asked for by kind of record: the same answers wherever the rows come from."""

from __future__ import annotations

import sqlite3
from abc import abstractmethod
from collections.abc import Callable, Iterable
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any, Final, Protocol, TypeVar

from habmap.errors import PlaceError
from habmap.land.grid import LocalGrid
from habmap.place.bookkeeping import stored_grid
from habmap.place.connection import reading, words_for
from habmap.place.pictures import read_picture
from habmap.place.reading import beside_grid, decoded, select
from habmap.place.schema import STORE_FILE, TABLES
from habmap.place.settings import Settings
from habmap.place.source_paths import with_full_path
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
from habmap.work.succession import counting_features, counting_plots, in_order, newest, newest_photos

Record = TypeVar("Record")
Found = TypeVar("Found")

#: SQLite's errors that no single table is to blame for.
_OF_THE_FILE: Final = ("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_INTERRUPT", "SQLITE_CANTOPEN", "SQLITE_NOTADB")


class Contents(Protocol):
    """What a property holds, and what of it counts, whatever keeps the rows.

    All geometry is WGS 84 lon/lat; the grid turns it into meters.
    """

    @property
    @abstractmethod
    def place_id(self) -> str:
        """UUID of the place; copies of one place share it."""

    @property
    @abstractmethod
    def settings(self) -> Settings:
        """What ``habmap.toml`` says, defaults filled in."""

    @property
    @abstractmethod
    def grid(self) -> LocalGrid | None:
        """The stored equal-area grid; ``None`` until the first geometry is loaded."""

    @abstractmethod
    def rows(self) -> tuple[Row, ...]:
        """Return every row ever written, of every kind, as stored."""

    @abstractmethod
    def picture(self, name: str) -> bytes | None:
        """Return a photo's own small picture (JPEG); ``None`` where the file is gone."""

    @abstractmethod
    def last_recorded(self) -> datetime | None:
        """Return the latest moment at which any row was written, by the clock of the machine that wrote it."""

    @abstractmethod
    def all_of(self, record: type[Record]) -> tuple[Record, ...]:
        """Return every row of a kind as written, oldest ``recorded_at`` first, rows of one moment by id."""

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        """Return the unit versions that hold on a day (``None``: the current ones), by ``unit_id``; no retired ones."""

        def holds(unit: Unit) -> bool:
            if on is None:
                return unit.valid_to is None
            return (unit.valid_from or date.min) <= on and (unit.valid_to is None or on < unit.valid_to)

        found = [unit for unit in self.all_of(Unit) if holds(unit) and not unit.is_retired]
        return tuple(sorted(found, key=lambda unit: unit.unit_id))

    def unit_versions(self) -> tuple[Unit, ...]:
        """Return every version of every unit, oldest first."""
        return self.all_of(Unit)

    def features(self) -> tuple[Feature, ...]:
        """Return the features that count, corrected ones as they are now, oldest first."""
        return counting_features(self.all_of(Feature))

    def boundary(self) -> Boundary | None:
        """Return the boundary that counts."""
        return newest(self.all_of(Boundary))

    def entries(self) -> tuple[Entry, ...]:
        """Return every row of the log as written, oldest ``recorded_at`` first, rows of one moment by id."""
        return self.all_of(Entry)

    def plots(self) -> tuple[Plot, ...]:
        """Return the density plots that count, each as last told, oldest first."""
        return counting_plots(self.all_of(Plot))

    def plot_rows(self) -> tuple[Plot, ...]:
        """Return every row of every plot as written, corrections and withdrawals too, oldest first."""
        return self.all_of(Plot)

    def elevation(self) -> ElevationSource | None:
        """Return the elevation source that counts, its path made absolute."""
        return newest(self.all_of(ElevationSource))

    def canopy(self) -> CanopySource | None:
        """Return the source of canopy heights that counts, its path made absolute."""
        return newest(self.all_of(CanopySource))

    def forecasts(self) -> tuple[Forecast, ...]:
        """Return all forecasts, each as it was loaded, the newest first."""
        return tuple(reversed(in_order(self.all_of(Forecast))))

    def burns(self) -> tuple[BurnRecord, ...]:
        """Return what was observed at burns, oldest first."""
        return self.all_of(BurnRecord)

    def drawn_blocks(self) -> tuple[DrawnBlock, ...]:
        """Return all burn blocks drawn and named, of one name the one that counts last."""
        return in_order(self.all_of(DrawnBlock))

    def photos(self) -> tuple[Photo, ...]:
        """Return the photos in the order they were taken; of rows of one photo the one that counts."""
        return newest_photos(self.all_of(Photo))

    def sightings(self) -> tuple[Sighting, ...]:
        """Return all sightings, oldest first."""
        return self.all_of(Sighting)

    def cover_frames(self) -> tuple[CoverFrame, ...]:
        """Return all frames read for cover, oldest first."""
        return self.all_of(CoverFrame)


class PlaceContents(Contents):
    """What ``place.gpkg`` holds at one moment, read in one go; a table is made into records when it is asked for.

    Parameters
    ----------
    folder
        The place folder.
    settings, place_id
        What its ``habmap.toml`` says; its UUID.
    busy_timeout_s
        How long to wait for another process that is writing [s].

    Notes
    -----
    A table that cannot be read stops nobody who does not ask for it: what is wrong with it is said then.
    """

    def __init__(self, folder: Path, *, settings: Settings, place_id: str, busy_timeout_s: float) -> None:
        self._settings = settings
        self._place_id = place_id
        self._folder = folder
        self._stored: dict[type[Any], tuple[Any, ...]] = {}
        self._found: dict[type[Any], list[dict[str, Any]] | Exception] = {}
        with reading(folder / STORE_FILE, busy_timeout_s) as connection:
            connection.execute("BEGIN")  # one moment for all tables, whoever writes meanwhile
            self._grid = _or_fault(lambda: stored_grid(connection))
            for table in TABLES:
                self._found[table.record] = _or_fault(partial(select, connection, table, table.oldest_first, {}))

    @property
    def settings(self) -> Settings:
        """What ``habmap.toml`` said when it was read."""
        return self._settings

    @property
    def place_id(self) -> str:
        """UUID of the place."""
        return self._place_id

    @property
    def grid(self) -> LocalGrid | None:
        """The stored equal-area grid; ``None`` until the first geometry is loaded."""
        return self._or_said(self._grid)

    def all_of(self, record: type[Record]) -> tuple[Record, ...]:
        """Return every row of a kind, oldest first; shapes lie beside the grid, paths are absolute."""
        return placed(self._as_stored(record), grid=self.grid, folder=self._folder)

    def rows(self) -> tuple[Row, ...]:
        """Return every row of every table as stored, oldest first within a table; paths stay as written."""
        return tuple(row for table in TABLES for row in self._as_stored(table.record))

    def picture(self, name: str) -> bytes | None:
        """Return a photo's own small picture (JPEG); ``None`` where the file is gone."""
        return read_picture(self._folder, name)

    def last_recorded(self) -> datetime | None:
        """Return the latest moment at which any row was written, by the clock of the machine that wrote it."""
        moments = [row.recorded_at for rows in self._stored.values() for row in rows]
        for found in self._found.values():  # not made into records for this: text order is time order
            texts = [row["recorded_at"] for row in self._or_said(found)]
            moments += [datetime.fromisoformat(max(texts))] if texts else []
        return max(moments, default=None)

    def _as_stored(self, record: type[Record]) -> tuple[Record, ...]:
        if record not in self._stored:
            self._stored[record] = decoded(self._or_said(self._found[record]), record)
            del self._found[record]
        return self._stored[record]

    def _or_said(self, found: Found | Exception) -> Found:
        if not isinstance(found, Exception):
            return found
        with words_for(self._folder / STORE_FILE):
            raise found


def placed(rows: Iterable[Record], *, grid: LocalGrid | None, folder: Path) -> tuple[Record, ...]:
    """Return rows as they count at a place: longitudes near its grid's center, paths of rasters absolute."""
    return tuple(with_full_path(beside_grid(row, grid), folder) for row in rows)


def _or_fault(read: Callable[[], Found]) -> Found | Exception:
    """Return what is read, or why it cannot be; where the file itself is not to be had, say so at once."""
    try:
        return read()
    except PlaceError as error:
        return error
    except sqlite3.Error as error:
        if (getattr(error, "sqlite_errorname", None) or "").startswith(_OF_THE_FILE):
            raise
        return error
