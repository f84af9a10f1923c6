"""A forecast handed over as a CSV of hours, its units taken from its header."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from habmap.errors import HabmapError, InputError, InputErrors
from habmap.measures import MM_PER_IN, MPH_PER_KNOT, MPH_PER_MPS, fahrenheit
from habmap.place.tables import Table, TableRow, read_table
from habmap.place.userfiles import printable

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastHour:
    """One row of a forecast; ``None`` = a blank cell.

    Attributes
    ----------
    at
        Local civil time.
    temp_f, rh_pct, wind_mph, gust_mph, wind_from_deg, rain_in
        Turned into these units, whatever the header's.
    """

    at: datetime
    temp_f: float | None = None
    rh_pct: float | None = None
    wind_mph: float | None = None
    gust_mph: float | None = None
    wind_from_deg: float | None = None
    rain_in: float | None = None


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


def read_forecast(path: Path) -> tuple[ForecastHour, ...]:
    """Read a forecast of hours.

    Columns: ``time`` (local ISO), ``temp_f`` or ``temp_c``, ``rh_pct``, ``wind_mph``, ``wind_mps`` or ``wind_kt``,
    ``wind_from_deg``, and where known ``gust_…`` and ``rain_in`` or ``rain_mm``. A blank cell is not known.

    Raises
    ------
    InputError
        The table cannot be read, or a column is missing or given in two units; ``InputErrors`` lists every row with a
        value that cannot be, a time that does not parse, or times out of order.
    """
    table = read_table(path)
    columns = _columns(table)
    faults: list[HabmapError] = []
    hours: list[ForecastHour] = []
    before: datetime | None = None
    for row in table.rows:
        at = _time(table, row, columns["time"], faults)
        if at is not None and before is not None and at <= before:
            faults.append(
                InputError(
                    "the hours are out of order" if at < before else "this hour is there twice",
                    where=f"{table.where}, row {row.number}, time",
                    value=f"{at:%Y-%m-%dT%H:%M} after {before:%Y-%m-%dT%H:%M}",
                    allowed="each row later than the one before",
                    mend="sort the table by time, one row for each hour",
                )
            )
        before = at or before
        values = {name: _value(table, row, name, columns.get(name), faults) for name in _QUANTITIES}
        if at is not None:
            hours.append(ForecastHour(at=at, **values))
    if faults:
        raise InputErrors(faults, where=table.where)
    return tuple(hours)


def _columns(table: Table) -> dict[str, str]:
    known = {column.casefold(): column for column in table.columns}
    found: dict[str, str] = {}
    faults: list[HabmapError] = []
    if "time" in known:
        found["time"] = known["time"]
    else:
        faults.append(_missing(table, ("time",)))
    for name, (choices, is_needed, _) in _QUANTITIES.items():
        there = [known[column] for column in choices if column in known]
        if len(there) > 1:
            faults.append(
                InputError(
                    "the same quantity stands in two columns",
                    where=f"{table.where}, row 1",
                    value=" and ".join(there),
                    allowed="one of them",
                    mend="delete one column",
                )
            )
        elif there:
            found[name] = there[0]
        elif is_needed:
            faults.append(_missing(table, tuple(choices)))
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
        mend="name the columns so, with the unit",
    )


def _time(table: Table, row: TableRow, column: str, faults: list[HabmapError]) -> datetime | None:
    text = row.values[column].strip()
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is not None or len(text) < len("2026-03-14T13"):
            raise ValueError
    except ValueError:
        faults.append(
            InputError(
                "this is not a local time",
                where=f"{table.where}, row {row.number}, {column}",
                value=printable(text) or "blank",
                allowed="local time without a zone, such as 2026-03-14T13:00",
                mend="write the time on the property's own clock",
            )
        )
        return None
    return at


def _value(table: Table, row: TableRow, name: str, column: str | None, faults: list[HabmapError]) -> float | None:
    if column is None or not row.values[column].strip():
        return None
    choices, _, (low, high) = _QUANTITIES[name]
    text = row.values[column].strip()
    try:
        value = choices[column.casefold()](float(text))
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
