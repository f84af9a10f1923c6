"""What was seen growing and living on the ground: sightings, and readings of plant cover by frames."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from habmap.records.kept import kept

if TYPE_CHECKING:
    from shapely import Point


@kept("sightings", "plants and animals seen, as Darwin Core occurrences", is_later=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One sighting of one species, its fields those of a Darwin Core occurrence.

    Attributes
    ----------
    uuid
        Identity: the ``occurrenceID`` where that is a UUID, else UUIDv5 of (place, what was written).
    occurrence_id
        ``occurrenceID`` as written, where it is no UUID.
    event_date
        ``eventDate`` as written; ``seen_from`` and ``seen_to`` are its first and last local day.
    individual_count
        ``None`` = nobody counted.
    is_present
        ``False`` where it was looked for and not found (``occurrenceStatus`` absent, or a count of 0).
    establishment_means
        Darwin Core's controlled value; ``None`` = nobody said.
    uncertainty_m
        ``coordinateUncertaintyInMeters``: radius around the point that holds the true place [m].
    geometry
        WGS 84 lon/lat. Never leaves the owner's own copy.
    """

    uuid: str
    occurrence_id: str | None = None
    event_date: str
    seen_from: date
    seen_to: date
    scientific_name: str
    vernacular_name: str | None = None
    individual_count: int | None = None
    is_present: bool = True
    establishment_means: str | None = None
    uncertainty_m: float | None = None
    recorded_by: str | None = None
    remarks: str | None = None
    geometry: Point
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverLine:
    """One plant, or one group of ground cover, in one frame.

    Attributes
    ----------
    species, group
        One of them at least; with a species the group only says what it belongs to.
    cover_class
        Daubenmire's class 1–6; ``None`` where the cover was written in percent.
    cover_pct
        Share of the frame it covers: as written, or the midpoint of the class [%].
    native
        As the reader wrote it; ``None`` = unknown, or no plant at all (bare ground, litter).
    """

    species: str | None = None
    group: str | None = None
    cover_class: int | None = None
    cover_pct: float
    native: bool | None = None


@kept("cover_frames", "frames read for plant cover, the plants of each as one JSON list", is_later=True)
@dataclass(frozen=True, slots=True, kw_only=True)
class CoverFrame:
    """One frame (quadrat) laid on the ground on one day and what covered it; no lines = nothing grew in it.

    Attributes
    ----------
    reading_id, frame
        The round of reading and the frame's own number in it; together they are its identity.
    unit_id
        Unit it lies in, named or found by place.
    canopy_pct
        Crown cover of cedars overhead at the frame; ``None`` = not read [%].
    geometry
        WGS 84 lon/lat; ``None`` where only the unit was given.
    """

    uuid: str
    reading_id: str
    frame: str
    unit_id: str
    read_on: date
    canopy_pct: float | None = None
    lines: tuple[CoverLine, ...] = ()
    geometry: Point | None = None
    recorded_at: datetime
