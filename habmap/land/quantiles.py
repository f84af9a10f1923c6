"""Quantiles and tails of the distributions behind every interval: normal, Student's t, chi-square.

A command needs a handful of them, and loading a library of special functions for these takes a sixth of the second
that a command may take. So the two integrals are worked out here, to about thirteen digits; a test holds them to scipy.

References
----------
NIST Digital Library of Mathematical Functions, 8.11.4 and 8.9.2 (incomplete gamma function), 8.17.22 (incomplete beta
function). Continued fractions by Lentz's method: Lentz, Applied Optics 15 (1976), 668.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import cache
from itertools import count
from statistics import NormalDist
from typing import Final

_TINY: Final = 1e-300
_SAME: Final = 1e-15
#: Far beyond what any quantile takes here; past it the last step stands.
_MOST_STEPS: Final = 200


def normal_quantile(p: float) -> float:
    """Return the quantile of the standard normal distribution, 0 < p < 1."""
    return NormalDist().inv_cdf(p)


@cache
def t_quantile(p: float, df: float) -> float:
    """Return the quantile of Student's t, 0 < p < 1, with ``df`` degrees of freedom; NaN where that is not above 0."""
    if not df > 0:
        return math.nan
    if p <= 0.5:
        return 0.0 if p == 0.5 else -t_quantile(1 - p, df)
    scale = math.lgamma((df + 1) / 2) - math.lgamma(df / 2) - math.log(df * math.pi) / 2

    def above(t: float) -> float:
        return _beta(df / 2, 0.5, df / (df + t * t)) / 2

    def density(t: float) -> float:
        return math.exp(scale - (df + 1) / 2 * math.log1p(t * t / df))

    return _root(above, density, 1 - p, start=normal_quantile(p))


@cache
def chi2_quantile(p: float, df: float) -> float:
    """Return the quantile of chi-square, 0 < p < 1, with ``df`` degrees of freedom; NaN where that is not above 0."""
    if not df > 0:
        return math.nan

    def density(x: float) -> float:
        return math.exp((df / 2 - 1) * math.log(x) - x / 2 - df / 2 * math.log(2) - math.lgamma(df / 2))

    return _root(lambda x: chi2_tail(x, df), density, 1 - p, start=df)


def chi2_tail(x: float, df: float) -> float:
    """Return the probability that chi-square lies above ``x``; NaN where ``df`` is not above 0."""
    if not df > 0:
        return math.nan
    if x <= 0:
        return 1.0
    a, z = df / 2, x / 2
    front = math.exp(a * math.log(z) - z - math.lgamma(a))
    if z < a + 1:  # DLMF 8.11.4
        term = total = 1 / a
        for n in count(1):
            term *= z / (a + n)
            total += term
            if term < total * _SAME:
                return 1 - front * total
    return front / _fraction(z + 1 - a, ((-n * (n - a), z + 2 * n + 1 - a) for n in count(1)))


def _beta(a: float, b: float, x: float) -> float:
    """Return the regularized incomplete beta function, 0 ≤ x ≤ 1 (DLMF 8.17.22)."""
    if x <= 0:
        return 0.0
    if x > (a + 1) / (a + b + 2):  # where the fraction of the other side is the short one
        return 1 - _beta(b, a, 1 - x)
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))

    def terms() -> Iterator[tuple[float, float]]:
        for m in count():
            yield -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), 1.0
            yield (m + 1) * (b - m - 1) * x / ((a + 2 * m + 1) * (a + 2 * m + 2)), 1.0

    return front / (a * _fraction(1.0, terms()))


def _fraction(first: float, terms: Iterator[tuple[float, float]]) -> float:
    """Return first + a₁/(b₁ + a₂/(b₂ + …)) of pairs (a, b), by Lentz's method."""
    value = c = first
    d = 0.0
    for a, b in terms:
        d = 1 / ((b + a * d) or _TINY)
        c = (b + a / c) or _TINY
        value *= c * d
        if abs(c * d - 1) < _SAME:
            break
    return value


def _root(tail: Callable[[float], float], density: Callable[[float], float], p: float, *, start: float) -> float:
    """Return where a falling tail over x > 0 has the value p: by Newton's steps, kept inside a bracket."""
    low, high, x = 0.0, math.inf, start
    for _ in range(_MOST_STEPS):
        gap = tail(x) - p
        low, high = (x, high) if gap > 0 else (low, x)
        slope = density(x)
        step = x + gap / slope if slope > 0 else math.inf
        is_newton = low < step < high
        if not is_newton:
            step = 2 * low if math.isinf(high) else (low + high) / 2
        # Newton's steps double their digits: after one this small the next would change nothing that is kept.
        if step == x or (is_newton and abs(step - x) <= 1e-9 * step):
            return step
        x = step
    return x
