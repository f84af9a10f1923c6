"""What a write to ``place.gpkg`` keeps in order beside its own rows: grid, ends of versions, contents, later tables."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import shapely

from habmap.errors import InputError, PlaceError
from habmap.land.grid import LocalGrid, grid_around
from habmap.place.rows import moment_text
from habmap.place.schema import TABLE_OF, Table
from habmap.place.wkb import WGS84_SRS_ID
from habmap.records import Row, shape_of
from habmap.work.versions import Held, ends


def names(connection: sqlite3.Connection, kind: str) -> frozenset[str]:
    """Return the names of the tables, triggers or other things of a kind that the file holds."""
    found = connection.execute("SELECT name FROM sqlite_master WHERE type = ?", (kind,))
    return frozenset(name for (name,) in found)


def absent(connection: sqlite3.Connection, tables: set[Table]) -> list[Table]:
    """Return the tables that this place is too old to have."""
    later = [table for table in tables if table.is_later]
    return [table for table in later if table.name not in names(connection, "table")]


@dataclass(frozen=True, slots=True)
class Stored:
    """What of a stored row tells its place among those that speak of one thing."""

    uuid: str
    recorded_at: datetime
    supersedes: tuple[str, ...] | None


def stored_like(connection: sqlite3.Connection, table: Table, values: Mapping[str, object]) -> list[Stored]:
    """Return the rows of a table that speak of the same thing as these values."""
    condition = " AND ".join(f"{name} = :{name}" for name in table.one_per or ()) or "1"
    found = connection.execute(
        f"SELECT {table.key} AS uuid, recorded_at, supersedes FROM {table.name} WHERE {condition}", dict(values)
    )
    return [
        Stored(
            row["uuid"],
            datetime.fromisoformat(row["recorded_at"]),
            None if row["supersedes"] is None else tuple(json.loads(row["supersedes"])),
        )
        for row in found
    ]


def stored_grid(connection: sqlite3.Connection) -> LocalGrid | None:
    """Return the grid that the place was given; ``None`` before its first geometry.

    Raises
    ------
    PlaceError
        Its center is no place on earth.
    """
    lat, lon = connection.execute("SELECT grid_lat, grid_lon FROM habmap_meta").fetchone()
    if lat is None and lon is None:
        return None
    if not (isinstance(lat, float) and isinstance(lon, float) and abs(lat) <= 90 and abs(lon) <= 360):
        raise PlaceError(
            "the center of the property's grid is no place on earth",
            where="place.gpkg, table habmap_meta",
            value=f"grid_lat {lat!r}, grid_lon {lon!r}",
            allowed="latitude and longitude in degrees",
            mend="restore the property's folder from a copy: all acres are measured on this grid",
        )
    return LocalGrid(lat=lat, lon=lon)


def fix_grid(connection: sqlite3.Connection, rows: Sequence[Row]) -> None:
    """Center the grid near the rows' geometry, once and for good."""
    geometries = [shape_of(row) for row in rows]
    drawn = [geometry for geometry in geometries if geometry is not None and not geometry.is_empty]
    if not drawn or stored_grid(connection) is not None:
        return
    grid = grid_around(drawn)
    connection.execute("UPDATE habmap_meta SET grid_lat = ?, grid_lon = ?", (grid.lat, grid.lon))


def end_replaced_versions(connection: sqlite3.Connection) -> None:
    """End every version that another one replaces, whatever the order of joining (see `habmap.work.versions`)."""
    stored = connection.execute("SELECT uuid, valid_from, valid_to, replaces FROM units").fetchall()
    versions = [
        Held(
            row["uuid"], row["valid_from"] and date.fromisoformat(row["valid_from"]), tuple(json.loads(row["replaces"]))
        )
        for row in stored
    ]
    for version in versions:
        if version.replaces and version.valid_from is None:
            raise InputError(
                "a unit version that replaces another does not say from which day",
                where=f"units, row {version.uuid}",
                mend="give it a first day",
            )
    known = ends(versions)
    for row in stored:
        end = known[row["uuid"]]
        if end is not None and end.isoformat() != row["valid_to"]:
            connection.execute("UPDATE units SET valid_to = ? WHERE uuid = ?", (end.isoformat(), row["uuid"]))


def note_contents(connection: sqlite3.Connection, rows: Sequence[Row]) -> None:
    """Keep bounds and time of the last change of each table touched, which other programs read."""
    for kind, table in TABLE_OF.items():
        own = [row for row in rows if isinstance(row, kind)]
        if not own:
            continue
        changed = moment_text(max(row.recorded_at for row in own))
        # GeoPackage wants milliseconds, the log keeps microseconds.
        connection.execute(
            "UPDATE gpkg_contents SET last_change = max(last_change, ?) WHERE table_name = ?",
            (f"{changed[:23]}Z", table.name),
        )
        drawn = [shape for shape in map(shape_of, own) if shape is not None and not shape.is_empty]
        if drawn:
            min_x, min_y, max_x, max_y = (float(edge) for edge in shapely.total_bounds(drawn))
            connection.execute(
                "UPDATE gpkg_contents SET srs_id = :srs, "
                "min_x = min(ifnull(min_x, :min_x), :min_x), min_y = min(ifnull(min_y, :min_y), :min_y), "
                "max_x = max(ifnull(max_x, :max_x), :max_x), max_y = max(ifnull(max_y, :max_y), :max_y) "
                "WHERE table_name = :table",
                {
                    "min_x": min_x,
                    "min_y": min_y,
                    "max_x": max_x,
                    "max_y": max_y,
                    "srs": WGS84_SRS_ID,
                    "table": table.name,
                },
            )
