"""What is kept of a property, as plain records; no rule lives here, and nothing here reads a file."""

from habmap.records.difference import Difference, differences, differing, is_same
from habmap.records.facts import (
    LONGEST_TEXT,
    Fact,
    cell_facts,
    facts,
    faults,
    private_fields,
    said_facts,
    value_of,
)
from habmap.records.kept import KEPT, Kept, Row, key_of, plain_type, shape_field, shape_of, types_of
from habmap.records.log import MAX_PERSON_HOURS, BurnRecord, Entry, Look
from habmap.records.observations import CoverFrame, CoverLine, Sighting
from habmap.records.rows import (
    Boundary,
    CanopySource,
    DrawnBlock,
    ElevationSource,
    Feature,
    Photo,
    Plot,
    Unit,
)
from habmap.records.weather import PLAN_KINDS, WIND_HEIGHT_WORDS, WIND_HEIGHTS, Forecast, ForecastHour
from habmap.records.written import Notice
