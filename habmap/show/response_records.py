"""What a page tells of what came up, as plain records: figures by unit, no names of species, no places, no people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Moved = Literal["more", "less", "unsure"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PageShare:
    """A share of the ground with its 95 % limits [%]; limits ``None`` where nothing gives any."""

    pct: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PageResponse:
    """One unit before and after the first work on its ground; ``None`` = not read.

    Attributes
    ----------
    moved
        Whether native plants cover more or less after than before, beyond the 95 % limits of the difference; ``None``
        where there is nothing to compare.
    lead, more
        What was read, in sentences: the work and native cover; canopy and counts of species.
    coming_back
        What grows again, to stand beside the gain; empty where nobody looked.
    """

    unit_id: str
    title: str
    native_before: PageShare | None
    native_after: PageShare | None
    canopy_before: PageShare | None
    canopy_after: PageShare | None
    moved: Moved | None
    lead: str
    more: str
    coming_back: str
