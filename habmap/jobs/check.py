"""Every rule that a place must obey, looked at one after the other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final, Protocol, cast

import shapely

from habmap.errors import HabmapError
from habmap.jobs.acres import acres
from habmap.jobs.ports import Store
from habmap.place import file_checks
from habmap.place.named_units import where_named
from habmap.place.schema import SCHEMA_VERSION, STORE_FILE
from habmap.work.checks import burns, copies, log, readings, units
from habmap.work.checks.looked_at import Fault, Found, LookedAt

_Rule = Callable[[LookedAt], Iterator[Found]]
#: By the name that a fault bears, in the order they are looked at.
_RULES: Final[dict[str, tuple[_Rule, ...]]] = {
    "cover": (units.covers,),
    "unit_id": (units.labels,),
    "outline": (units.outlines,),
    "overlap": (units.overlapping,),
    "practice": (log.practices,),
    "number": (log.numbers,),
    "reported": (log.reported,),
    "correction": (log.corrections,),
    "apart": (copies.told_apart,),
    "patch": (log.patches,),
    "keep": (log.kept_ground,),
    "date": (log.dates,),
    "elevation": (file_checks.elevation,),
    "canopy": (file_checks.canopy,),
    "photos": (readings.photos,),
    "settings": (units.named_units,),
    "burn": (burns.burns, burns.blocks),
    "seen": (readings.seen,),
    "plot": (copies.plots,),
    "closure": (units.closure,),
}


class KeptInAFile(Protocol):
    """A store that is one file, and can tell what is wrong with it."""

    def storage_faults(self) -> list[str]:
        """Return faults of the file in words."""

    def schema_version(self) -> int:
        """Return the version of the file's layout; a write brings an older one up to date."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was looked at and what was found; ``on`` is the day taken as today.

    ``schema_version`` is the file's, ``None`` where the property is not kept in one; ``writes_schema_version`` is what
    this habmap brings it to with the next write.
    """

    place: str
    on: dt.date
    rules: tuple[str, ...]
    faults: tuple[Fault, ...]
    schema_version: int | None = None
    writes_schema_version: int = SCHEMA_VERSION


def check(store: Store, *, today: dt.date) -> Checked:
    """Look at every rule and return what is not as it must be.

    Parameters
    ----------
    today
        The local civil day at the place; rows dated later are faults.
    """
    file = cast("KeptInAFile", store) if hasattr(store, "storage_faults") else None
    faults = [
        Fault(rule="file", where=STORE_FILE, what=words, mend="restore the property's folder from a copy")
        for words in (file.storage_faults() if file is not None else ())
    ]
    rules = ["file"]
    try:
        place = looked_at(store, today=today)
    except HabmapError as error:
        faults.append(_from_error("file", error))
    else:
        for rule, finders in _RULES.items():
            rules.append(rule)
            try:
                for find in finders:
                    faults += (_fault(rule, one) for one in find(place))
            except (HabmapError, shapely.errors.ShapelyError) as error:
                faults.append(_from_error(rule, error))
    return Checked(
        place=store.settings.place.name,
        on=today,
        rules=tuple(rules),
        faults=tuple(faults),
        schema_version=None if file is None else file.schema_version(),
    )


def looked_at(store: Store, *, today: dt.date) -> LookedAt:
    """Read what the rules look at."""
    settings = store.settings
    return LookedAt(
        held=store,
        today=today,
        cedar=settings.place.cedar,
        blocks=settings.burn.blocks,
        named=tuple(where_named(settings)),
        account=lambda: acres(store),
        can_read_plans=file_checks.can_read_plans,
        grid=store.grid,
        versions=store.unit_versions(),
        units=store.units(),
        rows=store.entries(),
    )


def _fault(rule: str, one: Found) -> Fault:
    return Fault(rule=one.rule or rule, where=one.where, what=one.what, mend=one.mend, number=one.number)


def _from_error(rule: str, error: Exception) -> Fault:
    if isinstance(error, HabmapError):
        return Fault(rule=rule, where=error.where or "", what=str(error.what), mend=error.mend or "see what is said")
    return Fault(rule=rule, where="outlines", what=str(error), mend="mend the outlines named above")
