"""Person-hours and money so far, the pace, what remains and when it would be done."""

from __future__ import annotations

from datetime import date

from shapely import MultiPolygon, Polygon

from habmap.errors import InputError
from habmap.jobs.density import density
from habmap.jobs.ground import ground, remaining_ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.jobs.terrain import terrain_sums
from habmap.measures import acres
from habmap.place.closed_days import closures, contract_waits
from habmap.place.named_units import settings_of_now
from habmap.work.effort import slope_class, timed_patches
from habmap.work.effort_account import EffortResult, GroundRates, effort_account, ground_rates


@once
def effort(store: Store, *, on: date | None = None, today: date) -> EffortResult:
    """Return what the work has taken and what the rest would take.

    Hours per acre are those of ground that was brought to its target, all its passes together. Ground part killed so
    far is counted as if nothing had been done there yet.

    Parameters
    ----------
    today
        Day from which the finish is counted; ``on`` counts instead where it is given.
    """
    settings = store.settings
    return effort_account(
        ground(store, on=on),
        hour_rates(store, on=on),
        remaining_acres={unit_id: acres(shape.area) for unit_id, shape in remaining_ground(store, on=on).items()},
        hours_per_day=settings.effort.hours_per_day,
        hours_per_week=settings.effort.hours_per_week,
        working_months=settings.effort.working_months,
        closures=closures(settings_of_now(store)),
        waits=contract_waits(store, on or today),
        day=on or today,
        currency=settings.place.currency,
    )


@once
def hour_rates(store: Store, *, on: date | None = None) -> GroundRates:
    """Return what an acre takes on each unit's ground, by the log's own lines or by ``rates.cut`` of the settings."""
    slopes, steep_frac = _slopes(store, on=on)
    return ground_rates(
        ground(store, on=on),
        stands={stand.unit_id: stand for stand in density(store, on=on).units},
        limits=store.settings.density.limits,
        slopes=slopes,
        steep_frac=steep_frac,
        assumed_hours_per_acre=store.settings.effort.rates.get("cut"),
    )


def slope_outlines(store: Store, *, on: date | None = None) -> list[Polygon | MultiPolygon]:
    """Return the ground whose slope `effort` asks for, in the place's grid [m]."""
    return [*timed_patches(ground(store, on=on)).values(), *remaining_ground(store, on=on).values()]


def _slopes(store: Store, *, on: date | None) -> tuple[dict[str, str], dict[str, float]]:
    """Return the slope class of each clearing line's patch, and the steep share of what remains by unit (0–1).

    Empty where no elevation can be read: hours are worth saying without it, and ``habmap check`` says what is wrong.
    """
    timed, remaining = timed_patches(ground(store, on=on)), remaining_ground(store, on=on)
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
