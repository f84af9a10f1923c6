"""Rows of a person's table as lines of the work log, what is wrong with them gathered."""

from __future__ import annotations

from bisect import bisect_right
from datetime import date, datetime
from zoneinfo import ZoneInfo

import shapely
from shapely import MultiPolygon

from habmap.errors import printable
from habmap.place.contents import Contents
from habmap.place.load.burn_cells import burn_of_cells
from habmap.place.load.cells import Cells
from habmap.place.load.columns import Rows
from habmap.place.load.engine import identifier, loading_of
from habmap.place.load.entries import ENTRIES, drawn_patch
from habmap.place.load.position import known_units_words
from habmap.place.load.spec import ReadRow
from habmap.place.shapes import multipolygon
from habmap.records import BurnRecord, Entry, Unit, cell_facts, value_of
from habmap.records.said import assembled, parts_of_a_look
from habmap.vocabulary import KILLING, default_killed_pct


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
