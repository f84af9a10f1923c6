"""The statements that make ``place.gpkg``: an OGC GeoPackage whose log nobody can rewrite.

No R-tree is made: its triggers need functions that plain SQLite lacks, and a property is small.

References
----------
OGC GeoPackage Encoding Standard 1.3 (OGC 12-128r17): application id and version in clause 1.1.1,
``gpkg_spatial_ref_sys`` in 1.1.2, ``gpkg_contents`` in 1.1.3, ``gpkg_geometry_columns`` in 2.1.5, feature
tables in 2.1.6, attributes in 2.3.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from typing import Final

from habmap.place.schema import TABLES, Table

APPLICATION_ID: Final = 0x47504B47  # "GPKG"
USER_VERSION: Final = 10300  # GeoPackage 1.3.0
#: What the guard against replaced rows says; the store turns it into an error of its own.
ALREADY_THERE: Final = "a row with this id is already there"

_WGS84_WKT: Final = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],'
    'UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],'
    'AUTHORITY["EPSG","4326"]]'
)
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
"""

META_GUARD_NAME: Final = "habmap_meta_grid_is_fixed"
#: Keeps the grid and the identity of a place as they were first written.
META_GUARD: Final = f"""CREATE TRIGGER {META_GUARD_NAME} BEFORE UPDATE ON habmap_meta
WHEN OLD.place_id IS NOT NEW.place_id
  OR (OLD.grid_lat IS NOT NULL AND (OLD.grid_lat IS NOT NEW.grid_lat OR OLD.grid_lon IS NOT NEW.grid_lon))
BEGIN SELECT RAISE(ABORT, 'the grid and the place id never change'); END"""

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


def creation_statements() -> list[tuple[str, tuple[object, ...]]]:
    """Return the statements, with their values, that make an empty place; all belong in one transaction."""
    statements: list[tuple[str, tuple[object, ...]]] = []
    statements += [(text, ()) for text in (*_split(_STANDARD_DDL), META_GUARD)]
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
                "identity, schema version and grid centre of the place",  # codespell:ignore centre
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


def guard_statements(table: Table, columns: Collection[str]) -> list[str]:
    """Return the triggers that keep rows of a table, where it has these columns, from being changed or taken away."""
    guarded = ["fid", *([] if table.geometry_type is None else ["geom"]), *table.column_names]
    guarded = [name for name in guarded if name not in table.changeable and name in {"fid", "geom", *columns}]
    refusal = f"{table.name}: rows are never changed or deleted"
    return [
        f"CREATE TRIGGER {table.name}_no_update BEFORE UPDATE OF {', '.join(guarded)} ON {table.name} "
        f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END",
        f"CREATE TRIGGER {table.name}_no_delete BEFORE DELETE ON {table.name} "
        f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END",
        # INSERT OR REPLACE would take the old row away without the deletion trigger noticing.
        f"CREATE TRIGGER {table.name}_no_replace BEFORE INSERT ON {table.name} "
        f"WHEN EXISTS (SELECT 1 FROM {table.name} WHERE {table.key} = NEW.{table.key} OR fid = NEW.fid) "
        f"BEGIN SELECT RAISE(ABORT, '{ALREADY_THERE}'); END",
    ]


def _table_ddl(table: Table) -> list[str]:
    geom = "" if table.geometry_type is None else f", geom {table.geometry_type}"
    columns = ", ".join(f"{name} {kind}" for name, kind in table.columns)
    return [
        f"CREATE TABLE {table.name} (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL{geom}, {columns})",
        *guard_statements(table, table.column_names),
    ]


def _split(script: str) -> list[str]:
    """Cut a script into statements where one is whole (a trigger holds semicolons of its own)."""
    statements, current = [], ""
    for line in script.strip().splitlines():
        current += line + "\n"
        if sqlite3.complete_statement(current):
            statements.append(current.strip())
            current = ""
    return statements
