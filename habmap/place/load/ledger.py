"""Lines of the work log from a person's table or layer: which are new, and what is to be asked about them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from habmap.errors import InputError, printable
from habmap.land.grid import LocalGrid, grid_around
from habmap.measures import acres
from habmap.place.contents import Contents
from habmap.place.load.burn_cells import BURN_CELLS
from habmap.place.load.engine import Brought, open_rows
from habmap.place.load.entries import ENTRIES, read_ledger
from habmap.place.load.entry_rows import EntryReader, UnitsByDay
from habmap.progress import Progress
from habmap.records import BurnRecord, Difference, Entry, differences
from habmap.work.burns import burn_of
from habmap.work.ledger import corrections, line_numbers
from habmap.work.reported import reported_question
from habmap.work.unit_shares import shares

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
    has_burns = any(name in rows.found for name in BURN_CELLS)
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
