"""A forecast handed over as a table of hours, its units taken from its header."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Final

from habmap.errors import HabmapError, InputError, InputErrors
from habmap.measures import MM_PER_IN, MPH_PER_KNOT, MPH_PER_MPS, fahrenheit
from habmap.place.days import moments_meant, readings_words
from habmap.place.load.cells import number_text
from habmap.place.load.columns import matched_columns
from habmap.place.load.table import MOST_FAULTS, Table, TableRow, read_table
from habmap.place.userfiles import printable
from habmap.records import ForecastHour
from habmap.work.clock import comes_twice, is_skipped
from habmap.work.weather_doubts import HOTTEST_F, temperature_question

Range = tuple[float, float]
_YEARS: Final = range(1900, 2200)


def _same(value: float) -> float:
    return value


def _inches(rain_mm: float) -> float:
    return rain_mm / MM_PER_IN


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


_SPEEDS: Final = {"mph": _same, "mps": _times(MPH_PER_MPS), "kt": _times(MPH_PER_KNOT)}
#: Quantity → the columns it may stand in, how each is turned, whether it must be there, and what is possible on Earth.
_QUANTITIES: Final[dict[str, tuple[dict[str, Callable[[float], float]], bool, Range]]] = {
    "temp_f": ({"temp_f": _same, "temp_c": fahrenheit}, True, (-60, 135)),
    "rh_pct": ({"rh_pct": _same}, True, (0, 100)),
    "wind_mph": ({f"wind_{unit}": turn for unit, turn in _SPEEDS.items()}, True, (0, 150)),
    "gust_mph": ({f"gust_{unit}": turn for unit, turn in _SPEEDS.items()}, False, (0, 250)),
    "wind_from_deg": ({"wind_from_deg": _same}, True, (0, 360)),
    "rain_in": ({"rain_in": _same, "rain_mm": _inches}, False, (0, 20)),
}


#: Columns that a forecast may have, by the names that ``--map`` knows them by.
FORECAST_FIELDS: Final = (
    "time",
    *(column for choices, _, _ in _QUANTITIES.values() for column in choices),
    "wind_height",
)
WIND_HEIGHTS: Final = ("20ft", "eye")
#: Field of the table and the column that holds it.
_Found = tuple[str, str]


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

    Raises
    ------
    UsageError
        ``columns`` names a field that does not exist.
    InputError
        The table cannot be read, a column is missing or given in two units, or the warmest hour looks like Celsius
        under a Fahrenheit header; ``InputErrors`` lists every row with a value that cannot be, a time that does not
        parse or never comes, or times out of order.
    """
    table = read_table(path, sheet=sheet)
    found = _columns(table, columns or {})
    faults: list[HabmapError] = []
    hours: list[ForecastHour] = []
    before: datetime | None = None
    for row in table.rows:
        if len(faults) >= MOST_FAULTS:
            break
        at = _time(table, row, found["time"][1], zone, faults)
        if at is not None and before is not None and at <= before:
            faults.append(_order_fault(table, row, found["time"][1], at, before, zone))
        before = at or before
        values = {name: _value(table, row, name, found.get(name), faults) for name in _QUANTITIES}
        wind, gust = values["wind_mph"], values["gust_mph"]
        if wind is not None and gust is not None and gust < wind - 1e-6:
            faults.append(
                InputError(
                    "gusts are weaker than the wind itself",
                    where=f"{table.where}, row {row.number}, {found['gust_mph'][1]}",
                    value=f"gusts {gust:.3g} mph, wind {wind:.3g} mph",
                    allowed="gusts of at least the wind, or blank",
                    mend="look which is which, and whether their units are the same",
                )
            )
        if at is not None:
            hours.append(ForecastHour(at=at, **values))
    height = _wind_height(table, found["wind_height"][1], faults) if "wind_height" in found else None
    if faults:
        raise InputErrors(faults, where=table.where)
    if not is_sure:
        _ask_about_warmest(table, hours, is_celsius=found["temp_f"][0] == "temp_c")
    return ForecastTable(tuple(hours), height)


def _ask_about_warmest(table: Table, hours: Sequence[ForecastHour], *, is_celsius: bool) -> None:
    warmest = max((hour for hour in hours if hour.temp_f is not None), key=lambda hour: hour.temp_f or 0, default=None)
    if warmest is None or warmest.temp_f is None or (is_celsius and warmest.temp_f <= HOTTEST_F):
        return
    question = temperature_question(warmest.at.month, warmest.temp_f)
    if question is not None:
        number = next(row.number for row, hour in zip(table.rows, hours, strict=True) if hour is warmest)
        raise InputError(
            f"the warmest hour of the forecast: {question}",
            where=f"{table.where}, row {number}",
            value=f"{warmest.temp_f:g} °F at {warmest.at:%Y-%m-%d %H:%M}",
            allowed="a column temp_f in Fahrenheit, or temp_c in Celsius",
            mend="name the column by its unit, or add --yes if it is right as it stands",
        )


def _order_fault(
    table: Table, row: TableRow, column: str, at: datetime, before: datetime, zone: tzinfo | None
) -> InputError:
    where, value = f"{table.where}, row {row.number}, {column}", f"{at:%Y-%m-%dT%H:%M} after {before:%Y-%m-%dT%H:%M}"
    if zone is not None and comes_twice(at, zone):
        return InputError(
            "the clock is put back that night, so this hour is there twice and cannot be told apart",
            where=where,
            value=value,
            allowed="one row for the hour that comes twice",
            mend="keep one of the two rows, the drier and windier one",
        )
    return InputError(
        "the hours are out of order" if at < before else "this hour is there twice",
        where=where,
        value=value,
        allowed="each row later than the one before",
        mend="sort the table by time, one row for each hour",
    )


def _wind_height(table: Table, column: str, faults: list[HabmapError]) -> str | None:
    said: str | None = None
    for row in table.rows:
        text = row.values[column].strip().casefold()
        if not text:
            continue
        if text not in WIND_HEIGHTS or said not in (None, text):
            faults.append(
                InputError(
                    "unknown height of the wind"
                    if text not in WIND_HEIGHTS
                    else "two heights of the wind in one table",
                    where=f"{table.where}, row {row.number}, {column}",
                    value=printable(text),
                    allowed=f"{' or '.join(WIND_HEIGHTS)}, the same in every row",
                    mend="bring all winds to one height, or load two tables",
                )
            )
            continue
        said = text
    return said


def _columns(table: Table, renames: Mapping[str, str]) -> dict[str, _Found]:
    """Return field and column of the time, of every quantity that is there, and of the wind's height."""
    known = matched_columns(table.columns, FORECAST_FIELDS, renames=renames, where=f"{table.where}, row 1")
    # A column that --map gave to one field is no longer taken for the field that its own name says.
    given = {known[name] for name in renames}
    known = {name: column for name, column in known.items() if name in renames or column not in given}
    found: dict[str, _Found] = {}
    faults: list[HabmapError] = []
    if "time" in known:
        found["time"] = ("time", known["time"])
    else:
        faults.append(_missing(table, ("time",)))
    for name, (choices, is_needed, _) in _QUANTITIES.items():
        there = [(column, known[column]) for column in choices if column in known]
        if len(there) > 1:
            faults.append(
                InputError(
                    "the same quantity stands in two columns",
                    where=f"{table.where}, row 1",
                    value=" and ".join(column for _, column in there),
                    allowed="one of them",
                    mend="delete one column",
                )
            )
        elif there:
            found[name] = there[0]
        elif is_needed:
            faults.append(_missing(table, tuple(choices)))
    if "wind_height" in known:
        found["wind_height"] = ("wind_height", known["wind_height"])
    if faults:
        raise InputErrors(faults, where=table.where)
    return found


def _missing(table: Table, choices: tuple[str, ...]) -> InputError:
    return InputError(
        f"the column {' or '.join(choices)} is missing",
        where=f"{table.where}, row 1",
        value=printable(", ".join(table.columns)),
        allowed="time, temp_f or temp_c, rh_pct, wind_mph or wind_mps or wind_kt, wind_from_deg; gust_…, rain_in or "
        "rain_mm where known",
        mend="name the columns so, with the unit, or say which is which with --map FIELD=COLUMN",
    )


def _time(table: Table, row: TableRow, column: str, zone: tzinfo | None, faults: list[HabmapError]) -> datetime | None:
    text = row.values[column].strip()
    # a spreadsheet's real date without a time is the midnight of it
    readings = moments_meant(f"{text}T00:00" if column in row.dates and len(text) == len("2026-03-14") else text)
    if len(readings) != 1 or readings[0].tzinfo is not None or readings[0].year not in _YEARS:
        faults.append(
            InputError(
                "this time can be of two days" if len(readings) > 1 else "this is not a local time",
                where=f"{table.where}, row {row.number}, {column}",
                value=printable(text) or "blank",
                allowed=f"either {readings_words(readings)}, written so"
                if len(readings) > 1
                else "local time without a zone, such as 2026-03-14T13:00",
                mend="write the time on the property's own clock, the year first",
            )
        )
        return None
    at = readings[0]
    if zone is not None and is_skipped(at, zone):
        faults.append(
            InputError(
                "this hour never comes: the clock is put forward over it",
                where=f"{table.where}, row {row.number}, {column}",
                value=printable(text),
                allowed="an hour that the property's own clock shows",
                mend="look whether the table is in local time; if it is, delete the row",
            )
        )
    return at


def _value(table: Table, row: TableRow, name: str, found: _Found | None, faults: list[HabmapError]) -> float | None:
    if found is None or not row.values[found[1]].strip():
        return None
    field, column = found
    choices, _, (low, high) = _QUANTITIES[name]
    text = number_text(field, row.values[column])
    try:
        value = choices[field](float(text))
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        faults.append(
            InputError(
                "this value cannot be" if math.isfinite(value) else "this is not a number",
                where=f"{table.where}, row {row.number}, {column}",
                value=printable(text),
                allowed=f"a number; {name} from {low:g} to {high:g}, or blank",
                mend="mend the cell, or leave it blank if the forecast does not say",
            )
        )
        return None
    return value
