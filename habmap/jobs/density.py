"""Stems per acre and crown cover of each unit as it is now, and what every figure rests on."""

from __future__ import annotations

from datetime import date

from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.measures import M_PER_FT
from habmap.place.canopy import canopy_of_units
from habmap.work.density import densities, measured_units, plots_by_unit
from habmap.work.density_records import DensityResult


@once
def density(store: Store, *, on: date | None = None) -> DensityResult:
    """Estimate stems per acre and crown cover per unit, from plots where there are any, else from the unit itself.

    Parameters
    ----------
    on
        Units and work as of this day, and plots measured by then (plots without a date count); ``None``: all of now.

    Raises
    ------
    InputError
        The raster of canopy heights that the place names is gone or unreadable.
    """
    own = store.settings.density
    plots = plots_by_unit(store.plots(), on=on)
    state, source = ground(store, on=on), store.canopy()
    limit_m = own.canopy_height_ft * M_PER_FT
    canopy, warnings = canopy_of_units(source, measured_units(state, plots), grid=store.grid, limit_m=limit_m)
    return densities(
        state,
        plots,
        canopy=canopy,
        canopy_loaded_on=source.recorded_at.date() if source else None,
        canopy_height_ft=own.canopy_height_ft,
        versions={version.uuid: version for version in store.unit_versions()},
        limits=own.limits,
        on=on,
        warnings=warnings,
    )
