"""Quantiles and tails of the distributions behind every interval; loaded when the first is asked for.

The special functions alone are a third of the work of loading all of scipy's statistics, which a command that asks for
one quantile would otherwise pay for.
"""

from __future__ import annotations

import math
from statistics import NormalDist


def normal_quantile(p: float) -> float:
    """Return the quantile of the standard normal distribution, 0 < p < 1."""
    return NormalDist().inv_cdf(p)


def t_quantile(p: float, df: float) -> float:
    """Return the quantile of Student's t with ``df`` > 0 degrees of freedom; NaN where there is none."""
    from scipy import special

    return float(special.stdtrit(df, p)) if df > 0 else math.nan


def chi2_quantile(p: float, df: float) -> float:
    """Return the quantile of chi-square with ``df`` > 0: twice that of the gamma distribution of shape df/2."""
    from scipy import special

    return 2 * float(special.gammaincinv(df / 2, p)) if df > 0 else math.nan


def chi2_tail(x: float, df: float) -> float:
    """Return the probability that chi-square with ``df`` > 0 lies above ``x``."""
    from scipy import special

    return float(special.chdtrc(df, x)) if df > 0 and x >= 0 else 1.0 if df > 0 else math.nan
