"""The tables of ``place.gpkg``: an OGC GeoPackage whose log nobody can rewrite.

No R-tree is made: its triggers need functions that plain SQLite lacks, and a property is small.

References
----------
OGC GeoPackage Encoding Standard 1.3 (OGC 12-128r17): application id and version in clause 1.1.1,
``gpkg_spatial_ref_sys`` in 1.1.2, ``gpkg_contents`` in 1.1.3, ``gpkg_geometry_columns`` in 2.1.5, feature
tables in 2.1.6, attributes in 2.3.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

STORE_FILE: Final = "place.gpkg"
#: Raised when a table or column changes its meaning; a file with a higher number is left alone.
SCHEMA_VERSION: Final = 1
APPLICATION_ID: Final = 0x47504B47  # "GPKG"
USER_VERSION: Final = 10300  # GeoPackage 1.3.0

_WGS84_WKT: Final = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],'
    'UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],'
    'AUTHORITY["EPSG","4326"]]'
)


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its name, what it holds, its geometry type (``None``: no geometry) and its columns."""

    name: str
    holds: str
    geometry_type: str | None
    columns: tuple[tuple[str, str], ...]
    #: Columns that an update may touch (all others, and every deletion, are refused).
    changeable: tuple[str, ...] = ()
    #: Whether older places lack it: the first write makes it, until then it reads as empty.
    is_later: bool = False

    @property
    def key(self) -> str:
        """Name of the column that holds the row's UUID."""
        return self.columns[0][0]

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the columns but ``fid`` and ``geom``."""
        return tuple(name for name, _ in self.columns)


_ID: Final = "TEXT NOT NULL UNIQUE"

BOUNDARY: Final = Table(
    "boundary",
    "outer line of the property; the newest counts",
    "MULTIPOLYGON",
    (("uuid", _ID), ("recorded_at", "TEXT NOT NULL")),
)
UNITS: Final = Table(
    "units",
    "versions of the mapped units",
    "MULTIPOLYGON",
    (
        ("uuid", _ID),
        ("unit_id", "TEXT NOT NULL"),
        ("name", "TEXT NOT NULL"),
        ("cover", "TEXT NOT NULL"),
        ("stems_per_acre", "REAL"),
        ("canopy_pct", "REAL"),
        ("target_pct", "REAL"),
        ("leave_stems_per_acre", "REAL"),
        ("planned_acres", "REAL"),
        ("stratum", "TEXT"),
        ("notes", "TEXT"),
        ("acres_sd", "REAL"),
        ("extra", "TEXT NOT NULL"),
        ("valid_from", "DATE"),
        ("valid_to", "DATE"),
        ("replaces", "TEXT NOT NULL"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
    changeable=("valid_to",),
)
FEATURES: Final = Table(
    "features",
    "roads, houses, water, lines and other things on the map",
    "GEOMETRY",
    (
        ("uuid", _ID),
        ("kind", "TEXT NOT NULL"),
        ("name", "TEXT NOT NULL"),
        ("sensitive", "BOOLEAN NOT NULL"),
        ("extra", "TEXT NOT NULL"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
)
ENTRIES: Final = Table(
    "entries",
    "the work log: rows are added, never changed",
    "MULTIPOLYGON",
    (
        ("entry_id", _ID),
        ("recorded_at", "TEXT NOT NULL"),
        ("action", "TEXT NOT NULL"),
        ("target", "TEXT"),
        ("why", "TEXT"),
        ("practice", "TEXT NOT NULL"),
        ("date", "DATE NOT NULL"),
        ("unit_ids", "TEXT NOT NULL"),
        ("killed_pct", "REAL"),
        ("burned_pct", "REAL"),
        ("person_hours", "REAL"),
        ("cost", "REAL"),
        ("reported_acres", "REAL"),
        ("acres_sd", "REAL"),
        ("who", "TEXT"),
        ("note", "TEXT"),
        ("product", "TEXT"),
        ("product_rate", "TEXT"),
        ("look", "TEXT"),
        ("source_id", "TEXT"),
    ),
)
PLOTS: Final = Table(
    "plots",
    "density plots and quarter points",
    "POINT",
    (
        ("uuid", _ID),
        ("plot_id", "TEXT NOT NULL"),
        ("method", "TEXT NOT NULL"),
        ("unit_id", "TEXT"),
        ("plot_acres", "REAL"),
        ("stems", "INTEGER"),
        ("distances_m", "TEXT NOT NULL"),
        ("line_ft", "REAL"),
        ("intercepts_ft", "TEXT NOT NULL"),
        ("crown_ft", "REAL"),
        ("height_ft", "REAL"),
        ("stratum", "TEXT"),
        ("measured_on", "DATE"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
    is_later=True,
)
ELEVATION: Final = Table(
    "elevation",
    "where the elevation raster is; the newest counts",
    None,
    (
        ("uuid", _ID),
        ("path", "TEXT NOT NULL"),
        ("crs_wkt", "TEXT NOT NULL"),
        ("vertical_unit", "TEXT NOT NULL"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
)
CANOPY: Final = Table(
    "canopy",
    "where the raster of canopy heights is; the newest counts",
    None,
    ELEVATION.columns,
    is_later=True,
)
FORECAST: Final = Table(
    "forecast",
    "forecasts as loaded, the hours of each as one JSON list; of those that reach a day the newest counts",
    None,
    (
        ("uuid", _ID),
        ("file_name", "TEXT NOT NULL"),
        ("wind_height", "TEXT"),
        ("hours", "TEXT NOT NULL"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
    is_later=True,
)
BURNS: Final = Table(
    "burns",
    "weather observed at burns, who was told before, and the plans then in force; each belongs to a row of the log",
    None,
    (
        ("uuid", _ID),
        ("entry_id", "TEXT NOT NULL"),
        ("ignition", "TEXT"),
        ("temp_f", "REAL"),
        ("rh_pct", "REAL"),
        ("wind_mph", "REAL"),
        ("wind_from_deg", "REAL"),
        ("gust_mph", "REAL"),
        ("shade_pct", "REAL"),
        ("days_since_rain", "REAL"),
        ("mixing_height_ft", "REAL"),
        ("transport_wind_mph", "REAL"),
        ("weather_elevation_ft", "REAL"),
        ("wind_height", "TEXT"),
        ("plan_kind", "TEXT"),
        ("plans", "TEXT"),
        ("notices", "TEXT NOT NULL"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
    is_later=True,
)
DRAWN_BLOCKS: Final = Table(
    "drawn_blocks",
    "burn blocks drawn and named; the newest of a name counts",
    "MULTIPOLYGON",
    (("uuid", _ID), ("name", "TEXT NOT NULL"), ("recorded_at", "TEXT NOT NULL")),
    is_later=True,
)
PHOTOS: Final = Table(
    "photos",
    "photos of the ground; the pictures lie in photos/, of rows with one sha256 the newest counts",
    "POINT",
    (
        ("uuid", _ID),
        ("file_name", "TEXT NOT NULL"),
        ("sha256", "TEXT NOT NULL"),
        ("picture", "TEXT NOT NULL"),
        ("taken_at", "TEXT NOT NULL"),
        ("taken_on", "DATE NOT NULL"),
        ("direction_deg", "REAL"),
        ("direction_ref", "TEXT"),
        ("error_m", "REAL"),
        ("unit_id", "TEXT"),
        ("is_private", "BOOLEAN NOT NULL"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
    is_later=True,
)
SIGHTINGS: Final = Table(
    "sightings",
    "plants and animals seen, as Darwin Core occurrences",
    "POINT",
    (
        ("uuid", _ID),
        ("occurrence_id", "TEXT"),
        ("event_date", "TEXT NOT NULL"),
        ("seen_from", "DATE NOT NULL"),
        ("seen_to", "DATE NOT NULL"),
        ("scientific_name", "TEXT NOT NULL"),
        ("vernacular_name", "TEXT"),
        ("individual_count", "INTEGER"),
        ("is_present", "BOOLEAN NOT NULL"),
        ("establishment_means", "TEXT"),
        ("uncertainty_m", "REAL"),
        ("recorded_by", "TEXT"),
        ("remarks", "TEXT"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
    is_later=True,
)
COVER_FRAMES: Final = Table(
    "cover_frames",
    "frames read for plant cover, the plants of each as one JSON list",
    "POINT",
    (
        ("uuid", _ID),
        ("reading_id", "TEXT NOT NULL"),
        ("frame", "TEXT NOT NULL"),
        ("unit_id", "TEXT NOT NULL"),
        ("read_on", "DATE NOT NULL"),
        ("canopy_pct", "REAL"),
        ("lines", "TEXT NOT NULL"),
        ("recorded_at", "TEXT NOT NULL"),
    ),
    is_later=True,
)
TABLES: Final = (
    BOUNDARY, UNITS, FEATURES, ENTRIES, PLOTS, ELEVATION, CANOPY, BURNS, DRAWN_BLOCKS, FORECAST, PHOTOS,
    SIGHTINGS, COVER_FRAMES,
)  # fmt: skip

_STANDARD_DDL: Final = """
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT
);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id)
);
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id)
);
CREATE TABLE habmap_meta (
  id INTEGER PRIMARY KEY CHECK (id = 1), place_id TEXT NOT NULL, schema_version INTEGER NOT NULL,
  grid_lat REAL, grid_lon REAL
);
CREATE TRIGGER habmap_meta_grid_is_fixed BEFORE UPDATE ON habmap_meta
WHEN OLD.place_id IS NOT NEW.place_id
  OR (OLD.grid_lat IS NOT NULL AND (OLD.grid_lat IS NOT NEW.grid_lat OR OLD.grid_lon IS NOT NEW.grid_lon))
BEGIN SELECT RAISE(ABORT, 'the grid and the place id never change'); END;
"""

_SPATIAL_REFS: Final = (
    (
        "Undefined cartesian SRS",
        -1,
        "NONE",
        -1,
        "undefined",
        "undefined cartesian coordinate reference system",
    ),
    (
        "Undefined geographic SRS",
        0,
        "NONE",
        0,
        "undefined",
        "undefined geographic coordinate reference system",
    ),
    (
        "WGS 84 geodetic",
        4326,
        "EPSG",
        4326,
        _WGS84_WKT,
        "longitude and latitude in degrees on the WGS 84 spheroid",
    ),
)


#: So that logging a line does not get slower as the log grows.
_INDEX_DDL: Final = (
    "CREATE INDEX entries_by_date ON entries (date)",
    "CREATE INDEX entries_by_target ON entries (target)",
)


def trigger_names(tables: Collection[str]) -> frozenset[str]:
    """Return the names of the triggers that keep rows of these tables from being changed."""
    guarded = [table.name for table in TABLES if table.name in tables]
    guards = {f"{name}_{guard}" for name in guarded for guard in ("no_update", "no_delete", "no_replace")}
    return frozenset(guards | {"habmap_meta_grid_is_fixed"})


def creation_statements() -> list[tuple[str, tuple[object, ...]]]:
    """Return the statements, with their values, that make an empty place; all belong in one transaction."""
    statements: list[tuple[str, tuple[object, ...]]] = []
    statements += [(text, ()) for text in _split(_STANDARD_DDL)]
    statements += [("INSERT INTO gpkg_spatial_ref_sys VALUES (?,?,?,?,?,?)", row) for row in _SPATIAL_REFS]
    for table in TABLES:
        statements += table_statements(table)
    statements += [(text, ()) for text in _INDEX_DDL]
    statements.append(
        (
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description) VALUES (?,?,?,?)",
            (
                "habmap_meta",
                "attributes",
                "habmap_meta",
                "identity, schema version and grid centre of the place",
            ),
        )
    )
    return statements


def table_statements(table: Table) -> list[tuple[str, tuple[object, ...]]]:
    """Return the statements, with their values, that make one table and list it for other programs."""
    statements: list[tuple[str, tuple[object, ...]]] = []
    statements += [(text, ()) for text in _table_ddl(table)]
    srs_id = None if table.geometry_type is None else 4326
    kind = "attributes" if table.geometry_type is None else "features"
    statements.append(
        (
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) VALUES (?,?,?,?,?)",
            (table.name, kind, table.name, table.holds, srs_id),
        )
    )
    if table.geometry_type is not None:
        statements.append(
            (
                "INSERT INTO gpkg_geometry_columns VALUES (?,'geom',?,4326,0,0)",
                (table.name, table.geometry_type),
            )
        )
    return statements


def _table_ddl(table: Table) -> list[str]:
    geom = "" if table.geometry_type is None else f", geom {table.geometry_type}"
    columns = ", ".join(f"{name} {kind}" for name, kind in table.columns)
    guarded = ["fid", *(["geom"] if geom else []), *table.column_names]
    guarded = [name for name in guarded if name not in table.changeable]
    refusal = f"{table.name}: rows are never changed or deleted"
    return [
        f"CREATE TABLE {table.name} (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL{geom}, {columns})",
        f"CREATE TRIGGER {table.name}_no_update BEFORE UPDATE OF {', '.join(guarded)} ON {table.name} "
        f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END",
        f"CREATE TRIGGER {table.name}_no_delete BEFORE DELETE ON {table.name} "
        f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END",
        # INSERT OR REPLACE would take the old row away without the deletion trigger noticing.
        f"CREATE TRIGGER {table.name}_no_replace BEFORE INSERT ON {table.name} "
        f"WHEN EXISTS (SELECT 1 FROM {table.name} WHERE {table.key} = NEW.{table.key} OR fid = NEW.fid) "
        f"BEGIN SELECT RAISE(ABORT, '{ALREADY_THERE}'); END",
    ]


#: What the guard against replaced rows says; the store turns it into an error of its own.
ALREADY_THERE: Final = "a row with this id is already there"


def _split(script: str) -> list[str]:
    """Cut a script into statements where one is whole (a trigger holds semicolons of its own)."""
    import sqlite3

    statements, current = [], ""
    for line in script.strip().splitlines():
        current += line + "\n"
        if sqlite3.complete_statement(current):
            statements.append(current.strip())
            current = ""
    return statements
