"""A ratio of totals and its 95% limits: stems per acre from plots, hours per acre from days of work."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from habmap.land.quantiles import t_quantile

#: Two-sided confidence of the limits.
CONFIDENCE: Final = 0.95


@dataclass(frozen=True, slots=True)
class Ratio:
    """Σy/Σx with its standard error, both in units of y per unit of x; ``se`` is ``None`` for a single pair."""

    value: float
    se: float | None
    pairs: int


def ratio_of_totals(y: ArrayLike, x: ArrayLike) -> Ratio:
    """Return R = Σy/Σx and its standard error √(n/(n−1)·Σ(y−Rx)²)/Σx.

    Parameters
    ----------
    y, x
        Shape (n,), n ≥ 1, Σx > 0.

    Notes
    -----
    For equal x this is the mean and s/√n. Large pairs weigh more than small ones, as they should when a total is asked.

    References
    ----------
    Cochran, W. G. 1977. Sampling Techniques, 3rd ed., 2.11 and 6.4 (from memory).
    """
    y, x = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    n = len(y)
    value = float(y.sum() / x.sum())
    if n < 2:
        return Ratio(value, None, n)
    return Ratio(value, math.sqrt(n / (n - 1) * float(np.sum((y - value * x) ** 2))) / float(x.sum()), n)


def t_limits(value: float, se: float, df: float) -> tuple[float, float]:
    """Return Student's t limits about an estimate that cannot be negative."""
    half = t_quantile((1 + CONFIDENCE) / 2, df) * se
    return max(0.0, value - half), value + half
