"""A store that holds a place as its log had it before a day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from pydantic import ValidationError

from habmap.errors import PlaceError
from habmap.place.contents import Contents
from habmap.place.settings import PlanSection
from habmap.records import BurnRecord, Entry, Forecast, Row
from habmap.work.ledger import effective_entries


class PastStore:
    """A place as the log had it before a day: work of that day and later is left out, and no forecast is looked for.

    Parameters
    ----------
    before
        First day whose work is left out.
    plans
        The plans that were kept of then (``burn_plan`` of the settings); ``None``: today's.
    where
        What messages call the burn that they were kept with.

    Raises
    ------
    PlaceError
        The plans cannot be read.
    """

    def __init__(self, store: Contents, *, before: date, plans: object, where: str) -> None:
        self._store = store
        self._before = before
        try:
            kept = store.settings.burn_plan if plans is None else PlanSection.model_validate(plans)
        except ValidationError as error:
            raise PlaceError(
                "the written plans kept with this burn cannot be read",
                where=where,
                mend="restore the folder from a copy",
            ) from error
        self.settings = store.settings.model_copy(update={"burn_plan": kept})

    def held(self) -> PastStore:
        """Return this very place: what the real one holds is of today."""
        return self

    def entries(self) -> tuple[Entry, ...]:
        """Return the lines that count, with today's corrections, of work done before the day."""
        return tuple(entry for entry in effective_entries(self._store.entries()) if entry.date < self._before)

    def forecasts(self) -> tuple[Forecast, ...]:
        """Return none: the weather is as observed."""
        return ()

    def burns(self) -> tuple[BurnRecord, ...]:
        """Return none: the notices of the one burn are known."""
        return ()

    def append(self, rows: Sequence[Row]) -> None:
        """Refuse: the past is only read."""
        raise TypeError("a past state is only read")

    def __getattr__(self, name: str) -> Any:
        """Return what the place itself has: units, features, elevation and all else that has no such day."""
        return getattr(self._store, name)
