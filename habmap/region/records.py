"""What a region's commands answer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from habmap.work.region_account import PropertyAccount, RegionFault


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionTerrain:
    """Terrain of many stands (``habmap/region-terrain/1``).

    Attributes
    ----------
    stands, off_stands
        How many, and how many of them lie off the elevation: these have no figures.
    seconds, processor_seconds
        How long it took, and how long processors worked on parts that were done now [s].
    workers
        How many worked at the same time.
    parts, kept_parts, retried
        How many parts there were, how many of them were whole already, and how many were begun anew because their
        worker was lost.
    stands_per_core_second
        Of the parts that were done now; ``None`` where all were whole already.
    written
        The file.
    faults
        Stands off the elevation, at most `MOST_NAMED` of them by name.
    """

    stands: int
    off_stands: int
    seconds: float
    processor_seconds: float
    workers: int
    parts: int
    kept_parts: int
    retried: int
    stands_per_core_second: float | None
    written: str
    parts_folder: str
    faults: tuple[RegionFault, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionAccount:
    """The account of many properties (``habmap/region-account/1``)."""

    places: tuple[PropertyAccount, ...]
    total: PropertyAccount
    on: date
    seconds: float
    workers: int
    parts: int
    kept_parts: int
    retried: int
    written: tuple[str, ...]
    faults: tuple[RegionFault, ...]


#: Most faults that are named one by one.
MOST_NAMED = 200
