"""A store in memory, so that jobs can be tested without a file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import TypeVar

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from habmap.land.grid import LocalGrid
from habmap.place.contents import Contents
from habmap.place.schema import TABLE_OF
from habmap.place.settings import Settings
from habmap.records import (
    Entry,
    Look,
    Row,
    Unit,
    key_of,
)
from habmap.work.succession import in_sight
from habmap.work.versions import ends

#: A round center for test grids, in open country.
GRID = LocalGrid(38.0, -98.0)
_MORNING = datetime(2025, 1, 1, 12, tzinfo=UTC)
_numbers = count(1)

Record = TypeVar("Record")


class FakeStore(Contents):
    """The rows of one property, kept in a list; behaves as ``habmap.jobs.ports.Store`` says."""

    def __init__(
        self, rows: Sequence[Row] = (), *, settings: Settings | None = None, grid: LocalGrid | None = None
    ) -> None:
        self._settings = settings or Settings()
        self._grid = grid
        self._rows: list[Row] = []
        self._pictures: dict[str, bytes] = {}
        self.append(rows)

    @property
    def place_id(self) -> str:
        return "00000000-0000-4000-8000-000000000001"

    @property
    def settings(self) -> Settings:
        return self._settings

    @property
    def grid(self) -> LocalGrid | None:
        return self._grid

    def all_of(self, record: type[Record]) -> tuple[Record, ...]:
        found = [row for row in self._rows if isinstance(row, record)]
        return tuple(sorted(found, key=lambda row: (row.recorded_at, key_of(row))))

    def held(self) -> FakeStore:
        return self

    def picture(self, name: str) -> bytes | None:
        return self._pictures.get(name)

    def append_with_pictures(
        self, rows: Sequence[Row], pictures: Iterable[tuple[str, bytes]], *, is_copied: bool = False
    ) -> None:
        self._pictures = dict(pictures) | self._pictures
        self.append(rows, is_copied=is_copied)

    def rows(self) -> tuple[Row, ...]:
        return tuple(self._rows)

    def last_recorded(self) -> datetime | None:
        return max((row.recorded_at for row in self._rows), default=None)

    def append(self, rows: Sequence[Row], *, is_copied: bool = False) -> None:
        for row in rows:
            per = TABLE_OF[type(row)].one_per
            if per is not None and not is_copied and row.supersedes is None:  # type: ignore[union-attr]
                alike = [old for old in self.all_of(type(row)) if all(getattr(old, n) == getattr(row, n) for n in per)]
                row = replace(row, supersedes=in_sight(alike))  # type: ignore[type-var]
            if self._grid is None:
                shape = row.patch if isinstance(row, Entry) else getattr(row, "geometry", None)
                if shape is not None:
                    west, south, east, north = shape.bounds
                    self._grid = LocalGrid((south + north) / 2, (west + east) / 2)
            self._rows.append(row)
        end_of = ends(self.all_of(Unit))
        self._rows = [
            replace(row, valid_to=end_of[row.uuid] or row.valid_to) if isinstance(row, Unit) else row
            for row in self._rows
        ]


def ground_lonlat(*planar: BaseGeometry, grid: LocalGrid = GRID) -> MultiPolygon:
    """Turn polygons drawn in grid meters into one lon/lat multipolygon."""
    parts = [part for shape in planar for part in shapely.get_parts(shape)]
    return grid.to_lonlat(MultiPolygon([part for part in parts if isinstance(part, Polygon)]))


def unit(unit_id: str, planar: BaseGeometry, *, cover: str = "cedar", grid: LocalGrid = GRID, **fields: object) -> Unit:
    """Return a unit drawn in grid meters."""
    content: dict[str, object] = {
        "uuid": f"unit-{next(_numbers):06d}",
        "unit_id": unit_id,
        "name": f"Unit {unit_id}",
        "cover": cover,
        "geometry": ground_lonlat(planar, grid=grid),
        "recorded_at": _MORNING,
    }
    return Unit(**(content | fields))  # type: ignore[arg-type]


def entry(
    practice: str,
    day: str | date,
    planar: BaseGeometry | None = None,
    *,
    live_stems_per_acre: float | None = None,
    grid: LocalGrid = GRID,
    **fields: object,
) -> Entry:
    """Return a log row on ground drawn in grid meters; every new row is recorded a minute after the one before."""
    number = next(_numbers)
    content: dict[str, object] = {
        "entry_id": f"entry-{number:06d}",
        "recorded_at": _MORNING + timedelta(minutes=number),
        "practice": practice,
        "date": date.fromisoformat(day) if isinstance(day, str) else day,
        "patch": None if planar is None else ground_lonlat(planar, grid=grid),
        "look": Look(live_stems_per_acre=live_stems_per_acre) if practice == "checkup" else None,
    }
    return Entry(**(content | fields))  # type: ignore[arg-type]
