"""A folder of photos: each with its place, direction and day, a small bare copy of it kept with the property."""

from __future__ import annotations

import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import shapely
from shapely import Point

from habmap.errors import InputError, InputErrors, printable
from habmap.measures import so_many
from habmap.place.contents import Contents
from habmap.place.exif import CameraSaid, camera_said
from habmap.place.load.photos import (
    BroughtPhotos,
    LeftOut,
    LoadedPhoto,
    LoadPhotosResult,
    PhotoLoad,
    PhotoStatement,
    read_photo_statements,
)
from habmap.place.photo_folder import PHOTO_TABLE, content_sha256, photo_bytes, read_folder
from habmap.place.pictures import KEPT_PX, KEPT_QUALITY, opened_jpeg, picture_name, small_picture
from habmap.progress import Progress, counted
from habmap.records import Photo, differences


@contextmanager
def bring_photos(
    store: Contents,
    *,
    folder: Path,
    now: datetime,
    declination_deg: float | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> Iterator[BroughtPhotos]:
    """Read the JPEG photos of a folder and of the folders in it; nothing is written.

    Their small pictures lie in a workshop until the context is left.

    A photo that cannot be read or placed is listed and left out; the others are loaded, all of them or none. The
    person's own files stay as they are; the property keeps a copy of each, upright, at most 1,280 pixels long and
    without anything that the camera wrote into it.

    Parameters
    ----------
    folder
        Read with its sub-folders; a ``photos.csv`` in it counts before what the cameras wrote.
    declination_deg
        Magnetic declination, east positive [°]: directions from magnetic north are turned to true north by it. Without
        it they are kept as they are.
    overwrite
        A photo that is here already is written down anew with what is known now; the newest row counts.

    Raises
    ------
    InputError
        No units and no boundary are loaded, there are no photos in the folder, ``photos.csv`` has faults, or no photo
        of the folder could be read at all.
    """
    found = read_folder(folder)
    if not found.jpegs and not found.unread:
        raise InputError(
            "there is no photo in this folder", where=printable(str(folder)), value=f"{found.other_files} other files",
            allowed="JPEG files (.jpg, .jpeg)", mend="name the folder that the photos lie in",
        )  # fmt: skip
    units, boundary, grid = store.units(), store.boundary(), store.grid
    drawn = [unit.geometry for unit in units] + ([] if boundary is None else [boundary.geometry])
    if grid is None or not drawn:
        raise InputError(
            "no units are loaded yet, so no photo can find its place", where=printable(str(folder)),
            mend="load them first with `habmap load units`",
        )  # fmt: skip
    zone = ZoneInfo(store.settings.place.timezone)
    statements: dict[str, PhotoStatement] = {}
    not_read: list[str] = []
    if found.table is not None:
        labels = {unit.unit_id for unit in units}
        statements, not_read = read_photo_statements(found.table, files=found.jpegs, unit_ids=labels, zone=zone)
    with tempfile.TemporaryDirectory(prefix="habmap-") as workshop:
        load = PhotoLoad(
            store=store,
            grid=grid,
            units=units,
            unit_shapes=tuple(grid.to_grid(unit.geometry) for unit in units),
            ground=shapely.union_all([grid.to_grid(shape) for shape in drawn]),
            zone=zone,
            declination_deg=declination_deg,
            overwrite=overwrite,
            now=now,
            workshop=Path(workshop),
            known={photo.sha256: photo for photo in store.photos()},
        )
        load.warnings += [f"{PHOTO_TABLE}: {note}" for note in not_read]
        for below in counted(found.jpegs, progress, what="photos"):
            try:
                _take(load, below, photo_bytes(folder / below), statements.get(below))
            except InputError as error:
                mend = error.mend or "copy it from the camera again"
                load.left_out.append(LeftOut(file=printable(below), kind="damaged", why=_why(error), mend=mend))
        load.left_out += [_unread(below) for below in found.unread]
        if load.faults and found.table is not None:
            raise InputErrors(load.faults, where=str(found.table))
        _refuse_if_nothing_can_be_read(load, folder)
        yield BroughtPhotos(tuple(load.rows.values()), tuple(load.pictures), _result(load, found.other_files))


def _result(load: PhotoLoad, other_files: int) -> LoadPhotosResult:
    return LoadPhotosResult(
        loaded=len(load.rows),
        already_there=load.already_there,
        photos=tuple(_loaded(load.files[sha256], photo) for sha256, photo in load.rows.items()),
        left_out=tuple(sorted(load.left_out, key=lambda one: (one.kind, one.file))),
        other_files=other_files,
        warnings=(*load.warnings, *_compass_words(load)),
    )


def _take(load: PhotoLoad, below: str, content: bytes, statement: PhotoStatement | None) -> None:
    """Read one photo and add its row, or list why not."""
    sha256 = content_sha256(content)
    name = picture_name(sha256)
    known = load.known.get(sha256)
    if sha256 in load.rows:
        _take_twin(load, below, content, statement)
        return
    if load.store.picture(Path(below).name) == content:
        _take_own_copy(load, below, statement)
        return
    picture_is_here = load.store.picture(name) is not None
    if known is not None and statement is None and not load.overwrite and picture_is_here:
        load.already_there += 1
        return
    image = opened_jpeg(content)
    said = camera_said(image, zone=load.zone)
    small = small_picture(image, long_side_px=KEPT_PX, quality=KEPT_QUALITY)
    row = known if known is not None and statement is None and not load.overwrite else None
    if row is None:
        row = photo_row(load, below, sha256, said, statement)
    if row is None:
        return
    if known is None or not picture_is_here:  # a picture that is here without a row may be another writer's, who fails
        target = load.workshop / name
        target.write_bytes(small)
        load.pictures.append((name, target))
    if known is None:
        load.rows[sha256], load.files[sha256] = row, below
        load.warnings += [f"{printable(below)}: {doubt}" for doubt in said.doubts]
        return
    _take_retold(load, below, known, row, statement)


def _take_retold(load: PhotoLoad, below: str, known: Photo, row: Photo, statement: PhotoStatement | None) -> None:
    """Take a row for a photo that is here already, where it says something else and that is wanted."""
    differing = photo_differences(known, row, with_unit=statement is not None and statement.unit_id is not None)
    if not differing:
        load.already_there += 1
    elif load.overwrite:
        load.rows[known.sha256], load.files[known.sha256] = row, below
    else:
        load.left_out.append(
            LeftOut(
                file=printable(below),
                kind="other content",
                why=f"it is here already with another {differing}",
                mend="add --overwrite if what is said now is right",
            )
        )


def _take_twin(load: PhotoLoad, below: str, content: bytes, statement: PhotoStatement | None) -> None:
    """Count a file that equals an earlier one of the folder; refuse it where the table says other things of it."""
    load.already_there += 1
    if statement is None:
        return
    sha256 = content_sha256(content)
    row = photo_row(load, below, sha256, camera_said(opened_jpeg(content), zone=load.zone), statement)
    taken = load.rows[sha256]
    differing = "" if row is None else photo_differences(taken, row, with_unit=statement.unit_id is not None)
    if differing:
        load.faults.append(
            InputError(
                f"the same picture lies in the folder twice, with another {differing}", where=statement.where,
                value=f"{printable(below)} and {printable(load.files[sha256])}",
                mend=f"take one of the two out of the folder, or say the same of both in {PHOTO_TABLE}",
            )
        )  # fmt: skip


def _take_own_copy(load: PhotoLoad, below: str, statement: PhotoStatement | None) -> None:
    """Take what a table says of a copy that the property keeps: all that is left where the camera's file is lost."""
    known = next((photo for photo in load.known.values() if photo.picture == Path(below).name), None)
    if known is None or statement is None:
        load.already_there += 1
        return
    # no camera says anything in this copy: what is known stays, but for what the table says anew
    said = CameraSaid(
        lonlat=(known.geometry.x, known.geometry.y), no_position="", direction_deg=known.direction_deg,
        direction_ref=known.direction_ref, taken_at=known.taken_at, no_time="", error_m=known.error_m, doubts=(),
    )  # fmt: skip
    row = photo_row(load, below, known.sha256, said, statement)
    if row is not None:
        unit_id = statement.unit_id or (row.unit_id if statement.lonlat is not None else known.unit_id)
        row = replace(row, file_name=known.file_name, unit_id=unit_id)
        _take_retold(load, below, known, row, statement)


def _unread(below: str) -> LeftOut:
    suffix = Path(below).suffix.lower()
    if suffix in {".heic", ".heif", ".hif"}:
        why = "HEIC pictures cannot be read here"
        mend = "export or share them as JPEG (the position stays in them), or set the phone's camera to save JPEG"
    else:
        why, mend = f"{suffix[1:].upper()} pictures are not read", "save the photo as JPEG with its position kept"
    return LeftOut(file=printable(below), kind="not read", why=why, mend=mend)


def _refuse_if_nothing_can_be_read(load: PhotoLoad, folder: Path) -> None:
    """Raise where a folder has only files that no camera wrote or that are broken: a mistake, not a few bad ones."""
    if load.rows or load.already_there or any(one.kind not in ("damaged", "not read") for one in load.left_out):
        return
    faults = [InputError(one.why, where=one.file, mend=one.mend) for one in load.left_out]
    raise InputErrors(faults, where=printable(str(folder)))


def _compass_words(load: PhotoLoad) -> tuple[str, ...]:
    words = []
    fresh = sum(photo.direction_ref == "M" for photo in load.rows.values())
    if fresh:
        words.append(
            f"{so_many(fresh, 'direction is', 'directions are')} from magnetic north and kept so; with the "
            "declination of your place (--declination, east positive) they would be turned to true north"
        )
    kept = sum(photo.direction_ref == "M" for sha256, photo in load.known.items() if sha256 not in load.rows)
    if kept and load.declination_deg is not None:
        words.append(f"{kept} photos here already keep directions from magnetic north; add --overwrite to turn them")
    return tuple(words)


def _why(error: InputError) -> str:
    return error.what if error.value is None else f"{error.what} ({printable(error.value)})"


def _loaded(below: str, photo: Photo) -> LoadedPhoto:
    return LoadedPhoto(
        file=printable(below),
        unit_id=photo.unit_id,
        taken_on=photo.taken_on,
        lon=photo.geometry.x,
        lat=photo.geometry.y,
        direction_deg=photo.direction_deg,
        direction_ref=photo.direction_ref,
    )


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
