"""The whole ground of a place, cut into pieces of one history each: what every account, map and plan starts from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from shapely import MultiPolygon, Polygon

from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once, worked_out
from habmap.records import Entry
from habmap.vocabulary import REMAINING
from habmap.work.ground import HAIR_M2, Ground, cut_ground, joined_in, refuse_unknown_words
from habmap.work.ledger import effective_entries
from habmap.work.stages import GroundState


@once
def ground(store: Store, *, on: date | None = None) -> Ground:
    """Cut a place's ground into pieces and tell each one's stage.

    Parameters
    ----------
    on
        Day as of which the work counts, with today's corrections, on the units as they were drawn that day. ``None``:
        all work, on the units as they are drawn now.

    Raises
    ------
    PlaceError
        A log line's practice or a unit's cover is a word that habmap does not know: acres counted without it would be
        wrong and look right.
    """
    entries = tuple(entry for entry in effective_entries(store.entries()) if on is None or entry.date <= on)
    units = store.units(on)
    refuse_unknown_words(units, entries)
    day = on if on is not None else max((entry.date for entry in entries), default=None)
    # The same units under the same lines are the same ground, whatever day is asked about.
    key = (cut_ground, *(unit.uuid for unit in units), *(entry.entry_id for entry in entries))
    kept = worked_out(store)
    if key not in kept:
        kept[key] = cut_ground(units, entries, grid=store.grid, limits=store.settings.stages)
    cut: Ground = kept[key]
    return replace(cut, on=day)


def states_on(store: Store, patch: MultiPolygon, *, on: date, rows: Sequence[Entry]) -> tuple[GroundState, ...]:
    """Return what the log says, up to and with a day, of the units' ground under a patch (lon/lat [°])."""
    grid = store.grid
    if grid is None:
        return ()
    under = grid.to_grid(patch)  # edges are straight in the grid: long ones lie elsewhere in lon/lat
    state = cut_ground(
        tuple(unit for unit in store.units(on) if grid.to_grid(unit.geometry).intersects(under)),
        tuple(
            line
            for line in effective_entries(rows)
            if line.date <= on and line.patch is not None and grid.to_grid(line.patch).intersects(under)
        ),
        grid=grid,
        limits=store.settings.stages,
        on=on,
    )
    return tuple(piece.state for piece in state.pieces if piece.geometry.intersection(under).area > HAIR_M2)


@once
def remaining_ground(store: Store, *, on: date | None = None) -> dict[str, Polygon | MultiPolygon]:
    """Return the ground that remains to be treated in each unit that has any, in grid meters by ``unit_id``."""
    found = {unit_id: joined_in(cut, REMAINING) for unit_id, cut in ground(store, on=on).cuts.items()}
    return {unit_id: shape for unit_id, shape in found.items() if shape is not None}
