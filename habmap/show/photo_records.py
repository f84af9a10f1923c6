"""What a page shows of photo points; no file name, note or photographer of it reaches the page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from habmap.work.photo_pairs import FoundPoint


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhoto:
    """One picture: a bare JPEG (pixels, no tags), its size, and the day it was taken."""

    jpeg: bytes
    width_px: int
    height_px: int
    taken_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhotoPoint:
    """One photo point with the pictures that are shown of it."""

    point: FoundPoint
    before: PagePhoto
    after: PagePhoto | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePhotos:
    """The points to show, and in words what is not shown."""

    points: tuple[PagePhotoPoint, ...]
    missing: tuple[str, ...]
