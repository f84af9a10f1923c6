"""The table of a forecast's hours, its units taken from its header; all rows make one forecast."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from habmap.errors import InputError
from habmap.measures import MM_PER_IN, MPH_PER_KNOT, MPH_PER_MPS, fahrenheit
from habmap.place.contents import Contents
from habmap.place.days import moments_meant, readings_words
from habmap.place.load.engine import Brought, open_rows
from habmap.place.load.spec import Column, ReadRow, TableSpec, Turn, columns_of
from habmap.place.load.table import read_table
from habmap.progress import Progress
from habmap.records import WIND_HEIGHTS, Forecast, ForecastHour, differences
from habmap.work.clock import comes_twice, is_skipped
from habmap.work.said import HOTTEST_F, temperature_question

_YEARS: Final = range(1900, 2200)


def _same(value: float) -> float:
    return value


def _inches(rain_mm: float) -> float:
    return rain_mm / MM_PER_IN


def _speeds(name: str) -> dict[str, Turn]:
    return {
        f"{name}_mph": _same,
        f"{name}_mps": lambda mps: mps * MPH_PER_MPS,
        f"{name}_kt": lambda kt: kt * MPH_PER_KNOT,
    }


_QUANTITIES: Final = columns_of(
    ForecastHour,
    temp_f={"units": {"temp_f": _same, "temp_c": fahrenheit}, "is_needed": True},
    rh_pct={"units": {"rh_pct": _same}, "is_needed": True},
    wind_mph={"units": _speeds("wind"), "is_needed": True},
    gust_mph={"units": _speeds("gust")},
    wind_from_deg={"units": {"wind_from_deg": _same}, "is_needed": True},
    rain_in={"units": {"rain_in": _same, "rain_mm": _inches}},
)
FORECAST: Final[TableSpec[Any]] = TableSpec(
    kind="forecast",
    noun="hour",
    record=ForecastHour,
    columns=(Column("time", "own", is_needed=True), *_QUANTITIES, Column("wind_height", "choice", words=WIND_HEIGHTS)),
    lacks="time, temp_f or temp_c, rh_pct, wind_mph or wind_mps or wind_kt, wind_from_deg; gust_…, rain_in or "
    "rain_mm where known",
)


def bring_forecast(
    store: Contents,
    *,
    path: Path,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    wind_height: str | None = None,
    is_sure: bool = False,
    progress: Progress | None = None,
) -> Brought[Forecast]:
    """Read a forecast, one record; the same one as the newest that is there brings none, its hours being known.

    Parameters
    ----------
    wind_height
        Where its wind is meant, ``20ft`` or ``eye``, where the file does not say.
    progress
        Called with how many rows are read.

    Raises
    ------
    InputError
        The file and ``wind_height`` contradict each other; what `read_forecast` refuses.
    """
    zone = ZoneInfo(store.settings.place.timezone)
    told = read_forecast(path, columns=columns, sheet=sheet, zone=zone, is_sure=is_sure, progress=progress)
    if wind_height is not None and told.wind_height not in (None, wind_height):
        raise InputError(
            "the file says another height of the wind",
            where=f"{path}, wind_height; --wind-height",
            value=f"{told.wind_height} in the file, {wind_height} on the command line",
            allowed="one height",
            mend="leave --wind-height out, or mend the file",
        )
    row = Forecast(
        # of chance: each load is a row of its own, so that a forecast may come again after another, and copies of the
        # place that loaded the same one, at another time or under another file name, can still be joined
        uuid=str(uuid.uuid4()),
        file_name=path.name,
        wind_height=told.wind_height or wind_height,
        hours=told.hours,
        recorded_at=now,
    )
    before = store.forecasts()[:1]
    if before and not differences(row, before[0], besides=("uuid", "file_name")):
        return Brought(fresh=(), already=len(told.hours))
    return Brought(fresh=(row,), notes=_forecast_notes(row, zone))


def _forecast_notes(row: Forecast, zone: tzinfo) -> tuple[str, ...]:
    notes = []
    if row.wind_height is None:
        notes.append("the height of the wind, 20 ft or eye level, is not given; give it with --wind-height")
    told = {hour.at.replace(minute=0, second=0, microsecond=0) for hour in row.hours}
    clock, last, missing = min(told), max(told), 0
    # A table with a year's hole is no forecast of hours, and nobody needs its every hour counted.
    while clock < last and missing < 1_000:
        missing += clock not in told and not is_skipped(clock, zone)
        clock += timedelta(hours=1)
    if missing:
        notes.append(
            f"{missing if missing < 1_000 else 'more than 1,000'} hours between {min(told):%Y-%m-%d %H:%M} and "
            f"{last:%Y-%m-%d %H:%M} have no row; a burn sheet shows them as gaps"
        )
    return tuple(notes)


@dataclass(frozen=True, slots=True)
class ForecastTable:
    """What a forecast's file says: its hours, and where its wind is meant (``20ft``, ``eye``; ``None`` = unsaid)."""

    hours: tuple[ForecastHour, ...]
    wind_height: str | None


def read_forecast(
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    zone: tzinfo | None = None,
    is_sure: bool = False,
    progress: Progress | None = None,
) -> ForecastTable:
    """Read a forecast of hours.

    Columns: ``time`` (local ISO), ``temp_f`` or ``temp_c``, ``rh_pct``, ``wind_mph``, ``wind_mps`` or ``wind_kt``,
    ``wind_from_deg``, and where known ``gust_…``, ``rain_in`` or ``rain_mm``, and ``wind_height`` (20ft or eye, the
    same in all rows). A blank cell is not known.

    Parameters
    ----------
    columns
        Field → column of the file, where the names differ.
    sheet
        Which sheet, where the file is a spreadsheet with several.
    zone
        The property's, for hours that its clock skips or shows twice; ``None``: they are not looked for.
    is_sure
        Somebody said that the temperatures are right as they stand.
    progress
        Called with how many rows are read.

    Raises
    ------
    UsageError
        ``columns`` names a field that does not exist.
    InputError
        The table cannot be read, a column is missing or given in two units, or the warmest hour looks like Celsius
        under a Fahrenheit header; ``InputErrors`` lists every row with a value that cannot be, a time that does not
        parse or never comes, or times out of order.
    """
    rows, said = open_rows(FORECAST, read_table(path, sheet=sheet), columns=columns, progress=progress)
    told: list[tuple[ReadRow, ForecastHour]] = []
    before: datetime | None = None
    height: str | None = None
    for row in said:
        at = _time(row, zone)
        if at is not None and before is not None and at <= before:
            _fault_order(row, at, before, zone)
        before = at or before
        wind, gust = row["wind_mph"], row["gust_mph"]
        if wind is not None and gust is not None and gust < wind - 1e-6:
            row.cells.fault(
                "gusts are weaker than the wind itself",
                row.names["gust_mph"],
                value=f"gusts {gust:.3g} mph, wind {wind:.3g} mph",
                allowed="gusts of at least the wind, or blank",
                mend="look which is which, and whether their units are the same",
            )
        if row["wind_height"] is not None and height not in (None, row["wind_height"]):
            row.cells.fault(
                "two heights of the wind in one table",
                "wind_height",
                value=row["wind_height"],
                allowed=f"{' or '.join(WIND_HEIGHTS)}, the same in every row",
                mend="bring all winds to one height, or load two tables",
            )
        height = row["wind_height"] or height
        if at is not None:
            told.append((row, ForecastHour(at=at, **{column.name: row[column.name] for column in _QUANTITIES})))
    rows.refuse_faults()
    if not is_sure:
        _ask_about_warmest(told)
    return ForecastTable(tuple(hour for _row, hour in told), height)


def _ask_about_warmest(told: list[tuple[ReadRow, ForecastHour]]) -> None:
    known = [(hour.temp_f, row, hour) for row, hour in told if hour.temp_f is not None]
    if not known:
        return
    temp_f, row, hour = max(known, key=lambda one: one[0])
    if row.names["temp_f"] == "temp_c" and temp_f <= HOTTEST_F:
        return
    question = temperature_question(hour.at.month, temp_f)
    if question is not None:
        raise InputError(
            f"the warmest hour of the forecast: {question}",
            where=row.where,
            value=f"{temp_f:g} °F at {hour.at:%Y-%m-%d %H:%M}",
            allowed="a column temp_f in Fahrenheit, or temp_c in Celsius",
            mend="name the column by its unit, or add --yes if it is right as it stands",
        )


def _fault_order(row: ReadRow, at: datetime, before: datetime, zone: tzinfo | None) -> None:
    value = f"{at:%Y-%m-%dT%H:%M} after {before:%Y-%m-%dT%H:%M}"
    if zone is not None and comes_twice(at, zone):
        row.cells.fault(
            "the clock is put back that night, so this hour is there twice and cannot be told apart",
            "time",
            value=value,
            allowed="one row for the hour that comes twice",
            mend="keep one of the two rows, the drier and windier one",
        )
        return
    row.cells.fault(
        "the hours are out of order" if at < before else "this hour is there twice",
        "time",
        value=value,
        allowed="each row later than the one before",
        mend="sort the table by time, one row for each hour",
    )


def _time(row: ReadRow, zone: tzinfo | None) -> datetime | None:
    text = row["time"]
    # a spreadsheet's real date without a time is the midnight of it
    is_day = row.cells.is_date("time") and len(text) == len("2026-03-14")
    readings = moments_meant(f"{text}T00:00" if is_day else text)
    if len(readings) != 1 or readings[0].tzinfo is not None or readings[0].year not in _YEARS:
        row.cells.fault(
            "this time can be of two days" if len(readings) > 1 else "this is not a local time",
            "time",
            value=text or "blank",
            allowed=f"either {readings_words(readings)}, written so"
            if len(readings) > 1
            else "local time without a zone, such as 2026-03-14T13:00",
            mend="write the time on the property's own clock, the year first",
        )
        return None
    if zone is not None and is_skipped(readings[0], zone):
        row.cells.fault(
            "this hour never comes: the clock is put forward over it",
            "time",
            value=text,
            allowed="an hour that the property's own clock shows",
            mend="look whether the table is in local time; if it is, delete the row",
        )
    return readings[0]
