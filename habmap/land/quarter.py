"""Stems per acre from quarter points, and whether the distances look like those of stems at random.

References
----------
Mitchell, K. 2015. Quantitative analysis by the point-centered quarter method. arXiv:1010.3303v2 (Pollard's estimator,
exact limits B.1, Table 11). Warde, W. & Petranka, J. W. 1981. Ecology 62:491-494 (vacant quarters, cited by Mitchell).
Morisita, M. 1957. A new method for the estimation of density by the spacing method applicable to non-randomly
distributed populations. Physiology and Ecology 7:134-144 (angle-order estimate; from memory).
Bartlett, M. S. 1937. Properties of sufficiency and statistical tests. Proceedings of the Royal Society A 160:268-282
(equality of variances, here of exponential and gamma scales, as Pollard 1971, Biometrics 27:991-1002, has it; from
memory).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from habmap.land.density import RANDOM_FROM_P, Density, more_plots
from habmap.land.quantiles import chi2_quantile, chi2_tail, t_quantile
from habmap.land.ratio import CONFIDENCE
from habmap.measures import M2_PER_ACRE

QUARTERS: Final = 4
#: Fewer points than this show clumping in tight clumps too seldom to rest on (own Monte Carlo of clumped stems).
FEW_POINTS: Final = 8

#: How many times too low the estimate may be on stems in clumps: it was a quarter of the truth for ten stems within 2 m
#: (`tests/reference/test_clumped_stems.py`).
CLUMPED_TOO_LOW: Final = 4.0

Floats = NDArray[np.float64]


def quarter_points(distances_m: ArrayLike) -> Density:
    """Estimate stems per acre by the point-centered quarter method.

    Parameters
    ----------
    distances_m
        Shape (n, 4): distance to the nearest stem in each quarter [m]; NaN = no stem within the search (vacant).

    Notes
    -----
    The estimate takes stems to stand at random: `pollard_per_m2`, with vacant quarters `vacant_quarter_factor`. On
    clumped stems it is too low, however many the points are. So its limits are the wider, on either side, of the exact
    ones for random stems and those of the points' own estimates (`own_per_m2`), which allow for a stand
    that is thick here and thin there; and where the distances are more uneven than random stems make them
    (`random_p`), there are none. Distances to the nearest stems cannot show clumps far smaller than their spacing.

    Raises
    ------
    ValueError
        Every quarter is vacant.
    """
    r = np.asarray(distances_m, dtype=np.float64).reshape(-1, QUARTERS)
    n, measured = len(r), r[np.isfinite(r)]
    m = len(measured)
    if m == 0:
        raise ValueError("every quarter is vacant: the distances say nothing of how many stems there are")
    per_m2, low, high = pollard_per_m2(measured)
    if m < QUARTERS * n:
        corrected = vacant_quarter_factor(1 - m / (QUARTERS * n)) / float(measured.mean()) ** 2
        # with one measured quarter Pollard's estimate is zero and gives no scale
        low, high = (limit * corrected / per_m2 for limit in (low, high)) if m > 1 else (0.0, math.inf)
        per_m2 = corrected
    own = own_per_m2(r)
    # At random the pooled estimate of n points has the relative standard deviation 1/√(4n).
    cv = max([1 / math.sqrt(QUARTERS), *([float(own.std(ddof=1) / own.mean())] if len(own) > 1 else [])])
    if len(own) > 1:
        between = log_t_limits(own)
        low, high = min(low, between[0]), max(high, between[1])
    p = random_p(r)
    stems = per_m2 * M2_PER_ACRE
    if not math.isfinite(high) or (p is not None and p < RANDOM_FROM_P):
        return Density(plots=n, stems_per_acre=stems, random_p=p)
    low, high = low * M2_PER_ACRE, high * M2_PER_ACRE
    return Density(
        plots=n,
        stems_per_acre=stems,
        ci95_low=low,
        ci95_high=high,
        limits_by="quarter",
        more_plots=more_plots(stems, sd=stems * cv, plots=n),
        random_p=p,
    )


def pollard_per_m2(distances_m: Floats) -> tuple[float, float, float]:
    """Return Pollard's unbiased 4(m−1)/(πΣR²) and its exact limits 2χ²(2m)/(πΣR²) for random stems [1/m²].

    Parameters
    ----------
    distances_m
        Shape (m,), measured quarters only [m].

    References
    ----------
    Mitchell, arXiv:1010.3303v2, B.1.
    """
    m, summed = len(distances_m), math.pi * float(np.sum(distances_m**2))
    low, high = (chi2_quantile(p, 2 * m) for p in ((1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2))
    return QUARTERS * (m - 1) / summed, 2 * float(low) / summed, 2 * float(high) / summed


def own_per_m2(distances_m: ArrayLike) -> Floats:
    """Return each point's own estimate 12/(πΣR²), points with a vacant quarter left out [1/m²].

    Parameters
    ----------
    distances_m
        Shape (n, 4), NaN = vacant [m].

    Notes
    -----
    Unbiased where stems are at random around the point, however many they are elsewhere (Morisita 1957).
    """
    squared = np.sum(np.asarray(distances_m, dtype=np.float64).reshape(-1, QUARTERS) ** 2, axis=1)
    own: Floats = QUARTERS * (QUARTERS - 1) / (math.pi * squared[np.isfinite(squared)])
    return own


def log_t_limits(values: Floats) -> tuple[float, float]:
    """Return limits of the mean of positive, skewed values by Student's t on the logarithm; two values or more."""
    n, mean = len(values), float(values.mean())
    half = t_quantile((1 + CONFIDENCE) / 2, n - 1) * float(values.std(ddof=1)) / (math.sqrt(n) * mean)
    return mean * math.exp(-half), mean * math.exp(half)


def random_p(distances_m: ArrayLike) -> float | None:
    """Return how often stems at random would give distances as uneven as these, 0–1; ``None`` where too few to tell.

    Parameters
    ----------
    distances_m
        Shape (n, 4), NaN = vacant [m].

    Notes
    -----
    At random, R² of each quarter is exponential and their sum at a point gamma of shape 4, all of one scale. Bartlett's
    test asks both of the quarters one by one and of the points; where quarters are vacant, the index of dispersion asks
    whether these crowd at some points. The smallest of the chances, times how many were asked (Bonferroni).
    """
    r = np.asarray(distances_m, dtype=np.float64).reshape(-1, QUARTERS)
    is_vacant = np.isnan(r)
    whole = r[~is_vacant.any(axis=1)] ** 2
    chances = []
    if len(whole) >= 2:
        chances += [_one_scale_p(whole.ravel(), df=2), _one_scale_p(whole.sum(axis=1), df=2 * QUARTERS)]
    if is_vacant.any() and len(r) >= 2:
        frac = float(is_vacant.mean())
        excess = np.sum((is_vacant.sum(axis=1) - QUARTERS * frac) ** 2) / (QUARTERS * frac * (1 - frac))
        chances.append(chi2_tail(excess, len(r) - 1))
    return min(1.0, min(chances) * len(chances)) if chances else None


def _one_scale_p(values: Floats, *, df: int) -> float:
    """Return the chance of values this uneven were they all χ²(df) of one scale (Bartlett 1937)."""
    n = len(values)
    statistic = df * n * (math.log(float(values.mean())) - float(np.log(values).mean()))
    correction = 1 + (n - 1 / n) / (3 * df * (n - 1))
    return chi2_tail(statistic / correction, n - 1)


def vacant_quarter_factor(vacant_frac: float) -> float:
    """Return the factor for a share of vacant quarters, 1 at none (Mitchell, arXiv:1010.3303v2, Table 11)."""
    if vacant_frac == 0:
        return 1.0
    # the incomplete gamma function of 3/2 is the lower tail of chi-square with 3 degrees of freedom
    return float(((1 - chi2_tail(-2 * math.log(vacant_frac), 3)) / (1 - vacant_frac)) ** 2)
