"""The table of plant cover read in frames: a row is one plant in one frame, all rows of a frame make its record."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from habmap.errors import printable
from habmap.place.load.engine import identifier, record_of
from habmap.place.load.spec import PLACED, Column, Label, Loading, ReadRow, RecordOfRow, TableSpec, columns_of
from habmap.records import CoverFrame, CoverLine, differences
from habmap.records.observations import CLASS_LIMITS_PCT
from habmap.work.response import class_midpoint_pct, species_key

_NATIVE: Final = {"yes": True, "no": False, "unknown": None}


def _gather(spec: TableSpec[Any], rows: Iterator[ReadRow], loading: Loading) -> list[RecordOfRow[CoverFrame]]:
    """Return the frames in the order of the file, each with all its plants by name."""
    identify = identifier(spec, loading)
    heads: dict[str, RecordOfRow[CoverFrame]] = {}
    lines: defaultdict[str, list[CoverLine]] = defaultdict(list)
    blank: set[str] = set()
    for row in rows:
        line, is_blank = _line(row)
        head = record_of(spec, row, loading, identify(row))
        if head is None:
            continue
        is_first = head.uuid not in heads
        first = heads.setdefault(head.uuid, RecordOfRow(head, row.where, row.number))
        if apart := differences(first.record, head):
            row.cells.fault(
                f"two rows of one frame say different things of it: {', '.join(one.key for one in apart)}",
                "frame",
                value=f"{head.frame}; first said in row {first.number}",
                allowed="one unit or place, date and canopy_pct for a frame",
            )
        if is_blank:
            blank.add(head.uuid)
        if head.uuid in blank and not is_first:
            row.cells.fault(
                "a frame is said to be blank and has another row",
                "species",
                value=f"frame {head.frame} of reading {head.reading_id}",
                allowed="one row with species and group blank for a frame with nothing in it, and no other",
            )
        if line is None:
            continue
        if any(_name(line) == _name(other) for other in lines[head.uuid]):
            row.cells.fault(
                "one plant stands twice in one frame",
                "species" if line.species else "group",
                value=line.species or line.group,
                allowed="each plant once in a frame",
            )
        lines[head.uuid].append(line)
    return [
        # what is not there is not kept: only the frame itself, which then counts as 0
        replace(one, record=replace(one.record, lines=tuple(sorted(filter(_is_there, lines[key]), key=_name))))
        for key, one in heads.items()
    ]


def _line(row: ReadRow) -> tuple[CoverLine | None, bool]:
    """Return a row's plant, and whether the row says that nothing grew in the frame."""
    cells, species, group, number, percent = (
        row.cells, row["species"], row["group"], row["cover_class"], row["cover_pct"],
    )  # fmt: skip
    is_read = not (cells.is_blank("cover_class") and cells.is_blank("cover_pct"))
    if species is not None and cells.is_blank("native"):
        cells.fault("native is blank", "native", value="blank", allowed=", ".join(_NATIVE))
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
    if number is not None and percent is not None:
        low, high = CLASS_LIMITS_PCT[number]
        if not low <= percent <= high:
            cells.fault(
                "cover_class and cover_pct say different covers",
                "cover_pct",
                value=f"class {number:g} is {low:g} to {high:g}%, written {percent:g}%",
                allowed="one of them, or two that agree",
            )
    if number is None and percent is None:
        return None, False
    return (
        CoverLine(
            species=species,
            group=group,
            cover_class=number,
            cover_pct=percent if percent is not None else class_midpoint_pct(number or 0),
            native=_NATIVE.get(row["native"]),
        ),
        False,
    )


def _is_there(line: CoverLine) -> bool:
    return line.cover_pct > 0


def _name(line: CoverLine) -> str:
    return f"species {species_key(line.species)}" if line.species else f"group {species_key(line.group or '')}"


def _notes(told: Sequence[RecordOfRow[CoverFrame]], loading: Loading) -> list[str]:
    """Point out days to come, and species that are native in one row and not in another."""
    natives: defaultdict[str, set[bool | None]] = defaultdict(set)
    for one in told:
        for line in one.record.lines:
            if line.species:
                natives[line.species].add(line.native)
    return [
        *(
            f"reading {frame.reading_id}, frame {frame.frame}: {frame.read_on} is after today, {loading.today}"
            for frame in (one.record for one in told)
            if frame.read_on > loading.today
        ),
        *(
            f"{printable(species)} is written native in some rows and not in others; each row counts as written"
            for species, found in sorted(natives.items())
            if len(found) > 1
        ),
    ]


COVER: Final = TableSpec(
    kind="cover",
    noun="frame",
    record=CoverFrame,
    columns=(
        *columns_of(
            CoverFrame,
            reading_id={"is_required": True, "title": "name of the round of reading"},
            frame={"is_required": True, "title": "number of the frame"},
            read_on={"is_required": True},
            canopy_pct={"title": "crowns over the frame"},
        ),
        *columns_of(CoverLine),
        *PLACED,
        Column("native", "choice", is_needed=True, words=tuple(_NATIVE), title="native"),
    ),
    is_placed=True,
    alternatives=((("species",), ("group",)), (("cover_class",), ("cover_pct",))),
    identity=Label("cover", ("reading_id", "frame")),
    gather=_gather,
    called=lambda frame: f"frame {frame.frame} of reading {frame.reading_id}",
    once="each frame of a reading once, with all its plants; a reading is never rewritten",
    own_id="give a new round of reading its own reading_id",
    notes=_notes,
)
