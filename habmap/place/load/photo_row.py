"""A photo's row, from what its camera wrote and what a person said of it, which counts first."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from shapely import Point

from habmap.errors import InputError, printable
from habmap.place.exif import CameraSaid
from habmap.place.load.photo_records import LeftOut, PhotoLoad
from habmap.place.load.photos import PhotoStatement
from habmap.place.photo_folder import PHOTO_TABLE
from habmap.place.pictures import picture_name
from habmap.records import Photo, differences

#: A photo farther than this from the property was taken elsewhere [m]; nearer, it may look in from a road.
NEAR_M: Final = 1_000.0
EARLIEST_YEAR: Final = 1900
#: What makes the id of a photo's first row.
FIRST_SAID: Final = (
    "sha256", "file_name", "taken_at", "geometry", "direction_deg", "direction_ref", "error_m", "unit_id", "is_private",
)  # fmt: skip
PLACE_IT: Final = (
    f"put a table {PHOTO_TABLE} into the folder with the columns file, lon, lat (and direction_deg, taken_at, "
    "unit_id, private where you know them), one row for each photo, and load the folder again"
)


def photo_row(
    load: PhotoLoad, below: str, sha256: str, said: CameraSaid, statement: PhotoStatement | None
) -> Photo | None:
    """Return a photo's row; ``None`` after listing in the load why there is none.

    Parameters
    ----------
    below, sha256
        The file's path below the folder, and the digest of its content.
    said
        What the camera wrote.
    statement
        What a person said of it; a fault in that is a fault of the whole load.
    """
    lonlat = statement.lonlat if statement is not None and statement.lonlat is not None else said.lonlat
    taken_at = statement.taken_at if statement is not None and statement.taken_at is not None else said.taken_at
    shown = printable(below)
    if lonlat is None:
        load.left_out.append(LeftOut(file=shown, kind="no position", why=said.no_position, mend=PLACE_IT))
        return None
    no_date = said.no_time if taken_at is None else _unlikely(taken_at, load.now)
    if taken_at is None or no_date:
        mend = f"say the day under taken_at in {PHOTO_TABLE}"
        if statement is not None and statement.taken_at is not None:
            load.faults.append(InputError(no_date, where=statement.where, value=taken_at, mend="mend the date"))
            return None
        load.left_out.append(LeftOut(file=shown, kind="no date", why=no_date, mend=mend))
        return None
    point = Point(lonlat)
    spot = load.grid.to_grid(point)
    away_m = spot.distance(load.ground)
    if not away_m <= NEAR_M:
        why = f"it was taken {away_m / 1000:,.1f} km from the property"
        if statement is not None and statement.lonlat is not None:
            load.faults.append(
                InputError(why, where=statement.where, value=f"{lonlat[0]}, {lonlat[1]}",
                           mend="check the sign of the longitude, and which is lon and which lat")
            )  # fmt: skip
            return None
        load.left_out.append(LeftOut(file=shown, kind="elsewhere", why=why, mend=f"if that is wrong: {PLACE_IT}"))
        return None
    direction_deg, direction_ref = said.direction_deg, said.direction_ref
    if statement is not None and statement.direction_deg is not None:
        direction_deg, direction_ref = statement.direction_deg, "T"
    if direction_ref == "M" and direction_deg is not None and load.declination_deg is not None:
        direction_deg, direction_ref = (direction_deg + load.declination_deg) % 360, "T"
    named = None if statement is None else statement.unit_id
    known = load.known.get(sha256)
    # once private it stays so until somebody writes "no": a table that is silent on it opens nothing to the public
    is_private = known is not None and known.is_private
    if statement is not None and statement.is_private is not None:
        is_private = statement.is_private
    row = Photo(
        uuid=str(uuid.uuid4()),
        file_name=printable(Path(below).name, longest=200),
        sha256=sha256,
        picture=picture_name(sha256),
        taken_at=taken_at.astimezone(UTC),
        taken_on=taken_at.astimezone(load.zone).date(),
        geometry=point,
        direction_deg=direction_deg,
        direction_ref=direction_ref,
        error_m=said.error_m if statement is None or statement.lonlat is None else None,
        unit_id=named or _unit_at(load, spot),
        is_private=is_private,
        recorded_at=load.now,
    )
    if known is not None:
        return row
    # what a photo's first row says makes its id: copies of the place that say the same of it hold one row, and copies
    # that do not can still be joined
    content = "\x1f".join(f"{getattr(row, name)}" for name in FIRST_SAID)
    return replace(row, uuid=str(uuid.uuid5(uuid.UUID(load.store.place_id), f"photo\x1f{content}")))


def photo_differences(known: Photo, row: Photo, *, with_unit: bool) -> str:
    """Return in words what two rows of one photo say differently; empty where nothing."""
    besides = ("uuid", "file_name", "taken_on", "error_m", "supersedes", *(() if with_unit else ("unit_id",)))
    whole = [replace(one, taken_at=one.taken_at.replace(microsecond=0)) for one in (known, row)]
    return " and ".join(dict.fromkeys(one.name for one in differences(*whole, besides=besides)))


def _unit_at(load: PhotoLoad, spot: Point) -> str | None:
    """Return the unit a fix lies in, or the nearest within the fix's own error (three sigmas)."""
    if not load.units:
        return None
    away_m = [spot.distance(shape) for shape in load.unit_shapes]
    nearest = min(range(len(away_m)), key=lambda number: (away_m[number], load.units[number].unit_id))
    return load.units[nearest].unit_id if away_m[nearest] <= 3 * load.store.settings.gps.sigma_m else None


def _unlikely(taken_at: datetime, now: datetime) -> str:
    if taken_at > now + timedelta(days=1):
        return f"its date, {taken_at.date().isoformat()}, is still to come: the camera's clock is wrong"
    if taken_at.year < EARLIEST_YEAR:
        return f"its date, {taken_at.date().isoformat()}, is before there were such cameras"
    return ""
