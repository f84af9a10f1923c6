"""Photo points on the page: a wedge on the map for each, and the pairs of then and now below the account."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, Final

from habmap.measures import so_many
from habmap.records import Photo
from habmap.show.page import coordinates
from habmap.show.records import Page, PagePhoto, PagePhotoPoint, PagePhotos
from habmap.show.words import day_words, joined
from habmap.vocabulary import PRACTICE_NOUNS, WIND_WORDS, octant
from habmap.work.photo_pairs import FoundPoint

#: More lines than this between two pictures are counted, not told.
_MOST_TOLD: Final = 4
#: Long side of a picture [pixels] and its JPEG quality, tried one after the other until all pictures fit.
SIZES: Final = ((1100, 70), (800, 68), (560, 66), (360, 66), (280, 62), (220, 55))
#: Most that all pictures of a page may take, as they stand in it (base64) [bytes].
MOST_BYTES: Final = 1_200_000


def fitting_photos(
    points: Sequence[FoundPoint],
    shrunk: Callable[[Photo, int, int], PagePhoto | None],
    *,
    is_there: Callable[[Photo], bool],
    most_bytes: int = MOST_BYTES,
    sizes: Sequence[tuple[int, int]] = SIZES,
) -> PagePhotos:
    """Return the points whose pictures fit within a bound, made as small as need be; no more than those are in memory.

    Parameters
    ----------
    shrunk
        Gives a picture no longer than a side [pixels] at a JPEG quality; ``None`` where the file is no picture.
    is_there
        Tells whether a photo's picture is kept still.
    most_bytes
        Bound of all pictures; when room is short, pairs come before single photos, and the newest before older ones.
    sizes
        Long side [pixels] and quality, tried one after the other.
    """
    pictures = {id(point): [one for one in (point.before, point.after) if one is not None] for point in points}
    gone = sum(not is_there(photo) for photos in pictures.values() for photo in photos)
    kept = [point for point in points if all(map(is_there, pictures[id(point)]))]
    kept.sort(key=lambda point: (point.after is None, -point.photos[-1].taken_on.toordinal()))
    shown: list[PagePhotoPoint] = []
    for long_side_px, quality in sizes:
        shown, used = [], 0
        for point in kept:
            made = [shrunk(photo, long_side_px, quality) for photo in pictures[id(point)]]
            fit = [one for one in made if one is not None]
            used += sum(-(-len(one.jpeg) // 3) * 4 for one in fit) if len(fit) == len(made) else 0
            if used > most_bytes:
                break
            if len(fit) == len(made):
                shown.append(PagePhotoPoint(point=point, before=fit[0], after=fit[1] if len(fit) > 1 else None))
        if len(shown) == len(kept):
            break
    missing = []
    if left_out := len(kept) - len(shown):
        what = so_many(left_out, "photo point is", "photo points are")
        missing.append(f"{what} left out, so that this page stays light.")
    if gone:
        missing.append(f"{so_many(gone, 'picture')} of photo points cannot be found.")
    shown.sort(key=lambda one: (one.after is None, one.point.before.taken_at))
    return PagePhotos(points=tuple(shown), missing=tuple(missing))


def drawing(page: Page) -> list[dict[str, Any]]:
    """Return what the script needs of each point: where the wedge stands, how it is turned, and its words."""
    return [
        {
            "at": coordinates.pair((point.point.before.geometry.x, point.point.before.geometry.y)),
            "turn": None if (turn_deg := point.point.before.direction_deg) is None else round(turn_deg, 1),
            "pair": point.after is not None,
            "days": [photo.taken_on.isoformat() for photo in (point.before, point.after) if photo is not None],
            "first": f"Photo point {number}: {_view(point)}, {day_words(point.before.taken_on)}",
            "says": f"Photo point {number}: {_view(point)}, {_days(point)}",
        }
        for number, point in enumerate(page.photo_points, start=1)
    ]


def values(page: Page) -> dict[str, Any]:
    """Return what the template needs."""
    return {"photo_rows": [_row(number, point) for number, point in enumerate(page.photo_points, start=1)]}


def _row(number: int, point: PagePhotoPoint) -> dict[str, Any]:
    pictures = [_picture(point, point.before, is_before=True)]
    if point.after is not None:
        pictures.append(_picture(point, point.after, is_before=False))
    return {
        "number": number,
        "heading": _heading(point),
        "pictures": pictures,
        "between": _between(point),
        "is_pair": point.after is not None,
    }


def _picture(point: PagePhotoPoint, photo: PagePhoto, *, is_before: bool) -> dict[str, Any]:
    told = _when_beside_work(point, is_before=is_before) if point.after is not None else ""
    view = _view(point)
    month = day_words(photo.taken_on).split()[0]
    return {
        "source": f"data:image/jpeg;base64,{base64.b64encode(photo.jpeg).decode()}",
        "width": photo.width_px,
        "height": photo.height_px,
        "alt": f"{view[0].upper()}{view[1:]}, {month} {photo.taken_on.year}{f'; {told}' if told else ''}",
        "day": day_words(photo.taken_on),
        "told": told,
    }


def _view(point: PagePhotoPoint) -> str:
    """Return where the camera stood and looked, in words."""
    unit, first = point.point.unit, point.point.before
    spot = "outside the units" if unit is None else (unit.name or "").strip() or unit.unit_id
    if first.direction_deg is None:
        return f"photo {spot}" if unit is None else f"photo at {spot}"
    about = "about " if first.direction_ref == "M" else ""
    return f"looking {about}{WIND_WORDS[octant(first.direction_deg)]} from {spot}"


def _heading(point: PagePhotoPoint) -> str:
    view = _view(point)
    return f"{view[0].upper()}{view[1:]}"


def _days(point: PagePhotoPoint) -> str:
    if point.after is None:
        return day_words(point.before.taken_on)
    return f"{day_words(point.before.taken_on)} and {day_words(point.after.taken_on)}"


def _when_beside_work(point: PagePhotoPoint, *, is_before: bool) -> str:
    """Return what a picture came before or after; nothing where no work in view is logged in between."""
    work = point.point.work
    if not work:
        return ""
    entry = work[0] if is_before else work[-1]
    thing = f"the {PRACTICE_NOUNS[entry.practice]}"
    photo = point.before if is_before else point.after
    if photo is not None and photo.taken_on == entry.date:
        return f"on the day of {thing}"
    return f"{'before' if is_before else 'after'} {thing} of {day_words(entry.date)}"


def _between(point: PagePhotoPoint) -> str:
    """Return what was done in view between the two pictures, and which other days there are pictures of."""
    sentences = []
    work = point.point.work
    if len(work) > 2:  # one and two are told under the pictures themselves
        told = [f"the {PRACTICE_NOUNS[entry.practice]} of {day_words(entry.date)}" for entry in work[:_MOST_TOLD]]
        more = len(work) - len(told)
        if more:
            told.append(f"{so_many(more, 'more line')} of the log")
        sentences.append(f"In between, in view: {joined(told)}.")
    shown = {one.taken_on for one in (point.before, point.after) if one is not None}
    other_days = sorted({photo.taken_on for photo in point.point.photos} - shown)
    if other_days:
        sentences.append(f"Also photographed {_listed(other_days)}.")
    return " ".join(sentences)


def _listed(days: Sequence[date]) -> str:
    shown = [day_words(day) for day in days[:3]]
    more = len(days) - len(shown)
    return joined([*shown, f"on {more} other days"] if more else shown)
