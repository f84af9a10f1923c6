"""Photo points on the page: a wedge on the map for each, and the pairs of then and now below the account."""

from __future__ import annotations

import base64
from datetime import date
from typing import Any, Final

from habmap.show.photo_records import PagePhoto, PagePhotoPoint
from habmap.show.records import Page
from habmap.show.words import day_words, joined
from habmap.vocabulary import PRACTICE_NOUNS, WIND_WORDS, octant

#: More lines than this between two pictures are counted, not told.
_TOLD: Final = 4


def drawing(page: Page) -> list[dict[str, Any]]:
    """Return what the script needs of each point: where the wedge stands, how it is turned, and its words."""
    return [
        {
            "at": [round(point.lonlat[0], 6), round(point.lonlat[1], 6)],
            "turn": None if point.direction_deg is None else round(point.direction_deg, 1),
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
    told = _told(point, is_before=is_before) if point.after is not None else ""
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
    spot = point.unit_title or "outside the units"
    if point.direction_deg is None:
        return f"photo at {spot}" if point.unit_title else f"photo {spot}"
    about = "about " if point.direction_ref == "M" else ""
    return f"looking {about}{WIND_WORDS[octant(point.direction_deg)]} from {spot}"


def _heading(point: PagePhotoPoint) -> str:
    view = _view(point)
    return f"{view[0].upper()}{view[1:]}"


def _days(point: PagePhotoPoint) -> str:
    if point.after is None:
        return day_words(point.before.taken_on)
    return f"{day_words(point.before.taken_on)} and {day_words(point.after.taken_on)}"


def _told(point: PagePhotoPoint, *, is_before: bool) -> str:
    """Return what a picture came before or after; nothing where no work in view is logged in between."""
    if not point.work:
        return ""
    day, practice = point.work[0] if is_before else point.work[-1]
    thing = f"the {PRACTICE_NOUNS[practice]}"
    photo = point.before if is_before else point.after
    if photo is not None and photo.taken_on == day:
        return f"on the day of {thing}"
    return f"{'before' if is_before else 'after'} {thing} of {day_words(day)}"


def _between(point: PagePhotoPoint) -> str:
    """Return what was done in view between the two pictures, and which other days there are pictures of."""
    sentences = []
    if len(point.work) > 2:  # one and two are told under the pictures themselves
        told = [f"the {PRACTICE_NOUNS[practice]} of {day_words(day)}" for day, practice in point.work[:_TOLD]]
        more = len(point.work) - len(told)
        if more:
            told.append(f"{more} more {'line' if more == 1 else 'lines'} of the log")
        sentences.append(f"In between, in view: {joined(told)}.")
    if point.other_days:
        sentences.append(f"Also photographed {_listed(point.other_days)}.")
    return " ".join(sentences)


def _listed(days: tuple[date, ...]) -> str:
    shown = [day_words(day) for day in days[:3]]
    more = len(days) - len(shown)
    return joined([*shown, f"on {more} other days"] if more else shown)
