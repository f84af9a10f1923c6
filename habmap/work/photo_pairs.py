"""Photo points on the ground: the unit they stand in, what work shows between their photos, who may see them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.records import Entry, Feature, Photo, Unit
from habmap.vocabulary import STATEMENTS
from habmap.work.photo_points import SAME_DIRECTION_DEG, SEEN_AREA_M2, after_of, photo_points, same_spot_m, seen_ground
from habmap.work.public_copy import private_shapes

#: A photo point nearer to a nest, grave, cultural or other sensitive feature is not for the public [m], nor one that
#: looks at such a feature from less than this.
PRIVATE_NEAR_M: Final = 150.0
PRIVATE_VIEW_M: Final = 400.0
PRIVATE_VIEW_DEG: Final = 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPoint:
    """One photo point.

    Attributes
    ----------
    unit
        The unit it stands in, as drawn now; ``None`` = outside every unit.
    photos
        Oldest first.
    before, after
        The earliest, and the first of the latest day; ``after`` is ``None`` where all are of one day.
    work
        Log lines from the day of ``before`` to that of ``after`` on ground in view, oldest first.
    is_private
        Whether the point or any of its photos stays out of everything made for the public.
    """

    unit: Unit | None
    photos: tuple[Photo, ...]
    work: tuple[Entry, ...]
    is_private: bool

    @property
    def before(self) -> Photo:
        return self.photos[0]

    @property
    def after(self) -> Photo | None:
        return after_of(self.photos)


@dataclass(frozen=True, slots=True, kw_only=True)
class PointPhoto:
    """One photo of a point."""

    file_name: str
    taken_on: dt.date
    picture: str
    picture_there: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PointWork:
    """One log line between before and after; ``number`` is what people call it by."""

    entry_id: str
    number: int
    date: dt.date
    practice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PointLine:
    """One photo point as it is listed; ``before`` and ``after`` are days, ``after`` ``None`` where there is no pair."""

    number: int
    unit_id: str | None
    lon: float
    lat: float
    direction_deg: float | None
    direction_ref: Literal["T", "M"] | None
    before: dt.date
    after: dt.date | None
    photos: tuple[PointPhoto, ...]
    work_between: tuple[PointWork, ...]
    for_public: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotosResult:
    """All photo points; ``same_spot_m`` and ``same_direction_deg`` say what counts as one spot and one direction."""

    place: str
    on: dt.date | None
    photos: int
    pairs: int
    same_spot_m: float
    same_direction_deg: float
    points: tuple[PointLine, ...]


def found_points(
    photos: Sequence[Photo],
    units: Sequence[Unit],
    features: Sequence[Feature],
    entries: Sequence[Entry],
    *,
    grid: LocalGrid | None,
    sigma_m: float,
) -> tuple[FoundPoint, ...]:
    """Return the photo points in the order of their first photo.

    Parameters
    ----------
    units
        As drawn now.
    entries
        Lines of the log that count.
    sigma_m
        Standard deviation of a fix per axis [m].
    """
    if grid is None or not photos:
        return ()
    spots = {photo.uuid: grid.to_grid(photo.geometry) for photo in photos}
    shapes = [grid.to_grid(unit.geometry) for unit in units]
    private = private_shapes(features, grid)
    log = [
        entry
        for entry in sorted(entries, key=lambda entry: entry.date)
        if entry.patch is not None and entry.practice not in STATEMENTS
    ]
    patches = [grid.to_grid(entry.patch) for entry in log if entry.patch is not None]
    tree = shapely.STRtree(patches)

    def in_view(before: Photo, after: Photo | None) -> tuple[Entry, ...]:
        if after is None:
            return ()
        view = seen_ground(spots[before.uuid].x, spots[before.uuid].y, before.direction_deg)
        return tuple(
            log[number]
            for number in sorted(int(found) for found in tree.query(view))
            if before.taken_on <= log[number].date <= after.taken_on
            and shapely.intersection(patches[number], view).area >= SEEN_AREA_M2
        )

    return tuple(
        FoundPoint(
            unit=_unit(members[0], spots[members[0].uuid], units, shapes),
            photos=members,
            work=in_view(members[0], after_of(members)),
            is_private=any(
                photo.is_private or _looks_on_private(photo, spots[photo.uuid], private) for photo in members
            ),
        )
        for members in photo_points(photos, spots, within_m=same_spot_m(sigma_m))
    )


def _unit(photo: Photo, spot: Point, units: Sequence[Unit], shapes: Sequence[BaseGeometry]) -> Unit | None:
    """Return the unit that the photo was given to, or, where that is no more, the one that covers its spot now."""
    for unit in units:
        if unit.unit_id == photo.unit_id:
            return unit
    return next((unit for unit, shape in zip(units, shapes, strict=True) if shape.covers(spot)), None)


def _looks_on_private(photo: Photo, spot: Point, private: Sequence[BaseGeometry]) -> bool:
    view = seen_ground(spot.x, spot.y, photo.direction_deg, far_m=PRIVATE_VIEW_M, wide_deg=PRIVATE_VIEW_DEG)
    return any(spot.distance(shape) <= PRIVATE_NEAR_M or view.intersects(shape) for shape in private)


def photos_listed(
    found: Sequence[FoundPoint],
    *,
    place: str,
    on: dt.date | None,
    sigma_m: float,
    numbers: Mapping[str, int],
    is_there: Callable[[Photo], bool],
) -> PhotosResult:
    """Return photo points as they are listed; ``numbers`` are those of log lines by their ``entry_id``.

    ``is_there`` tells whether a photo's picture is kept still.
    """
    lines = []
    for number, point in enumerate(found, start=1):
        first = point.before
        pictures = [
            PointPhoto(
                file_name=photo.file_name,
                taken_on=photo.taken_on,
                picture=photo.picture,
                picture_there=is_there(photo),
            )
            for photo in point.photos
        ]
        work = [
            PointWork(entry_id=entry.entry_id, number=numbers[entry.entry_id], date=entry.date, practice=entry.practice)
            for entry in point.work
        ]
        lines.append(
            PointLine(
                number=number,
                unit_id=None if point.unit is None else point.unit.unit_id,
                lon=first.geometry.x,
                lat=first.geometry.y,
                direction_deg=first.direction_deg,
                direction_ref=first.direction_ref,
                before=first.taken_on,
                after=None if point.after is None else point.after.taken_on,
                photos=tuple(pictures),
                work_between=tuple(work),
                for_public=not point.is_private,
            )
        )
    return PhotosResult(
        place=place,
        on=on,
        photos=sum(len(point.photos) for point in found),
        pairs=sum(point.after is not None for point in found),
        same_spot_m=same_spot_m(sigma_m),
        same_direction_deg=SAME_DIRECTION_DEG,
        points=tuple(lines),
    )
