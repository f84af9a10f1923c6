"""What must hold of sightings and cover readings: other programs can write into the property's file too."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from habmap.jobs.checks.facts import Facts, Fault
from habmap.work.response import CLASS_LIMITS_PCT

_MEND: Final = "restore the property's folder from a copy"


def seen(facts: Facts) -> Iterator[Fault]:
    """Yield what cannot be among sightings and frames."""
    store, today = facts.store, facts.today
    labels = {unit.unit_id for unit in facts.versions}
    for frame in store.cover_frames():
        where = f"reading {frame.reading_id}, frame {frame.frame}"
        if frame.unit_id not in labels:
            yield _fault(
                where, f"it names the unit {frame.unit_id!r}, which is not here", "join the copy that holds the unit"
            )
        if frame.read_on > today:
            yield _fault(where, f"it was read on {frame.read_on}, which is after today, {today}", "look at the date")
        if frame.canopy_pct is not None and not 0 <= frame.canopy_pct <= 100:
            yield _fault(where, f"a canopy of {frame.canopy_pct} %", _MEND)
        for line in frame.lines:
            if line.cover_class is not None and line.cover_class not in CLASS_LIMITS_PCT:
                yield _fault(where, f"a cover class of {line.cover_class}", _MEND)
            if not 0 <= line.cover_pct <= 100:
                yield _fault(where, f"a cover of {line.cover_pct} %", _MEND)
    for sighting in store.sightings():
        where = f"sighting of {sighting.scientific_name}, {sighting.event_date}"
        if sighting.seen_from > today:
            yield _fault(where, f"it begins on {sighting.seen_from}, which is after today, {today}", "look at the date")
        if sighting.seen_to < sighting.seen_from:
            yield _fault(where, f"it ends on {sighting.seen_to}, before it begins", _MEND)
        if not (abs(sighting.geometry.x) <= 180 and abs(sighting.geometry.y) <= 90):
            yield _fault(where, "it lies nowhere on the globe", _MEND)


def _fault(where: str, what: str, mend: str) -> Fault:
    return Fault(rule="seen", where=where, what=what, mend=mend)
