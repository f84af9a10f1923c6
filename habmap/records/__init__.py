"""What is kept of a property, as plain records; no rule lives here, and nothing here reads a file."""

from habmap.records.kept import KEPT, Kept, Row, key_of, plain_type, shape_field, shape_of, types_of
from habmap.records.rows import (
    Boundary,
    BurnRecord,
    CanopySource,
    DrawnBlock,
    ElevationSource,
    Entry,
    Feature,
    Forecast,
    ForecastHour,
    Look,
    Notice,
    Photo,
    Plot,
    Unit,
)
from habmap.records.seen import CoverFrame, CoverLine, Sighting

__all__ = [
    "KEPT",
    "Boundary",
    "BurnRecord",
    "CanopySource",
    "CoverFrame",
    "CoverLine",
    "DrawnBlock",
    "ElevationSource",
    "Entry",
    "Feature",
    "Forecast",
    "ForecastHour",
    "Kept",
    "Look",
    "Notice",
    "Photo",
    "Plot",
    "Row",
    "Sighting",
    "Unit",
    "key_of",
    "plain_type",
    "shape_field",
    "shape_of",
    "types_of",
]
