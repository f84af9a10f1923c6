"""Load readings of plant cover, frame by frame, from a person's CSV table: all of it, or none."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path
from typing import Final

from habmap.errors import HabmapError, InputError
from habmap.jobs.load.result import LoadResult
from habmap.jobs.ports import Store
from habmap.place.load.cells import Cells
from habmap.place.load.columns import POSITION_COLUMNS, Rows, Ways
from habmap.place.load.identity import said
from habmap.place.load.position import position
from habmap.place.load.table import read_table
from habmap.place.userfiles import printable
from habmap.records import CoverFrame, CoverLine
from habmap.work.response import CLASS_LIMITS_PCT, class_midpoint_pct, species_key

COVER_FIELDS: Final = (
    "reading_id", "unit_id", "lon", "lat", "date", "frame", "species", "group", "cover_class", "cover_pct", "native",
    "canopy_pct",
)  # fmt: skip
#: What a row says of its whole frame; all rows of a frame must say the same.
_OF_FRAME: Final = ("unit_id", "read_on", "canopy_pct", "geometry")
_NEEDED: Final[tuple[str | Ways, ...]] = (
    "reading_id", "date", "frame", "native", POSITION_COLUMNS, (("species",), ("group",)),
    (("cover_class",), ("cover_pct",)),
)  # fmt: skip
_NATIVE: Final = {"yes": True, "no": False, "unknown": None}


def load_cover(
    store: Store,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    sheet: str | None = None,
) -> LoadResult:
    """Load cover readings; a frame that is there already with the same content is no news.

    Parameters
    ----------
    path
        A table, one row for each plant in each frame: ``reading_id``; ``unit_id``, or ``lon`` and ``lat`` (WGS 84
        [°]); ``date``; ``frame``, its number in that reading; ``species`` or ``group``; ``cover_class`` (Daubenmire's
        1–6) or ``cover_pct``; ``native`` (yes, no, unknown); optional ``canopy_pct``, crown cover overhead at the
        frame. A frame with nothing in it is one row whose ``species`` and ``group`` are blank.
    today
        Local civil day at the place; later dates are pointed out.
    now
        Moment of recording, UTC.
    columns
        Field → column of the file, where the names differ.
    sheet
        Which sheet, where the file is a spreadsheet with several.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    InputError
        The file as a whole is unfit, or a column is missing.
    """
    table = read_table(path, sheet=sheet)
    rows = Rows(table, COVER_FIELDS, needed=_NEEDED, renames=columns)
    gathered = _Frames(store, now, rows.faults)
    for row in table.rows:
        gathered.add(rows.cells(row), row.number)
    frames = gathered.frames()
    there = {frame.uuid: frame for frame in store.cover_frames()}
    fresh, already = [], 0
    for frame in frames:
        before = there.get(frame.uuid)
        if before is None:
            fresh.append(frame)
        elif differing := _differing(frame, before):
            rows.faults.append(
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
    rows.refuse_faults()
    notes = [
        *rows.notes,
        *(
            f"reading {frame.reading_id}, frame {frame.frame}: {frame.read_on} is after today, {today}"
            for frame in fresh
            if frame.read_on > today
        ),
        *_two_minds(fresh),
        *rows.not_read(),
    ]
    store.append(fresh)
    return LoadResult(kind="cover", loaded=len(fresh), already_there=already, warnings=tuple(notes))


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
        unit_id, point = position(cells, self._units, what="frame")
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
        if differing := [name for name in _OF_FRAME if said(getattr(first, name)) != said(getattr(head, name))]:
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


def _name(line: CoverLine) -> str:
    return f"species {species_key(line.species)}" if line.species else f"group {species_key(line.group or '')}"


def _differing(one: CoverFrame, other: CoverFrame) -> list[str]:
    return [name for name in (*_OF_FRAME, "lines") if said(getattr(one, name)) != said(getattr(other, name))]


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
