"""Load a person's tables, each all or not at all; what they hold, and their own rules, stand in `habmap.place.load`."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from habmap.errors import InputError
from habmap.jobs.load.result import LoadResult
from habmap.jobs.plots import plots_told
from habmap.jobs.ports import Store
from habmap.place.load.cover import COVER
from habmap.place.load.engine import bring
from habmap.place.load.forecast import read_forecast
from habmap.place.load.plots import PLOTS
from habmap.place.load.sightings import SIGHTINGS
from habmap.place.load.spec import Record, TableSpec
from habmap.records import Forecast, ForecastHour
from habmap.work.clock import is_skipped

#: Tables whose rows are never corrected by loading and that need nothing but their file, by what they hold.
PLAIN: Final[dict[str, TableSpec[Any]]] = {spec.kind: spec for spec in (SIGHTINGS, COVER)}


def load_table(
    store: Store,
    spec: TableSpec[Record],
    there: Sequence[Record],
    *,
    path: Path,
    now: datetime,
    today: date,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    overwrite: bool = False,
    counting: Sequence[Record] | None = None,
) -> LoadResult:
    """Load a table; what is there already with the same content is no news.

    Parameters
    ----------
    there, counting
        What the property holds of this kind, the newest last, and of that what counts (``None``: all of it).
    path, sheet
        The table, and which sheet, where the file is a spreadsheet with several.
    now, today
        Moment of recording (UTC); local civil day at the place: later dates are pointed out.
    columns
        Field → column of the file, where the names differ.
    overwrite
        What the table says holds: a record that is told otherwise is corrected, one that was withdrawn counts again.
        Rows are added; what stood there before stays on record.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    InputError
        The file as a whole is unfit, or a column is missing.
    """
    brought = bring(
        store,
        spec,
        path=path,
        there=there,
        counting=counting,
        now=now,
        today=today,
        columns=columns,
        sheet=sheet,
        overwrite=overwrite,
    )
    store.append(brought.fresh)  # type: ignore[arg-type]
    return LoadResult(
        kind=spec.kind,
        loaded=len(brought.fresh),
        versions=brought.corrected,
        already_there=brought.already,
        warnings=brought.notes,
    )


def load_plots(
    store: Store,
    *,
    path: Path,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    overwrite: bool = False,
) -> LoadResult:
    """Load density plots (`habmap.place.load.plots`, parameters as `load_table`)."""
    there = [plot for versions in plots_told(store).values() for plot in versions]
    return load_table(
        store,
        PLOTS,
        there,
        counting=store.plots(),
        path=path,
        now=now,
        today=now.date(),
        columns=columns,
        sheet=sheet,
        overwrite=overwrite,
    )


def load_plain(
    store: Store,
    kind: str,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
) -> LoadResult:
    """Load a table of ``PLAIN``, by what it holds; the others as `load_table`."""
    spec = PLAIN[kind]
    there = store.all_of(spec.record)
    return load_table(store, spec, there, path=path, now=now, today=today, columns=columns, sheet=sheet)


def load_forecast(
    store: Store,
    *,
    path: Path,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
    wind_height: str | None = None,
    is_sure: bool = False,
) -> LoadResult:
    """Load a forecast; the same one as the newest that is there is no news.

    Parameters
    ----------
    path
        A table, see :func:`habmap.place.load.forecast.read_forecast`.
    columns
        Field → column of the file, where the names differ.
    sheet
        Which sheet, where the file is a spreadsheet with several.
    wind_height
        Where its wind is meant, ``20ft`` or ``eye``, where the file does not say.
    is_sure
        Somebody said that the temperatures are right as they stand.

    Raises
    ------
    InputError
        The file and ``wind_height`` contradict each other; what `read_forecast` refuses.
    """
    zone = ZoneInfo(store.settings.place.timezone)
    told = read_forecast(path, columns=columns, sheet=sheet, zone=zone, is_sure=is_sure)
    if wind_height is not None and told.wind_height not in (None, wind_height):
        raise InputError(
            "the file says another height of the wind",
            where=f"{path}, wind_height; --wind-height",
            value=f"{told.wind_height} in the file, {wind_height} on the command line",
            allowed="one height",
            mend="leave --wind-height out, or mend the file",
        )
    height = told.wind_height or wind_height
    stored = store.forecasts()
    if stored and (stored[0].hours, stored[0].wind_height) == (told.hours, height):
        return LoadResult(kind="forecast", loaded=0, already_there=len(told.hours))
    row = Forecast(
        # of chance: each load is a row of its own, so that a forecast may come again after another, and copies of the
        # place that loaded the same one, at another time or under another file name, can still be joined
        uuid=str(uuid.uuid4()),
        file_name=path.name,
        wind_height=height,
        hours=told.hours,
        recorded_at=now,
    )
    store.append([row])
    return LoadResult(kind="forecast", loaded=len(told.hours), warnings=_warnings(told.hours, height, zone))


def _warnings(hours: Sequence[ForecastHour], height: str | None, zone: ZoneInfo) -> tuple[str, ...]:
    words = []
    if height is None:
        words.append("nobody said whether the wind is at 20 ft or at eye level; say it with --wind-height")
    told = {hour.at.replace(minute=0, second=0, microsecond=0) for hour in hours}
    clock, last, missing = min(told), max(told), 0
    # A table with a year's hole is no forecast of hours, and nobody needs its every hour counted.
    while clock < last and missing < 1_000:
        missing += clock not in told and not is_skipped(clock, zone)
        clock += timedelta(hours=1)
    if missing:
        words.append(
            f"{missing if missing < 1_000 else 'more than 1,000'} hours between {min(told):%Y-%m-%d %H:%M} and "
            f"{last:%Y-%m-%d %H:%M} have no row; a burn day shows them as gaps"
        )
    return tuple(words)
