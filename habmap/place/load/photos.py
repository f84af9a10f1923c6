"""``photos.csv`` (or .xlsx, .ods), in which a person says where, when and which way photos were taken."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from pathlib import Path
from typing import Final, Literal
from zoneinfo import ZoneInfo

from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError
from habmap.land.grid import LocalGrid
from habmap.place.contents import Contents
from habmap.place.load.columns import known_units_words
from habmap.place.load.engine import open_rows
from habmap.place.load.spec import PLACED, Column, ReadRow, TableSpec
from habmap.place.load.table import read_table
from habmap.records import Photo, Unit, facts


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoStatement:
    """What a person says of one photo; ``None``: as the camera has it.

    ``lonlat`` is WGS 84 [°], ``direction_deg`` from true north.
    """

    where: str
    lonlat: tuple[float, float] | None
    direction_deg: float | None
    taken_at: datetime | None
    unit_id: str | None
    is_private: bool | None


PHOTOS: Final = TableSpec(
    kind="photos",
    noun="photo",
    record=PhotoStatement,
    columns=(
        Column("file", is_required=True),
        *PLACED[1:],
        PLACED[0],
        *(Column.of(facts(Photo)[name]) for name in ("direction_deg", "taken_at", "is_private")),
    ),
    mend="name the column with the photos' file names `file`",
)


def read_photo_statements(
    path: Path, *, files: Collection[str], unit_ids: Collection[str], zone: tzinfo
) -> tuple[dict[str, PhotoStatement], list[str]]:
    """Return what the table says, by the photo's path below the folder, and notes on it.

    Parameters
    ----------
    path
        A table with ``file`` (path below the folder, or the bare name where only one file has it) and any of ``lon``,
        ``lat``, ``direction_deg`` (from true north), ``taken_at`` (ISO, local unless it names an offset; a day alone is
        noon of it), ``unit_id``, ``private`` (yes: never on anything public; blank: as it was).
    files
        The photos there are.
    zone
        Of the place.

    Raises
    ------
    InputErrors
        Every fault of the table.
    """
    rows, said = open_rows(PHOTOS, read_table(path))
    by_name: dict[str, list[str]] = {}
    for path_below in files:
        by_name.setdefault(path_below.casefold(), []).append(path_below)
        name = path_below.rpartition("/")[2]
        if name != path_below:
            by_name.setdefault(name.casefold(), []).append(path_below)
    statements: dict[str, PhotoStatement] = {}
    for row in said:
        below = _file(row, by_name)
        statement = _statement(row, unit_ids, zone)
        if below is None:
            continue
        if below in statements:
            row.cells.fault("the photo stands in the table twice", "file", value=below, allowed="each photo once")
        statements[below] = statement
    rows.refuse_faults()
    return statements, [*rows.notes, *rows.not_read()]


def _file(row: ReadRow, by_name: dict[str, list[str]]) -> str | None:
    name = row["file"]
    if name is None:
        return None
    found = by_name.get(name.replace("\\", "/").casefold(), [])
    if len(found) == 1:
        return found[0]
    row.cells.fault(
        "no photo of this name is in the folder" if not found else "more than one photo has this name",
        "file",
        value=name,
        allowed="a JPEG file's name, with its folder where two share a name",
    )
    return None


def _statement(row: ReadRow, unit_ids: Collection[str], zone: tzinfo) -> PhotoStatement:
    cells, unit_id, direction_deg, taken_at = row.cells, row["unit_id"], row["direction_deg"], row["taken_at"]
    if cells.is_blank("lon") != cells.is_blank("lat"):
        cells.fault(
            "a position needs both lon and lat", "lat", value="one of them is blank", allowed="both, or neither"
        )
    if unit_id is not None and unit_id not in unit_ids:
        cells.fault("unknown unit", "unit_id", value=unit_id, allowed=known_units_words(unit_ids))
    lon, lat = row["lon"], row["lat"]
    return PhotoStatement(
        where=row.where,
        lonlat=(lon, lat) if lon is not None and lat is not None else None,
        direction_deg=None if direction_deg is None else direction_deg % 360,
        taken_at=taken_at.replace(tzinfo=taken_at.tzinfo or zone) if taken_at is not None else None,
        unit_id=unit_id,
        is_private=row["private"],
    )


LeftOutKind = Literal["no position", "no date", "damaged", "not read", "elsewhere", "other content"]


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
class LoadPhotosResult:
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


@dataclass(frozen=True, slots=True)
class BroughtPhotos:
    """What a folder brings: rows to be written, their small pictures by name (in a workshop), and what is told."""

    rows: tuple[Photo, ...]
    small: tuple[tuple[str, Path], ...]
    result: LoadPhotosResult

    def pictures(self) -> Iterator[tuple[str, bytes]]:
        """Yield the small pictures by name, read one by one."""
        for name, path in self.small:
            yield name, path.read_bytes()


@dataclass(slots=True)
class PhotoLoad:
    """What is the same for all photos of one call, and what they add up to."""

    store: Contents
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
