"""Records to rows of ``place.gpkg`` and back, exactly."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, fields, is_dataclass
from datetime import UTC, date, datetime
from typing import Any, Final, cast

from shapely import Point

from habmap.errors import InputError, PlaceError
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
    SIGHTINGS,
    UNITS,
    Table,
)
from habmap.place.wkb import as_multipolygon, from_blob, to_blob
from habmap.vocabulary import OLD_PRACTICES
from habmap.work.records import (
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
    Row,
    Unit,
)
from habmap.work.seen import CoverFrame, CoverLine, Sighting

TABLE_OF: Final[dict[type, Table]] = {
    Sighting: SIGHTINGS,
    CoverFrame: COVER_FRAMES,
    Boundary: BOUNDARY,
    Unit: UNITS,
    Feature: FEATURES,
    Entry: ENTRIES,
    Plot: PLOTS,
    ElevationSource: ELEVATION,
    CanopySource: CANOPY,
    Forecast: FORECAST,
    BurnRecord: BURNS,
    DrawnBlock: DRAWN_BLOCKS,
    Photo: PHOTOS,
}


def to_values(row: Row) -> dict[str, object]:
    """Return a record as column values, ``geom`` among them where its table has one.

    Raises
    ------
    InputError
        A number is not finite, a moment has no time zone, or a text cannot be stored.
    """
    table = TABLE_OF[type(row)]
    where = f"{table.name}, row {getattr(row, table.key)}"
    values = {name: _to_column(name, getattr(row, name), where=where) for name in table.column_names}
    if table.geometry_type is not None:
        geometry = row.patch if isinstance(row, Entry) else getattr(row, "geometry", None)
        values["geom"] = None if geometry is None else to_blob(geometry)
    return values


def to_unit(values: Mapping[str, Any]) -> Unit:
    """Return a row of ``units`` as a record."""
    where = f"units, row {values['uuid']}"
    return Unit(
        **{
            **_plain(values, Unit),
            "geometry": as_multipolygon(from_blob(values["geom"], where=where), where=where),
            "extra": _object(values["extra"], where=where),
            "valid_from": _day(values["valid_from"]),
            "valid_to": _day(values["valid_to"]),
            "replaces": tuple(json.loads(values["replaces"])),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_feature(values: Mapping[str, Any]) -> Feature:
    """Return a row of ``features`` as a record."""
    where = f"features, row {values['uuid']}"
    return Feature(
        **{
            **_plain(values, Feature),
            "geometry": from_blob(values["geom"], where=where),
            "sensitive": bool(values["sensitive"]),
            "extra": _object(values["extra"], where=where),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_boundary(values: Mapping[str, Any]) -> Boundary:
    """Return a row of ``boundary`` as a record."""
    where = f"boundary, row {values['uuid']}"
    return Boundary(
        **{
            **_plain(values, Boundary),
            "geometry": as_multipolygon(from_blob(values["geom"], where=where), where=where),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_entry(values: Mapping[str, Any]) -> Entry:
    """Return a row of ``entries`` as a record."""
    where = f"entries, row {values['entry_id']}"
    blob = values["geom"]
    look = None if values["look"] is None else _object(values["look"], where=where)
    if look is not None:
        look["sprouts"] = tuple((str(species), int(count)) for species, count in cast("list[Any]", look["sprouts"]))
    return Entry(
        **{
            **_plain(values, Entry),
            "practice": OLD_PRACTICES.get(values["practice"], values["practice"]),
            "recorded_at": _moment(values["recorded_at"]),
            "date": date.fromisoformat(values["date"]),
            "patch": None if blob is None else as_multipolygon(from_blob(blob, where=where), where=where),
            "unit_ids": tuple(json.loads(values["unit_ids"])),
            "is_sure": bool(values.get("is_sure")),  # older places lack the column
            "look": None if look is None else Look(**cast("dict[str, Any]", look)),
        }
    )


def to_plot(values: Mapping[str, Any]) -> Plot:
    """Return a row of ``plots`` as a record."""
    blob = values["geom"]
    return Plot(
        **{
            **_plain(values, Plot),
            "geometry": None if blob is None else cast("Point", from_blob(blob, where=f"plots, row {values['uuid']}")),
            "distances_m": tuple(json.loads(values["distances_m"])),
            "intercepts_ft": tuple(json.loads(values["intercepts_ft"])),
            "measured_on": _day(values["measured_on"]),
            "is_void": bool(values.get("is_void")),  # older places lack the column
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_elevation(values: Mapping[str, Any]) -> ElevationSource:
    """Return a row of ``elevation`` as a record, its path as stored."""
    return ElevationSource(**{**_plain(values, ElevationSource), "recorded_at": _moment(values["recorded_at"])})


def to_canopy(values: Mapping[str, Any]) -> CanopySource:
    """Return a row of ``canopy`` as a record, its path as stored."""
    return CanopySource(**{**_plain(values, CanopySource), "recorded_at": _moment(values["recorded_at"])})


def to_forecast(values: Mapping[str, Any]) -> Forecast:
    """Return a row of ``forecast`` as a record."""
    hours = [
        ForecastHour(**{**_plain(hour, ForecastHour), "at": datetime.fromisoformat(hour["at"])})
        for hour in json.loads(values["hours"])
    ]
    if not hours:
        raise ValueError("a forecast holds no hours")
    return Forecast(
        **{**_plain(values, Forecast), "hours": tuple(hours), "recorded_at": _moment(values["recorded_at"])}
    )


def to_burn(values: Mapping[str, Any]) -> BurnRecord:
    """Return a row of ``burns`` as a record."""
    where = f"burns, row {values['uuid']}"
    return BurnRecord(
        **{
            **_plain(values, BurnRecord),
            "plans": None if values["plans"] is None else _object(values["plans"], where=where),
            "notices": tuple(Notice(**told) for told in json.loads(values["notices"])),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_drawn_block(values: Mapping[str, Any]) -> DrawnBlock:
    """Return a row of ``drawn_blocks`` as a record."""
    where = f"drawn_blocks, row {values['uuid']}"
    return DrawnBlock(
        **{
            **_plain(values, DrawnBlock),
            "geometry": as_multipolygon(from_blob(values["geom"], where=where), where=where),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_photo(values: Mapping[str, Any]) -> Photo:
    """Return a row of ``photos`` as a record."""
    spot = from_blob(values["geom"], where=f"photos, row {values['uuid']}")
    if not isinstance(spot, Point):
        raise ValueError(f"geom holds a {spot.geom_type}")
    if values["direction_ref"] not in (None, "T", "M"):
        raise ValueError(f"direction_ref is {values['direction_ref']!r}")
    return Photo(
        **{
            **_plain(values, Photo),
            "geometry": spot,
            "taken_at": _moment(values["taken_at"]),
            "taken_on": date.fromisoformat(values["taken_on"]),
            "is_private": bool(values["is_private"]),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_sighting(values: Mapping[str, Any]) -> Sighting:
    """Return a row of ``sightings`` as a record."""
    return Sighting(
        **{
            **_plain(values, Sighting),
            "seen_from": date.fromisoformat(values["seen_from"]),
            "seen_to": date.fromisoformat(values["seen_to"]),
            "is_present": bool(values["is_present"]),
            "geometry": cast("Point", from_blob(values["geom"], where=f"sightings, row {values['uuid']}")),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def to_cover_frame(values: Mapping[str, Any]) -> CoverFrame:
    """Return a row of ``cover_frames`` as a record."""
    where, blob = f"cover_frames, row {values['uuid']}", values["geom"]
    return CoverFrame(
        **{
            **_plain(values, CoverFrame),
            "read_on": date.fromisoformat(values["read_on"]),
            "lines": tuple(CoverLine(**line) for line in json.loads(values["lines"])),
            "geometry": None if blob is None else cast("Point", from_blob(blob, where=where)),
            "recorded_at": _moment(values["recorded_at"]),
        }
    )


def moment_text(moment: datetime) -> str:
    """Return a moment as UTC text of fixed width, so that text order is time order."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")


def _plain(values: Mapping[str, Any], record: type) -> dict[str, Any]:
    """Return the columns that a record has fields for; SQLite itself takes a word where a number is declared."""
    kinds = {field.name: str(field.type) for field in fields(record)}
    found = {name: values[name] for name in values if name in kinds}
    if found.get("supersedes") is not None:
        found["supersedes"] = tuple(map(str, json.loads(found["supersedes"])))
    for name, value in found.items():
        is_number, is_text = kinds[name].startswith(("float", "int")), kinds[name].startswith("str")
        if value is None and (is_number or is_text) and "None" in kinds[name]:
            continue
        if (is_number and not (isinstance(value, int | float) and math.isfinite(value))) or (
            is_text and not isinstance(value, str)
        ):
            raise ValueError(f"{name} holds {value!r}")
    return found


def _to_column(name: str, value: object, *, where: str) -> object:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, int | float):
        if not math.isfinite(value):
            raise InputError("a number is not finite", where=f"{where}, {name}", value=value, allowed="a finite number")
        return float(value)
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise InputError("a moment has no time zone", where=f"{where}, {name}", value=value, allowed="UTC")
        return moment_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Look):
        value = asdict(value)
    if isinstance(value, tuple) and value and isinstance(value[0], ForecastHour):
        value = [{**asdict(hour), "at": hour.at.isoformat()} for hour in value]
    if isinstance(value, dict | list | tuple):
        value = json.dumps(_clean(value), ensure_ascii=False, allow_nan=False, default=str)
    if isinstance(value, str):
        try:
            value.encode("utf-8")
        except UnicodeEncodeError as error:
            raise InputError(
                "a text holds half a character that cannot be stored",
                where=f"{where}, {name}",
                value=ascii(value),
            ) from error
    return value


def _clean(value: object) -> object:
    """Return nested values with NaN (a table's missing number) as ``None``, numpy scalars as plain ones."""
    if isinstance(value, Mapping):
        return {str(key): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        return _clean(asdict(value))
    if not isinstance(value, str) and hasattr(value, "item"):
        return _clean(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _object(text: str, *, where: str) -> dict[str, object]:
    try:
        value = json.loads(text)
    except ValueError as error:
        raise PlaceError("a stored row is damaged", where=where, value=text) from error
    return cast("dict[str, object]", value)


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)
