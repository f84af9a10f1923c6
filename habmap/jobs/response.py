"""Native cover, canopy and species before and after the first work on each unit's ground. It tells when, never why."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.show.response_words import METHOD, unit_words
from habmap.work.response_records import ResponseResult
from habmap.work.response_units import response_account


@once
def response(store: Store, *, on: date | None = None) -> ResponseResult:
    """Set what was read before the first work on each unit's ground beside what was read after it.

    Parameters
    ----------
    on
        As of this day's work, readings and sightings, on the units as they were that day; ``None``: all of now.
    """
    found = response_account(
        ground(store, on=on),
        place=store.settings.place.name,
        on=on,
        frames=store.cover_frames(),
        plots=store.plots(),
        sightings=store.sightings(),
        versions=store.unit_versions(),
    )
    told = tuple(replace(unit, words=unit_words(unit)) for unit in found.units)
    return replace(found, units=told, method=METHOD)
