"""Stems per acre and crown cover of each unit, and what every figure rests on."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from habmap.jobs.ports import Store
from habmap.land.density import (
    FEW_PLOTS,
    Density,
    combine_strata,
    crown_cover_pct,
    fixed_plots,
    line_intercept_pct,
    quarter_points,
)
from habmap.measures import acres
from habmap.vocabulary import CEDAR_COVERS
from habmap.work.priority import DenseLimits, is_dense_stand
from habmap.work.records import Plot, Unit

#: OSU Extension NREM-2876: under 6 ft and under 250 stems per acre a stand needs maintenance, else restoration.
MAINTENANCE_UNDER_FT = 6.0
MAINTENANCE_UNDER_STEMS_PER_ACRE = 250.0

ManagementLevel = Literal["maintenance", "restoration"]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitDensity:
    """How dense one unit is; ``None`` = not known.

    Attributes
    ----------
    rests_on
        In words: which plots, or the figure that came with the unit's outline.
    management_level
        The published word (NREM-2876), from stems and, where measured, height; not the same as ``dense``.
    more_plots
        How many more plots would bring the 95 % interval within ±20 %.
    """

    unit_id: str
    name: str
    plots: int
    stems_per_acre: float | None
    stems_per_acre_ci95_low: float | None
    stems_per_acre_ci95_high: float | None
    canopy_pct: float | None
    dense: bool | None
    rests_on: str
    management_level: ManagementLevel | None
    more_plots: int | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DensityResult:
    """The density of every unit of cedar or mixed cover, and of any other that has plots."""

    dense_stems_per_acre: float
    dense_canopy_pct: float
    units: tuple[UnitDensity, ...]


def density(store: Store) -> DensityResult:
    """Estimate stems per acre and crown cover per unit, from plots where there are any, else from the unit itself."""
    own = store.settings.density
    limits = DenseLimits(stems_per_acre=own.dense_stems_per_acre, canopy_pct=own.dense_canopy_pct)
    of_unit: dict[str, list[Plot]] = defaultdict(list)
    for plot in store.plots():
        if plot.unit_id is not None:
            of_unit[plot.unit_id].append(plot)
    grid = store.grid
    lines = []
    for unit in store.units():
        plots = of_unit[unit.unit_id]
        if unit.cover in CEDAR_COVERS or plots:
            ground_acres = acres(grid.to_grid(unit.geometry).area) if grid else None
            lines.append(_unit_density(unit, plots, ground_acres=ground_acres, limits=limits))
    return DensityResult(
        dense_stems_per_acre=limits.stems_per_acre, dense_canopy_pct=limits.canopy_pct, units=tuple(lines)
    )


def _unit_density(unit: Unit, plots: Sequence[Plot], *, ground_acres: float | None, limits: DenseLimits) -> UnitDensity:
    estimate, rests_on, warnings = _estimate(plots, ground_acres=ground_acres)
    stems = estimate.stems_per_acre if estimate else unit.stems_per_acre
    lines = [plot for plot in plots if plot.method == "line"]
    line_ft = sum(plot.line_ft or 0.0 for plot in lines)
    canopy = unit.canopy_pct
    if estimate is None and unit.stems_per_acre is not None:
        rests_on = "stems per acre as given with the unit's outline; no plots"
    crown_ft = _mean([plot.crown_ft for plot in plots])
    if line_ft > 0:
        canopy = line_intercept_pct([length for plot in lines for length in plot.intercepts_ft], line_ft=line_ft)
        rests_on += f"; crown cover from {len(lines)} lines, {line_ft:,.0f} ft together"
    elif canopy is not None:
        rests_on += "; crown cover as given with the unit's outline"
    elif crown_ft is not None and stems is not None:
        canopy = crown_cover_pct(stems, crown_ft=crown_ft)
        rests_on += f"; crown cover from stems and a mean crown of {crown_ft:.1f} ft, overlapping at random"
    height_ft = _mean([plot.height_ft for plot in plots])
    return UnitDensity(
        unit_id=unit.unit_id,
        name=unit.name,
        plots=len(plots),
        stems_per_acre=stems,
        stems_per_acre_ci95_low=estimate.ci95_low if estimate else None,
        stems_per_acre_ci95_high=estimate.ci95_high if estimate else None,
        canopy_pct=canopy,
        dense=is_dense_stand(stems_per_acre=stems, canopy_pct=canopy, limits=limits),
        rests_on=rests_on,
        management_level=_level(stems, height_ft),
        more_plots=estimate.more_plots if estimate else None,
        warnings=warnings,
    )


def _estimate(plots: Sequence[Plot], *, ground_acres: float | None) -> tuple[Density | None, str, tuple[str, ...]]:
    """Return the estimate, what it rests on, and warnings; fixed plots count before quarter points."""
    fixed = [plot for plot in plots if plot.method == "fixed"]
    quarter = [plot for plot in plots if plot.method == "quarter"]
    warnings: list[str] = []
    if fixed and quarter:
        warnings.append(f"{len(quarter)} quarter points are not used: fixed plots are there and the two do not mix")
    if fixed:
        estimate, words = _fixed(fixed, ground_acres=ground_acres)
    elif quarter:
        distances = [[math.nan if d is None else d for d in plot.distances_m] for plot in quarter]
        vacant = sum(math.isnan(d) for point in distances for d in point)
        if vacant == 4 * len(quarter):
            return None, "quarter points with every quarter vacant say nothing of how many stems there are", ()
        estimate, words = quarter_points(distances), f"{len(quarter)} quarter points"
        if vacant:
            words += f", {vacant} of {4 * len(quarter)} quarters vacant (published factor, limits approximate)"
    else:
        return None, "nothing measured", ()
    if estimate.plots < FEW_PLOTS:
        warnings.append(f"only {estimate.plots} plots: fewer than {FEW_PLOTS} say little about a stand")
    return estimate, words, tuple(warnings)


def _fixed(plots: Sequence[Plot], *, ground_acres: float | None) -> tuple[Density, str]:
    strata: dict[str | None, list[Plot]] = defaultdict(list)
    for plot in plots:
        strata[plot.stratum].append(plot)
    words = f"{len(plots)} fixed plots"
    if len(strata) > 1:
        words += f" in {len(strata)} strata, taken as equal parts of the ground"
        share = ground_acres / len(strata) if ground_acres else None
        parts = [(_one_stratum(group, share), 1.0) for group in strata.values()]
        return combine_strata(parts), words
    estimate = _one_stratum(plots, ground_acres)
    if estimate.fpc_frac:
        words += f" covering {100 * estimate.fpc_frac:.0f} % of the ground"
    return estimate, words


def _one_stratum(plots: Sequence[Plot], ground_acres: float | None) -> Density:
    return fixed_plots(
        [plot.stems or 0 for plot in plots], [plot.plot_acres or 0.0 for plot in plots], ground_acres=ground_acres
    )


def _level(stems_per_acre: float | None, height_ft: float | None) -> ManagementLevel | None:
    if stems_per_acre is not None and stems_per_acre >= MAINTENANCE_UNDER_STEMS_PER_ACRE:
        return "restoration"
    if height_ft is not None and height_ft >= MAINTENANCE_UNDER_FT:
        return "restoration"
    return "maintenance" if stems_per_acre is not None and height_ft is not None else None


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None
