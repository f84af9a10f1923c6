"""Stems per acre and crown cover of each unit, and what every figure rests on."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from habmap.jobs.canopy import UnitCanopy, canopy_of_units
from habmap.jobs.ports import Store
from habmap.land.acreage import area_of_record_m2
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

NOTHING_MEASURED = "nothing measured"

ManagementLevel = Literal["maintenance", "restoration"]
#: Plots that lie farther apart in time were not measured in one season's round (common practice, no source).
ONE_ROUND = timedelta(days=366)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitDensity:
    """How dense one unit is; ``None`` = not known.

    Attributes
    ----------
    canopy_coverage_pct
        Share of the unit that ``canopy_pct`` is of, where it comes from a canopy raster [%].
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
    canopy_coverage_pct: float | None
    dense: bool | None
    rests_on: str
    management_level: ManagementLevel | None
    more_plots: int | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CrownCover:
    """Crown cover of a unit, what it rests on, and the share of the unit that it is of (``None``: all) [%]."""

    cover_pct: float | None
    words: str
    coverage_pct: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StratumDensity:
    """One stratum of the property: units that carry one ``stratum``, or a single unit that carries none."""

    stratum: str
    acres: float
    plots: int
    stems_per_acre: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PropertyDensity:
    """Stems per acre of all ground with plots, its strata weighted by their acres.

    Attributes
    ----------
    acres, acres_without_plots
        Ground that the figure is of, and cedar ground in no sampled stratum, of which it says nothing [acre].
    """

    stems_per_acre: float
    stems_per_acre_ci95_low: float | None
    stems_per_acre_ci95_high: float | None
    plots: int
    acres: float
    acres_without_plots: float
    strata: tuple[StratumDensity, ...]
    rests_on: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DensityResult:
    """The density of every unit of cedar or mixed cover, and of any other that has plots.

    ``on`` is the day asked for; ``whole_property`` is ``None`` where fewer than two units have plots, or nothing was
    measured.
    """

    on: date | None
    dense_stems_per_acre: float
    dense_canopy_pct: float
    canopy_height_ft: float
    whole_property: PropertyDensity | None
    units: tuple[UnitDensity, ...]
    warnings: tuple[str, ...]


def density(store: Store, *, on: date | None = None) -> DensityResult:
    """Estimate stems per acre and crown cover per unit, from plots where there are any, else from the unit itself.

    Parameters
    ----------
    on
        Units as they held on this day, and plots measured by then (plots without a date count); ``None``: all of now.

    Raises
    ------
    InputError
        The raster of canopy heights that the place names is gone or unreadable.
    """
    own = store.settings.density
    limits = DenseLimits(stems_per_acre=own.dense_stems_per_acre, canopy_pct=own.dense_canopy_pct)
    of_unit: dict[str, list[Plot]] = defaultdict(list)
    for plot in store.plots():
        is_later = on is not None and plot.measured_on is not None and plot.measured_on > on
        if plot.unit_id is not None and not is_later:
            of_unit[plot.unit_id].append(plot)
    grid = store.grid
    units = [unit for unit in store.units(on) if unit.cover in CEDAR_COVERS or of_unit[unit.unit_id]]
    ground_acres = {unit.unit_id: acres(area_of_record_m2(unit.geometry, grid=grid)) for unit in units} if grid else {}
    canopy, warnings = canopy_of_units(store, units)
    return DensityResult(
        on=on,
        dense_stems_per_acre=limits.stems_per_acre,
        dense_canopy_pct=limits.canopy_pct,
        canopy_height_ft=own.canopy_height_ft,
        whole_property=_whole_property(units, of_unit, ground_acres),
        units=tuple(
            _unit_density(
                unit,
                of_unit[unit.unit_id],
                ground_acres=ground_acres.get(unit.unit_id),
                canopy=canopy.get(unit.unit_id),
                canopy_height_ft=own.canopy_height_ft,
                limits=limits,
            )
            for unit in units
        ),
        warnings=warnings,
    )


def _unit_density(
    unit: Unit,
    plots: Sequence[Plot],
    *,
    ground_acres: float | None,
    canopy: UnitCanopy | None,
    canopy_height_ft: float,
    limits: DenseLimits,
) -> UnitDensity:
    estimate, stems_words, warnings = _estimate(plots, ground_acres=ground_acres)
    stems = estimate.stems_per_acre if estimate else unit.stems_per_acre
    if estimate is None and unit.stems_per_acre is not None:
        stems_words = "stems per acre as given with the unit's outline; no plots"
    crowns = _crown_cover(unit, plots, stems, canopy, canopy_height_ft=canopy_height_ft)
    return UnitDensity(
        unit_id=unit.unit_id,
        name=unit.name,
        plots=estimate.plots if estimate else len(plots),
        stems_per_acre=stems,
        stems_per_acre_ci95_low=estimate.ci95_low if estimate else None,
        stems_per_acre_ci95_high=estimate.ci95_high if estimate else None,
        canopy_pct=crowns.cover_pct,
        canopy_coverage_pct=crowns.coverage_pct,
        dense=is_dense_stand(
            stems_per_acre=stems, canopy_pct=crowns.cover_pct, canopy_coverage_pct=crowns.coverage_pct, limits=limits
        ),
        rests_on="; ".join(words for words in (stems_words, crowns.words) if words) or NOTHING_MEASURED,
        management_level=_level(stems, _mean([plot.height_ft for plot in plots])),
        more_plots=estimate.more_plots if estimate else None,
        warnings=warnings,
    )


def _crown_cover(
    unit: Unit,
    plots: Sequence[Plot],
    stems_per_acre: float | None,
    canopy: UnitCanopy | None,
    *,
    canopy_height_ft: float,
) -> CrownCover:
    """Return crown cover by the surest way there is: lines, the canopy raster, the outline's own, stems and crowns."""
    lines = [plot for plot in plots if plot.method == "line"]
    line_ft = sum(plot.line_ft or 0.0 for plot in lines)
    if line_ft > 0:
        cover_pct = line_intercept_pct([length for plot in lines for length in plot.intercepts_ft], line_ft=line_ft)
        return CrownCover(cover_pct, f"crown cover from {_counted(len(lines), 'line')}, {line_ft:,.0f} ft together")
    if canopy is not None:
        words = f"crown cover from the canopy raster: ground at {canopy_height_ft:g} ft and above, of whatever kind"
        if canopy.coverage_pct < 99.5:
            words += f"; the raster covers only {canopy.coverage_pct:.0f} % of the unit"
        return CrownCover(canopy.canopy_pct, words, coverage_pct=canopy.coverage_pct)
    if unit.canopy_pct is not None:
        return CrownCover(unit.canopy_pct, "crown cover as given with the unit's outline")
    crown_ft = _mean([plot.crown_ft for plot in plots])
    if crown_ft is not None and stems_per_acre is not None:
        words = f"crown cover from stems and a mean crown of {crown_ft:.1f} ft, overlapping at random"
        return CrownCover(crown_cover_pct(stems_per_acre, crown_ft=crown_ft), words)
    return CrownCover(None, "")


def _whole_property(
    units: Sequence[Unit], of_unit: Mapping[str, Sequence[Plot]], ground_acres: Mapping[str, float]
) -> PropertyDensity | None:
    """Combine all plots by stratum: units that carry a stratum lie in it, any other unit is a stratum by itself.

    A plot counts in the stratum that it names itself, where a unit carries that one; else in its unit's.
    """
    if not ground_acres or sum(bool(of_unit[unit.unit_id]) for unit in units) < 2:
        return None
    stratum_of = {unit.unit_id: unit.stratum or f"unit {unit.unit_id}" for unit in units}
    acres_of: dict[str, float] = defaultdict(float)
    plots_of: dict[str, list[Plot]] = defaultdict(list)
    for unit in units:
        acres_of[stratum_of[unit.unit_id]] += ground_acres[unit.unit_id]
        for plot in of_unit[unit.unit_id]:
            named = plot.stratum if plot.stratum in stratum_of.values() else None
            plots_of[named or stratum_of[unit.unit_id]].append(plot)
    parts: list[tuple[Density, float]] = []
    strata = []
    for stratum, area in sorted(acres_of.items()):
        estimate = _one_method(plots_of[stratum], ground_acres=area)
        if estimate is not None:
            parts.append((estimate, area))
            strata.append(
                StratumDensity(
                    stratum=stratum, acres=area, plots=estimate.plots, stems_per_acre=estimate.stems_per_acre
                )
            )
    if not parts:
        return None
    whole = parts[0][0] if len(parts) == 1 else combine_strata(parts)
    covered = sum(area for _, area in parts)
    without = sum(acres_of.values()) - covered
    words = (
        f"{whole.plots} plots in {_counted(len(parts), 'stratum', 'strata')}, weighted by their {covered:,.1f} acres"
    )
    if without > 0:
        words += f"; {without:,.1f} acres of cedar ground lie in no sampled stratum"
    if whole.ci95_low is None:
        words += "; no interval: a stratum has one plot only"
    return PropertyDensity(
        stems_per_acre=whole.stems_per_acre,
        stems_per_acre_ci95_low=whole.ci95_low,
        stems_per_acre_ci95_high=whole.ci95_high,
        plots=whole.plots,
        acres=covered,
        acres_without_plots=without,
        strata=tuple(strata),
        rests_on=words,
    )


def _one_method(plots: Sequence[Plot], *, ground_acres: float) -> Density | None:
    """Estimate from fixed plots, else from quarter points; ``None`` where there are neither, or no distances."""
    fixed = [plot for plot in plots if plot.method == "fixed"]
    if fixed:
        return _one_stratum(fixed, ground_acres)
    distances = _distances(plots)
    return quarter_points(distances) if any(not math.isnan(d) for point in distances for d in point) else None


def _distances(plots: Sequence[Plot]) -> list[list[float]]:
    return [[math.nan if d is None else d for d in plot.distances_m] for plot in plots if plot.method == "quarter"]


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
        distances = _distances(quarter)
        vacant = sum(math.isnan(d) for point in distances for d in point)
        if vacant == 4 * len(quarter):
            return None, "quarter points with every quarter vacant say nothing of how many stems there are", ()
        estimate, words = quarter_points(distances), _counted(len(quarter), "quarter point")
        if vacant:
            words += f", {vacant} of {4 * len(quarter)} quarters vacant (published factor, limits approximate)"
    else:
        return None, "", ()
    days = sorted(plot.measured_on for plot in fixed or quarter if plot.measured_on is not None)
    if days and days[-1] - days[0] > ONE_ROUND:
        warnings.append(
            f"plots measured from {days[0]} to {days[-1]} are taken together; work in between would blur their mean "
            "(--on takes those measured by a day)"
        )
    if estimate.plots < FEW_PLOTS:
        warnings.append(f"only {_counted(estimate.plots, 'plot')}: fewer than {FEW_PLOTS} say little about a stand")
    return estimate, words, tuple(warnings)


def _fixed(plots: Sequence[Plot], *, ground_acres: float | None) -> tuple[Density, str]:
    strata: dict[str | None, list[Plot]] = defaultdict(list)
    for plot in plots:
        strata[plot.stratum].append(plot)
    words = _counted(len(plots), "fixed plot")
    if len(strata) > 1:
        words += f" in {len(strata)} strata, their sizes not known and so taken as equal parts of the ground"
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


def _counted(number: int, one: str, many: str | None = None) -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
