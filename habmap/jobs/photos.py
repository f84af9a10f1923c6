"""Photo points: which photos show one spot, which is before and which after, and the work in between that they show."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from habmap.errors import InputError
from habmap.jobs.ports import Store
from habmap.place.pictures import shrunk_jpeg
from habmap.records import Photo
from habmap.show.page.photos import MOST_BYTES, SIZES, fitting_photos
from habmap.show.records import PagePhoto, PagePhotos
from habmap.vocabulary import Audience
from habmap.work.ledger import effective_entries, line_numbers
from habmap.work.photo_pairs import FoundPoint, PhotosResult, photos_listed
from habmap.work.photo_pairs import found_points as points_of


def photos(store: Store, *, on: dt.date | None = None) -> PhotosResult:
    """Return the photo points with their pairs, in the order of their first photo.

    Parameters
    ----------
    on
        Only photos and work up to this day; ``None``: all.
    """
    return photos_listed(
        found_points(store, on=on),
        place=store.settings.place.name,
        on=on,
        sigma_m=store.settings.gps.sigma_m,
        numbers=line_numbers(store.entries()),
        is_there=lambda photo: store.picture(photo.picture) is not None,
    )


def found_points(store: Store, *, on: dt.date | None = None) -> tuple[FoundPoint, ...]:
    """Return the photo points in the order of their first photo."""
    return points_of(
        [photo for photo in store.photos() if on is None or photo.taken_on <= on],
        store.units(on),
        store.features(),
        [entry for entry in effective_entries(store.entries()) if on is None or entry.date <= on],
        grid=store.grid,
        sigma_m=store.settings.gps.sigma_m,
    )


def page_photos(
    store: Store,
    *,
    audience: Audience,
    on: dt.date | None = None,
    most_bytes: int = MOST_BYTES,
    sizes: Sequence[tuple[int, int]] = SIZES,
    points: Sequence[FoundPoint] | None = None,
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
    sizes
        Long side of the pictures [pixels] and their JPEG quality, tried one after the other.
    points
        Only these; ``None``: all.
    """

    def shrunk(photo: Photo, long_side_px: int, quality: int) -> PagePhoto | None:
        try:
            jpeg, size = shrunk_jpeg(store.picture(photo.picture) or b"", long_side_px=long_side_px, quality=quality)
        except InputError:
            return None  # somebody else's file under our name; `check` and the list of photos tell of pictures
        return PagePhoto(jpeg=jpeg, width_px=size[0], height_px=size[1], taken_on=photo.taken_on)

    chosen = found_points(store, on=on) if points is None else points
    return fitting_photos(
        [point for point in chosen if audience == "owner" or not point.is_private],
        shrunk,
        is_there=lambda photo: store.picture(photo.picture) is not None,
        most_bytes=most_bytes,
        sizes=sizes,
    )
