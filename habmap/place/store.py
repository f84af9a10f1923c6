"""The place's own file, ``place.gpkg``, read and written by plain SQLite alone.

Every write is one transaction with ``synchronous=EXTRA``: after a kill or a full disk the file holds all of
it or none. No connection outlives a call, so that two processes, or a forked one, never share one.
"""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, closing
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Self, TypeVar

from habmap.errors import PlaceError
from habmap.land.grid import LocalGrid
from habmap.place.bookkeeping import stored_grid
from habmap.place.connection import connect, reading, words_for, writing
from habmap.place.contents import Contents, PlaceContents, placed
from habmap.place.layout import file_faults, make_empty, place_id_of
from habmap.place.pictures import read_picture
from habmap.place.reading import decoded, select
from habmap.place.schema import STORE_FILE, TABLE_OF
from habmap.place.settings import SETTINGS_FILE, Settings
from habmap.place.settings_reading import read_settings
from habmap.place.template import settings_text
from habmap.place.writers import write_whole
from habmap.place.writing import insert, insert_with_pictures, prepared
from habmap.records import Row

Record = TypeVar("Record")

#: How long a command waits for another one that is writing [s].
BUSY_TIMEOUT_S = 10.0
#: Folders that a place has beside its two files.
PLACE_FOLDERS = ("tracks", "photos", "out")


class GeoPackageStore(Contents):
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
        with PlaceError(
            "the folder cannot be written", where=str(folder), mend="choose a folder of your own"
        ).instead_of(OSError):
            for directory in (folder, *(folder / child for child in PLACE_FOLDERS)):
                directory.mkdir(parents=True, exist_ok=True)
        write_whole(settings_path, lambda path: path.write_text(text, encoding="utf-8"), overwrite=False, is_own=True)
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

    def all_of(self, record: type[Record]) -> tuple[Record, ...]:
        """Return every row of a kind, oldest first; shapes lie beside the grid, paths are absolute."""
        table = TABLE_OF[record]
        with self._reading() as connection:
            found = select(connection, table, table.oldest_first, {})
            grid = stored_grid(connection)
        return placed(decoded(found, record), grid=grid, folder=self._folder)

    def held(self) -> PlaceContents:
        """Return what the place holds now, read in one go; what is written later does not show in it."""
        return PlaceContents(
            self._folder, settings=self._settings, place_id=self._place_id, busy_timeout_s=self._busy_timeout_s
        )

    def picture(self, name: str) -> bytes | None:
        """Return a photo's own small picture (JPEG); ``None`` where the file is gone."""
        return read_picture(self._folder, name)

    def rows(self) -> tuple[Row, ...]:
        """Return every row of every table as stored, oldest first within a table; paths stay as written."""
        return self.held().rows()

    def last_recorded(self) -> datetime | None:
        """Return the latest moment at which any row was written, by the clock of the machine that wrote it."""
        return self.held().last_recorded()

    # --- writing -------------------------------------------------------------------------------------------

    def append(self, rows: Sequence[Row], *, is_copied: bool = False) -> None:
        """Write all rows in one transaction, or none; they are in the file when this returns.

        A row of a kind of which one counts supersedes those that the file holds, unless it says itself which ones or
        comes as it is from another copy of the place (``is_copied``).

        The first geometry ever written fixes the grid, its center the middle of the bounds of all geometry
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

    def schema_version(self) -> int:
        """Return the version of the file's layout; a write brings an older one up to date."""
        with self._reading() as connection:
            return int(connection.execute("SELECT schema_version FROM habmap_meta").fetchone()[0])

    # --- inner helpers -------------------------------------------------------------------------------------

    def _reading(self) -> AbstractContextManager[sqlite3.Connection]:
        return reading(self.path, self._busy_timeout_s)
