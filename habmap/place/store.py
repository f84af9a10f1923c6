"""The place's own file, ``place.gpkg``, read and written by plain SQLite alone.

Every write is one transaction with ``synchronous=EXTRA``: after a kill or a full disk the file holds all of
it or none. No connection outlives a call, so that two processes, or a forked one, never share one.
"""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager, closing
from datetime import date, datetime
from itertools import chain
from pathlib import Path
from typing import Self, TypeVar

from habmap.errors import PlaceError
from habmap.land.grid import LocalGrid
from habmap.place.bookkeeping import names, stored_grid
from habmap.place.connection import connect, reading, words_for, writing
from habmap.place.layout import file_faults, make_empty, place_id_of
from habmap.place.pictures import read_picture
from habmap.place.reading import beside_grid, decoded, select
from habmap.place.schema import STORE_FILE, TABLE_OF, TABLES
from habmap.place.settings import SETTINGS_FILE, Settings, read_settings
from habmap.place.source_paths import with_full_path
from habmap.place.template import settings_text
from habmap.place.writing import insert, insert_with_pictures, prepared
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
from habmap.work.features import counting_features
from habmap.work.succession import counting_plots, in_order, newest, newest_photos

Record = TypeVar("Record")

#: How long a command waits for another one that is writing [s].
BUSY_TIMEOUT_S = 10.0
#: Folders that a place has beside its two files.
PLACE_FOLDERS = ("tracks", "photos", "out")


class GeoPackageStore:
    """A place folder, opened. Implements :class:`habmap.jobs.ports.Store`.

    Parameters
    ----------
    folder
        The place folder.
    settings
        What its ``habmap.toml`` says.
    place_id
        UUID of the place.
    busy_timeout_s
        How long to wait for another process that is writing [s].
    """

    def __init__(
        self, folder: Path, *, settings: Settings, place_id: str, busy_timeout_s: float = BUSY_TIMEOUT_S
    ) -> None:
        self._folder = folder
        self._settings = settings
        self._place_id = place_id
        self._busy_timeout_s = busy_timeout_s

    @classmethod
    def open(cls, folder: Path, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Self:
        """Open an existing place folder; nothing is written but the undoing of an interrupted save.

        Raises
        ------
        PlaceError
            The folder is no place, its file is damaged, or a newer habmap made it.
        InputError
            ``habmap.toml`` has faults.
        """
        settings = read_settings(folder)
        path = folder / STORE_FILE
        if not path.is_file():
            raise PlaceError(
                "the property's file is missing",
                where=str(path),
                mend="restore it from a copy of the property's folder",
            )
        with reading(path, busy_timeout_s) as connection:
            place_id = place_id_of(connection, path)
        return cls(folder, settings=settings, place_id=place_id, busy_timeout_s=busy_timeout_s)

    @classmethod
    def create(
        cls,
        folder: Path,
        name: str,
        *,
        timezone: str | None = None,
        place_id: str | None = None,
        busy_timeout_s: float = BUSY_TIMEOUT_S,
    ) -> Self:
        """Make an empty place in a folder that is new or empty of place files.

        Raises
        ------
        PlaceError
            There is a place already, or the folder cannot be written.
        InputError
            The time zone is unknown.
        """
        path, settings_path = folder / STORE_FILE, folder / SETTINGS_FILE
        for existing in (path, settings_path):
            if existing.exists():
                raise PlaceError(
                    "there is a property here already",
                    where=str(existing),
                    mend="choose another folder; nothing was changed",
                )
        text = settings_text(name, timezone=timezone)
        try:
            for directory in (folder, *(folder / child for child in PLACE_FOLDERS)):
                directory.mkdir(parents=True, exist_ok=True)
            settings_path.write_text(text, encoding="utf-8")
        except OSError as error:
            raise PlaceError(
                "the folder cannot be written",
                where=str(folder),
                value=error.strerror,
                mend="choose a folder of your own",
            ) from error
        identity = place_id or str(uuid.uuid4())
        with words_for(path), closing(connect(path, busy_timeout_s, mode="rwc")) as connection:
            make_empty(connection, identity)
        return cls(folder, settings=read_settings(folder), place_id=identity, busy_timeout_s=busy_timeout_s)

    # --- what a place is -----------------------------------------------------------------------------------

    @property
    def folder(self) -> Path:
        """The place folder."""
        return self._folder

    @property
    def path(self) -> Path:
        """The place's file."""
        return self._folder / STORE_FILE

    @property
    def place_id(self) -> str:
        """UUID of the place; copies of one place share it."""
        return self._place_id

    @property
    def settings(self) -> Settings:
        """What ``habmap.toml`` says, defaults filled in."""
        return self._settings

    @property
    def grid(self) -> LocalGrid | None:
        """The stored equal-area grid; ``None`` until the first geometry is loaded."""
        with self._reading() as connection:
            return stored_grid(connection)

    # --- reading -------------------------------------------------------------------------------------------

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        """Return the unit versions that hold on a day (``None``: the current ones), by ``unit_id``."""
        if on is None:
            condition, values = "valid_to IS NULL", {}
        else:
            condition = "(valid_from IS NULL OR valid_from <= :on) AND (valid_to IS NULL OR valid_to > :on)"
            values = {"on": on.isoformat()}
        found = self._read(Unit, f"WHERE {condition} ORDER BY unit_id, recorded_at, uuid", values)
        return tuple(unit for unit in found if not unit.is_retired)

    def unit_versions(self) -> tuple[Unit, ...]:
        """Return every version of every unit, oldest first."""
        return self._read(Unit, "ORDER BY recorded_at, uuid")

    def features(self) -> tuple[Feature, ...]:
        """Return the features that count, corrected ones as they are now, oldest first."""
        return counting_features(self._read(Feature, "ORDER BY recorded_at, uuid"))

    def boundary(self) -> Boundary | None:
        """Return the boundary that counts."""
        return newest(self._read(Boundary))

    def entries(self) -> tuple[Entry, ...]:
        """Return every row of the log as written, oldest ``recorded_at`` first, rows of one moment by id."""
        return self._read(Entry, "ORDER BY recorded_at, entry_id")

    def entries_on(self, day: date) -> tuple[Entry, ...]:
        """Return the rows of the log dated on a day, and all that correct them or that they correct, oldest first."""
        return self._read(
            Entry,
            "WHERE entry_id IN (WITH RECURSIVE related(id) AS ("
            "SELECT entry_id FROM entries WHERE date = :day "
            "UNION SELECT entry_id FROM entries JOIN related ON target = id "
            "UNION SELECT target FROM entries JOIN related ON entry_id = id WHERE target IS NOT NULL"
            ") SELECT id FROM related) ORDER BY recorded_at, entry_id",
            {"day": day.isoformat()},
        )

    def plots(self) -> tuple[Plot, ...]:
        """Return the density plots that count, each as last told, oldest first."""
        return counting_plots(self.plot_rows())

    def plot_rows(self) -> tuple[Plot, ...]:
        """Return every row of every plot as written, corrections and withdrawals too, oldest first."""
        return self._read(Plot, "ORDER BY recorded_at, uuid")

    def elevation(self) -> ElevationSource | None:
        """Return the elevation source that counts, its path made absolute."""
        source = newest(self._read(ElevationSource))
        return source and with_full_path(source, self._folder)

    def canopy(self) -> CanopySource | None:
        """Return the source of canopy heights that counts, its path made absolute."""
        source = newest(self._read(CanopySource))
        return source and with_full_path(source, self._folder)

    def forecasts(self) -> tuple[Forecast, ...]:
        """Return all forecasts, each as it was loaded, the newest first."""
        return tuple(reversed(in_order(self._read(Forecast))))

    def burns(self) -> tuple[BurnRecord, ...]:
        """Return what was observed at burns, oldest first."""
        return self._read(BurnRecord, "ORDER BY recorded_at, uuid")

    def drawn_blocks(self) -> tuple[DrawnBlock, ...]:
        """Return all burn blocks drawn and named, of one name the one that counts last."""
        return in_order(self._read(DrawnBlock))

    def photos(self) -> tuple[Photo, ...]:
        """Return the photos in the order they were taken; of rows of one photo the one that counts."""
        return newest_photos(self._read(Photo))

    def picture(self, name: str) -> bytes | None:
        """Return a photo's own small picture (JPEG); ``None`` where the file is gone."""
        return read_picture(self._folder, name)

    def sightings(self) -> tuple[Sighting, ...]:
        """Return all sightings, oldest first."""
        return self._read(Sighting, "ORDER BY recorded_at, uuid")

    def cover_frames(self) -> tuple[CoverFrame, ...]:
        """Return all frames read for cover, oldest first."""
        return self._read(CoverFrame, "ORDER BY recorded_at, uuid")

    def rows(self) -> tuple[Row, ...]:
        """Return every row of every table as stored, oldest first within a table; paths stay as written."""
        with self._reading() as connection:
            tables = [
                decoded(select(connection, table, f"ORDER BY recorded_at, {table.key}", {}), table.record)
                for table in TABLES
            ]
        return tuple(row for table_rows in tables for row in table_rows)

    def last_recorded(self) -> datetime | None:
        """Return the latest moment at which any row was written, by the clock of the machine that wrote it."""
        with self._reading() as connection:
            there = names(connection, "table")
            found = [
                connection.execute(f"SELECT max(recorded_at) FROM {table.name}").fetchone()[0]
                for table in TABLES
                if table.name in there
            ]
        moments = [datetime.fromisoformat(text) for text in found if text is not None]
        return max(moments, default=None)

    # --- writing -------------------------------------------------------------------------------------------

    def append(self, rows: Sequence[Row], *, is_copied: bool = False) -> None:
        """Write all rows in one transaction, or none; they are in the file when this returns.

        A row of a kind of which one counts supersedes those that the file holds, unless it says itself which ones or
        comes as it is from another copy of the place (``is_copied``).

        The first geometry ever written fixes the grid, its centre the middle of the bounds of all geometry
        given. A unit row that ``replaces`` others ends them on its own ``valid_from`` (the earliest such day,
        where several do).

        Raises
        ------
        InputError
            A row is already there, or holds what cannot be stored.
        PlaceBusyError
            Another process did not let go in time.
        PlaceError
            The file cannot be written.
        """
        if not rows:
            return
        ready = prepared(rows, self._folder)
        with writing(self.path, self._busy_timeout_s) as connection:
            insert(connection, ready, is_copied=is_copied)

    def append_with_pictures(
        self, rows: Sequence[Row], pictures: Iterable[tuple[str, bytes]], *, is_copied: bool = False
    ) -> None:
        """Write pictures by name into ``photos/``, then the rows; where either fails, neither stays."""
        pictures = iter(pictures)
        first = next(pictures, None)
        if first is None:
            self.append(rows, is_copied=is_copied)
            return
        ready = prepared(rows, self._folder)
        with writing(self.path, self._busy_timeout_s) as connection:
            insert_with_pictures(connection, ready, self._folder, chain([first], pictures), is_copied=is_copied)

    # --- the file itself -----------------------------------------------------------------------------------

    def storage_faults(self) -> list[str]:
        """Return what is wrong with the file itself, in words; an empty list where nothing is."""
        with self._reading() as connection:
            return file_faults(connection)

    # --- inner helpers -------------------------------------------------------------------------------------

    def _reading(self) -> AbstractContextManager[sqlite3.Connection]:
        return reading(self.path, self._busy_timeout_s)

    def _read(
        self,
        record: type[Record],
        rest: str = "",
        values: Mapping[str, str] | None = None,
    ) -> tuple[Record, ...]:
        with self._reading() as connection:
            found = select(connection, TABLE_OF[record], rest, values or {})
            grid = stored_grid(connection)
        return tuple(beside_grid(row, grid) for row in decoded(found, record))
