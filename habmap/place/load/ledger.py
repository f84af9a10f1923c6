"""Lines of the work log from a person's table or layer: which are new, and what is to be asked about them."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import shapely
from shapely import MultiPolygon

from habmap.errors import InputError, UsageError, printable
from habmap.land.grid import LocalGrid, grid_around
from habmap.measures import acres
from habmap.place.contents import Contents
from habmap.place.load.cells import Cells
from habmap.place.load.columns import Rows, known_units_words
from habmap.place.load.engine import Brought, identifier, loading_of, open_rows
from habmap.place.load.entries import ENTRIES, drawn_patch, read_ledger
from habmap.place.load.spec import Column, ReadRow
from habmap.place.shapes import multipolygon
from habmap.progress import Progress
from habmap.records import BurnRecord, Difference, Entry, Unit, cell_facts, differences, value_of
from habmap.records.said import BurnSaid, assembled, parts_of_a_look
from habmap.vocabulary import FIRE, KILLING, default_killed_pct
from habmap.work.burn.observed import check_burn_said, hour_note
from habmap.work.burns import burn_of, burn_record
from habmap.work.ledger import corrections, line_numbers
from habmap.work.said import reported_question, temperature_question
from habmap.work.unit_shares import shares

#: What was observed at a burn, and who was told before.
_BURN_FACTS: Final = cell_facts(BurnRecord)
#: A line and what was observed where it is a burn.
_LineAndBurn = tuple[Entry, BurnRecord | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class BroughtLines(Brought[Entry]):
    """What a table of log lines brings: the lines, what was observed at burns among them, and their ground [acre]."""

    burns: tuple[BurnRecord, ...] = ()
    acres: float = 0.0


def bring_entries(
    store: Contents,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    layer: str | None = None,
    sheet: str | None = None,
    progress: Progress | None = None,
) -> BroughtLines:
    """Read a table or a layer of log lines and tell what is new in it; nothing is written.

    Parameters
    ----------
    path
        A table, or a GeoPackage or GeoJSON layer whose shapes are the ground. A row of a table gives its ground by
        ``unit_id`` and ``whole`` = yes (several joined by ``;``: whole units, as drawn now) or by ``patch_wkt``
        (lon/lat, WGS 84 [°]), which counts where both are given. ``sure`` = yes confirms ``reported_acres`` that are
        far from the ground. A burn may carry its weather and notices.
    today
        Local civil day at the place; later dates are pointed out.
    progress
        Called with how many rows are read.

    Raises
    ------
    InputErrors
        Every fault of the table, with its row.
    InputError
        The file as a whole is unfit, or a column is missing.

    Notes
    -----
    An ``entry_id`` that is no UUID becomes the UUIDv5 of (place, text) and is kept as ``source_id``; a column
    ``source_id``, as in an export of another place, is kept. A blank one becomes the UUIDv5 of the row's content, so
    that loading a file twice adds nothing.
    """
    rows, table_rows = open_rows(
        ENTRIES, read_ledger(path, layer=layer, sheet=sheet), columns=columns, progress=progress
    )
    reader = EntryReader(store, rows, now)
    entries = [(row, entry) for row in table_rows if (entry := reader.entry(row)) is not None]
    patches = [entry.patch for _row, entry in entries if entry.patch is not None]
    grid = store.grid or (grid_around(patches) if patches else None)
    known = _as_told(store.entries(), store.burns())
    has_burns = any(one.cell in rows.found for one in _BURN_FACTS)
    fresh: list[tuple[str, Entry]] = []
    first_row: dict[str, int] = {}
    for row, said in entries:
        question = reported_question(said, _measured_acres(said, grid))
        entry = replace(said, is_sure=said.is_sure and question is not None)
        told: _LineAndBurn = (entry, reader.burn_of_row[row.number])
        if entry.entry_id not in known:
            known[entry.entry_id] = (told,)
            first_row[entry.entry_id] = row.number
            fresh.append((row.where, entry))
            if question is not None and not entry.is_sure:
                rows.faults.append(_unconfirmed(question, entry, row.where))
            continue
        told_apart = min((_told_apart(told, one, has_burns=has_burns) for one in known[entry.entry_id]), key=len)
        if told_apart:
            earlier = first_row.get(entry.entry_id)
            rows.faults.append(
                InputError(
                    "the same entry_id with other content",
                    where=f"{row.where}; first said in {f'row {earlier}' if earlier else 'the log'}",
                    value="; ".join(one.words for one in told_apart),
                    allowed="each entry_id once; the log is never rewritten",
                    mend="give the new line its own entry_id, or correct the old one with `habmap correct`",
                )
            )
    rows.refuse_faults()
    notes = [*rows.notes, *_shared_source_ids(store, fresh)]
    if grid is not None:
        notes += _ground_notes(store, fresh, grid, today)
    lines = tuple(entry for _where, entry in fresh)
    return BroughtLines(
        fresh=lines,
        already=len(entries) - len(lines),
        notes=(*notes, *rows.not_read()),
        burns=tuple(reader.burns[entry.entry_id] for entry in lines if entry.entry_id in reader.burns),
        acres=sum(_measured_acres(entry, grid) for entry in lines),
    )


def _as_told(rows: Sequence[Entry], records: Sequence[BurnRecord]) -> dict[str, tuple[_LineAndBurn, ...]]:
    """Return the lines of the log by id, each as it was first told, as it was corrected and as it counts."""
    burns = {record.entry_id: record for record in records}
    told: dict[str, tuple[_LineAndBurn, ...]] = {row.entry_id: ((row, burns.get(row.entry_id)),) for row in rows}
    for line in corrections(rows):
        versions = [(row, burns.get(row.entry_id)) for row in (line.root, *line.amends)]
        now = [(line.content, burn_of(line, records))] if line.amends and line.content else []
        told[line.root.entry_id] = (*versions, *now)
    return told


def _measured_acres(entry: Entry, grid: LocalGrid | None) -> float:
    return 0.0 if entry.patch is None or grid is None else acres(grid.to_grid(entry.patch).area)


def _unconfirmed(question: str, entry: Entry, where: str) -> InputError:
    return InputError(
        question,
        where=f"{where}, column reported_acres",
        value=entry.reported_acres,
        allowed="a figure near the ground, or one that somebody is sure of",
        mend="correct the figure or the ground, or write yes in column sure",
    )


def _shared_source_ids(store: Contents, fresh: Sequence[tuple[str, Entry]]) -> list[str]:
    """Point out lines that bear the imported id of another line: one day's work may be told twice."""
    rows = store.entries()
    numbers = line_numbers(rows)
    known = {row.source_id: row.entry_id for row in rows if row.source_id and row.action == "log"}
    return [
        f"{where}: line {numbers[known[entry.source_id]]} was loaded under the id {printable(entry.source_id)} too; "
        "if both tell one day's work, withdraw one"
        for where, entry in fresh
        if entry.source_id is not None and known.get(entry.source_id, entry.entry_id) != entry.entry_id
    ]


def _told_apart(said: _LineAndBurn, told: _LineAndBurn, *, has_burns: bool) -> tuple[Difference, ...]:
    """Return what a row says otherwise than a line that is there; the ground only where the row itself drew it."""
    (entry, burn), (before, burn_before) = said, told
    besides = {"entry_id", "action", "target", "why"} | (set() if entry.is_sure else {"is_sure"})
    if not (entry.source_id and before.source_id):
        besides.add("source_id")
    if entry.unit_ids:
        besides.add("patch")  # whole units may have been redrawn since: naming them again is no other content
    burns = differences(burn, burn_before, besides=("uuid", "entry_id", "plans")) if has_burns else ()
    return (*differences(entry, before, besides=besides), *burns)


def _ground_notes(store: Contents, fresh: Sequence[tuple[str, Entry]], grid: LocalGrid, today: date) -> list[str]:
    notes = []
    by_day = UnitsByDay(store)
    for where, entry in fresh:
        if entry.date > today:
            notes.append(f"{where}: {entry.date} is after today, {today}")
        if entry.patch is None:
            continue
        patch_acres = _measured_acres(entry, grid)
        if (question := reported_question(entry, patch_acres)) is not None:
            notes.append(f"{where}: {question}")
        if not entry.unit_ids:
            _units, outside_acres = shares(entry.patch, list(by_day.known(entry.date).values()), grid=grid)
            if outside_acres > patch_acres / 2:
                notes.append(f"{where}: {outside_acres:,.2f} of {patch_acres:,.2f} acres lie outside every unit")
    return notes


class UnitsByDay:
    """The units as drawn on any day, read from the store once for each span of days without a change."""

    def __init__(self, store: Contents) -> None:
        self._store = store
        versions = store.unit_versions()
        changes = {day for unit in versions for day in (unit.valid_from, unit.valid_to) if day is not None}
        self._changes = sorted(changes)
        self._by_span: dict[int, dict[str, Unit]] = {}
        self._current = {unit.unit_id: unit for unit in store.units()}

    def on(self, day: date) -> dict[str, Unit]:
        """Return the units of a day by ``unit_id``; those not yet, or no longer, drawn then are left out."""
        span = bisect_right(self._changes, day)
        if span not in self._by_span:
            self._by_span[span] = {unit.unit_id: unit for unit in self._store.units(day)}
        return self._by_span[span]

    def known(self, day: date | None) -> dict[str, Unit]:
        """Return the units that a line of a day may name: as drawn now, or on that day where a unit is no more."""
        return self._current if day is None else self.on(day) | self._current


class EntryReader:
    """Turns rows of one table into entries."""

    def __init__(self, store: Contents, rows: Rows, now: datetime) -> None:
        self._units = UnitsByDay(store)
        self._rows = rows
        self._now = now
        self._identify = identifier(ENTRIES, loading_of(store, now=now, today=now.date()))
        self._zone = ZoneInfo(store.settings.place.timezone)
        self._cedar = store.settings.place.cedar
        #: What rows say of their burns: by row, and of each line as its first row says it.
        self.burn_of_row: dict[int, BurnRecord | None] = {}
        self.burns: dict[str, BurnRecord] = {}

    def entry(self, row: ReadRow) -> Entry | None:
        """Return a row as an entry; ``None`` after adding to the faults what is wrong with it."""
        cells, practice, day = row.cells, row["practice"] or "other", row["date"]
        is_blank = cells.is_blank("killed_pct")
        if is_blank and practice in KILLING and default_killed_pct(practice, cedar=self._cedar) is None:
            cells.fault(
                f"{practice} must say what share of the cedars it killed",
                "killed_pct",
                value="blank",
                allowed="0 to 100, of the cedars alive there that morning",
                mend="fill it in",
            )
        unit_ids = tuple(dict.fromkeys(part.strip() for part in (row["unit_id"] or "").split(";") if part.strip()))
        identity = self._identify(row)
        if identity.twin_of is not None:
            self._rows.notes.append(
                f"{row.where} says the same as row {identity.twin_of}; both are kept: ground counts once, "
                "hours and cost count twice"
            )
        entry = Entry(
            entry_id=identity.uuid,
            source_id=identity.source_id,
            recorded_at=self._now,
            practice=practice,
            date=day or date.min,
            patch=self._patch(row, unit_ids, day),
            unit_ids=unit_ids,
            **assembled(Entry, {one.name: row[one.cell] for one in cell_facts(Entry) if one.name != "source_id"}),
        )
        self._refuse_look(cells, entry)
        burn = burn_of_cells(cells, entry=entry, zone=self._zone)
        self.burn_of_row[row.number] = burn
        if burn is not None:
            self.burns.setdefault(entry.entry_id, burn)
        return entry if row.is_sound else None

    def _patch(self, row: ReadRow, unit_ids: tuple[str, ...], day: date | None) -> MultiPolygon | None:
        cells, wkt, is_whole = row.cells, row["patch_wkt"], row["whole"]
        known = self._units.known(day)
        unknown = [unit_id for unit_id in unit_ids if unit_id not in known]
        if unknown:
            cells.fault(
                "unknown unit",
                "unit_id",
                value=", ".join(unknown),
                allowed=known_units_words(known),
                mend="name units of the property, several joined by ;",
            )
        if wkt is not None:
            if is_whole:
                cells.fault(
                    "the row gives two grounds, a whole unit and patch_wkt",
                    "whole",
                    value="yes",
                    allowed="yes without a patch_wkt, or blank beside one",
                    mend="leave one of them blank",
                )
            return drawn_patch(wkt, cells)
        if not unit_ids:
            cells.fault(
                "the row names no ground",
                "unit_id",
                value="blank",
                allowed="unit_id (several joined by ;) with whole = yes, or patch_wkt",
                mend="fill in one of them",
            )
        if unknown or not unit_ids:
            return None
        if not is_whole:
            cells.fault(
                "the row does not say whether all of the unit was worked",
                "whole",
                value="blank" if is_whole is None else "no",
                allowed=f"yes, where all of {', '.join(unit_ids)} was worked; else its ground as patch_wkt",
                mend="write yes in column whole, or log a part of it with `habmap log --track` or `--patch`",
            )
            return None
        then = {} if day is None else self._units.on(day)
        for unit_id in unit_ids:
            if unit_id in then and then[unit_id].uuid != known[unit_id].uuid:
                cells.note(f"unit {printable(unit_id)} was drawn otherwise on {day}; its outline of today is taken")
        outlines = [known[unit_id].geometry for unit_id in unit_ids]
        # A single outline is kept vertex for vertex, so that work on all of a unit leaves nothing of it.
        return outlines[0] if len(outlines) == 1 else multipolygon(shapely.union_all(outlines))

    def _refuse_look(self, cells: Cells, entry: Entry) -> None:
        filled = [one for one in parts_of_a_look() if value_of(entry, one) not in (None, ())]
        if filled and entry.practice != "checkup":
            cells.fault(
                f"what stands there now belongs to a checkup, not to {entry.practice}",
                filled[0].cell,
                allowed="blank",
                mend="make the checkup a row of its own",
            )


def burn_of_cells(cells: Cells, *, entry: Entry, zone: tzinfo) -> BurnRecord | None:
    """Return what a row says of its burn, after adding to the cells' faults what is wrong with it.

    Parameters
    ----------
    zone
        The property's: an hour that its clock skips is a fault, one that comes twice is pointed out.

    Notes
    -----
    Weather beside other work is left alone: notebooks have it on every line. Weather without an hour is kept, as the
    person wrote it. No plans are kept: which were in force that day, a table does not say.
    """
    if entry.practice not in FIRE:
        return None
    said = BurnSaid(**assembled(BurnRecord, {one.name: Column.of(one).read(cells, one.cell) for one in _BURN_FACTS}))
    try:
        # An unreadable date is a fault of its own, and stands in the entry as the first day of all.
        day = None if entry.date == date.min else entry.date
        check_burn_said(said, practice=entry.practice, needs_hour=False, day=day, zone=zone)
    except UsageError as error:
        field = "observed_time" if error.where == "--observed-time" else "gust_mph"
        cells.fault(error.what, field, value=error.value, allowed=error.allowed)
        return None
    question = None if said.temp_f is None else temperature_question(entry.date.month, said.temp_f)
    if question is not None:
        cells.note(f"{question}; taken as written")
    note = None if day is None else hour_note(said.ignition, day, zone)
    if note is not None:
        cells.note(note)
    return burn_record(said, entry_id=entry.entry_id, now=entry.recorded_at)
