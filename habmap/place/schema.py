"""The tables of ``place.gpkg``: what each holds, in which columns, and what of it may change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

STORE_FILE: Final = "place.gpkg"
#: Raised when a table or column changes its meaning; a file with a higher number is left alone. A column or table more
#: does not raise it: an older habmap reads such a file and does not write it (see `habmap.place.upkeep`).
#: 2: a void may name a correction, and rows say which ones they supersede.
SCHEMA_VERSION: Final = 2


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its name, what it holds, its geometry type (``None``: no geometry) and its columns.

    A column that older places lack stands at the end, with a default where it may not be NULL; the first write adds it.
    """

    name: str
    holds: str
    geometry_type: str | None
    columns: tuple[tuple[str, str], ...]
    #: Columns that an update may touch (all others, and every deletion, are refused).
    changeable: tuple[str, ...] = ()
    #: Whether older places lack it: the first write makes it, until then it reads as empty.
    is_later: bool = False
    #: Columns that tell what a row speaks of: of rows that agree in them one counts, and a new one supersedes those it
    #: is written in sight of (``()``: all rows of the table; ``None``: rows stand beside each other).
    one_per: tuple[str, ...] | None = None

    @property
    def key(self) -> str:
        """Name of the column that holds the row's UUID."""
        return self.columns[0][0]

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the columns but ``fid`` and ``geom``."""
        return tuple(name for name, _ in self.columns)


_ID: Final = "TEXT NOT NULL UNIQUE"
#: Ids of the rows that a row was written in sight of and stands in place of, a JSON list; NULL: version 1 wrote it.
_SUPERSEDES: Final = ("supersedes", "TEXT")

BOUNDARY: Final = Table(
    "boundary",
    "outer line of the property; the newest counts",
    "MULTIPOLYGON",
    (("uuid", _ID), ("recorded_at", "TEXT NOT NULL"), _SUPERSEDES),
    one_per=(),
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
        ("is_sure", "BOOLEAN NOT NULL DEFAULT 0"),
        _SUPERSEDES,
    ),
)
PLOTS: Final = Table(
    "plots",
    "density plots and quarter points; of the rows of one plot_id one counts, unless it withdraws the plot",
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
        ("is_void", "BOOLEAN NOT NULL DEFAULT 0"),
        ("why", "TEXT"),
        _SUPERSEDES,
    ),
    is_later=True,
    one_per=("plot_id",),
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
        _SUPERSEDES,
    ),
    one_per=(),
)
CANOPY: Final = Table(
    "canopy",
    "where the raster of canopy heights is; the newest counts",
    None,
    ELEVATION.columns,
    is_later=True,
    one_per=(),
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
        _SUPERSEDES,
    ),
    is_later=True,
    one_per=(),
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
    (("uuid", _ID), ("name", "TEXT NOT NULL"), ("recorded_at", "TEXT NOT NULL"), _SUPERSEDES),
    is_later=True,
    one_per=("name",),
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
        _SUPERSEDES,
    ),
    is_later=True,
    one_per=("sha256",),
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
