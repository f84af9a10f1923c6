"""Where a row of a table stands: in the unit that it names, or in the one around its longitude and latitude."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import shapely
from shapely import Point

from habmap.errors import printable
from habmap.land.meridian import middle_lon, near
from habmap.place.load.cells import Cells
from habmap.records import Unit


def known_units_words(unit_ids: Iterable[str]) -> str:
    """Return the units that a row may name, for a message."""
    return printable(", ".join(sorted(unit_ids)), longest=400) or "none: no units are loaded yet"


def position(
    cells: Cells, values: Mapping[str, Any], units: Sequence[Unit], *, what: str
) -> tuple[str | None, Point | None]:
    """Return a row's unit and its spot (lon/lat, WGS 84 [°]), after adding to the cells' faults what is wrong.

    Parameters
    ----------
    values
        The row's ``unit_id``, ``lon`` and ``lat`` as read.
    units
        As drawn now.
    what
        What stands there, for messages (``plot``).
    """
    lon, lat = values["lon"], values["lat"]
    point = Point(lon, lat) if lon is not None and lat is not None else None
    named = values["unit_id"]
    if named is not None:
        unit_ids = {unit.unit_id for unit in units}
        if named not in unit_ids:
            cells.fault("unknown unit", "unit_id", value=named, allowed=known_units_words(unit_ids))
        return named, point
    if point is None:
        cells.fault(f"the {what} has no place", "unit_id", value="blank", allowed="a unit_id, or lon and lat")
        return None, None
    around = [unit.unit_id for unit in units if shapely.covers(unit.geometry, near(point, middle_lon(unit.geometry)))]
    if not around:
        cells.fault(
            f"the {what} lies outside every unit",
            "lon",
            value=f"{lon}, {lat}",
            allowed="longitude and latitude inside a unit",
            mend="check the sign of the longitude, or name the unit it stands for",
        )
        return None, point
    return around[0], point
