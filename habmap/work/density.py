"""Stems per acre and crown cover of each unit as it is now, and what every figure rests on."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from habmap.land.density import Density, combine_strata, crown_cover_pct, line_intercept_pct
from habmap.land.quarter import CLUMPED_TOO_LOW
from habmap.measures import so_many
from habmap.records import Plot, Unit
from habmap.vocabulary import CEDAR_COVERS
from habmap.work.density_records import (
    DensityResult,
    ManagementLevel,
    PropertyDensity,
    StratumDensity,
    UnitCanopy,
    UnitDensity,
)
from habmap.work.ground import Ground
from habmap.work.plot_age import MOSTLY_FRAC, UnitGround, by_age, given_since
from habmap.work.priority import DenseLimits, is_dense_stand
from habmap.work.stems import Stems, days_of, stems_of

#: OSU Extension NREM-2876: under 6 ft and under 250 stems per acre a stand needs maintenance, else restoration.
MAINTENANCE_UNDER_FT = 6.0
MAINTENANCE_UNDER_STEMS_PER_ACRE = 250.0

NOTHING_MEASURED = "nothing measured"
#: Less ground than this is a rounding of the map and not said [acre].
SHOWN_ACRES = 0.05


@dataclass(frozen=True, slots=True)
class CrownCover:
    """Crown cover of a unit, what it rests on, and the share of the unit that it is of (``None``: all) [%]."""

    cover_pct: float | None
    words: str
    coverage_pct: float | None = None
    is_by_stems: bool = False


def densities(
    state: Ground,
    plots: Mapping[str, Sequence[Plot]],
    *,
    canopy: Mapping[str, UnitCanopy],
    canopy_loaded_on: date | None,
    canopy_height_ft: float,
    versions: Mapping[str, Unit],
    limits: DenseLimits,
    on: date | None,
    warnings: tuple[str, ...],
) -> DensityResult:
    """Return the density of each unit that has cedar ground or plots, and of the whole property.

    Parameters
    ----------
    state
        The ground as of a day.
    plots
        Plots that count on it, by ``unit_id``.
    canopy, canopy_loaded_on
        What a raster of canopy heights says, by ``unit_id``, and the day it was loaded.
    canopy_height_ft
        Height from which it counted as canopy [ft].
    versions
        Every version of every unit, by uuid.
    on, warnings
        Go into the answer as they are.
    """
    cuts = state.cuts
    looks = [
        _look(
            unit,
            plots.get(unit.unit_id, ()),
            UnitGround(cuts[unit.unit_id], state.grid),
            canopy.get(unit.unit_id),
            versions=versions,
            canopy_loaded_on=canopy_loaded_on,
        )
        for unit in measured_units(state, plots)
    ]
    return DensityResult(
        on=on,
        dense_stems_per_acre=limits.stems_per_acre,
        dense_canopy_pct=limits.canopy_pct,
        canopy_height_ft=canopy_height_ft,
        whole_property=_whole_property(looks),
        units=tuple(_unit_density(look, canopy_height_ft=canopy_height_ft, limits=limits) for look in looks),
        warnings=warnings,
    )


def plots_by_unit(plots: Iterable[Plot], *, on: date | None) -> dict[str, list[Plot]]:
    """Return the plots of each unit that were measured by a day (those without a date count); ``None``: all."""
    found: dict[str, list[Plot]] = defaultdict(list)
    for plot in plots:
        is_later = on is not None and plot.measured_on is not None and plot.measured_on > on
        if plot.unit_id is not None and not is_later:
            found[plot.unit_id].append(plot)
    return found


def measured_units(state: Ground, plots: Mapping[str, Sequence[Plot]]) -> list[Unit]:
    """Return the units that have cedar ground or plots."""
    return [unit for unit in state.units if unit.cover in CEDAR_COVERS or plots.get(unit.unit_id)]


@dataclass(frozen=True, slots=True)
class _Look:
    """What is known of one unit: plots that count and older ones, their estimates, and the ground that they are of."""

    unit: Unit
    ground: UnitGround
    now: tuple[Plot, ...]
    old: tuple[Plot, ...]
    stems: Stems | None
    before: Stems | None
    canopy: UnitCanopy | None
    are_stems_given_old: bool
    is_canopy_given_old: bool
    is_raster_old: bool


def _look(
    unit: Unit,
    plots: Sequence[Plot],
    unit_ground: UnitGround,
    canopy: UnitCanopy | None,
    *,
    versions: Mapping[str, Unit],
    canopy_loaded_on: date | None,
) -> _Look:
    now, old = by_age(plots, unit_ground)

    def is_given_old(name: str) -> bool:
        return unit_ground.worked_frac(given_since(unit, name, versions)) >= MOSTLY_FRAC

    return _Look(
        unit=unit,
        ground=unit_ground,
        now=now,
        old=old,
        stems=stems_of(now, ground_acres=unit_ground.unworked_acres(_newest(now))),
        before=stems_of(old),
        canopy=canopy,
        are_stems_given_old=is_given_old("stems_per_acre"),
        is_canopy_given_old=is_given_old("canopy_pct"),
        is_raster_old=canopy_loaded_on is not None and unit_ground.worked_frac(canopy_loaded_on) >= MOSTLY_FRAC,
    )


def _newest(plots: Sequence[Plot]) -> date | None:
    """Return the newest day of plots; the last day there is where none has one, so that no work came after."""
    if any(plot.measured_on is None for plot in plots):
        return date.max
    return days_of(plots)[1]


def _unit_density(look: _Look, *, canopy_height_ft: float, limits: DenseLimits) -> UnitDensity:
    unit, estimate = look.unit, look.stems.density if look.stems else None
    stems, words = _stems(look)
    crowns = _crown_cover(look, stems, canopy_height_ft=canopy_height_ft)
    is_low_guess = _may_be_more(look, limits)
    first, last = days_of(look.stems.plots if look.stems else look.now)
    return UnitDensity(
        unit_id=unit.unit_id,
        name=unit.name,
        plots=estimate.plots if estimate else len(look.now),
        stems_per_acre=stems,
        stems_per_acre_ci95_low=estimate.ci95_low if estimate else None,
        stems_per_acre_ci95_high=estimate.ci95_high if estimate else None,
        limits_by=estimate.limits_by if estimate else None,
        random_p=estimate.random_p if estimate else None,
        measured_from=first,
        measured_to=last,
        plots_before_work=len(look.old),
        stems_per_acre_before_work=look.before.density.stems_per_acre if look.before else None,
        canopy_pct=crowns.cover_pct,
        canopy_coverage_pct=crowns.coverage_pct,
        dense=is_dense_stand(
            stems_per_acre=None if is_low_guess else stems,
            canopy_pct=None if is_low_guess and crowns.is_by_stems else crowns.cover_pct,
            canopy_coverage_pct=crowns.coverage_pct,
            limits=limits,
        ),
        rests_on="; ".join(part for part in (*words, crowns.words) if part) or NOTHING_MEASURED,
        management_level=_level(stems, _mean([plot.height_ft for plot in look.now])),
        more_plots=estimate.more_plots if estimate else None,
        warnings=(*(look.stems.warnings if look.stems else ()), *_age_warnings(look)),
    )


def _may_be_more(look: _Look, limits: DenseLimits) -> bool:
    """Tell whether stems below the limit are those of clumped quarter points, so that the truth may lie above it."""
    told = look.stems
    stems = told.density.stems_per_acre if told is not None and told.is_clumped else math.inf
    return stems < limits.stems_per_acre <= CLUMPED_TOO_LOW * stems


def _stems(look: _Look) -> tuple[float | None, list[str]]:
    """Return the stems per acre that count as now, and what they rest on, in phrases."""
    phrases = [_old_words(look)] if look.old else []
    if look.stems is not None:
        return look.stems.density.stems_per_acre, [look.stems.words, *phrases]
    if any(plot.method == "quarter" for plot in look.now):
        return None, ["quarter points with every quarter vacant say nothing of how many stems there are", *phrases]
    given = look.unit.stems_per_acre
    if given is None:
        return None, phrases
    if not look.are_stems_given_old:
        return given, ["stems per acre as given with the unit's outline; no plots", *phrases]
    return None, [*phrases, f"{given:,.0f} stems per acre as given with the unit's outline are from before the work"]


def _old_words(look: _Look) -> str:
    """Say which plots are older than the work on their ground, and what they told."""
    first, last = days_of(look.old)
    when = "without a day" if first is None else f"of {first}" if first == last else f"of {first} to {last}"
    words = f"{so_many(len(look.old), 'plot')} {when} from before the work on their ground, not counted as now"
    return f"{words} ({look.before.density.stems_per_acre:,.0f} stems per acre then)" if look.before else words


def _age_warnings(look: _Look) -> tuple[str, ...]:
    words = []
    if look.old:
        many = "are" if len(look.old) > 1 else "is"
        words.append(
            f"{so_many(len(look.old), 'plot')} {many} older than the work on their ground (the last of it "
            f"{look.ground.last_kill()}) and not counted: measure what remains"
        )
        if any(plot.measured_on is None for plot in look.old):
            words.append("plots without a day may be older than the work on their ground: load them with their day")
    placeless = [plot for plot in look.now if plot.geometry is None]
    worked_frac = look.ground.worked_frac(days_of(placeless)[0]) if placeless else 0.0
    if worked_frac > 0:
        words.append(
            f"its plots have no place on the map, and {100 * worked_frac:.0f}% of it was worked since they were "
            "measured: they stand for the rest only as far as it is like the whole"
        )
    return tuple(words)


def _crown_cover(look: _Look, stems_per_acre: float | None, *, canopy_height_ft: float) -> CrownCover:
    """Return crown cover by the surest way there is: lines, the canopy raster, the outline's own, stems and crowns."""
    lines = [plot for plot in look.now if plot.method == "line"]
    line_ft = sum(plot.line_ft or 0.0 for plot in lines)
    if line_ft > 0:
        cover_pct = line_intercept_pct([length for plot in lines for length in plot.intercepts_ft], line_ft=line_ft)
        return CrownCover(cover_pct, f"crown cover from {so_many(len(lines), 'line')}, {line_ft:,.0f} ft together")
    canopy, left_out = look.canopy, ""
    if canopy is not None and look.is_raster_old:
        left_out = f"the canopy raster ({canopy.canopy_pct:.0f}%) is older than the work here and not counted as now"
    elif canopy is not None:
        words = f"crown cover from the canopy raster: ground at {canopy_height_ft:g} ft and above, of whatever kind"
        if canopy.coverage_pct < 99.5:
            words += f"; the raster covers only {canopy.coverage_pct:.0f}% of the unit"
        if canopy.too_coarse:
            words += "; its cells are too coarse for so small a unit, so the share is rough"
        return CrownCover(canopy.canopy_pct, words, coverage_pct=canopy.coverage_pct)
    if look.unit.canopy_pct is not None and not look.is_canopy_given_old:
        return CrownCover(look.unit.canopy_pct, "crown cover as given with the unit's outline")
    crown_ft = look.stems.crown_ft if look.stems else None
    if crown_ft is not None and stems_per_acre is not None:
        words = f"crown cover from stems and a crown of {crown_ft:.1f} ft (by mean area), overlapping at random"
        return CrownCover(crown_cover_pct(stems_per_acre, crown_ft=crown_ft), words, is_by_stems=True)
    if look.unit.canopy_pct is not None:
        left_out = f"crown cover of {look.unit.canopy_pct:.0f}% as given with the outline is from before the work"
    return CrownCover(None, left_out)


def _whole_property(looks: Sequence[_Look]) -> PropertyDensity | None:
    """Combine all plots that count as now by stratum: units that carry a stratum lie in it, any other is one by itself.

    A plot counts in the stratum that it names itself, where a unit carries that one; else in its unit's.
    """
    if sum(look.stems is not None for look in looks) < 2:
        return None
    stratum_of = {look.unit.unit_id: look.unit.stratum or f"unit {look.unit.unit_id}" for look in looks}
    members: dict[str, list[_Look]] = defaultdict(list)
    plots_of: dict[str, list[Plot]] = defaultdict(list)
    elsewhere = 0
    for look in looks:
        members[stratum_of[look.unit.unit_id]].append(look)
        for plot in look.now:
            home = stratum_of[look.unit.unit_id]
            named = plot.stratum if plot.stratum in stratum_of.values() else home
            elsewhere += named != home
            plots_of[named or home].append(plot)
    parts: list[tuple[Density, float]] = []
    strata = []
    mixed = []
    for stratum, own in sorted(members.items()):
        cells = [(stratum, own, plots_of[stratum])]
        if len(_methods(own, plots_of[stratum])) > 1:
            mixed.append(stratum)
            cells = [(f"{stratum}: {look.unit.unit_id}", [look], list(look.now)) for look in own]
        for name, ground_of, plots in cells:
            area = sum(look.ground.unworked_acres(_newest(plots)) for look in ground_of)
            stems = stems_of(plots, ground_acres=area)
            if stems is not None and area > 0:
                parts.append((stems.density, area))
                strata.append(_stratum(name, stems, area))
    if not parts:
        return None
    whole = parts[0][0] if len(parts) == 1 else combine_strata(parts)
    covered = sum(area for _, area in parts)
    without = sum(look.ground.unworked_acres(date.max) for look in looks) - covered
    return PropertyDensity(
        stems_per_acre=whole.stems_per_acre,
        stems_per_acre_ci95_low=whole.ci95_low,
        stems_per_acre_ci95_high=whole.ci95_high,
        plots=whole.plots,
        acres=covered,
        acres_without_plots=without,
        strata=tuple(strata),
        rests_on=_whole_words(whole, parts, covered=covered, without=without, mixed=mixed, elsewhere=elsewhere),
    )


def _methods(own: Sequence[_Look], plots: Sequence[Plot]) -> set[str]:
    """Return the methods that units of a stratum are told by, and those of plots that lie elsewhere and name it."""
    inside = {look.unit.unit_id for look in own}
    named = {plot.method for plot in plots if plot.unit_id not in inside and plot.method != "line"}
    return named | {look.stems.plots[0].method for look in own if look.stems}


def _stratum(name: str, stems: Stems, area: float) -> StratumDensity:
    return StratumDensity(
        stratum=name,
        method="fixed" if stems.plots[0].method == "fixed" else "quarter",
        acres=area,
        plots=stems.density.plots,
        stems_per_acre=stems.density.stems_per_acre,
        stems_per_acre_ci95_low=stems.density.ci95_low,
        stems_per_acre_ci95_high=stems.density.ci95_high,
    )


def _whole_words(
    whole: Density,
    parts: Sequence[tuple[Density, float]],
    *,
    covered: float,
    without: float,
    mixed: Sequence[str],
    elsewhere: int,
) -> str:
    words = (
        f"{so_many(whole.plots, 'plot')} in {so_many(len(parts), 'stratum', 'strata')}, weighted by their "
        f"{covered:,.1f} acres"
    )
    if mixed:
        words += (
            f"; in {', '.join(mixed)} there are fixed plots and quarter points, so each unit counts by its own "
            "method and acres"
        )
    if elsewhere:
        words += f"; {so_many(elsewhere, 'plot')} counted in the stratum named there, not in its unit's"
    if without >= SHOWN_ACRES:
        words += f"; {without:,.1f} acres lie in no sampled stratum or were worked since their plots"
    if whole.ci95_low is None:
        bare = [part for part, _ in parts if part.ci95_low is None]
        clumped = any(part.random_p is not None for part in bare)
        words += "; no interval: " + ("quarter points look clumped" if clumped else "a stratum has one plot only")
    elif whole.limits_by == "several":
        words += "; limits of different kinds joined, each side by itself (Zou and Donner 2008)"
    return words


def _level(stems_per_acre: float | None, height_ft: float | None) -> ManagementLevel | None:
    if stems_per_acre is not None and stems_per_acre >= MAINTENANCE_UNDER_STEMS_PER_ACRE:
        return "restoration"
    if height_ft is not None and height_ft >= MAINTENANCE_UNDER_FT:
        return "restoration"
    return "maintenance" if stems_per_acre is not None and height_ft is not None else None


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None
