"""Load a person's tables, each all or not at all; what they hold, and their own rules, stand in `habmap.place.load`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

from habmap.jobs.load.result import LoadResult
from habmap.jobs.plots import plots_told
from habmap.jobs.ports import Store
from habmap.place.load.cover import COVER
from habmap.place.load.engine import bring
from habmap.place.load.plots import PLOTS
from habmap.place.load.sightings import SIGHTINGS
from habmap.place.load.spec import Record, TableSpec


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


def load_cover(
    store: Store,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
) -> LoadResult:
    """Load readings of plant cover, frame by frame (`habmap.place.load.cover`, parameters as `load_table`)."""
    return load_table(store, COVER, store.cover_frames(), path=path, now=now, today=today, columns=columns, sheet=sheet)


def load_sightings(
    store: Store,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
) -> LoadResult:
    """Load sightings of plants and animals (`habmap.place.load.sightings`, parameters as `load_table`)."""
    return load_table(
        store, SIGHTINGS, store.sightings(), path=path, now=now, today=today, columns=columns, sheet=sheet
    )
