"""How steep the ground is on which hours were spent, and that on which they will be."""

from __future__ import annotations

from datetime import date

from shapely import MultiPolygon, Polygon

from habmap.errors import InputError
from habmap.jobs.ground import ground, remaining_ground
from habmap.jobs.ports import Store
from habmap.jobs.terrain import terrain_sums
from habmap.work.effort import slope_class
from habmap.work.effort_samples import CLEARING


def slope_classes(store: Store, *, on: date | None = None) -> tuple[dict[str, str], dict[str, float]]:
    """Return the slope class of each clearing line's patch, and the steep share of what remains by unit (0–1).

    Empty where no elevation can be read: hours are worth saying without it, and ``habmap check`` says what is wrong.
    """
    timed, remaining = _timed_patches(store, on=on), remaining_ground(store, on=on)
    try:
        (sums,) = terrain_sums(store, slope_outlines(store, on=on))
    except InputError:
        return {}, {}
    limit_pct = store.settings.terrain.machine_limit_pct
    return (
        {
            entry_id: slope_class(slope_pct, machine_limit_pct=limit_pct)
            for entry_id, found in zip(timed, sums.under, strict=False)
            if (slope_pct := found.slope_mean_pct) is not None
        },
        {
            unit_id: steep_pct / 100
            for unit_id, found in zip(remaining, sums.under[len(timed) :], strict=True)
            if (steep_pct := found.hand_only_pct) is not None
        },
    )


def slope_outlines(store: Store, *, on: date | None = None) -> list[Polygon | MultiPolygon]:
    """Return the ground whose slope `slope_classes` asks for, in the place's grid [m]."""
    return [*_timed_patches(store, on=on).values(), *remaining_ground(store, on=on).values()]


def _timed_patches(store: Store, *, on: date | None) -> dict[str, MultiPolygon]:
    """Return the ground of clearing lines that say their hours or cost, by ``entry_id``, in grid metres."""
    state = ground(store, on=on)
    return {
        entry.entry_id: state.patches[entry.entry_id]
        for entry in state.entries
        if entry.practice in CLEARING
        and (entry.person_hours is not None or entry.cost is not None)
        and entry.entry_id in state.patches
    }
