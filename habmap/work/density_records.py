"""What ``density`` answers: each unit, each stratum, and all sampled ground together."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from habmap.land.density import LimitsBy

ManagementLevel = Literal["maintenance", "restoration"]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitDensity:
    """How dense the ground of one unit is that no killing work has changed since; ``None`` = not known.

    Attributes
    ----------
    plots
        Plots that count as now.
    limits_by
        How the limits were made: ``t`` (Student's), ``poisson`` (exact, of a small count), ``quarter``.
    dense
        ``None`` also where clumped quarter points stay below the limit and the truth may not.
    random_p
        Quarter points: how often stems at random would give distances as uneven; low means clumps, and no limits.
    measured_from, measured_to
        First and last day of the plots that count, where they have one.
    plots_before_work, stems_per_acre_before_work
        Plots older than the killing work on their ground, which don't count as now, and what they say.
    canopy_coverage_pct
        Share of the unit that ``canopy_pct`` is of, where it comes from a canopy raster [%].
    rests_on
        In words: which plots, or the figure that came with the unit's outline.
    management_level
        The published word (NREM-2876), from stems and, where measured, height; not the same as ``dense``.
    more_plots
        How many more plots would bring the 95% interval within ±20%.
    """

    unit_id: str
    name: str
    plots: int
    stems_per_acre: float | None
    stems_per_acre_ci95_low: float | None
    stems_per_acre_ci95_high: float | None
    limits_by: LimitsBy | None
    random_p: float | None
    measured_from: date | None
    measured_to: date | None
    plots_before_work: int
    stems_per_acre_before_work: float | None
    canopy_pct: float | None
    canopy_coverage_pct: float | None
    dense: bool | None
    rests_on: str
    management_level: ManagementLevel | None
    more_plots: int | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StratumDensity:
    """One stratum of the property: units that carry one ``stratum``, or a single unit.

    A stratum that holds plots of both methods is told unit by unit, each with its own method and acres.
    """

    stratum: str
    method: Literal["fixed", "quarter"]
    acres: float
    plots: int
    stems_per_acre: float
    stems_per_acre_ci95_low: float | None
    stems_per_acre_ci95_high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PropertyDensity:
    """Stems per acre of all ground with plots, its strata weighted by their acres.

    Attributes
    ----------
    acres, acres_without_plots
        Ground that the figure is of, and the rest, in no sampled stratum or worked since its plots, of which it says
        nothing [acre].
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


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCanopy:
    """Canopy of one unit the raster reaches.

    Attributes
    ----------
    canopy_pct
        Share of the covered ground at or above the place's ``canopy_height_ft`` [%].
    coverage_pct
        Share of the unit that the raster covers [%].
    too_coarse
        Whether its cells are too coarse for the unit (`habmap.land.shares.is_too_coarse`).
    """

    canopy_pct: float
    coverage_pct: float
    too_coarse: bool = False
