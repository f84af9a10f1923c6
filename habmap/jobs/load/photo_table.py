"""``photos.csv`` (or .xlsx, .ods), in which a person says where, when and which way photos were taken."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, time, tzinfo
from pathlib import Path
from typing import Final

from habmap.place.load.cells import Cells
from habmap.place.load.columns import Rows
from habmap.place.load.position import known_units_words
from habmap.place.load.table import read_table

FIELDS: Final = ("file", "lon", "lat", "direction_deg", "taken_at", "unit_id", "private")
_NOON: Final = time(12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """What a person says of one photo; ``None``: as the camera has it.

    ``lonlat`` is WGS 84 [°], ``direction_deg`` from true north.
    """

    where: str
    lonlat: tuple[float, float] | None
    direction_deg: float | None
    taken_at: datetime | None
    unit_id: str | None
    is_private: bool | None


def read_placings(
    path: Path, *, files: Collection[str], unit_ids: Collection[str], zone: tzinfo
) -> tuple[dict[str, Placing], list[str]]:
    """Return what the table says, by the photo's path below the folder, and a note on columns not read.

    Parameters
    ----------
    path
        A table with ``file`` (path below the folder, or the bare name where only one file has it) and any of ``lon``,
        ``lat``, ``direction_deg`` (from true north), ``taken_at`` (ISO, local unless it names an offset; a day alone is
        noon of it), ``unit_id``, ``private`` (yes: never on anything public; blank: as it was).
    files
        The photos there are.
    zone
        Of the place.

    Raises
    ------
    InputErrors
        Every fault of the table.
    """
    table = read_table(path)
    rows = Rows(table, FIELDS, needed=("file",), mend="name the column with the photos' file names `file`")
    by_name: dict[str, list[str]] = {}
    for path_below in files:
        by_name.setdefault(path_below.casefold(), []).append(path_below)
        name = path_below.rpartition("/")[2]
        if name != path_below:
            by_name.setdefault(name.casefold(), []).append(path_below)
    placings: dict[str, Placing] = {}
    for row in table.rows:
        cells = rows.cells(row)
        below = _file(cells, by_name)
        placing = _placing(cells, rows.where(row), unit_ids, zone)
        if below is None:
            continue
        if below in placings:
            cells.fault("the photo stands in the table twice", "file", value=below, allowed="each photo once")
        placings[below] = placing
    rows.refuse_faults()
    return placings, [*rows.notes, *rows.not_read()]


def _file(cells: Cells, by_name: dict[str, list[str]]) -> str | None:
    name = cells.text("file", required=True)
    if name is None:
        return None
    found = by_name.get(name.replace("\\", "/").casefold(), [])
    if len(found) == 1:
        return found[0]
    cells.fault(
        "no photo of this name is in the folder" if not found else "more than one photo has this name",
        "file",
        value=name,
        allowed="a JPEG file's name, with its folder where two share a name",
    )
    return None


def _placing(cells: Cells, where: str, unit_ids: Collection[str], zone: tzinfo) -> Placing:
    lon, lat = cells.number("lon", low=-180, high=180), cells.number("lat", low=-90, high=90)
    if (cells.text("lon") is None) != (cells.text("lat") is None):
        cells.fault(
            "a position needs both lon and lat", "lat", value="one of them is blank", allowed="both, or neither"
        )
    unit_id = cells.text("unit_id")
    if unit_id is not None and unit_id not in unit_ids:
        cells.fault("unknown unit", "unit_id", value=unit_id, allowed=known_units_words(unit_ids))
    direction_deg = cells.number("direction_deg", low=0, high=360)
    return Placing(
        where=where,
        lonlat=(lon, lat) if lon is not None and lat is not None else None,
        direction_deg=None if direction_deg is None else direction_deg % 360,
        taken_at=_moment(cells, zone),
        unit_id=unit_id,
        is_private=cells.flag("private"),
    )


def _moment(cells: Cells, zone: tzinfo) -> datetime | None:
    moment = cells.moment("taken_at", at=_NOON, allowed="YYYY-MM-DD, or YYYY-MM-DDTHH:MM with or without offset")
    return moment if moment is None or moment.tzinfo is not None else moment.replace(tzinfo=zone)
