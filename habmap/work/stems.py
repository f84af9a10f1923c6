"""Stems per acre and crowns from the plots of one piece of ground, with the words that go with them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from habmap.land.density import FEW_PLOTS, RANDOM_FROM_P, Density, fixed_plots, mean_square_crown_ft
from habmap.land.quarter import FEW_POINTS, quarter_points
from habmap.measures import so_many
from habmap.records import Plot

#: Plots that lie farther apart in time were not measured in one season's round (common practice, no source).
ONE_ROUND = timedelta(days=366)
#: Said wherever quarter points are counted.
QUARTER_POINTS_CAUTION = (
    "Quarter points are right only where stems stand at random. Cedars often stand in clumps: then the figure is too "
    "low, more points don't mend it, and tight clumps don't show in the distances. Where it matters, use fixed plots."
)


@dataclass(frozen=True, slots=True)
class Stems:
    """An estimate of one piece of ground: from which plots, in words what it rests on, and what to be warned of."""

    density: Density
    plots: tuple[Plot, ...]
    words: str
    warnings: tuple[str, ...] = ()

    @property
    def is_clumped(self) -> bool:
        """Whether quarter points are too uneven for stems at random: the estimate is then likely too low."""
        return self.density.random_p is not None and self.density.random_p < RANDOM_FROM_P

    @property
    def crown_ft(self) -> float | None:
        """Crown width whose area is the mean over the stems counted [ft]; ``None`` = no crown was measured."""
        # a quarter point's crown is the mean of the stems it measured, one for each quarter that is not vacant
        counts = [plot.stems or 0 if plot.method == "fixed" else _measured(plot) for plot in self.plots]
        return mean_square_crown_ft([plot.crown_ft for plot in self.plots], counts)


def stems_of(plots: Sequence[Plot], *, ground_acres: float | None = None) -> Stems | None:
    """Estimate from fixed plots, else from quarter points; ``None`` where these tell nothing.

    Parameters
    ----------
    plots
        Of any method, on one piece of ground; lines say nothing of stems.
    ground_acres
        The ground that they stand for [acre].
    """
    # a stored plot may lack its size where another program took the column away
    fixed = tuple(plot for plot in plots if plot.method == "fixed" and plot.plot_acres)
    quarter = tuple(plot for plot in plots if plot.method == "quarter")
    if fixed:
        found = _fixed(fixed, ground_acres)
        if quarter:
            found = _with_warning(found, _unused(quarter))
    elif any(_measured(plot) for plot in quarter):
        found = _quarter(quarter)
    else:
        return None
    days = sorted(plot.measured_on for plot in found.plots if plot.measured_on is not None)
    if days and days[-1] - days[0] > ONE_ROUND:
        found = _with_warning(
            found,
            f"plots measured from {days[0]} to {days[-1]} are taken together; work in between would blur their mean "
            "(--on takes those measured by a day)",
        )
    if len(found.plots) < FEW_PLOTS:
        few = f"only {so_many(len(found.plots), 'plot')}: fewer than {FEW_PLOTS} say little about a unit"
        found = _with_warning(found, few)
    return found


def days_of(plots: Sequence[Plot]) -> tuple[date | None, date | None]:
    """Return the first and last day on which plots were measured; ``None`` where none has a day."""
    days = [plot.measured_on for plot in plots if plot.measured_on is not None]
    return min(days, default=None), max(days, default=None)


def _measured(plot: Plot) -> int:
    return sum(distance is not None for distance in plot.distances_m)


def _fixed(plots: tuple[Plot, ...], ground_acres: float | None) -> Stems:
    found = fixed_plots(
        [plot.stems or 0 for plot in plots], [plot.plot_acres or 0.0 for plot in plots], ground_acres=ground_acres
    )
    words = so_many(len(plots), "fixed plot")
    if found.fpc_frac:
        words += f" covering {100 * found.fpc_frac:.0f}% of the ground"
    names = {plot.stratum for plot in plots}
    if len(names) > 1:
        words += f" in {len(names)} strata, their sizes not known on this ground, so all plots count alike"
    if found.limits_by == "poisson":
        words += ", exact Poisson limits for a small count (Garwood 1936)"
    elif found.limits_by == "t":
        words += ", limits by Student's t"
    return Stems(found, plots, words)


def _quarter(plots: tuple[Plot, ...]) -> Stems:
    found = quarter_points(_distances(plots))
    words = so_many(len(plots), "quarter point")
    vacant = 4 * len(plots) - sum(_measured(plot) for plot in plots)
    if vacant:
        words += f", {vacant} of {4 * len(plots)} quarters vacant (published factor, limits approximate)"
    words += "; right only where stems stand at random, too low where they stand in clumps"
    p = found.random_p
    if p is None:
        return Stems(found, plots, f"{words}, which these are too few to test")
    if p < RANDOM_FROM_P:
        return Stems(
            found,
            plots,
            f"{words}; these distances are too uneven for stems at random ({_p(p)}): no limits",
            (f"its quarter points look clumped ({_p(p)}): the figure is likely too low; use fixed plots",),
        )
    words += f"; the distances don't speak against it ({_p(p)})"
    if len(plots) < FEW_POINTS:
        words += f", but fewer than {FEW_POINTS} points seldom would"
    return Stems(found, plots, words)


def _unused(quarter: Sequence[Plot]) -> str:
    words = f"{so_many(len(quarter), 'quarter point')} not used: fixed plots are there, which hold however stems stand"
    if not any(_measured(plot) for plot in quarter):
        return words
    return f"{words} (by the points alone about {quarter_points(_distances(quarter)).stems_per_acre:,.0f} per acre)"


def _distances(plots: Sequence[Plot]) -> list[list[float]]:
    return [[math.nan if d is None else d for d in plot.distances_m] for plot in plots]


def _with_warning(found: Stems, words: str) -> Stems:
    return Stems(found.density, found.plots, found.words, (*found.warnings, words))


def _p(chance: float) -> str:
    return f"P = {chance:.2f}" if chance >= 0.01 else "P under 0.01"
