"""Every rule that a place must obey, looked at one after the other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

import shapely

from habmap.errors import HabmapError
from habmap.jobs.checks import apart, burns, log, pictures, plots, rasters, seen, settings, units
from habmap.jobs.checks.facts import Facts, Fault, facts_of
from habmap.jobs.checks.file import file_faults
from habmap.jobs.ports import Store

#: By the name that a fault bears, in the order they are looked at.
_RULES: Final[dict[str, Callable[[Facts], Iterator[Fault]]]] = {
    "cover": units.covers,
    "unit_id": units.labels,
    "outline": units.outlines,
    "overlap": units.overlapping,
    "practice": log.practices,
    "number": log.numbers,
    "reported": log.reported,
    "correction": log.corrections,
    "apart": apart.apart,
    "patch": log.patches,
    "keep": log.kept_ground,
    "date": log.dates,
    "elevation": rasters.elevation,
    "canopy": rasters.canopy,
    "photos": pictures.photos,
    "settings": settings.named_units,
    "burn": burns.burns,
    "seen": seen.seen,
    "plot": plots.plots,
    "closure": units.closure,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was looked at and what was found; ``on`` is the day taken as today."""

    place: str
    on: dt.date
    rules: tuple[str, ...]
    faults: tuple[Fault, ...]


def check(store: Store, *, today: dt.date) -> Checked:
    """Look at every rule and return what is not as it must be.

    Parameters
    ----------
    store
        The place.
    today
        The local civil day at the place; rows dated later are faults.
    """
    faults = list(file_faults(store))
    looked_at = ["file"]
    try:
        facts = facts_of(store, today=today)
    except HabmapError as error:
        faults.append(_from_error("file", error))
    else:
        for rule, find in _RULES.items():
            looked_at.append(rule)
            try:
                faults += find(facts)
            except (HabmapError, shapely.errors.ShapelyError) as error:
                faults.append(_from_error(rule, error))
    return Checked(place=store.settings.place.name, on=today, rules=tuple(looked_at), faults=tuple(faults))


def _from_error(rule: str, error: Exception) -> Fault:
    if isinstance(error, HabmapError):
        return Fault(rule=rule, where=error.where or "", what=str(error.what), mend=error.mend or "see what is said")
    return Fault(rule=rule, where="outlines", what=str(error), mend="mend the outlines named above")
