"""Whether a line of the log would take cedar that a unit should keep."""

from __future__ import annotations

from collections.abc import Sequence

from habmap.jobs.ports import Store
from habmap.place.account_settings import leave_rule
from habmap.place.named_units import settings_of_now
from habmap.records import Entry
from habmap.vocabulary import STATEMENTS
from habmap.work.ground import cut_ground
from habmap.work.leave import Taken, taken_under
from habmap.work.ledger import effective_entries


def taken_by(store: Store, entry: Entry, *, rows: Sequence[Entry]) -> tuple[Taken, ...]:
    """Return the units that a new row of the log, written beside these, takes below what is to be left in them.

    Of units as they are drawn now, under all lines that count; a row that corrects one is taken in its place.
    """
    settings, patch, grid = settings_of_now(store), entry.patch, store.grid
    if grid is None or patch is None or entry.practice in STATEMENTS:
        return ()
    units = tuple(unit for unit in store.units() if unit.geometry.intersects(patch))

    def ground_under(lines: Sequence[Entry]) -> tuple[Entry, ...]:
        counting = (line for line in effective_entries(lines) if line.patch is not None)
        return tuple(line for line in counting if any(unit.geometry.intersects(line.patch) for unit in units))

    before, after = (
        cut_ground(units, ground_under(lines), grid=grid, limits=settings.stages) for lines in (rows, (*rows, entry))
    )
    return taken_under(before, after, leave_rule(settings))
