"""Where the next acre or two lies inside the unit that comes next: one contiguous piece, with its reasons."""

from __future__ import annotations

from datetime import date

from shapely.geometry.base import BaseGeometry

from habmap.errors import InputError
from habmap.jobs.effort import hour_rates
from habmap.jobs.ground import ground, remaining_ground
from habmap.jobs.ports import Store
from habmap.jobs.public import public_view
from habmap.jobs.rank import rank
from habmap.jobs.snapshot import once
from habmap.jobs.terrain import terrain_of_remaining, terrain_sums
from habmap.land.contiguous import without_hairs
from habmap.place.ground_readings import cutting_ground
from habmap.vocabulary import Audience
from habmap.work.bite import USUAL_BITE_ACRES, BiteResult, openings
from habmap.work.ground import HAIR_M2
from habmap.work.handheld import telling_units
from habmap.work.next_bite import Asked, bite_in, bite_result, units_to_look_in
from habmap.work.terrain import UnitTerrain


@once
def bite(
    store: Store,
    *,
    acres: float | None = None,
    hours: float | None = None,
    unit_id: str | None = None,
    hand_only: bool = False,
    on: date | None = None,
    today: date,
) -> BiteResult:
    """Return where to cut next: one contiguous piece of ground that remains, in the unit that comes next.

    Parameters
    ----------
    acres, hours
        How much ground, or person-hours at the log's own rate for ground of its density and slope; with both the
        lesser. At least one, above 0.
    unit_id
        Look in this unit; ``None``: in the first of the order of work that is neither on hold nor closed to cutting,
        waits for no contract's first day, and has such ground.
    hand_only
        Take ground too steep for a machine as well.
    on
        As of this day's work; ``None``: all work so far.
    today
        Day by which holds and closed days count; ``on`` counts instead where it is given.

    Raises
    ------
    InputError
        There is no such unit, it is on hold or closed, nothing remains, or what remains is hand-only and was not asked
        for; or hours were asked and nothing says how many an acre takes.
    """
    order, state, features = rank(store, on=on, today=today), ground(store, on=on), store.features()
    rates, terrain = hour_rates(store, on=on), store.settings.terrain
    skipped: list[str] = []
    for unit in units_to_look_in(order, unit_id):
        whole = remaining_ground(store, on=on)[unit.unit_id]
        remains = without_hairs(whole, least_m2=HAIR_M2)
        with cutting_ground(store.elevation(), remains, grid=store.grid, terrain=terrain) as over:
            steep_pct = None if over is None else _hand_only_pct(store, unit.unit_id, on)
            found = bite_in(
                unit,
                remains,
                Asked(acres, hours, hand_only, rates.density.get(unit.unit_id), rates.hours),
                openings=openings(state, features, near=remains),
                liking=None if over is None else over.sun_facing(),
                steep=None if over is None or hand_only or not steep_pct else over.steep(),
                hand_only_pct=steep_pct,
                lie_of=lambda outline: _lie(store, outline),
            )
        if found is not None:
            return bite_result(
                found, order, state, skipped=skipped, is_asked=unit_id is not None, remains=whole, features=features,
                by=rates.hours, limit_pct=terrain.machine_limit_pct,
            )  # fmt: skip
        skipped.append(f"all that remains in {unit.unit_id} is hand-only ground or too narrow beside it")
    raise InputError(
        "there is no ground to cut that a machine can work",
        where=unit_id or "all units that are not on hold or closed",
        value="; ".join(skipped),
        mend="add --hand-only to take ground too steep for a machine",
    )


def next_bite(store: Store, *, on: date | None = None, today: date, audience: Audience) -> BiteResult | None:
    """Return the bite that a page shows, ``USUAL_BITE_ACRES`` large; ``None`` where there is none.

    For the public from what it may know alone, and none in a unit in which it would lie on ground left on purpose.
    """
    seen = public_view(store) if audience == "public" else store
    try:
        found = bite(seen, acres=USUAL_BITE_ACRES, on=on, today=today)
    except InputError:
        return None  # nothing remains, or nothing that may be cut
    if found.unit_id in telling_units(ground(seen, on=on), owners=ground(store, on=on)):
        return None
    return found


def _lie(store: Store, outline: BaseGeometry) -> UnitTerrain:
    """Return the terrain under an outline; nothing of it is known where no elevation is loaded."""
    return UnitTerrain() if store.elevation() is None else terrain_sums(store, [outline])[0].under[0]


def _hand_only_pct(store: Store, unit_id: str, on: date | None) -> float | None:
    """Return the steep share of what remains in a unit, as the order of work has it [%]."""
    return next(one.hand_only_pct for one in terrain_of_remaining(store, on=on).units if one.unit_id == unit_id)
