"""Load log lines from a person's table or layer: all of it, or none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon

from habmap.errors import InputError, printable
from habmap.jobs.load.entry_reader import EntryReader, UnitsByDay
from habmap.jobs.load.result import LoadResult
from habmap.jobs.ports import Store
from habmap.land.grid import LocalGrid, grid_around
from habmap.measures import acres
from habmap.place.load.burn_cells import BURN_FIELDS, burn_differences
from habmap.place.load.engine import open_rows
from habmap.place.load.entries import ENTRIES, read_ledger
from habmap.place.load.identity import differing
from habmap.records import BurnRecord, Entry
from habmap.work.burns import burn_of
from habmap.work.ledger import corrections, line_numbers
from habmap.work.reported import reported_question
from habmap.work.unit_shares import shares

#: A line and what was observed where it is a burn.
_Told = tuple[Entry, BurnRecord | None]


def load_entries(
    store: Store,
    *,
    path: Path,
    today: date,
    now: datetime,
    columns: Mapping[str, str] | None = None,
    layer: str | None = None,
    sheet: str | None = None,
) -> LoadResult:
    """Load log lines from a table or a layer; a line that is there already with the same content is no news.

    Parameters
    ----------
    store
        The property.
    path
        A table, or a GeoPackage or GeoJSON layer whose shapes are the ground. A row of a table gives its ground by
        ``unit_id`` and ``whole`` = yes (several joined by ``;``: whole units, as drawn now) or by ``patch_wkt``
        (lon/lat, WGS 84 [°]), which counts where both are given. ``sure`` = yes confirms ``reported_acres`` that are
        far from the ground. A burn may carry its weather and notices (``BURN_FIELDS``).
    today
        Local civil day at the place; later dates are pointed out.
    now
        Moment of recording, UTC.
    columns
        Field → column of the file, where the names differ.
    layer, sheet
        Which layer or sheet, where the file holds several.

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
    table = read_ledger(path, layer=layer, sheet=sheet)
    rows, table_rows = open_rows(ENTRIES, table, columns=columns)
    reader = EntryReader(store, rows, now)
    entries = [(row, entry) for row in table_rows if (entry := reader.entry(row)) is not None]
    patches = [entry.patch for _row, entry in entries if entry.patch is not None]
    grid = store.grid or (grid_around(patches) if patches else None)
    known = _as_told(store.entries(), store.burns())
    has_burns = any(name in rows.found for name in BURN_FIELDS)
    fresh: list[tuple[str, Entry]] = []
    first_row: dict[str, int] = {}
    already = 0
    for row, said in entries:
        question = reported_question(said, _measured_acres(said, grid))
        entry = replace(said, is_sure=said.is_sure and question is not None)
        burn = reader.burn_of_row[row.number]
        before = known.get(entry.entry_id)
        if before is None:
            known[entry.entry_id] = ((entry, burn),)
            first_row[entry.entry_id] = row.number
            fresh.append((row.where, entry))
            if question is not None and not entry.is_sure:
                rows.faults.append(_unconfirmed(question, entry, row.where))
            continue
        each = (
            _differing(entry, told) + (burn_differences(burn, told_burn) if has_burns else [])
            for told, told_burn in before
        )
        differences = min(each, key=len)
        if not differences:
            already += 1
            continue
        earlier = first_row.get(entry.entry_id)
        rows.faults.append(
            InputError(
                "the same entry_id with other content",
                where=f"{row.where}; first said in {f'row {earlier}' if earlier else 'the log'}",
                value="; ".join(differences),
                allowed="each entry_id once; the log is never rewritten",
                mend="give the new line its own entry_id, or correct the old one with `habmap correct`",
            )
        )
    rows.refuse_faults()
    notes = [*rows.notes, *_shared_source_ids(store, fresh)]
    total_acres = 0.0
    if fresh and grid is not None:
        notes += _ground_notes(store, fresh, grid, today)
        records = [reader.burns[entry.entry_id] for _where, entry in fresh if entry.entry_id in reader.burns]
        store.append([*(entry for _where, entry in fresh), *records])
        total_acres = sum(_measured_acres(entry, grid) for _where, entry in fresh)
    notes += rows.not_read()
    return LoadResult(
        kind="entries", loaded=len(fresh), already_there=already, acres=total_acres, warnings=tuple(notes)
    )


def _as_told(rows: Sequence[Entry], records: Sequence[BurnRecord]) -> dict[str, tuple[_Told, ...]]:
    """Return the lines of the log by id, each as it was first told, as it was corrected and as it counts."""
    burns = {record.entry_id: record for record in records}
    told: dict[str, tuple[_Told, ...]] = {row.entry_id: ((row, burns.get(row.entry_id)),) for row in rows}
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


def _shared_source_ids(store: Store, fresh: Sequence[tuple[str, Entry]]) -> list[str]:
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


def _differing(entry: Entry, before: Entry) -> list[str]:
    """Say field by field what differs from the line that is there; the ground only where the row itself drew it."""
    besides = ("entry_id", "source_id", "patch", "action", "target", "why", *(() if entry.is_sure else ("is_sure",)))
    differences = differing(entry, before, besides=besides)
    if entry.source_id and before.source_id and entry.source_id != before.source_id:
        differences.append(f"source_id {printable(entry.source_id)}, before {printable(before.source_id)}")
    # Whole units may have been redrawn since: naming them again is no other content.
    if not differences and not entry.unit_ids and not _same_ground(entry.patch, before.patch):
        differences.append("another patch")
    return differences


def _same_ground(one: MultiPolygon | None, other: MultiPolygon | None) -> bool:
    if one is None or other is None:
        return one is other
    return bool(np.all(shapely.equals_identical(shapely.normalize(one), shapely.normalize(other))))


def _ground_notes(store: Store, fresh: Sequence[tuple[str, Entry]], grid: LocalGrid, today: date) -> list[str]:
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
