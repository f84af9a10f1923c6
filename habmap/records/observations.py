"""What was seen growing and living on the ground: sightings, and readings of plant cover by frames."""

from __future__ import annotations

from dataclasses import MISSING, dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Final

from habmap.records.facts import fact
from habmap.records.kept import kept
from habmap.records.rows import LONGEST_LABEL, SHARE

if TYPE_CHECKING:
    from shapely import Point


#: Controlled values of ``establishmentMeans`` (TDWG Establishment Means Controlled Vocabulary, 2021-09-01).
ESTABLISHMENT_MEANS: Final = (
    "native", "nativeReintroduced", "introduced", "introducedAssistedColonisation", "vagrant", "uncertain",
)  # fmt: skip
#: Daubenmire's cover classes: lowest and highest cover [%].
CLASS_LIMITS_PCT: Final = {
    1: (0.0, 5.0), 2: (5.0, 25.0), 3: (25.0, 50.0), 4: (50.0, 75.0), 5: (75.0, 95.0), 6: (95.0, 100.0),
}  # fmt: skip
#: A circle wider than a continent is no place [m].
MOST_UNCERTAIN_M: Final = 10_000_000.0


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
    occurrence_id: str | None = fact("occurrenceID", column="occurrenceID", longest=400)
    event_date: str = fact("eventDate", default=MISSING, column="eventDate", longest=100)
    seen_from: date
    seen_to: date
    scientific_name: str = fact("species", default=MISSING, column="scientificName", longest=300)
    vernacular_name: str | None = fact("plain name", column="vernacularName", longest=300)
    individual_count: int | None = fact("count", column="individualCount", low=0, high=1_000_000_000)
    is_present: bool = True
    establishment_means: str | None = fact(
        "establishment means", column="establishmentMeans", choices=ESTABLISHMENT_MEANS
    )
    uncertainty_m: float | None = fact(
        "uncertainty", unit="m", column="coordinateUncertaintyInMeters", low=0, is_above=True, high=MOST_UNCERTAIN_M
    )
    recorded_by: str | None = fact("recorded by", column="recordedBy")
    remarks: str | None = fact("remarks", column="occurrenceRemarks", is_long=True)
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

    species: str | None = fact("species", longest=300)
    group: str | None = fact("group", longest=100)
    cover_class: int | None = fact(
        "cover class",
        low=min(CLASS_LIMITS_PCT),
        high=max(CLASS_LIMITS_PCT),
        help="; ".join(f"{number}: {low:g} to {high:g}%" for number, (low, high) in CLASS_LIMITS_PCT.items()),
    )
    cover_pct: float = fact("cover", default=MISSING, **SHARE)
    native: bool | None = None


@kept(
    "cover_frames",
    "frames read for plant cover, the plants of each as one JSON list",
    noun="frame read for cover",
    nouns="frames read for cover",
    is_later=True,
)
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
    reading_id: str = fact("reading", default=MISSING, column="reading_id", longest=LONGEST_LABEL)
    frame: str = fact("frame", default=MISSING, longest=100)
    unit_id: str
    read_on: date = fact("day", default=MISSING, column="date")
    canopy_pct: float | None = fact("canopy", **SHARE)
    lines: tuple[CoverLine, ...] = ()
    geometry: Point | None = None
    recorded_at: datetime
