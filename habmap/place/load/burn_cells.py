"""The columns of a table of log lines that say what was observed at a burn and who was told before."""

from __future__ import annotations

from datetime import date, tzinfo
from typing import Final

from habmap.errors import UsageError
from habmap.place.load.cells import Cells
from habmap.place.load.spec import Column
from habmap.records import BurnRecord, Entry, cell_facts
from habmap.records.said import BurnSaid, assembled
from habmap.vocabulary import FIRE
from habmap.work.burn.observed import check_burn_said, hour_note
from habmap.work.burns import burn_record
from habmap.work.said import temperature_question

_FACTS: Final = cell_facts(BurnRecord)
BURN_CELLS: Final = tuple(one.cell for one in _FACTS)


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
    said = BurnSaid(**assembled(BurnRecord, {one.name: Column.of(one).read(cells, one.cell) for one in _FACTS}))
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
