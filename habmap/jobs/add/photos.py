"""Load a folder of photos: each with its place, direction and day, a small bare copy of it kept with the property."""

from __future__ import annotations

import tempfile
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Final, Literal
from zoneinfo import ZoneInfo

import shapely
from shapely import Point
from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError, InputError, InputErrors
from habmap.jobs.photo_table import Placing, read_placings
from habmap.jobs.ports import Store
from habmap.land.grid import LocalGrid
from habmap.place.exif import CameraSaid, camera_said
from habmap.place.photo_folder import PLACING_TABLE, content_sha256, photo_bytes, read_folder
from habmap.place.pictures import KEPT_PX, KEPT_QUALITY, opened_jpeg, picture_name, small_picture
from habmap.place.userfiles import printable
from habmap.work.records import Photo, Unit

#: A photo farther than this from the property was taken elsewhere [m]; nearer, it may look in from a road.
NEAR_M: Final = 1_000.0
EARLIEST_YEAR: Final = 1900
#: What makes the id of a photo's first row.
FIRST_SAID: Final = (
    "sha256", "file_name", "taken_at", "geometry", "direction_deg", "direction_ref", "error_m", "unit_id", "is_private",
)  # fmt: skip
LeftOutKind = Literal["no position", "no date", "damaged", "not read", "elsewhere", "other content"]

PLACE_IT: Final = (
    f"put a table {PLACING_TABLE} into the folder with the columns file, lon, lat (and direction_deg, taken_at, "
    "unit_id, private where you know them), one row for each photo, and load the folder again"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A file that was not loaded: its path below the folder, what kind of reason, why, and how to mend it."""

    file: str
    kind: LeftOutKind
    why: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedPhoto:
    """A photo that was loaded; directions are clockwise from true (``T``) or magnetic (``M``) north [°]."""

    file: str
    unit_id: str | None
    taken_on: date
    lon: float
    lat: float
    direction_deg: float | None
    direction_ref: Literal["T", "M"] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AddPhotosResult:
    """What loading did.

    Attributes
    ----------
    loaded, already_there
        Photos that were new, and photos that were here already.
    photos
        The new ones.
    left_out
        Files that look like photos and were not loaded.
    other_files
        Files that are no photos, passed over.
    """

    kind: Literal["photos"] = "photos"
    loaded: int
    already_there: int
    photos: tuple[LoadedPhoto, ...]
    left_out: tuple[LeftOut, ...]
    other_files: int
    warnings: tuple[str, ...]


@dataclass(slots=True)
class _Load:
    """What is the same for all photos of one call, and what they add up to."""

    store: Store
    grid: LocalGrid
    units: tuple[Unit, ...]
    unit_shapes: tuple[BaseGeometry, ...]
    ground: BaseGeometry
    zone: ZoneInfo
    declination_deg: float | None
    overwrite: bool
    now: datetime
    workshop: Path
    known: dict[str, Photo]
    rows: dict[str, Photo] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    pictures: list[tuple[str, Path]] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    faults: list[HabmapError] = field(default_factory=list)
    already_there: int = 0


def add_photos(
    store: Store,
    *,
    folder: Path,
    now: datetime,
    declination_deg: float | None = None,
    overwrite: bool = False,
    progress: Callable[[float, str], None] | None = None,
) -> AddPhotosResult:
    """Load the JPEG photos of a folder and of the folders in it.

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
            mend="load them first with `habmap add units`",
        )  # fmt: skip
    zone = ZoneInfo(store.settings.place.timezone)
    placings: dict[str, Placing] = {}
    not_read: tuple[str, ...] = ()
    if found.table is not None:
        labels = {unit.unit_id for unit in units}
        placings, not_read = read_placings(found.table, files=found.jpegs, unit_ids=labels, zone=zone)
    with tempfile.TemporaryDirectory(prefix="habmap-") as workshop:
        load = _Load(
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
        if not_read:
            load.warnings.append(f"{PLACING_TABLE}: columns not read: {printable(', '.join(not_read), longest=400)}")
        for number, below in enumerate(found.jpegs):
            if progress is not None:
                progress(number / len(found.jpegs), printable(below))
            try:
                _take(load, below, photo_bytes(folder / below), placings.get(below))
            except InputError as error:
                mend = error.mend or "copy it from the camera again"
                load.left_out.append(LeftOut(file=printable(below), kind="damaged", why=_why(error), mend=mend))
        load.left_out += [_unread(below) for below in found.unread]
        if load.faults and found.table is not None:
            raise InputErrors(load.faults, where=str(found.table))
        _refuse_if_nothing_can_be_read(load, folder)
        store.append_with_pictures(list(load.rows.values()), _from_workshop(load.pictures))
    return AddPhotosResult(
        loaded=len(load.rows),
        already_there=load.already_there,
        photos=tuple(_loaded(load.files[sha256], photo) for sha256, photo in load.rows.items()),
        left_out=tuple(sorted(load.left_out, key=lambda one: (one.kind, one.file))),
        other_files=found.other_files,
        warnings=(*load.warnings, *_compass_words(load)),
    )


def _take(load: _Load, below: str, content: bytes, placing: Placing | None) -> None:
    """Read one photo and add its row, or list why not."""
    sha256 = content_sha256(content)
    name = picture_name(sha256)
    known = load.known.get(sha256)
    if sha256 in load.rows:
        _take_twin(load, below, content, placing)
        return
    if load.store.picture(Path(below).name) == content:
        _take_own_copy(load, below, placing)
        return
    picture_is_here = load.store.picture(name) is not None
    if known is not None and placing is None and not load.overwrite and picture_is_here:
        load.already_there += 1
        return
    image = opened_jpeg(content)
    said = camera_said(image, zone=load.zone)
    small = small_picture(image, long_side_px=KEPT_PX, quality=KEPT_QUALITY)
    row = known if known is not None and placing is None and not load.overwrite else None
    if row is None:
        row = _row(load, below, sha256, said, placing)
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
    _take_retold(load, below, known, row, placing)


def _take_retold(load: _Load, below: str, known: Photo, row: Photo, placing: Placing | None) -> None:
    """Take a row for a photo that is here already, where it says something else and that is wanted."""
    differing = _differences(known, row, with_unit=placing is not None and placing.unit_id is not None)
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


def _take_twin(load: _Load, below: str, content: bytes, placing: Placing | None) -> None:
    """Count a file that equals an earlier one of the folder; refuse it where the table says other things of it."""
    load.already_there += 1
    if placing is None:
        return
    sha256 = content_sha256(content)
    row = _row(load, below, sha256, camera_said(opened_jpeg(content), zone=load.zone), placing)
    taken = load.rows[sha256]
    differing = "" if row is None else _differences(taken, row, with_unit=placing.unit_id is not None)
    if differing:
        load.faults.append(
            InputError(
                f"the same picture lies in the folder twice, with another {differing}", where=placing.where,
                value=f"{printable(below)} and {printable(load.files[sha256])}",
                mend=f"take one of the two out of the folder, or say the same of both in {PLACING_TABLE}",
            )
        )  # fmt: skip


def _take_own_copy(load: _Load, below: str, placing: Placing | None) -> None:
    """Take what a table says of a copy that the property keeps: all that is left where the camera's file is lost."""
    known = next((photo for photo in load.known.values() if photo.picture == Path(below).name), None)
    if known is None or placing is None:
        load.already_there += 1
        return
    # no camera says anything in this copy: what is known stays, but for what the table says anew
    said = CameraSaid(
        lonlat=(known.geometry.x, known.geometry.y), no_position="", direction_deg=known.direction_deg,
        direction_ref=known.direction_ref, taken_at=known.taken_at, no_time="", error_m=known.error_m, doubts=(),
    )  # fmt: skip
    row = _row(load, below, known.sha256, said, placing)
    if row is not None:
        unit_id = placing.unit_id or (row.unit_id if placing.lonlat is not None else known.unit_id)
        row = replace(row, file_name=known.file_name, unit_id=unit_id)
        _take_retold(load, below, known, row, placing)


def _row(load: _Load, below: str, sha256: str, said: CameraSaid, placing: Placing | None) -> Photo | None:
    lonlat = placing.lonlat if placing is not None and placing.lonlat is not None else said.lonlat
    taken_at = placing.taken_at if placing is not None and placing.taken_at is not None else said.taken_at
    shown = printable(below)
    if lonlat is None:
        load.left_out.append(LeftOut(file=shown, kind="no position", why=said.no_position, mend=PLACE_IT))
        return None
    no_date = said.no_time if taken_at is None else _unlikely(taken_at, load.now)
    if taken_at is None or no_date:
        mend = f"say the day under taken_at in {PLACING_TABLE}"
        if placing is not None and placing.taken_at is not None:
            load.faults.append(InputError(no_date, where=placing.where, value=taken_at, mend="mend the date"))
            return None
        load.left_out.append(LeftOut(file=shown, kind="no date", why=no_date, mend=mend))
        return None
    point = Point(lonlat)
    spot = load.grid.to_grid(point)
    away_m = spot.distance(load.ground)
    if not away_m <= NEAR_M:
        why = f"it was taken {away_m / 1000:,.1f} km from the property"
        if placing is not None and placing.lonlat is not None:
            load.faults.append(
                InputError(why, where=placing.where, value=f"{lonlat[0]}, {lonlat[1]}",
                           mend="check the sign of the longitude, and which is lon and which lat")
            )  # fmt: skip
            return None
        load.left_out.append(LeftOut(file=shown, kind="elsewhere", why=why, mend=f"if that is wrong: {PLACE_IT}"))
        return None
    direction_deg, direction_ref = said.direction_deg, said.direction_ref
    if placing is not None and placing.direction_deg is not None:
        direction_deg, direction_ref = placing.direction_deg, "T"
    if direction_ref == "M" and direction_deg is not None and load.declination_deg is not None:
        direction_deg, direction_ref = (direction_deg + load.declination_deg) % 360, "T"
    named = None if placing is None else placing.unit_id
    known = load.known.get(sha256)
    # once private it stays so until somebody writes "no": a table that is silent on it opens nothing to the public
    is_private = known is not None and known.is_private
    if placing is not None and placing.is_private is not None:
        is_private = placing.is_private
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
        error_m=said.error_m if placing is None or placing.lonlat is None else None,
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


def _unit_at(load: _Load, spot: Point) -> str | None:
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


def _unread(below: str) -> LeftOut:
    suffix = Path(below).suffix.lower()
    if suffix in {".heic", ".heif", ".hif"}:
        why = "HEIC pictures cannot be read here"
        mend = "export or share them as JPEG (the position stays in them), or set the phone's camera to save JPEG"
    else:
        why, mend = f"{suffix[1:].upper()} pictures are not read", "save the photo as JPEG with its position kept"
    return LeftOut(file=printable(below), kind="not read", why=why, mend=mend)


def _refuse_if_nothing_can_be_read(load: _Load, folder: Path) -> None:
    """Raise where a folder has only files that no camera wrote or that are broken: a mistake, not a few bad ones."""
    if load.rows or load.already_there or any(one.kind not in ("damaged", "not read") for one in load.left_out):
        return
    faults = [InputError(one.why, where=one.file, mend=one.mend) for one in load.left_out]
    raise InputErrors(faults, where=printable(str(folder)))


def _from_workshop(pictures: Sequence[tuple[str, Path]]) -> Iterator[tuple[str, bytes]]:
    for name, path in pictures:
        yield name, path.read_bytes()


def _compass_words(load: _Load) -> tuple[str, ...]:
    words = []
    fresh = sum(photo.direction_ref == "M" for photo in load.rows.values())
    if fresh:
        words.append(
            f"{fresh} {'direction is' if fresh == 1 else 'directions are'} from magnetic north and kept so; with the "
            "declination of your place (--declination, east positive) they would be turned to true north"
        )
    kept = sum(photo.direction_ref == "M" for sha256, photo in load.known.items() if sha256 not in load.rows)
    if kept and load.declination_deg is not None:
        words.append(f"{kept} photos here already keep directions from magnetic north; add --overwrite to turn them")
    return tuple(words)


def _differences(known: Photo, row: Photo, *, with_unit: bool) -> str:
    """Return in words what two rows of one photo say differently; empty where nothing."""
    differs = {
        "date": known.taken_at.replace(microsecond=0) != row.taken_at.replace(microsecond=0),
        "position": known.geometry != row.geometry,
        "direction": (known.direction_deg, known.direction_ref) != (row.direction_deg, row.direction_ref),
        "privacy": known.is_private != row.is_private,
        "unit": with_unit and known.unit_id != row.unit_id,
    }
    return " and ".join(name for name, differ in differs.items() if differ)


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
