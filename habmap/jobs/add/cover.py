"""Load readings of plant cover, frame by frame, from a person's CSV table: all of it, or none."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path
from typing import Final

import shapely
from shapely import Point

from habmap.errors import HabmapError, InputError, InputErrors
from habmap.jobs.add.layers import AddResult
from habmap.jobs.ports import Store
from habmap.place.cells import Cells, matched_columns
from habmap.place.tables import Table, read_table
from habmap.place.userfiles import printable
from habmap.work.records import Unit
from habmap.work.response import CLASS_LIMITS_PCT, class_midpoint_pct, species_key
from habmap.work.seen import CoverFrame, CoverLine

COVER_FIELDS: Final = (
    "reading_id", "unit_id", "lon", "lat", "date", "frame", "species", "group", "cover_class", "cover_pct", "native",
    "canopy_pct",
)  # fmt: skip
#: What a row says of its whole frame; all rows of a frame must say the same.
_OF_FRAME: Final = ("unit_id", "read_on", "canopy_pct", "geometry")
_NATIVE: Final = {"yes": True, "no": False, "unknown": None}


def add_cover(
    store: Store, *, path: Path, today: date, now: datetime, columns: Mapping[str, str] | None = None
) -> AddResult:
    """Load cover readings; a frame that is there already with the same content is no news.

    Parameters
    ----------
    path
        UTF-8 CSV, one row for each plant in each frame: ``reading_id``; ``unit_id``, or ``lon`` and ``lat`` (WGS 84
        [°]); ``date``; ``frame``, its number in that reading; ``species`` or ``group``; ``cover_class`` (Daubenmire's
        1–6) or ``cover_pct``; ``native`` (yes, no, unknown); optional ``canopy_pct``, crown cover overhead at the
        frame. A frame with nothing in it is one row whose ``species`` and ``group`` are blank.
    today
        Local civil day at the place; later dates are pointed out.
    now
        Moment of recording, UTC.
    columns
        Field → column of the file, where the names differ.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    InputError
        The file as a whole is unfit, or a column is missing.
    """
    table = read_table(path)
    found = matched_columns(table.columns, COVER_FIELDS, renames=columns or {}, where=table.where)
    _require_columns(found, table)
    faults: list[HabmapError] = []
    notes: list[str] = []
    gathered = _Frames(store, now, faults)
    for row in table.rows:
        values = {name: row.values[column] for name, column in found.items()}
        gathered.add(Cells(values, where=f"{table.where}, row {row.number}", faults=faults, notes=notes), row.number)
    frames = gathered.frames()
    there = {frame.uuid: frame for frame in store.cover_frames()}
    fresh, already = [], 0
    for frame in frames:
        before = there.get(frame.uuid)
        if before is None:
            fresh.append(frame)
        elif differing := _differing(frame, before):
            faults.append(
                InputError(
                    f"frame {frame.frame} of reading {frame.reading_id} is there already with other content",
                    where=table.where,
                    value=", ".join(differing),
                    allowed="each frame of a reading once, with all its plants; a reading is never rewritten",
                    mend="give a new round of reading its own reading_id",
                )
            )
        else:
            already += 1
    if faults:
        raise InputErrors(faults, where=table.where)
    notes += [
        f"reading {frame.reading_id}, frame {frame.frame}: {frame.read_on} is after today, {today}"
        for frame in fresh
        if frame.read_on > today
    ]
    notes += _two_minds(fresh)
    ignored = tuple(column for column in table.columns if column not in found.values())
    if ignored:
        notes.append(f"columns not read: {printable(', '.join(ignored), longest=400)}")
    store.append(fresh)
    return AddResult(kind="cover", loaded=len(fresh), already_there=already, warnings=tuple(notes))


class _Frames:
    """Rows gathered into frames, and what is wrong with them."""

    def __init__(self, store: Store, now: datetime, faults: list[HabmapError]) -> None:
        self._place = uuid.UUID(store.place_id)
        self._units = store.units()
        self._now = now
        self._faults = faults
        self._heads: dict[tuple[str, str], CoverFrame] = {}
        self._first_row: dict[tuple[str, str], int] = {}
        self._lines: defaultdict[tuple[str, str], list[CoverLine]] = defaultdict(list)
        self._rows: defaultdict[tuple[str, str], int] = defaultdict(int)
        self._blank: set[tuple[str, str]] = set()

    def add(self, cells: Cells, number: int) -> None:
        """Take one row."""
        before = len(self._faults)
        reading_id = cells.text("reading_id", required=True, longest=200)
        frame = cells.text("frame", required=True, longest=100)
        day = cells.day("date")
        unit_id, point = _position(cells, self._units)
        canopy_pct = cells.number("canopy_pct", low=0, high=100)
        line, is_blank = _line(cells)
        if len(self._faults) > before or not (reading_id and frame and day and unit_id):
            return
        key = (reading_id, frame)
        head = CoverFrame(
            uuid=str(uuid.uuid5(self._place, f"cover\x1f{reading_id}\x1f{frame}")),
            reading_id=reading_id,
            frame=frame,
            unit_id=unit_id,
            read_on=day,
            canopy_pct=canopy_pct,
            geometry=point,
            recorded_at=self._now,
        )
        first = self._heads.setdefault(key, head)
        self._first_row.setdefault(key, number)
        self._rows[key] += 1
        if differing := [name for name in _OF_FRAME if _said(first, name) != _said(head, name)]:
            cells.fault(
                f"two rows of one frame say different things of it: {', '.join(differing)}",
                "frame",
                value=f"{frame}; first said in row {self._first_row[key]}",
                allowed="one unit or place, date and canopy_pct for a frame",
            )
        if is_blank:
            self._blank.add(key)
        if key in self._blank and self._rows[key] > 1:
            cells.fault(
                "a frame is said to be blank and has another row",
                "species",
                value=f"frame {frame} of reading {reading_id}",
                allowed="one row with species and group blank for a frame with nothing in it, and no other",
            )
        if line is None:
            return
        if any(_name(line) == _name(other) for other in self._lines[key]):
            cells.fault(
                "one plant stands twice in one frame",
                "species" if line.species else "group",
                value=line.species or line.group,
                allowed="each plant once in a frame",
            )
        self._lines[key].append(line)

    def frames(self) -> list[CoverFrame]:
        """Return the frames in the order of the file, each with all its plants by name."""
        return [
            CoverFrame(
                **{field.name: getattr(head, field.name) for field in fields(CoverFrame) if field.name != "lines"},
                # what is not there is not kept: only the frame itself, which then counts as 0
                lines=tuple(sorted((line for line in self._lines[key] if line.cover_pct > 0), key=_name)),
            )
            for key, head in self._heads.items()
        ]


def _line(cells: Cells) -> tuple[CoverLine | None, bool]:
    """Return a row's plant, and whether the row says that nothing grew in the frame."""
    species, group = cells.text("species", longest=300), cells.text("group", longest=100)
    number, percent = cells.number("cover_class", low=1, high=6), cells.number("cover_pct", low=0, high=100)
    is_read = bool(cells.text("cover_class") or cells.text("cover_pct"))
    native = cells.choice("native", tuple(_NATIVE), required=species is not None)
    if species is None and group is None:
        if is_read:
            cells.fault(
                "a cover without a name",
                "species",
                value="blank",
                allowed="a species or a group; all blank for a frame with nothing in it",
            )
        return None, not is_read
    if not is_read:
        cells.fault("the cover is blank", "cover_class", value="blank", allowed="cover_class 1 to 6, or cover_pct")
        return None, False
    if number is not None and number != int(number):
        cells.fault("cover_class is no class", "cover_class", value=number, allowed="1, 2, 3, 4, 5 or 6")
        return None, False
    if number is not None and percent is not None:
        low, high = CLASS_LIMITS_PCT[int(number)]
        if not low <= percent <= high:
            cells.fault(
                "cover_class and cover_pct say different covers",
                "cover_pct",
                value=f"class {number:g} is {low:g} to {high:g} %, written {percent:g} %",
                allowed="one of them, or two that agree",
            )
    if number is None and percent is None:
        return None, False
    return (
        CoverLine(
            species=species,
            group=group,
            cover_class=None if number is None else int(number),
            cover_pct=percent if percent is not None else class_midpoint_pct(int(number or 0)),
            native=None if native is None else _NATIVE[native],
        ),
        False,
    )


def _position(cells: Cells, units: Sequence[Unit]) -> tuple[str | None, Point | None]:
    lon, lat = cells.number("lon", low=-180, high=180), cells.number("lat", low=-90, high=90)
    point = Point(lon, lat) if lon is not None and lat is not None else None
    named = cells.text("unit_id")
    if named is not None:
        if named not in {unit.unit_id for unit in units}:
            known = printable(", ".join(unit.unit_id for unit in units), longest=400)
            cells.fault("unknown unit", "unit_id", value=named, allowed=known or "none: no units are loaded yet")
        return named, point
    if point is None:
        cells.fault("the frame has no place", "unit_id", value="blank", allowed="a unit_id, or lon and lat")
        return None, None
    around = [unit.unit_id for unit in units if shapely.covers(unit.geometry, point)]
    if not around:
        cells.fault(
            "the frame lies outside every unit",
            "lon",
            value=f"{lon}, {lat}",
            allowed="longitude and latitude inside a unit",
            mend="check the sign of the longitude, or name the unit it stands for",
        )
        return None, point
    return around[0], point


def _name(line: CoverLine) -> str:
    return f"species {species_key(line.species)}" if line.species else f"group {species_key(line.group or '')}"


def _said(frame: CoverFrame, name: str) -> object:
    value = getattr(frame, name)
    return (value.x, value.y) if isinstance(value, Point) else value


def _differing(one: CoverFrame, other: CoverFrame) -> list[str]:
    return [name for name in (*_OF_FRAME, "lines") if _said(one, name) != _said(other, name)]


def _two_minds(frames: Sequence[CoverFrame]) -> list[str]:
    """Point out species that are native in one row and not in another; each row counts as it is written."""
    said: defaultdict[str, set[bool | None]] = defaultdict(set)
    for frame in frames:
        for line in frame.lines:
            if line.species:
                said[line.species].add(line.native)
    return [
        f"{printable(species)} is written native in some rows and not in others; each row counts as written"
        for species, natives in sorted(said.items())
        if len(natives) > 1
    ]


def _require_columns(found: Mapping[str, str], table: Table) -> None:
    missing = [name for name in ("reading_id", "date", "frame", "native") if name not in found]
    if "unit_id" not in found and not {"lon", "lat"} <= set(found):
        missing.append("unit_id, or lon and lat")
    if not {"species", "group"} & set(found):
        missing.append("species or group")
    if not {"cover_class", "cover_pct"} & set(found):
        missing.append("cover_class or cover_pct")
    if missing:
        raise InputError(
            f"the table has no column {'; '.join(missing)}",
            where=table.where,
            value=printable(", ".join(table.columns), longest=400),
            allowed=", ".join(COVER_FIELDS),
            mend="add it, or say which column holds it with --map FIELD=COLUMN",
        )
