"""Stems per acre and crown cover of each unit as it is now, and what every figure rests on."""

from __future__ import annotations

from collections import defaultdict
from datetime import date

from habmap.jobs.ground import ground
from habmap.jobs.ports import Store
from habmap.jobs.snapshot import once
from habmap.measures import M_PER_FT
from habmap.place.canopy import canopy_of_units
from habmap.records import Plot
from habmap.work.density import densities, measured_units
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
    limits = own.limits
    plots: dict[str, list[Plot]] = defaultdict(list)
    for plot in store.plots():
        is_later = on is not None and plot.measured_on is not None and plot.measured_on > on
        if plot.unit_id is not None and not is_later:
            plots[plot.unit_id].append(plot)
    state, source = ground(store, on=on), store.canopy()
    canopy, warnings = canopy_of_units(
        source, measured_units(state, plots), grid=store.grid, limit_m=own.canopy_height_ft * M_PER_FT
    )
    units, whole_property = densities(
        state,
        plots,
        canopy=canopy,
        canopy_loaded_on=source.recorded_at.date() if source else None,
        canopy_height_ft=own.canopy_height_ft,
        versions={version.uuid: version for version in store.unit_versions()},
        limits=limits,
    )
    return DensityResult(
        on=on,
        dense_stems_per_acre=limits.stems_per_acre,
        dense_canopy_pct=limits.canopy_pct,
        canopy_height_ft=own.canopy_height_ft,
        whole_property=whole_property,
        units=units,
        warnings=warnings,
    )
