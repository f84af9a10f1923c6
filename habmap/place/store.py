"""The place's own file, ``place.gpkg``, read and written by plain SQLite alone.

Every write is one transaction with ``synchronous=FULL``: after a kill or a full disk the file holds all of
it or none. No connection outlives a call, so that two processes, or a forked one, never share one.
"""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Any, Self, TypeVar

from habmap.errors import HabmapError, PlaceError
from habmap.land.grid import LocalGrid
from habmap.place import rows as codec
from habmap.place.bookkeeping import absent, end_replaced_versions, fix_grid, names, note_contents, stored_grid
from habmap.place.connection import connect, transaction, words_for
from habmap.place.ddl import APPLICATION_ID, USER_VERSION, creation_statements, table_statements, trigger_names
from habmap.place.pictures import kept_pictures, read_picture
from habmap.place.schema import (
    BOUNDARY,
    BURNS,
    CANOPY,
    COVER_FRAMES,
    DRAWN_BLOCKS,
    ELEVATION,
    ENTRIES,
    FEATURES,
    FORECAST,
    PHOTOS,
    PLOTS,
    SCHEMA_VERSION,
    SIGHTINGS,
    STORE_FILE,
    TABLES,
    UNITS,
    Table,
)
from habmap.place.settings import SETTINGS_FILE, Settings, read_settings
from habmap.place.template import settings_text
from habmap.work.records import (
    Boundary,
    BurnRecord,
    CanopySource,
    DrawnBlock,
    ElevationSource,
    Entry,
    Feature,
    Forecast,
    Photo,
    Plot,
    Row,
    Unit,
    newest_photos,
)
from habmap.work.seen import CoverFrame, Sighting

Record = TypeVar("Record")
RasterSource = TypeVar("RasterSource", ElevationSource, CanopySource)

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
        with words_for(path), closing(connect(path, busy_timeout_s)) as connection:
            application_id = connection.execute("PRAGMA application_id").fetchone()[0]
            tables = names(connection, "table")
            if application_id != APPLICATION_ID or "habmap_meta" not in tables:
                raise PlaceError(
                    "this file is not a property that habmap made",
                    where=str(path),
                    mend="restore it from a copy of the folder, or make a new one with `habmap start`",
                )
            meta = connection.execute("SELECT place_id, schema_version FROM habmap_meta").fetchone()
            if meta is None:
                raise PlaceError("the property's file has no identity", where=str(path), mend="restore it from a copy")
            if not isinstance(meta["schema_version"], int):
                raise PlaceError(
                    "the property's file does not say how it is laid out",
                    where=str(path),
                    value=f"schema {meta['schema_version']}",
                    mend="restore it from a copy",
                )
            if meta["schema_version"] > SCHEMA_VERSION:
                raise PlaceError(
                    "this property was made by a newer habmap",
                    where=str(path),
                    value=f"schema {meta['schema_version']}",
                    allowed=f"schema {SCHEMA_VERSION} or older",
                    mend="update habmap; nothing was changed",
                )
            missing = {table.name for table in TABLES if not table.is_later} - tables
            if missing:
                raise PlaceError(
                    "the property's file lacks tables",
                    where=str(path),
                    value=", ".join(sorted(missing)),
                    mend="restore it from a copy of the property's folder",
                )
        return cls(folder, settings=settings, place_id=meta["place_id"], busy_timeout_s=busy_timeout_s)

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
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {USER_VERSION}")
            with transaction(connection):
                for statement, values in creation_statements():
                    connection.execute(statement, values)
                connection.execute("INSERT INTO habmap_meta VALUES (1, ?, ?, NULL, NULL)", (identity, SCHEMA_VERSION))
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

    # --- rows ----------------------------------------------------------------------------------------------

    def units(self, on: date | None = None) -> tuple[Unit, ...]:
        """Return the unit versions that hold on a day (``None``: the current ones), by ``unit_id``."""
        if on is None:
            condition, values = "valid_to IS NULL", ()
        else:
            condition = "(valid_from IS NULL OR valid_from <= :on) AND (valid_to IS NULL OR valid_to > :on)"
            values = {"on": on.isoformat()}  # type: ignore[assignment]
        found = self._select(UNITS, f"WHERE {condition} ORDER BY unit_id, recorded_at, uuid", values)
        return _decoded(found, codec.to_unit)

    def unit_versions(self) -> tuple[Unit, ...]:
        """Return every version of every unit, oldest first."""
        return _decoded(self._select(UNITS, "ORDER BY recorded_at, uuid"), codec.to_unit)

    def features(self) -> tuple[Feature, ...]:
        """Return all features, oldest first."""
        return _decoded(self._select(FEATURES, "ORDER BY recorded_at, uuid"), codec.to_feature)

    def boundary(self) -> Boundary | None:
        """Return the newest boundary."""
        found = self._select(BOUNDARY, "ORDER BY recorded_at DESC, uuid DESC LIMIT 1")
        return _decoded(found, codec.to_boundary)[0] if found else None

    def entries(self) -> tuple[Entry, ...]:
        """Return every row of the log as written, oldest ``recorded_at`` first, rows of one moment by id."""
        return _decoded(self._select(ENTRIES, "ORDER BY recorded_at, entry_id"), codec.to_entry)

    def entries_on(self, day: date) -> tuple[Entry, ...]:
        """Return the rows of the log dated on a day, and all that correct them or that they correct, oldest first."""
        found = self._select(
            ENTRIES,
            "WHERE entry_id IN (WITH RECURSIVE related(id) AS ("
            "SELECT entry_id FROM entries WHERE date = :day "
            "UNION SELECT entry_id FROM entries JOIN related ON target = id "
            "UNION SELECT target FROM entries JOIN related ON entry_id = id WHERE target IS NOT NULL"
            ") SELECT id FROM related) ORDER BY recorded_at, entry_id",
            {"day": day.isoformat()},
        )
        return _decoded(found, codec.to_entry)

    def plots(self) -> tuple[Plot, ...]:
        """Return all density plots, oldest first."""
        return _decoded(self._select(PLOTS, "ORDER BY recorded_at, uuid"), codec.to_plot)

    def elevation(self) -> ElevationSource | None:
        """Return the newest elevation source, its path made absolute."""
        return self._newest_source(ELEVATION, codec.to_elevation)

    def canopy(self) -> CanopySource | None:
        """Return the newest source of canopy heights, its path made absolute."""
        return self._newest_source(CANOPY, codec.to_canopy)

    def forecasts(self) -> tuple[Forecast, ...]:
        """Return all forecasts, each as it was loaded, the newest first."""
        return _decoded(self._select(FORECAST, "ORDER BY recorded_at DESC, uuid DESC"), codec.to_forecast)

    def burns(self) -> tuple[BurnRecord, ...]:
        """Return what was observed at burns, oldest first."""
        return _decoded(self._select(BURNS, "ORDER BY recorded_at, uuid"), codec.to_burn)

    def drawn_blocks(self) -> tuple[DrawnBlock, ...]:
        """Return all burn blocks drawn and named, oldest first."""
        return _decoded(self._select(DRAWN_BLOCKS, "ORDER BY recorded_at, uuid"), codec.to_drawn_block)

    def photos(self) -> tuple[Photo, ...]:
        """Return the photos in the order they were taken; of rows of one photo the newest."""
        found = _decoded(self._select(PHOTOS, "ORDER BY recorded_at, uuid"), codec.to_photo)
        return newest_photos(found)

    def picture(self, name: str) -> bytes | None:
        """Return a photo's own small picture (JPEG); ``None`` where the file is gone."""
        return read_picture(self._folder, name)

    def append_with_pictures(self, rows: Sequence[Row], pictures: Iterable[tuple[str, bytes]]) -> None:
        """Write pictures by name into ``photos/``, then the rows; where either fails, neither stays.

        Both under one lock: a second writer of the same photos would otherwise take for kept what this one, failing,
        takes away again.
        """
        pictures = iter(pictures)
        first = next(pictures, None)
        if first is None:
            self.append(rows)
            return
        prepared = self._prepared(rows)
        with self._writing() as connection, kept_pictures(self._folder, chain([first], pictures)):
            _insert(connection, prepared)
            connection.execute("COMMIT")

    def sightings(self) -> tuple[Sighting, ...]:
        """Return all sightings, oldest first."""
        return _decoded(self._select(SIGHTINGS, "ORDER BY recorded_at, uuid"), codec.to_sighting)

    def cover_frames(self) -> tuple[CoverFrame, ...]:
        """Return all frames read for cover, oldest first."""
        return _decoded(self._select(COVER_FRAMES, "ORDER BY recorded_at, uuid"), codec.to_cover_frame)

    def rows(self) -> tuple[Row, ...]:
        """Return every row of every table as stored, oldest first within a table; paths stay as written."""
        readers: tuple[tuple[Table, Callable[[dict[str, Any]], Row]], ...] = (
            (BOUNDARY, codec.to_boundary),
            (UNITS, codec.to_unit),
            (FEATURES, codec.to_feature),
            (ENTRIES, codec.to_entry),
            (PLOTS, codec.to_plot),
            (ELEVATION, codec.to_elevation),
            (CANOPY, codec.to_canopy),
            (BURNS, codec.to_burn),
            (DRAWN_BLOCKS, codec.to_drawn_block),
            (FORECAST, codec.to_forecast),
            (SIGHTINGS, codec.to_sighting),
            (COVER_FRAMES, codec.to_cover_frame),
            (PHOTOS, codec.to_photo),
        )
        tables = (_decoded(self._select(table, f"ORDER BY recorded_at, {table.key}"), read) for table, read in readers)
        return tuple(row for table_rows in tables for row in table_rows)

    def append(self, rows: Sequence[Row]) -> None:
        """Write all rows in one transaction, or none.

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
        prepared = self._prepared(rows)
        with self._writing() as connection:
            _insert(connection, prepared)

    def storage_faults(self) -> list[str]:
        """Return what is wrong with the file itself, in words; an empty list where nothing is."""
        with self._reading() as connection:
            faults = [line for (line,) in connection.execute("PRAGMA integrity_check") if line != "ok"]
            missing = sorted(trigger_names(names(connection, "table")) - names(connection, "trigger"))
            version = connection.execute("SELECT schema_version FROM habmap_meta").fetchone()[0]
        if missing:
            faults.append(f"the guards that keep rows from being changed are gone: {', '.join(missing)}")
        if version != SCHEMA_VERSION:
            faults.append(f"the file has schema {version}, this habmap writes schema {SCHEMA_VERSION}")
        return faults

    # --- inner helpers -------------------------------------------------------------------------------------

    def _prepared(self, rows: Sequence[Row]) -> list[tuple[Row, Table, dict[str, Any]]]:
        kept = [self._with_relative_path(row) for row in rows]
        return [(row, codec.TABLE_OF[type(row)], codec.to_values(row)) for row in kept]

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._reading() as connection:
            # Other programs leave a GeoPackage in write-ahead mode, where a copy of the one file may lack rows.
            connection.execute("PRAGMA journal_mode = DELETE")
            with transaction(connection):
                yield connection

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with words_for(self.path), closing(connect(self.path, self._busy_timeout_s)) as connection:
            yield connection

    def _select(self, table: Table, rest: str, values: Any = ()) -> list[dict[str, Any]]:
        with self._reading() as connection:
            if table.is_later and table.name not in names(connection, "table"):
                return []
            found = connection.execute(f"SELECT * FROM {table.name} {rest}", values)
            return [dict(row) for row in found]

    def _newest_source(self, table: Table, decode: Callable[[dict[str, Any]], RasterSource]) -> RasterSource | None:
        found = self._select(table, "ORDER BY recorded_at DESC, uuid DESC LIMIT 1")
        if not found:
            return None
        (source,) = _decoded(found, decode)
        return replace(source, path=str((self._folder / source.path).resolve()))

    def _with_relative_path(self, row: Row) -> Row:
        """Return a raster's source with its path relative to the folder when the file lies in it."""
        if not isinstance(row, ElevationSource | CanopySource) or not Path(row.path).is_absolute():
            return row
        folder, path = self._folder.resolve(), Path(row.path).resolve()
        stored = path.relative_to(folder).as_posix() if path.is_relative_to(folder) else str(path)
        return replace(row, path=stored)


def _decoded(found: Sequence[dict[str, Any]], decode: Callable[[dict[str, Any]], Record]) -> tuple[Record, ...]:
    """Return rows as records; what another program wrote there may not read as one."""
    records = []
    for row in found:
        try:
            records.append(decode(row))
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            if isinstance(error, HabmapError):
                raise
            raise PlaceError(
                "a stored row is damaged",
                where=f"row {row.get('uuid') or row.get('entry_id')}",
                value=error,
                mend="restore the property's folder from a copy",
            ) from error
    return tuple(records)


def _insert(connection: sqlite3.Connection, prepared: Sequence[tuple[Row, Table, dict[str, Any]]]) -> None:
    """Insert rows within a transaction, making the later tables that an older place lacks."""
    rows = [row for row, _, _ in prepared]
    for table in absent(connection, {table for _, table, _ in prepared}):
        for statement, content in table_statements(table):
            connection.execute(statement, content)
    for _, table, values in prepared:
        columns = ", ".join(values)
        marks = ", ".join("?" * len(values))
        connection.execute(f"INSERT INTO {table.name} ({columns}) VALUES ({marks})", tuple(values.values()))
    if any(isinstance(row, Unit) for row in rows):
        end_replaced_versions(connection)
    if rows:
        note_contents(connection, rows)
        fix_grid(connection, rows)
