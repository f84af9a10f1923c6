"""What must hold of sightings, cover readings and photos: other programs can write into the property's file too."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from habmap.records import CoverFrame, CoverLine, Sighting, faults
from habmap.work.checks.looked_at import Found, LookedAt

_MEND: Final = "restore the property's folder from a copy"


def seen(place: LookedAt) -> Iterator[Found]:
    """Yield what cannot be among sightings and frames."""
    today, labels = place.today, {unit.unit_id for unit in place.versions}
    for frame in place.held.all_of(CoverFrame):
        where = f"reading {frame.reading_id}, frame {frame.frame}"
        if frame.unit_id not in labels:
            words = f"it names the unit {frame.unit_id!r}, which is not here"
            yield Found(where, words, "unite with the copy that holds the unit")
        if frame.read_on > today:
            yield Found(where, f"it was read on {frame.read_on}, which is after today, {today}", "look at the date")
        broken = faults(frame, CoverFrame) + [one for line in frame.lines for one in faults(line, CoverLine)]
        yield from (Found(where, one.broken(value), _MEND) for one, value in broken)
    for sighting in place.held.all_of(Sighting):
        where = f"sighting of {sighting.scientific_name}, {sighting.event_date}"
        if sighting.seen_from > today:
            yield Found(where, f"it begins on {sighting.seen_from}, which is after today, {today}", "look at the date")
        if sighting.seen_to < sighting.seen_from:
            yield Found(where, f"it ends on {sighting.seen_to}, before it begins", _MEND)
        if not (abs(sighting.geometry.x) <= 180 and abs(sighting.geometry.y) <= 90):
            yield Found(where, "it lies nowhere on the globe", _MEND)
        yield from (Found(where, one.broken(value), _MEND) for one, value in faults(sighting, Sighting))


def photos(place: LookedAt) -> Iterator[Found]:
    """Yield photos whose picture is gone or spoiled."""
    for photo in place.held.photos():
        if place.held.picture(photo.picture) is None:
            yield Found(
                f"photo {photo.file_name}",
                f"its picture is gone from photos/, or spoiled: {photo.picture}",
                "load the photo again with `habmap load photos DIR`, or unite with a copy that has it",
            )
