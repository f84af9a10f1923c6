"""The photo points of the map page: small pictures within a bound, and for the public none that tells too much."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from habmap.errors import InputError
from habmap.jobs.photos import FoundPoint, found_points
from habmap.jobs.ports import Store
from habmap.place.pictures import opened_jpeg, small_picture
from habmap.records import Photo
from habmap.show.photo_records import PagePhoto, PagePhotoPoint
from habmap.show.records import Audience

#: Long side of a picture [pixels] and its JPEG quality, tried one after the other until all pictures fit.
SIZES: Final = ((360, 70), (280, 62), (220, 55))
#: Most that all pictures of a page may take, as they stand in it (base64) [bytes].
MOST_BYTES: Final = 1_200_000


@dataclass(frozen=True, slots=True)
class PagePhotos:
    """The points to show, and in words what is not shown."""

    points: tuple[PagePhotoPoint, ...]
    missing: tuple[str, ...]


def page_photos(
    store: Store, *, audience: Audience, on: date | None = None, most_bytes: int = MOST_BYTES
) -> PagePhotos:
    """Return the photo points of a page, pairs first, each group in the order of its first photo.

    Parameters
    ----------
    audience
        For the public no point that is marked private, or stands near or looks at a nest, grave, cultural or other
        sensitive feature.
    on
        Only photos and work up to this day.
    most_bytes
        Bound of all pictures; beyond it they are made smaller, then single photos and the oldest pairs stay out.
    """
    found = [point for point in found_points(store, on=on) if audience == "owner" or not point.is_private]
    # when room is short, pairs come before single photos, and the newest before older ones
    wanted = sorted(found, key=lambda point: (point.after is None, -point.photos[-1].taken_on.toordinal()))
    kept, gone = _readable(store, wanted)
    shown: list[tuple[FoundPoint, PagePhotoPoint]] = []
    for long_side_px, quality in SIZES:
        shown = _within(store, kept, long_side_px, quality, most_bytes)
        if len(shown) == len(kept):
            break
    missing = []
    if len(shown) < len(kept):
        count = len(kept) - len(shown)
        missing.append(
            f"{count} photo {'point is' if count == 1 else 'points are'} left out, so that this page stays light."
        )
    if gone:
        missing.append(f"{gone} {'picture' if gone == 1 else 'pictures'} of photo points cannot be found.")
    shown.sort(key=lambda both: (both[0].after is None, both[0].before.taken_at))
    return PagePhotos(tuple(point for _, point in shown), tuple(missing))


def _readable(store: Store, points: Sequence[FoundPoint]) -> tuple[list[FoundPoint], int]:
    """Return the points whose pictures are there, and how many pictures are not; none is held in memory."""
    kept: list[FoundPoint] = []
    gone = 0
    for point in points:
        names = [photo.picture for photo in (point.before, point.after) if photo is not None]
        missing = sum(store.picture(name) is None for name in names)
        gone += missing
        if not missing:
            kept.append(point)
    return kept, gone


def _within(
    store: Store, points: Sequence[FoundPoint], long_side_px: int, quality: int, most_bytes: int
) -> list[tuple[FoundPoint, PagePhotoPoint]]:
    """Return as many points as fit, those that come first."""
    shown: list[tuple[FoundPoint, PagePhotoPoint]] = []
    used = 0
    for point in points:
        try:
            before = _picture(store, point.before, long_side_px, quality)
            after = None if point.after is None else _picture(store, point.after, long_side_px, quality)
        except InputError:
            continue  # somebody else's file under our name; `check` and the list of photos tell of pictures
        used += sum(-(-len(one.jpeg) // 3) * 4 for one in (before, after) if one is not None)
        if used > most_bytes:
            break
        shown.append((point, _page_point(point, before, after)))
    return shown


def _picture(store: Store, photo: Photo, long_side_px: int, quality: int) -> PagePhoto:
    from PIL import Image

    jpeg = small_picture(opened_jpeg(store.picture(photo.picture) or b""), long_side_px=long_side_px, quality=quality)
    with Image.open(io.BytesIO(jpeg)) as made:
        width_px, height_px = made.size
    return PagePhoto(jpeg=jpeg, width_px=width_px, height_px=height_px, taken_on=photo.taken_on)


def _page_point(point: FoundPoint, before: PagePhoto, after: PagePhoto | None) -> PagePhotoPoint:
    shown = {point.before.taken_on} | ({point.after.taken_on} if point.after is not None else set())
    unit = point.unit
    return PagePhotoPoint(
        unit_id=None if unit is None else unit.unit_id,
        unit_title=None if unit is None else (unit.name or "").strip() or unit.unit_id,
        lonlat=(point.before.geometry.x, point.before.geometry.y),
        direction_deg=point.before.direction_deg,
        direction_ref=point.before.direction_ref,
        before=before,
        after=after,
        other_days=tuple(sorted({photo.taken_on for photo in point.photos} - shown)),
        work=tuple((entry.date, entry.practice) for entry in point.work),
        is_private=point.is_private,
    )
