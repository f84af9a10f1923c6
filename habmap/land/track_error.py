"""How far the acres of a walked outline can be off because its fixes are: variance of a shoelace area."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Correlations below e^-NEGLIGIBLE are taken as nothing (e^-30 is 1e-13).
NEGLIGIBLE = 30.0


@dataclass(frozen=True, slots=True)
class FixError:
    """The error model of a GPS fix.

    Attributes
    ----------
    sigma_m
        Standard deviation of a fix, per axis [m].
    correlation_s
        Time over which errors hang together: two fixes ``dt`` seconds apart correlate by ``exp(-dt / correlation_s)``
        [s]. Zero makes every fix independent; infinity shifts the whole walk as one.

    Notes
    -----
    East and north errors are independent of each other and share one covariance, that of a first-order
    Gauss-Markov process: ``cov(i, j) = sigma_m² · exp(-|t_i - t_j| / correlation_s)``.
    """

    sigma_m: float
    correlation_s: float


def area_variance_m2_2(rings: Sequence[tuple[Floats, Floats]], *, error: FixError) -> float:
    """Return the variance of the area that one or more rings enclose [m⁴].

    Parameters
    ----------
    rings
        For each ring its vertices, shape (n, 2), meters in an equal-area grid, not closed (the last vertex differs
        from the first), outer rings counter-clockwise and holes clockwise; and the time of each vertex, shape (n,)
        [s]. Times need not rise along the ring; every vertex has one (use the distance walked over a walking speed
        where a file has none).
    error
        The model of a fix's error.

    Returns
    -------
    float
        First-order variance ``gᵀ Σ g`` of all rings together, ``g`` the gradient of the shoelace formula, plus the
        second-order term of each ring.

    Notes
    -----
    The shoelace area is a quadratic form of the coordinates, so the two terms are the whole variance for Gaussian
    errors and a fixed vertex order (the cross term is a third moment, zero). With independent fixes they become
    ``σ²/4 · Σ|P(i+1) − P(i−1)|² + nσ⁴/2`` (Chrisman & Yandell 1988, Surveying and Mapping 48; from memory, and derived
    again from the formula). A shift of the whole walk is in the null space of the gradient and changes nothing.

    The first-order sum takes O(n log n): for times in order the exponential covariance is a recursion of order one.
    """
    times = np.concatenate([time_s for _, time_s in rings])
    gradient = np.concatenate([area_gradient_m(xy) for xy, _ in rings])
    first = gradient_variance(gradient, times, error=error)
    return first + sum(second_order_variance(time_s, error=error) for _, time_s in rings)


def area_gradient_m(xy: Floats) -> Floats:
    """Return the change of a ring's signed area per meter that each vertex moves, shape (n, 2) [m]."""
    across = np.roll(xy, -1, axis=0) - np.roll(xy, 1, axis=0)
    return np.column_stack([across[:, 1], -across[:, 0]]) / 2


def gradient_variance(gradient: Floats, time_s: Floats, *, error: FixError) -> float:
    """Return ``σ² Σ_axis gᵀ R g`` for the exponential correlation R of fixes at given times [m⁴ where g is in m].

    Parameters
    ----------
    gradient
        Shape (n, 2): derivative of the figure by each fix's east and north.
    time_s
        Shape (n,), in any order [s]. Vertices of the same time share their error.
    """
    order = np.argsort(time_s, kind="stable")
    g = gradient[order]
    step_s = np.diff(time_s[order])
    if error.correlation_s == 0:
        return float(error.sigma_m**2 * np.sum(g * g))
    decay = np.exp(-step_s / error.correlation_s)
    # earlier = Σ_{j<i} R_ij g_j, built up from fix to fix, one number per axis
    total = float(np.sum(g * g))
    east = north = 0.0
    gx, gy = g[:, 0].tolist(), g[:, 1].tolist()
    for i, fade in enumerate(decay.tolist(), start=1):
        east = fade * (east + gx[i - 1])
        north = fade * (north + gy[i - 1])
        total += 2 * (gx[i] * east + gy[i] * north)
    return error.sigma_m**2 * max(total, 0.0)


def second_order_variance(time_s: Floats, *, error: FixError) -> float:
    """Return the variance of the part of a ring's area that is quadratic in the errors [m⁴].

    Notes
    -----
    The part is ``½ Σ (e_i n_{i+1} − e_{i+1} n_i)`` = ``eᵀ K n``, and for independent e and n of one covariance C its
    variance is ``tr(K C Kᵀ C)``. The trace is summed along circular diagonals until the correlation has died out, so a
    walk of 20,000 fixes takes a moment and no matrix. ``nσ⁴/2`` when the fixes are independent.
    """
    n = len(time_s)
    if n < 3:
        return 0.0
    if error.correlation_s == 0:
        return n * error.sigma_m**4 / 2

    around = np.concatenate([time_s, time_s, time_s])

    def correlation(shift: int) -> Floats:
        """Return that of every vertex with the one so many places on, the last once more in front, the first behind."""
        apart_s = np.abs(time_s - around[n + shift : 2 * n + shift])
        found = np.exp(-apart_s / error.correlation_s)
        return np.concatenate([found[-1:], found, found[:1]])

    # A vertex k places on is at least this far in time; where times rise along the ring this ends the sum early.
    total = 0.0
    near = deque((correlation(shift) for shift in range(-2, 2)), maxlen=5)
    for lag in range(n // 2 + 1):
        near.append(correlation(lag + 2))
        narrow, _, same, _, wide = near
        here = same[1:-1]
        if float(here.max()) < math.exp(-NEGLIGIBLE):
            break
        # (K C Kᵀ)_{i,i+lag} = ¼ (C_{i+1,j+1} + C_{i-1,j-1} − C_{i+1,j-1} − C_{i-1,j+1})
        mixed = same[2:] + same[:-2] - narrow[2:] - wide[:-2]
        weight = 1.0 if lag == 0 or 2 * lag == n else 2.0
        total += weight * float(np.sum(mixed * here)) / 4
    return float(error.sigma_m**4 * max(total, 0.0))


def drawn_errors(time_s: Floats, *, error: FixError, walks: int, rng: np.random.Generator) -> Floats:
    """Return errors of the model for fixes at given times, in any order: shape (walks, n, 2) [m]."""
    order = np.argsort(time_s, kind="stable")
    drawn: Floats = rng.normal(size=(len(time_s), 2 * walks))
    with np.errstate(divide="ignore", invalid="ignore"):
        keep = np.nan_to_num(np.exp(-np.diff(time_s[order]) / error.correlation_s))
    fresh = np.sqrt(1 - keep**2)
    for i, (part, own) in enumerate(zip(keep.tolist(), fresh.tolist(), strict=True), start=1):
        drawn[i] = part * drawn[i - 1] + own * drawn[i]
    errors = np.empty_like(drawn)
    errors[order] = error.sigma_m * drawn
    return np.moveaxis(errors.reshape(len(time_s), walks, 2), 1, 0)
