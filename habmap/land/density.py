"""Stems per acre from field plots, and crown cover, each with what it rests on.

References
----------
Mitchell, K. 2015. Quantitative analysis by the point-centered quarter method. arXiv:1010.3303v2 (Pollard's estimator,
exact limits B.1, Table 11). Warde, W. & Petranka, J. W. 1981. Ecology 62:491-494 (vacant quarters, cited by Mitchell).
Cochran, W. G. 1977. Sampling Techniques, 3rd ed. (ratio and stratified estimates; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from habmap.land.ratio import CONFIDENCE, ratio_of_totals, t_limits
from habmap.measures import FT2_PER_ACRE, M2_PER_ACRE

#: Share of the ground that plots must cover before the finite-population correction is worth saying.
FPC_FROM_FRAC = 0.05
#: Fewer plots than this say little about a stand.
FEW_PLOTS = 3
#: Half-width of the interval that a sample should reach, as a share of the estimate.
WANTED_HALF_WIDTH_FRAC = 0.20


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """Stems per acre with a 95 % interval; limits ``None`` where one plot cannot give any.

    Attributes
    ----------
    plots
        Plots or points used.
    se
        Standard error [stems/acre], used where strata are combined; for the quarter method that of Pollard's estimate
        at random stems (its own limits are exact). ``None`` where nothing gives one.
    df
        Degrees of freedom of the interval.
    more_plots
        How many more plots of this kind would bring the interval within ±20 %; 0 when it is; ``None`` unknown.
    fpc_frac
        Share of the ground measured, where it is large enough to narrow the interval; else ``None``.
    """

    plots: int
    stems_per_acre: float
    ci95_low: float | None
    ci95_high: float | None
    se: float | None
    df: float | None
    more_plots: int | None
    fpc_frac: float | None = None


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
        Ground that the plots stand for; with it the finite-population correction is applied where plots cover 5 % or
        more.

    Notes
    -----
    Ratio of totals (`habmap.land.ratio.ratio_of_totals`), which for plots of one size is the mean and s/√n. Limits
    by Student's t with n − 1 degrees of freedom, never below 0.
    """
    x = np.asarray(acres, dtype=np.float64)
    ratio = ratio_of_totals(stems, x)
    n, mean = ratio.pairs, ratio.value
    if ratio.se is None:
        return Density(plots=n, stems_per_acre=mean, ci95_low=None, ci95_high=None, se=None, df=None, more_plots=None)
    share = float(x.sum() / ground_acres) if ground_acres else 0.0
    fpc = max(0.0, 1 - share) if share >= FPC_FROM_FRAC else 1.0
    se = ratio.se * math.sqrt(fpc)
    low, high = t_limits(mean, se, n - 1)
    return Density(
        plots=n,
        stems_per_acre=mean,
        ci95_low=low,
        ci95_high=high,
        se=se,
        df=float(n - 1),
        more_plots=more_plots(mean, sd=se * math.sqrt(n), plots=n),
        fpc_frac=share if fpc < 1 else None,
    )


def quarter_points(distances_m: ArrayLike) -> Density:
    """Estimate stems per acre by the point-centred quarter method.

    Parameters
    ----------
    distances_m
        Shape (n, 4): distance to the nearest stem in each quarter [m]; NaN = no stem within the search (vacant).

    Notes
    -----
    Without vacant quarters: Pollard's unbiased 4(4n−1)/(πΣR²), exact limits 2χ²(8n)/(πΣR²) (Mitchell, B.1). With a
    share p of them vacant: the estimate from the mean distance of the others, 1/r̄², times
    (F(−ln p)/(1−p))², F the gamma distribution function of shape 3/2 (Warde & Petranka; Mitchell, Table 11). Its limits
    are the exact ones of the measured quarters, scaled to that estimate: an approximation. Both take stems to stand at
    random; clumped stems are underestimated.

    Raises
    ------
    ValueError
        Every quarter is vacant.
    """
    r = np.asarray(distances_m, dtype=np.float64).reshape(-1, 4)
    n, measured = len(r), r[np.isfinite(r)]
    m = len(measured)
    if m == 0:
        raise ValueError("every quarter is vacant: the distances say nothing of how many stems there are")
    per_m2 = 4 * (m - 1) / (math.pi * float(np.sum(measured**2)))
    low, high = (
        2 * float(quantile) / (math.pi * float(np.sum(measured**2)))
        for quantile in stats.chi2.ppf([(1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2], 2 * m)
    )
    if m < 4 * n:
        corrected = vacant_quarter_factor(1 - m / (4 * n)) / float(measured.mean()) ** 2
        # with one measured quarter Pollard's estimate is zero and gives no scale
        low, high = (limit * corrected / per_m2 for limit in (low, high)) if m > 1 else (0.0, math.inf)
        per_m2 = corrected
    to_acre = M2_PER_ACRE
    bounded = math.isfinite(high)
    return Density(
        plots=n,
        stems_per_acre=per_m2 * to_acre,
        ci95_low=low * to_acre if bounded else None,
        ci95_high=high * to_acre if bounded else None,
        # 1/ΣR² of m random quarters is inverse gamma of shape m: Pollard's estimate has variance λ²/(m − 2)
        se=per_m2 * to_acre / math.sqrt(m - 2) if m > 2 else None,
        df=float(2 * m),
        more_plots=_more_points(n, m),
    )


def vacant_quarter_factor(vacant_frac: float) -> float:
    """Return the factor for a share of vacant quarters, 1 at none (Mitchell, arXiv:1010.3303v2, Table 11)."""
    if vacant_frac == 0:
        return 1.0
    return float((special.gammainc(1.5, -math.log(vacant_frac)) / (1 - vacant_frac)) ** 2)


def combine_strata(parts: Sequence[tuple[Density, float]]) -> Density:
    """Combine strata of fixed plots by their ground.

    Parameters
    ----------
    parts
        (estimate, acres of the stratum) of each.

    Notes
    -----
    Σ W·y with W the share of the ground; variance Σ W²·SE²; degrees of freedom by Satterthwaite (Cochran 1977, 5.4).
    """
    total = sum(acres for _, acres in parts)
    shares = [acres / total for _, acres in parts]
    estimate = sum(w * part.stems_per_acre for w, (part, _) in zip(shares, parts, strict=True))
    plots = sum(part.plots for part, _ in parts)
    if any(part.se is None for part, _ in parts):
        return Density(
            plots=plots, stems_per_acre=estimate, ci95_low=None, ci95_high=None, se=None, df=None, more_plots=None
        )
    terms = [(w * (part.se or 0.0)) ** 2 for w, (part, _) in zip(shares, parts, strict=True)]
    se = math.sqrt(sum(terms))
    spread = sum(t**2 / (part.df or 1) for t, (part, _) in zip(terms, parts, strict=True))
    df = sum(terms) ** 2 / spread if spread else float(plots - len(parts))
    low, high = t_limits(estimate, se, df)
    return Density(
        plots=plots,
        stems_per_acre=estimate,
        ci95_low=low,
        ci95_high=high,
        se=se,
        df=df,
        more_plots=more_plots(estimate, sd=se * math.sqrt(plots), plots=plots),
    )


def more_plots(mean: float, *, sd: float, plots: int) -> int | None:
    """Return how many more plots bring the 95 % interval within ±20 % of the mean; ``None`` where the mean is 0."""
    if mean <= 0:
        return None
    n = max(plots, 2)
    while float(stats.t.ppf((1 + CONFIDENCE) / 2, n - 1)) * sd / math.sqrt(n) > WANTED_HALF_WIDTH_FRAC * mean:
        n += 1
        if n > 100_000:
            return None
    return n - plots


def crown_cover_pct(stems_per_acre: float, *, crown_ft: float, overlap: bool = True) -> float:
    """Return crown cover from stems and mean crown width [%].

    Notes
    -----
    k = stems/acre × crown area / 43,560 is the plain sum; crowns placed at random overlap and cover 1 − e^−k.
    """
    k = stems_per_acre * math.pi * (crown_ft / 2) ** 2 / FT2_PER_ACRE
    return 100 * (1 - math.exp(-k)) if overlap else 100 * k


def line_intercept_pct(intercepts_ft: Sequence[float], *, line_ft: float) -> float:
    """Return crown cover from the lengths of a line that lie under crowns [%] (Canfield 1941, from memory)."""
    return 100 * math.fsum(intercepts_ft) / line_ft


def _more_points(points: int, measured: int) -> int | None:
    """Grow the number of points until the exact chi-square limits lie within ±20 % of the estimate."""
    per_point = measured / points
    n = points
    while n < 10_000:
        m = n * per_point
        if m > 1:
            low, high = stats.chi2.ppf([(1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2], 2 * m) / (2 * (m - 1))
            if high - 1 <= WANTED_HALF_WIDTH_FRAC and 1 - low <= WANTED_HALF_WIDTH_FRAC:
                return n - points
        n += 1
    return None
