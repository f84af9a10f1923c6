"""One loading of photos: what holds for all of them, what they add up to, and what is told of it in the end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

from shapely.geometry.base import BaseGeometry

from habmap.errors import HabmapError
from habmap.land.grid import LocalGrid
from habmap.place.contents import Contents
from habmap.records import Photo, Unit

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
