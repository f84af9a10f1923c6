"""What a page shows of photo points, as plain records; there is no file name, note or photographer among them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhoto:
    """One picture: a bare JPEG (pixels, no tags), its size, and the day it was taken."""

    jpeg: bytes
    width_px: int
    height_px: int
    taken_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhotoPoint:
    """One photo point.

    Attributes
    ----------
    unit_id, unit_title
        The unit it stands in; ``None`` = outside every unit.
    lonlat
        Where it stands, WGS 84 [°].
    direction_deg, direction_ref
        Where it looks, from true (``T``) or magnetic (``M``) north.
    before, after
        The pictures; ``after`` is ``None`` where there is no second day.
    other_days
        Days of further photos of the point that are not shown.
    work
        (day, practice) of what was done on the ground in view from the first to the last day, oldest first.
    is_private
        Whether the public must not see it.
    """

    unit_id: str | None
    unit_title: str | None
    lonlat: tuple[float, float]
    direction_deg: float | None
    direction_ref: Literal["T", "M"] | None
    before: PagePhoto
    after: PagePhoto | None
    other_days: tuple[date, ...]
    work: tuple[tuple[date, str], ...]
    is_private: bool
