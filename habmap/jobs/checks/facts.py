"""What every rule of ``check`` looks at, read once, and the shape of what it finds."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from shapely.geometry.base import BaseGeometry

from habmap.jobs.ports import Store
from habmap.land.grid import LocalGrid
from habmap.records import Entry, Unit
from habmap.work.ledger import effective_entries, line_numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is not as it must be: the rule, where, what was found and how to mend it.

    ``number`` is what people call the line of the log by that it is about; ``None`` where it is about something else.
    """

    rule: str
    where: str
    what: str
    mend: str
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """All that the rules look at, read once.

    Attributes
    ----------
    today
        The local civil day at the place.
    versions, units
        Every version of every unit, and those that hold now.
    rows, entries
        Every row of the log as written, and the lines that count.
    numbers
        What people call the lines of the log by, by ``entry_id``.
    shapes, patches
        Outlines by ``uuid`` of the unit and ground by ``entry_id`` of the line, in the place's grid [m]; empty
        before the place has one.
    every_shape
        Outlines of all versions, those that no longer hold too [m].
    """

    store: Store
    today: dt.date
    grid: LocalGrid | None
    versions: tuple[Unit, ...]
    units: tuple[Unit, ...]
    rows: tuple[Entry, ...]
    entries: tuple[Entry, ...]
    numbers: dict[str, int] = field(default_factory=dict)
    shapes: dict[str, BaseGeometry] = field(default_factory=dict)
    patches: dict[str, BaseGeometry] = field(default_factory=dict)
    every_shape: list[BaseGeometry] = field(default_factory=list)

    def of_line(self, entry_id: str, *, rule: str, what: str, mend: str) -> Fault:
        """Return a fault of a row of the log."""
        return Fault(rule=rule, where=f"line {entry_id}", what=what, mend=mend, number=self.numbers.get(entry_id))


def facts_of(store: Store, *, today: dt.date) -> Facts:
    """Read what the rules look at.

    Raises
    ------
    HabmapError
        A row, or the file itself, cannot be read.
    """
    grid, entries, units = store.grid, effective_entries(store.entries()), store.units()
    rows = store.entries()
    found = Facts(store, today, grid, store.unit_versions(), units, rows, entries, line_numbers(rows))
    if grid is not None:
        found.every_shape.extend(grid.to_grid(unit.geometry) for unit in found.versions)
        found.shapes.update({unit.uuid: grid.to_grid(unit.geometry) for unit in units})
        drawn = {entry.entry_id: entry.patch for entry in entries if entry.patch is not None}
        found.patches.update({entry_id: grid.to_grid(patch) for entry_id, patch in drawn.items()})
    return found
