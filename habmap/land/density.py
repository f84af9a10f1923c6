"""Stems per acre from field plots, and crown cover, each with what it rests on.

References
----------
Cochran, W. G. 1977. Sampling Techniques, 3rd ed. (ratio and stratified estimates; from memory).
Garwood, F. 1936. Fiducial limits for the Poisson distribution. Biometrika 28:437-442 (from memory).
Fisher, R. A. 1950. The significance of deviations from expectation in a Poisson series. Biometrics 6:17-24 (index of
dispersion; from memory).
Zou, G. Y. & Donner, A. 2008. Construction of confidence limits about effect measures: a general approach. Statistics in
Medicine 27:1693-1702 (limits of a sum from the limits of its parts; from memory).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habmap.land.quantiles import chi2_quantile, chi2_tail, normal_quantile, t_quantile
from habmap.land.ratio import CONFIDENCE, ratio_of_totals, t_limits
from habmap.measures import FT2_PER_ACRE

#: Share of the ground that plots must cover before the finite-population correction is worth saying.
FPC_FROM_FRAC: Final = 0.05
#: Fewer plots than this say little about a unit.
FEW_PLOTS: Final = 3
#: Half-width of the interval that a sample should reach, as a share of the estimate.
WANTED_HALF_WIDTH_FRAC: Final = 0.20
#: Fewer stems than this on all plots together are a small count: their mean is far from normal (common practice, no
#: source).
SMALL_COUNT: Final = 30
#: Counts or distances that stems at random would give less often than this are not taken as such. A careful choice: one
#: random stand in five is doubted, so that fewer clumped ones pass.
RANDOM_FROM_P: Final = 0.20

#: More than these nobody lays out.
MOST_PLOTS: Final = 100_000
_Z: Final = normal_quantile((1 + CONFIDENCE) / 2)

#: What the limits are: Student's t; exact Poisson limits; those of quarter points; several kinds together.
LimitsBy = Literal["t", "poisson", "quarter", "several"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """Stems per acre with a 95% interval; limits ``None`` where nothing honest gives any.

    Attributes
    ----------
    plots
        Plots or points used.
    limits_by
        How the limits were made; ``None`` = there are none.
    se, df
        Standard error [stems/acre] and degrees of freedom of limits by Student's t; else ``None``.
    more_plots
        About how many more plots of this kind would bring the interval within ±20%; 0 when it is; ``None`` unknown.
    fpc_frac
        Share of the ground measured, where it is large enough to narrow the interval; else ``None``.
    random_p
        Quarter points: how often stems at random would give distances as uneven as these, 0–1; else ``None``.
    """

    plots: int
    stems_per_acre: float
    ci95_low: float | None = None
    ci95_high: float | None = None
    limits_by: LimitsBy | None = None
    se: float | None = None
    df: float | None = None
    more_plots: int | None = None
    fpc_frac: float | None = None
    random_p: float | None = None


def plot_acres(radius_ft: float) -> float:
    """Return the area of a circular plot from its horizontal radius [acre]."""
    return math.pi * radius_ft**2 / FT2_PER_ACRE


def fixed_plots(stems: ArrayLike, acres: ArrayLike, *, ground_acres: float | None = None) -> Density:
    """Estimate stems per acre from fixed-area plots.

    Parameters
    ----------
    stems, acres
        Shape (n,): stems counted on each plot and its horizontal area [acre].
    ground_acres
        Ground that the plots stand for; with it the finite-population correction is applied where plots cover 5% or
        more.

    Notes
    -----
    Ratio of totals (`habmap.land.ratio.ratio_of_totals`), which for plots of one size is the mean and s/√n. Limits
    by Student's t with n − 1 degrees of freedom, never below 0. Under 30 stems in all, and where all plots are alike,
    the exact Poisson limits of the total count stand instead (three empty plots of 1/10 acre: 0 to 12.3); where the
    counts differ more than those of stems at random do, the wider of the two on either side. One plot gives no limits.
    """
    y, x = np.asarray(stems, dtype=np.float64), np.asarray(acres, dtype=np.float64)
    ratio = ratio_of_totals(y, x)
    n, mean = ratio.pairs, ratio.value
    if ratio.se is None:
        return Density(plots=n, stems_per_acre=mean)
    total, area = float(y.sum()), float(x.sum())
    share = area / ground_acres if ground_acres else 0.0
    fpc = max(0.0, 1 - share) if share >= FPC_FROM_FRAC else 1.0
    se = ratio.se * math.sqrt(fpc)
    sd = se * math.sqrt(n)
    low, high = t_limits(mean, se, n - 1)
    is_poisson = total < SMALL_COUNT or ratio.se == 0
    if is_poisson:
        sd = max(sd, math.sqrt(mean * n / area))  # a count's variance is its mean
        narrow = math.sqrt(fpc)
        exact = [mean + (limit / area - mean) * narrow for limit in poisson_limits(total)]
        is_even = _dispersion_p(y, x) >= RANDOM_FROM_P
        low, high = exact if is_even else (min(low, exact[0]), max(high, exact[1]))
    return Density(
        plots=n,
        stems_per_acre=mean,
        ci95_low=low,
        ci95_high=high,
        limits_by="poisson" if is_poisson else "t",
        se=None if is_poisson else se,
        df=None if is_poisson else float(n - 1),
        more_plots=more_plots(mean, sd=sd, plots=n),
        fpc_frac=share if fpc < 1 else None,
    )


def poisson_limits(count: float) -> tuple[float, float]:
    """Return the exact two-sided 95% limits of a Poisson mean from one count (Garwood 1936)."""
    tail = (1 - CONFIDENCE) / 2
    low = chi2_quantile(tail, 2 * count) / 2 if count else 0.0
    return low, chi2_quantile(1 - tail, 2 * count + 2) / 2


def _dispersion_p(stems: NDArray[np.float64], acres: NDArray[np.float64]) -> float:
    """Return how often stems at random would differ from plot to plot as much as these do, 0–1 (Fisher 1950)."""
    if not stems.any():
        return 1.0
    expected = acres * stems.sum() / acres.sum()
    return chi2_tail(float(np.sum((stems - expected) ** 2 / expected)), len(stems) - 1)


def combine_strata(parts: Sequence[tuple[Density, float]]) -> Density:
    """Combine strata by their ground.

    Parameters
    ----------
    parts
        (estimate, acres of the stratum) of each.

    Notes
    -----
    Σ W·y with W the share of the ground. Where all limits are Student's t: variance Σ W²·SE², degrees of freedom by
    Satterthwaite (Cochran 1977, 5.4). Where any are not: the distances of the limits from their estimates, each side by
    itself, join as √Σ W²·d² (Zou & Donner 2008). A stratum without limits leaves the whole without.
    """
    total = sum(acres for _, acres in parts)
    weighed = [(acres / total, part) for part, acres in parts]
    estimate = sum(w * part.stems_per_acre for w, part in weighed)
    plots = sum(part.plots for part, _ in parts)
    below = [w * (part.stems_per_acre - part.ci95_low) for w, part in weighed if part.ci95_low is not None]
    above = [w * (part.ci95_high - part.stems_per_acre) for w, part in weighed if part.ci95_high is not None]
    terms = [((w * part.se) ** 2, part.df) for w, part in weighed if part.se is not None and part.df is not None]
    if len(below) < len(parts):
        return Density(plots=plots, stems_per_acre=estimate)
    if len(terms) < len(parts):
        down, up = math.hypot(*below), math.hypot(*above)
        low, high = max(0.0, estimate - down), estimate + up
        return Density(
            plots=plots,
            stems_per_acre=estimate,
            ci95_low=low,
            ci95_high=high,
            limits_by="several",
            more_plots=more_plots(estimate, sd=(down + up) / (2 * _Z) * math.sqrt(plots), plots=plots),
        )
    variance = math.fsum(term for term, _ in terms)
    spread = math.fsum(term**2 / df for term, df in terms)
    df = variance**2 / spread if spread else float(plots - len(parts))
    se = math.sqrt(variance)
    low, high = t_limits(estimate, se, df)
    return Density(
        plots=plots,
        stems_per_acre=estimate,
        ci95_low=low,
        ci95_high=high,
        limits_by="t",
        se=se,
        df=df,
        more_plots=more_plots(estimate, sd=se * math.sqrt(plots), plots=plots),
    )


def more_plots(mean: float, *, sd: float, plots: int) -> int | None:
    """Return how many more plots bring the 95% interval within ±20% of the mean; ``None`` where the mean is 0."""
    if mean <= 0:
        return None

    def is_enough(n: int) -> bool:
        half = t_quantile((1 + CONFIDENCE) / 2, n - 1) * sd / math.sqrt(n)
        return half <= WANTED_HALF_WIDTH_FRAC * mean

    first = max(plots, 2)
    if not is_enough(MOST_PLOTS):
        return None
    return bisect_left(range(first, MOST_PLOTS), True, key=is_enough) + first - plots


def mean_square_crown_ft(crown_ft: Sequence[float | None], stems: Sequence[float]) -> float | None:
    """Return the crown width whose area is the mean over all stems, √(Σ n·c²/Σ n) [ft].

    Parameters
    ----------
    crown_ft, stems
        Shape (n,): mean crown width of each plot's stems, ``None`` = not measured, and how many they are.

    Notes
    -----
    The spread of crowns within a plot is not known; it would add to the mean square.
    """
    known = [(crown, number) for crown, number in zip(crown_ft, stems, strict=True) if crown is not None and number > 0]
    if not known:
        return None
    return math.sqrt(math.fsum(n * crown**2 for crown, n in known) / math.fsum(n for _, n in known))


def crown_cover_pct(stems_per_acre: float, *, crown_ft: float) -> float:
    """Return crown cover from stems and mean crown width (as of `mean_square_crown_ft`) [%].

    Notes
    -----
    k = stems/acre × crown area / 43,560 is the plain sum; crowns placed at random overlap and cover 1 − e^−k.
    """
    k = stems_per_acre * math.pi * (crown_ft / 2) ** 2 / FT2_PER_ACRE
    return 100 * (1 - math.exp(-k))


def line_intercept_pct(intercepts_ft: Sequence[float], *, line_ft: float) -> float:
    """Return crown cover from the lengths of a line that lie under crowns [%] (Canfield 1941, from memory)."""
    return 100 * math.fsum(intercepts_ft) / line_ft
