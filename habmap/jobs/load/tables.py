"""Load a person's tables, each all or not at all; what they hold, and their own rules, stand in `habmap.place.load`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from habmap.jobs.load.result import LoadResult, read_and_written, result_of
from habmap.jobs.ports import Store
from habmap.place.load.cover import COVER
from habmap.place.load.engine import bring, bring_rows
from habmap.place.load.forecast import bring_forecast
from habmap.place.load.ledger import bring_entries
from habmap.place.load.plots import PLOTS
from habmap.place.load.sightings import SIGHTINGS
from habmap.place.load.spec import TableSpec
from habmap.place.load.table import table_of
from habmap.progress import Progress

#: Tables that need nothing but their file, by what they hold.
TABLES: Final[dict[str, TableSpec[Any]]] = {spec.kind: spec for spec in (SIGHTINGS, COVER, PLOTS)}


def load_table(
    store: Store,
    kind: str,
    *,
    path: Path,
    now: datetime,
    today: date | None = None,
    progress: Progress | None = None,
    **how: Any,
) -> LoadResult:
    """Load a table of ``TABLES``; ``how``, and what is refused, as in `bring`. What is known already adds nothing.

    Parameters
    ----------
    today
        Local civil day at the place, after which days are pointed out; ``None``: that of ``now``.
    progress
        Called with how far it is.
    """
    spec, day = TABLES[kind], today or now.date()
    brought = read_and_written(
        store, lambda told: bring(store, spec, path=path, now=now, today=day, progress=told, **how), progress=progress
    )
    return result_of(kind, brought)


def write_down(
    store: Store,
    kind: str,
    rows: Sequence[Mapping[str, str]],
    *,
    now: datetime,
    today: date,
    is_preview: bool = False,
) -> LoadResult:
    """Write down what a person filled in, as a table of ``TABLES`` with these rows is loaded; see `load_table`.

    Parameters
    ----------
    rows
        By column what was filled in; columns left out are blank.
    is_preview
        Write nothing; tell what would be written.
    """
    spec = TABLES[kind]
    brought = bring_rows(store, spec, table_of(rows, columns=spec.fields, where="the form"), now=now, today=today)
    if not is_preview:
        store.append(brought.fresh)
    return result_of(kind, brought)


def load_forecast(
    store: Store, *, path: Path, now: datetime, progress: Progress | None = None, **how: Any
) -> LoadResult:
    """Load a forecast, its hours counted; ``how``, and what is refused, as in `bring_forecast`."""
    brought = read_and_written(
        store, lambda told: bring_forecast(store, path=path, now=now, progress=told, **how), progress=progress
    )
    return replace(result_of("forecast", brought), loaded=sum(len(row.hours) for row in brought.fresh))


def load_entries(store: Store, *, path: Path, progress: Progress | None = None, **how: Any) -> LoadResult:
    """Load log lines; ``how``, and what is refused, as in `bring_entries`. What is known already adds nothing."""
    brought = read_and_written(
        store,
        lambda told: bring_entries(store, path=path, progress=told, **how),
        progress=progress,
        rows_of=lambda new: [*new.fresh, *new.burns],
    )
    return result_of("entries", brought, acres=brought.acres)
