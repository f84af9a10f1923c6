"""What must hold of sightings and cover readings: other programs can write into the property's file too."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from habmap.jobs.ports import Store
from habmap.work.response import CLASS_LIMITS_PCT

_MEND: Final = "restore the property's folder from a copy"


def seen_faults(store: Store, *, today: date) -> Iterator[tuple[str, str, str]]:
    """Yield where, what and how to mend of each fault among sightings and frames."""
    labels = {unit.unit_id for unit in store.unit_versions()}
    for frame in store.cover_frames():
        where = f"reading {frame.reading_id}, frame {frame.frame}"
        if frame.unit_id not in labels:
            yield where, f"it names the unit {frame.unit_id!r}, which is not here", "join the copy that holds the unit"
        if frame.read_on > today:
            yield where, f"it was read on {frame.read_on}, which is after today, {today}", "look at the date"
        if frame.canopy_pct is not None and not 0 <= frame.canopy_pct <= 100:
            yield where, f"a canopy of {frame.canopy_pct} %", _MEND
        for line in frame.lines:
            if line.cover_class is not None and line.cover_class not in CLASS_LIMITS_PCT:
                yield where, f"a cover class of {line.cover_class}", _MEND
            if not 0 <= line.cover_pct <= 100:
                yield where, f"a cover of {line.cover_pct} %", _MEND
    for seen in store.sightings():
        where = f"sighting of {seen.scientific_name}, {seen.event_date}"
        if seen.seen_from > today:
            yield where, f"it begins on {seen.seen_from}, which is after today, {today}", "look at the date"
        if seen.seen_to < seen.seen_from:
            yield where, f"it ends on {seen.seen_to}, before it begins", _MEND
        if not (abs(seen.geometry.x) <= 180 and abs(seen.geometry.y) <= 90):
            yield where, "it lies nowhere on the globe", _MEND
